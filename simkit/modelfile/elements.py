"""Each kind of element in normal form. Laws are written as currents and charges of B sources."""

import re
from collections.abc import Callable

from simkit.modelfile.cards import Element, ModelCard, Scope
from simkit.modelfile.evaluation import written
from simkit.modelfile.instance import Instance
from simkit.modelfile.numbers import plain
from simkit.modelfile.words import braced, pairs

COLDEST = 27.0
"""Temperature that coefficients count from where a model says none [degC]."""
MICRO, NANO = 1e-6, 1e-9
LEAST = 1e-6
"""A resistor of nothing becomes this [ohm]: the engine has none of 0 ohm."""


def resistor(at: Instance, element: Element) -> None:
    """R: a number with its temperature coefficients, or a law, written as a current."""
    a, b = at.two(element)
    value, options = _value(at, element, ("r", "value"))
    law = at.law(value, element, x=f"v({a},{b})")
    factor = _warmed(at, element, options)
    if isinstance(law, str):
        at.put("b", f"{a} {b} i=(v({a},{b})/({written(factor)}*{law}))", element.place)
        return
    if law * factor < 0.0:
        raise element.place.refuse(element.text, "a resistance below nought has no place here")
    if law * factor < LEAST:
        at.warn(element.place, f"{element.name} has no resistance: {plain(LEAST)} ohm stands in it")
    at.put("r", f"{a} {b} {plain(max(law * factor, LEAST))}", element.place)


def _value(at: Instance, element: Element, names: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    """The value of a passive element, bare or by one of some names, and its other NAME=VALUE."""
    rest = list(element.words[2:])
    if not rest:
        raise element.place.refuse(element.name, "has no value")
    bare = rest.pop(0) if "=" not in re.sub(r"\{.*\}", "", rest[0]) else None
    options = dict(pairs(" ".join(rest), element.place))
    named = [options.pop(n) for n in names if n in options]
    found = ([bare] if bare is not None else []) + named
    if len(found) != 1:
        raise element.place.refuse(element.text, f"{element.name} needs one value")
    return found[0], options


def _warmed(at: Instance, element: Element, options: dict[str, str]) -> float:
    """Factor of the temperature coefficients [1]."""
    first, second = 0.0, 0.0
    for name, text in options.items():
        if name == "tc":
            parts = [p for p in text.replace(",", " ").split() if p]
            first = at.number(parts[0], element.place)
            second = at.number(parts[1], element.place) if len(parts) > 1 else 0.0
        elif name in ("tc1", "tc2"):
            value = at.number(text, element.place)
            first, second = (value, second) if name == "tc1" else (first, value)
        elif name not in ("m", "ic"):
            raise element.place.refuse(name, f"is no value of {element.name}")
        elif name == "m":
            raise element.place.refuse("m", "a multiplier is not read", "divide the value by it")
    rise = at.values.temperature - COLDEST
    return 1.0 + first * rise + second * rise * rise


def capacitor(at: Instance, element: Element) -> None:
    """C: a number, a capacitance that follows a voltage, or a charge."""
    a, b = at.two(element)
    text, options = _value(at, element, ("c", "value", "q"))
    across = f"v({a},{b})"
    law = at.law(text, element, x=across)
    charge = any(w.startswith("q=") for w in element.words[2:])
    factor = _warmed(at, element, options)
    if "ic" in options:
        at.warn(element.place, f"{element.name}: the rehearsal finds the voltage to start from")
    if not charge and not isinstance(law, str):
        if law < 0.0:
            raise element.place.refuse(element.text, "a capacitance below nought has no place here")
        at.put("c", f"{a} {b} {plain(law * factor)}", element.place)
        return
    _charged(at, element, a, b, written(law), charge)


def _charged(at: Instance, element: Element, a: str, b: str, law: str, charge: bool) -> None:
    """A current that is the change of a charge, or a capacitance times the voltage's change.

    A capacitor at a node of its own differentiates: a microfarad the charge in microcoulombs, a
    nanofarad the voltage itself, so that its current is of the size of the element's.
    """
    node, behind = at.maker.node(), at.maker.node()
    place = element.place
    shown = f"({law}*1000000)" if charge else f"v({a},{b})"
    at.put("b", f"{node} 0 v={shown}", place)
    sense = at.put("v", f"{node} {behind} 0", place)
    at.put("c", f"{behind} 0 {plain(MICRO if charge else NANO)}", place)
    flow = f"i({sense})" if charge else f"(({law})*1000000000*i({sense}))"
    at.put("b", f"{a} {b} i={flow}", place)


def inductor(at: Instance, element: Element) -> None:
    """L: a number."""
    a, b = at.two(element)
    text, options = _value(at, element, ("l", "value"))
    value = at.number(text, element.place)
    unknown = [n for n in options if n not in ("ic", "rser")]
    if unknown:
        raise element.place.refuse(unknown[0], f"is no value of {element.name}")
    if value <= 0.0:
        raise element.place.refuse(element.text, "an inductance must be above nought")
    if "ic" in options:
        at.warn(element.place, f"{element.name}: the rehearsal finds the current to start from")
    end = a
    if "rser" in options:
        end = at.maker.node()
        series = max(at.number(options["rser"], element.place), LEAST)
        at.put("r", f"{a} {end} {plain(series)}", element.place)
    at.sources[element.name] = at.put("l", f"{end} {b} {plain(value)}", element.place)


def coupling(at: Instance, element: Element) -> None:
    """K: two inductors and a factor between -1 and 1."""
    if len(element.words) != 3:
        raise element.place.refuse(element.text, "a coupling is K NAME NAME FACTOR")
    one, other = (at.inductor(n, element.place) for n in element.words[:2])
    factor = at.number(element.words[2], element.place)
    if not 0.0 < abs(factor) <= 1.0:
        raise element.place.refuse(element.words[2], "a coupling lies between -1 and 1")
    at.put("k", f"{one} {other} {plain(factor)}", element.place)


def source(at: Instance, element: Element) -> None:
    """V or I: a steady value."""
    a, b = at.two(element)
    rest = [w for w in element.words[2:] if w != "dc"]
    if len(rest) > 1:
        raise element.place.refuse(element.text, "a source inside a part is a steady one",
                                   "write V NODE NODE VALUE")  # fmt: skip
    value = at.number(rest[0], element.place) if rest else 0.0
    letter = element.name[0]
    name = at.put(letter, f"{a} {b} {plain(value)}", element.place)
    if letter == "v":
        at.sources[element.name] = name


def diode(at: Instance, element: Element) -> None:
    """D: two nodes, a model, an area."""
    a, b = at.two(element)
    _device(at, element, "d", (a, b), ("d",))


def bipolar(at: Instance, element: Element) -> None:
    """Q: collector, base, emitter, perhaps a substrate, a model, an area."""
    count = 4 if _is_model(at, element, 4) else 3
    nodes = at.several(element, count)
    _device(at, element, "q", nodes, ("npn", "pnp"))


def field_effect(at: Instance, element: Element) -> None:
    """M: drain, gate, source and bulk of a MOS, or the first three of a VDMOS."""
    count = 4 if _is_model(at, element, 4) else 3
    nodes = at.several(element, count)
    kinds = ("nmos", "pmos", "vdmos")
    name = element.words[count] if len(element.words) > count else ""
    if name and count == 4 and _kind(at, name) == "vdmos":
        nodes = nodes[:3]  # its bulk is its source
    _device(at, element, "m", nodes, kinds, count)


def junction_field_effect(at: Instance, element: Element) -> None:
    """J: drain, gate, source, a model, an area."""
    _device(at, element, "j", at.several(element, 3), ("njf", "pjf"))


def _kind(at: Instance, name: str) -> str:
    card = at.values.scope.find("models", name)
    return card.kind if isinstance(card, ModelCard) else ""


def _is_model(at: Instance, element: Element, where: int) -> bool:
    return len(element.words) > where and bool(_kind(at, element.words[where]))


def _device(at: Instance, element: Element, letter: str, nodes: tuple[str, ...],
            kinds: tuple[str, ...], count: int | None = None) -> None:  # fmt: skip
    """Nodes, a model, then an area or NAME=VALUE."""
    where = count if count is not None else len(nodes)
    if len(element.words) <= where:
        raise element.place.refuse(element.text, f"{element.name} names no model")
    model, _ = at.model(element.words[where], element.place, kinds)
    rest, said = element.words[where + 1 :], []
    for word in rest:
        name, mark, value = word.partition("=")
        if not mark:
            name, value = "area", word
            if letter not in "dqj" or word in ("off", "on"):
                raise element.place.refuse(word, f"is no value of {element.name}")
        if name not in ("area", "l", "w", "m"):
            raise element.place.refuse(name, f"is no value of {element.name}")
        number = at.number(value, element.place)
        if not 0.0 < number < 1e6:
            raise element.place.refuse(word, "must be above nought")
        said.append(plain(number) if name == "area" and not mark else f"{name}={plain(number)}")
    said.append(f"temp={plain(at.values.temperature)}")
    at.put(letter, " ".join([*nodes, model, *said]), element.place)


def controlled_source(at: Instance, element: Element) -> None:
    """E or G: a gain, `value=`, `table`, or `poly`."""
    a, b = at.two(element)
    rest = element.text.split(" ", 2)[2] if len(element.words) > 2 else ""
    kind = "v" if element.name[0] == "e" else "i"
    poly = re.match(r"poly\s*\((\d+)\)\s*(.+)\Z", rest)
    law: float | str
    if poly:
        law = _polynomial(at, element, int(poly[1]), poly[2], 2)
    elif rest.startswith("table"):
        law = _table(at, element, rest[5:])
    elif rest.startswith(("value", "cur", "vol", "{")):
        text = re.sub(r"^(value|cur|vol)\s*=?\s*", "", rest)
        law = at.law(_without_quotes(text), element)
    else:
        at.put(element.name[0], f"{a} {b} {_gain(at, element)}", element.place)
        return
    at.put("b", f"{a} {b} {kind}={written(law)}", element.place)


def _without_quotes(text: str) -> str:
    text = text.strip()
    return text[1:-1] if len(text) > 1 and text[0] == text[-1] == "'" else text


def _gain(at: Instance, element: Element) -> str:
    if len(element.words) != 5:
        raise element.place.refuse(element.text, "is no source that is read",
                                   "write NODE NODE NODE NODE GAIN, or value={...}")  # fmt: skip
    c, d = (at.node(n, element.place) for n in element.words[2:4])
    return f"{c} {d} {plain(at.number(element.words[4], element.place))}"


def _table(at: Instance, element: Element, text: str) -> float | str:
    """`table {EXPRESSION} = (x, y) (x, y) ...`"""
    found = re.match(r"\s*(\{[^{}]*\}|'[^']*'|\([^()]*\)|v\([^()]*\))\s*=?\s*(.+)\Z", text)
    if not found:
        raise element.place.refuse(element.text, "is no table",
                                   "write table {EXPRESSION} = (x, y) (x, y)")  # fmt: skip
    places = re.findall(r"[^\s(),]+", found[2])
    if len(places) < 4 or len(places) % 2:
        raise element.place.refuse(element.text, "a table has at least two points, each of two "
                                   "numbers")  # fmt: skip
    inner = _without_quotes(found[1])
    return at.law(f"table({braced(inner)},{','.join(places)})", element)


def _polynomial(at: Instance, element: Element, count: int, text: str, per: int) -> str:
    """`poly(n)` of voltages (two nodes each) or of currents: coefficients by rising degree."""
    if not 1 <= count <= 3:
        raise element.place.refuse(element.text, "polynomials of one to three inputs are read")
    tokens = re.findall(r"\{[^{}]*\}|[^\s(),]+", text)
    inputs, numbers = tokens[: per * count], tokens[per * count :]
    if len(inputs) < per * count or not numbers:
        raise element.place.refuse(element.text, "the polynomial has too few words")
    names = [_input(at, element, inputs[per * k : per * (k + 1)]) for k in range(count)]
    powers = _degrees(count, len(numbers))
    terms = []
    for text_of, degrees in zip(numbers, powers, strict=True):
        factor = at.number(text_of, element.place)
        product = "*".join(name for name, d in zip(names, degrees, strict=True) for _ in range(d))
        terms.append(f"({written(factor)}*{product})" if product else written(factor))
    return f"({'+'.join(terms)})"


def _input(at: Instance, element: Element, names: list[str]) -> str:
    if len(names) == 1:
        return f"i({at.source(names[0], element.place)})"
    return f"v({','.join(at.node(n, element.place) for n in names)})"


def _degrees(count: int, wanted: int) -> list[tuple[int, ...]]:
    """Exponents of a polynomial's terms in their order: 1, x, y, xx, xy, yy, xxx ..."""
    from itertools import combinations_with_replacement

    out: list[tuple[int, ...]] = []
    degree = 0
    while len(out) < wanted:
        for chosen in combinations_with_replacement(range(count), degree):
            out.append(tuple(chosen.count(k) for k in range(count)))
        degree += 1
    return out[:wanted]


def current_controlled(at: Instance, element: Element) -> None:
    """F or H: a source's current times a gain, or a polynomial of currents."""
    a, b = at.two(element)
    rest = element.text.split(" ", 2)[2] if len(element.words) > 2 else ""
    kind = "i" if element.name[0] == "f" else "v"
    poly = re.match(r"poly\s*\((\d+)\)\s*(.+)\Z", rest)
    if poly:
        law = _polynomial(at, element, int(poly[1]), poly[2], 1)
    elif len(element.words) == 4:
        gain = at.number(element.words[3], element.place)
        law = f"({written(gain)}*i({at.source(element.words[2], element.place)}))"
    else:
        raise element.place.refuse(element.text, "is no source that is read",
                                   "write NODE NODE SOURCE GAIN")  # fmt: skip
    at.put("b", f"{a} {b} {kind}={law}", element.place)


def behavioural(at: Instance, element: Element) -> None:
    """B: `v=` or `i=` and an expression."""
    a, b = at.two(element)
    rest = element.text.split(" ", 2)[2] if len(element.words) > 2 else ""
    found = re.match(r"([vi])\s*=\s*(.+)\Z", rest)
    if not found:
        raise element.place.refuse(element.text, "is no source that is read",
                                   "write NODE NODE v={...} or i={...}")  # fmt: skip
    law = at.law(_without_quotes(found[2]), element)
    at.put("b", f"{a} {b} {found[1]}={written(law)}", element.place)


def call(at: Instance, element: Element) -> None:
    """X: nodes, a subcircuit's name, its parameters."""
    plainly = [w for w in element.words if "=" not in w and w != "params:"]
    if len(plainly) < 2:
        raise element.place.refuse(element.text, "names no subcircuit")
    *nodes, name = plainly
    found = at.values.scope.find("subcircuits", name)
    if not isinstance(found, Scope):
        raise element.place.refuse(name, "no subcircuit of this name is in the file",
                                   "a model file stands for itself: put it in")  # fmt: skip
    if len(nodes) != len(found.pins):
        said = f"the subcircuit {name} has {len(found.pins)} pins, and {len(nodes)} nodes are given"
        raise element.place.refuse(element.text, said)
    start = len(plainly) + ("params:" in element.words)
    given = at.named(element, start)
    unknown = [n for n in given if n not in found.defaults]
    if unknown:
        raise element.place.refuse(unknown[0], f"is no parameter of the subcircuit {name}")
    values = {n: at.number(text, element.place) for n, text in given.items()}
    at.call(found, tuple(at.node(n, element.place) for n in nodes), values)


WRITERS: dict[str, Callable[[Instance, Element], None]] = {
    "r": resistor, "c": capacitor, "l": inductor, "k": coupling, "v": source, "i": source,
    "d": diode, "q": bipolar, "m": field_effect, "j": junction_field_effect,
    "e": controlled_source, "g": controlled_source, "f": current_controlled,
    "h": current_controlled, "b": behavioural, "x": call,
}  # fmt: skip
"""By an element's letter."""

"""Statements into declarations, by a whitelist: what is not on it is refused, never passed on."""

import difflib
import re

from simkit.modelfile.cards import Element, Function, ModelCard, Scope
from simkit.modelfile.expressions import BadExpression, Node, parse
from simkit.modelfile.lines import Statement, statements
from simkit.modelfile.refused import Place
from simkit.modelfile.words import braced, pairs, words

LETTERS = frozenset("rclkdqmjefghbvix")
DEEPEST = 4
"""Subcircuits declared inside each other [1]."""
MOST = 5_000
"""Declarations in a file [1]."""
NAME = re.compile(r"[a-z_][\w.\-+#]*")
NOT_READ = {
    ".include": "a model file stands for itself: put the included text in its place",
    ".inc": "a model file stands for itself: put the included text in its place",
    ".lib": "no other file is read: put the part that is needed in its place",
    ".endl": "no other file is read: put the part that is needed in its place",
    ".control": "commands are never run: take the section out",
    ".endc": "commands are never run: take the section out",
    ".csparam": "commands are never run: take the line out",
    ".option": "the rehearsal chooses the engine's options: take the line out",
    ".options": "the rehearsal chooses the engine's options: take the line out",
    ".temp": "the rehearsal gives the temperature: take the line out",
    ".global": "hand the node in as a pin",
    ".ic": "the rehearsal finds where to start: take the line out",
    ".nodeset": "the rehearsal finds where to start: take the line out",
    ".if": "keep the branch that is wanted",
    ".elseif": "keep the branch that is wanted", ".else": "keep the branch that is wanted",
    ".endif": "keep the branch that is wanted",
}  # fmt: skip
"""Dot statements that files hold and that are refused, and what could be done."""
ANALYSES = (".tran", ".ac", ".dc", ".op", ".noise", ".tf", ".sens", ".four", ".meas", ".measure",
            ".print", ".plot", ".probe", ".save", ".step", ".alter", ".data", ".wave",
            ".net")  # fmt: skip
NOT_ELEMENTS = {
    "a": "code models and digital parts are not run: write it with B, E, G, R and C",
    "s": "write it as a resistance: G or B with the conductance as an expression",
    "w": "write it as a resistance: G or B with the conductance as an expression",
    "t": "a line is no part of a switch or diode", "o": "a line is no part of a switch or diode",
    "u": "code models and digital parts are not run: write it with B, E, G, R and C",
    "y": "a line is no part of a switch or diode", "z": "use J, M or a VDMOS model",
    "n": "compiled models are not run: write it with B, E, G, R and C",
    "p": "a line is no part of a switch or diode",
}  # fmt: skip
KINDS = ("d", "npn", "pnp", "nmos", "pmos", "vdmos", "njf", "pjf", "r", "res", "c", "cap", "l",
         "ind")  # fmt: skip


def read_model_file(content: bytes, file: str) -> Scope:
    """Everything a model file declares.

    Errors: InputError at the first statement that is not on the list, with what could be done.
    """
    top = Scope("", Place(file, 1))
    scope = top
    for count, statement in enumerate(statements(content, file), 1):
        if count > MOST:
            raise statement.place.refuse("", f"the file has more than {MOST} statements")
        scope = _declared(scope, statement)
        if scope is _END:
            return top
    if scope is not top:
        hint = f"write .ends {scope.name}"
        raise scope.place.refuse(f".subckt {scope.name}", "the subcircuit is never ended", hint)
    return top


_END = Scope("", Place("", 0))
"""What `.end` leads to: nothing after it counts."""


def _declared(scope: Scope, statement: Statement) -> Scope:
    """Enter one statement; the scope that the next belongs to."""
    text, place = statement.text, statement.place
    if not text.startswith("."):
        element = _element(scope, text, place)
        scope.elements[element.name] = element
        return scope
    head, _, rest = text.partition(" ")
    if head in (".param", ".params"):
        scope.parameters.update(_values(place, rest, scope.parameters, "the parameter"))
    elif head in (".func", ".function"):
        _function(scope, rest, place)
    elif head == ".model":
        _model(scope, rest, place)
    elif head == ".subckt":
        return _subcircuit(scope, rest, place)
    elif head in (".ends", ".eom"):
        return _ended(scope, rest, place)
    elif head == ".end":
        return _END if scope.around is None else _ended(scope, "", place)
    else:
        raise _unknown_dot(head, place)
    return scope


def _unknown_dot(head: str, place: Place) -> Exception:
    hint = NOT_READ.get(head, "")
    if head in ANALYSES or (hint == "" and head[:5] in ANALYSES):
        return place.refuse(head, "asks for an analysis, which a model file cannot",
                            "take the line out")  # fmt: skip
    known = (".subckt", ".ends", ".model", ".param", ".func", ".end")
    near = difflib.get_close_matches(head, known, 1)
    if not hint:
        hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"
    return place.refuse(head, "is not read from a model file", hint)


def _subcircuit(scope: Scope, rest: str, place: Place) -> Scope:
    # Pins end where the parameters begin: `params:`, or the first NAME=VALUE.
    before, mark, after = rest.partition("params:")
    tokens = words(before, place)
    pins = [t for t in tokens if "=" not in t]
    given = " ".join([*(t for t in tokens if "=" in t), after if mark else ""])
    if len(pins) < 3 or len(pins) > 13:
        said = f"has {max(len(pins) - 1, 0)} pins; a part here has 2 to 12"
        raise place.refuse(rest, said, "write .subckt NAME PIN PIN ...")
    name, *pins = pins
    _fresh(scope.subcircuits, name, place, "the subcircuit")
    doubled = next((p for p in pins if pins.count(p) > 1), None)
    if doubled:
        raise place.refuse(doubled, "names two pins of the subcircuit")
    inner = Scope(name, place, tuple(pins), scope)
    inner.defaults.update(_values(place, given, {}, "the parameter"))
    level, outer = 0, inner
    while outer.around is not None:
        level, outer = level + 1, outer.around
    if level > DEEPEST:
        said = f"subcircuits are declared inside each other deeper than {DEEPEST} levels"
        raise place.refuse(name, said)
    scope.subcircuits[name] = inner
    return inner


def _ended(scope: Scope, name: str, place: Place) -> Scope:
    if scope.around is None:
        raise place.refuse(f".ends {name}", "ends a subcircuit that never began")
    if name and name != scope.name:
        raise place.refuse(f".ends {name}", f"another subcircuit is open: {scope.name}",
                           f"write .ends {scope.name}")  # fmt: skip
    return scope.around


def _fresh(known: object, name: str, place: Place, what: str) -> None:
    if not NAME.fullmatch(name):
        raise place.refuse(name, f"{what}'s name begins with no letter or holds other signs")
    if isinstance(known, dict) and name in known:
        raise place.refuse(name, f"{what} is declared twice")


def expression(text: str, place: Place) -> Node:
    """The tree of an expression. Errors: InputError at its statement."""
    try:
        return parse(text)
    except BadExpression as error:
        raise place.refuse(text, f"the expression cannot be read: {error}") from None


def _values(place: Place, text: str, known: object, what: str) -> dict[str, Node]:
    """NAME=VALUE, as often as it stands there."""
    found: dict[str, Node] = {}
    for name, value in pairs(text, place):
        _fresh(found, name, place, what)
        _fresh(known, name, place, what)
        found[name] = expression(braced(value), place)
    return found


def _function(scope: Scope, rest: str, place: Place) -> None:
    found = re.match(r"([a-z_]\w*)\s*\(([^()]*)\)\s*=?\s*(.+)\Z", rest)
    if not found:
        raise place.refuse(rest, "is no function", "write .func NAME(a, b) {EXPRESSION}")
    name, given, body = found.groups()
    arguments = tuple(a.strip() for a in given.split(",") if a.strip())
    _fresh(scope.functions, name, place, "the function")
    if len(set(arguments)) != len(arguments):
        raise place.refuse(rest, "two arguments have one name")
    scope.functions[name] = Function(arguments, expression(braced(body), place), place)


def _model(scope: Scope, rest: str, place: Place) -> None:
    found = re.match(r"(\S+)\s+([a-z]\w*)\s*(.*)\Z", rest)
    if not found or found[2] == "ako":
        hint = "write .model NAME KIND (NAME=VALUE ...)"
        if found:
            hint = "write out every value of the model that it is a kind of"
        raise place.refuse(rest, "is no model", hint)
    name, kind, values = found.groups()
    _fresh(scope.models, name, place, "the model")
    if kind not in KINDS:
        near = difflib.get_close_matches(kind, KINDS, 1)
        hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(KINDS)}"
        raise place.refuse(kind, "is a kind of model that is not run here", hint)
    values = values.strip()
    if values.startswith("(") and values.endswith(")"):
        values = values[1:-1]
    flags = tuple(w for w in words(values, place) if "=" not in w)
    given = " ".join(w for w in words(values, place) if "=" in w)
    scope.models[name] = ModelCard(name, kind, _values(place, given, {}, "the value"), flags, place)


def _element(scope: Scope, text: str, place: Place) -> Element:
    name, _, rest = text.partition(" ")
    letter = name[0]
    if letter not in LETTERS:
        hint = NOT_ELEMENTS.get(letter, "a remark begins with *")
        raise place.refuse(text, f"elements of kind {letter.upper()!r} are not read", hint)
    if not re.fullmatch(r"[\w.\-+#:]+", name):
        raise place.refuse(name, "the element's name holds other signs than letters and digits")
    if name in scope.elements:
        raise place.refuse(name, "the element is declared twice")
    if scope.around is None:
        raise place.refuse(name, "an element stands outside every subcircuit",
                           "put it between .subckt and .ends")  # fmt: skip
    return Element(name, tuple(words(rest, place)), rest, place)

"""The power circuit drawn from the machine file: what is there is drawn, what is not is not.

Supply and link on the left, the bridge in the middle, transformer, tank and coil on the right.
Positions are fixed, so that two machines can be compared by eye.
"""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from typing import Any, Literal

from simkit.parameters.machine import Machine
from simkit.report.style import INK, MUTED, drawing, library
from simkit.report.text import quantity

TOP, BOTTOM = 7.0, 0.0
NODE_A, NODE_B = 4.6, 2.4
"""Heights at which the two ends of the primary leave the bridge."""
LEG_1, LEG_2 = 11.4, 16.4
LEG_SNUBBER = 2.75
"""How far to the left of its leg a leg's snubber stands."""
Point = tuple[float, float]
Align = Literal["left", "center", "right"]


def schematic(machine: Machine) -> str:
    """Circuit diagram as SVG text: supply, link, bridge, transformer, tank and coil."""
    library()
    import matplotlib
    import schemdraw

    matplotlib.use("svg")  # whatever a settings file names: it could be a module of its own
    schemdraw.use("matplotlib")
    with drawing({"svg.hashsalt": "simkit", "svg.fonttype": "none"}), _none_left_open():
        with schemdraw.Drawing(show=False) as sheet:
            sheet.config(unit=2.0, inches_per_unit=0.42, fontsize=8, color=INK, lw=1.1)
            pen = Pen(sheet)
            _supply(pen, machine)
            _bridge(pen, machine)
            _load(pen, machine, _coupling(pen, machine))
        return _svg(sheet)


@contextmanager
def _none_left_open() -> Iterator[None]:
    # The drawing library registers its figures where they stay until somebody closes them.
    library()
    from matplotlib import pyplot

    before = pyplot.get_fignums()
    try:
        yield
    finally:
        for number in set(pyplot.get_fignums()) - set(before):
            pyplot.close(number)


def _svg(sheet: Any) -> str:
    figure = sheet.draw(show=False).fig
    figure.patch.set_alpha(0.0)
    out = io.StringIO()
    # Tight: the drawing library does not count the texts at the edges.
    figure.savefig(out, format="svg", bbox_inches="tight", pad_inches=0.05,
                   metadata={"Date": None, "Creator": None})  # fmt: skip
    return out.getvalue()


class Pen:
    """Places elements by their end points."""

    def __init__(self, drawing: Any) -> None:
        library()
        import schemdraw.elements as elements

        self.drawing, self.elements = drawing, elements

    def part(self, kind: str, start: Point, end: Point, text: str = "", side: str = "top") -> None:
        """A part with two ends, and its name beside it."""
        element = getattr(self.elements, kind)().at(start).to(end)
        if text:
            element.label(text, loc=side, ofst=0.12)
        self.drawing.add(element)

    def line(self, *points: Point) -> None:
        """A conductor along some points."""
        for start, end in pairwise(points):
            self.drawing.add(self.elements.Line().at(start).to(end))

    def dot(self, *points: Point) -> None:
        """Junctions."""
        for point in points:
            self.drawing.add(self.elements.Dot(radius=0.07).at(point))

    def text(self, point: Point, text: str, align: Align = "center") -> None:
        """A text on its own."""
        self.drawing.add(
            self.elements.Label().at(point).label(text, halign=align, valign="center", ofst=0)
        )


def _supply(pen: Pen, machine: Machine) -> None:
    supply = machine.supply
    pen.part("SourceV", (0, BOTTOM), (0, TOP), quantity(supply.voltage, "V"))
    pen.part("Resistor", (0, TOP), (2.6, TOP), quantity(supply.source_resistance, "ohm"))
    for x, part, series, name in (
        (2.6, supply.link, supply.bus_inductance, "bus"),
        (5.6, supply.film, machine.bridge.loop_inductance, "loop"),
    ):
        value = quantity(part.capacitance, "F")
        pen.part("Capacitor", (x, TOP), (x, BOTTOM), value, "bottom")
        label = f"{name}\n{quantity(series, 'H')}"
        pen.part("Inductor2", (x, TOP), (x + 3.0, TOP), label)
        pen.dot((x, TOP), (x, BOTTOM))
    pen.line((0, BOTTOM), (LEG_1, BOTTOM))
    pen.line((8.6, TOP), (LEG_1, TOP))


def _bridge(pen: Pen, machine: Machine) -> None:
    far_end = machine.bridge.form.far_end
    _leg(pen, machine, LEG_1, (1, 2), NODE_A)
    pen.dot((LEG_1, NODE_A))
    if far_end == "rail":
        return
    pen.line((LEG_1, TOP), (LEG_2, TOP))
    pen.line((LEG_1, BOTTOM), (LEG_2, BOTTOM))
    pen.dot((LEG_1, TOP), (LEG_1, BOTTOM), (LEG_2, NODE_B))
    if far_end == "leg":
        _leg(pen, machine, LEG_2, (3, 4), NODE_B)
        return
    value = quantity(machine.bridge.split_capacitance, "F")
    pen.part("Capacitor", (LEG_2, TOP), (LEG_2, NODE_A + 0.6), value, "bottom")
    pen.line((LEG_2, NODE_A + 0.6), (LEG_2, NODE_B))
    pen.part("Capacitor", (LEG_2, NODE_B), (LEG_2, BOTTOM), value, "bottom")


def _leg(pen: Pen, machine: Machine, x: float, numbers: tuple[int, int], node: float) -> None:
    """Two switches with their body diodes, and the snubbers there are."""
    snubber = machine.bridge.snubber
    per_switch = snubber is not None and snubber.place == "switch"
    for number, high, low in ((numbers[0], TOP, 4.6), (numbers[1], 2.4, BOTTOM)):
        _switch(pen, x, number, high, low)
        if per_switch:
            _snubber(pen, machine, x, x + 1.9, high - 0.25, low + 0.25, number == numbers[0])
    pen.line((x, 4.6), (x, 2.4))
    if snubber is not None and snubber.place == "leg":
        _snubber(pen, machine, x, x - LEG_SNUBBER, TOP, BOTTOM, numbers[0] == 1)
    name = "a" if numbers[0] == 1 else "b"
    pen.text((x - 0.5, node), name)


def _switch(pen: Pen, x: float, number: int, high: float, low: float) -> None:
    middle = 0.5 * (high + low)
    fet = pen.drawing.add(
        pen.elements.NFet().at((x, middle - 0.5)).anchor("source").theta(0).reverse()
    )
    drain, source, gate = (
        (float(fet.absanchors[n][0]), float(fet.absanchors[n][1]))
        for n in ("drain", "source", "gate")
    )
    pen.line((x, high), (x, drain[1]), drain)
    pen.line(source, (x, source[1]), (x, low))
    top, bottom = middle + 0.75, middle - 0.75
    pen.line((x, top), (x + 0.9, top))
    pen.part("Diode", (x + 0.9, bottom), (x + 0.9, top))
    pen.line((x + 0.9, bottom), (x, bottom))
    pen.text((gate[0] - 0.12, gate[1]), f"Q{number}", "right")


def _snubber(
    pen: Pen, machine: Machine, x: float, at: float, high: float, low: float, named: bool
) -> None:
    snubber = machine.bridge.snubber
    assert snubber is not None
    middle = 0.5 * (high + low)
    texts = (quantity(snubber.resistance, "ohm"), quantity(snubber.capacitance, "F"))
    pen.line((x, high), (at, high))
    side = "bottom" if at > x else "top"
    pen.part("Resistor", (at, high), (at, middle), texts[0] if named else "", side)
    pen.part("Capacitor", (at, middle), (at, low), texts[1] if named else "", side)
    pen.line((at, low), (x, low))
    pen.dot((x, high), (x, low))


def _coupling(pen: Pen, machine: Machine) -> float:
    """From the bridge's nodes through blocking capacitor and leakage; where the primary stands."""
    transformer = machine.transformer
    single = machine.bridge.form.far_end == "rail"
    x = LEG_1 + 2.6 if single else LEG_2 + 2.2
    if single:
        pen.line((LEG_1, NODE_A), (x, NODE_A))
        pen.line((LEG_1, BOTTOM), (x, BOTTOM), (x, NODE_B))
        pen.dot((LEG_1, BOTTOM))
    else:
        snubber, full = machine.bridge.snubber, machine.bridge.legs == 2
        crossed = [LEG_2 - LEG_SNUBBER] if full and snubber and snubber.place == "leg" else []
        _hop(pen, (LEG_1, NODE_A), (x, NODE_A), [*crossed, LEG_2])
        pen.line((LEG_2, NODE_B), (x, NODE_B))
    end = x
    if transformer.blocking_capacitance is not None:
        end = x + 1.9
        pen.part("Capacitor", (x, NODE_A), (end, NODE_A),
                 quantity(transformer.blocking_capacitance, "F"))  # fmt: skip
    label = quantity(transformer.leakage_inductance, "H")
    pen.part("Inductor2", (end, NODE_A), (end + 2.2, NODE_A), label)
    pen.text((end + 1.1, NODE_A + 1.25), "leakage")
    pen.line((x, NODE_B), (end + 2.2, NODE_B))
    return end + 2.2


def _hop(pen: Pen, start: Point, end: Point, over: list[float]) -> None:
    """A level conductor that crosses others without touching them."""
    y = start[1]
    for x in over:
        pen.line(start, (x - 0.22, y))
        pen.drawing.add(pen.elements.Arc2(k=0.9).at((x - 0.22, y)).to((x + 0.22, y)))
        start = (x + 0.22, y)
    pen.line(start, end)


def _load(pen: Pen, machine: Machine, x: float) -> None:
    """Transformer, tank and coil."""
    transformer, tank = machine.transformer, machine.tank
    high, low = NODE_A, NODE_B
    right = x + 1.3
    pen.part("Inductor2", (x, high), (x, low))
    pen.part("Inductor2", (right, low), (right, high))
    for core in (0.58, 0.72):
        pen.line((x + core, high - 0.1), (x + core, low + 0.1))
    ratio = f"{transformer.primary_turns} : {transformer.secondary_turns}"
    pen.text((x + 0.65, low - 0.5), ratio)
    bank = f"{tank.cans} ×\n{quantity(tank.can_capacitance, 'F')}"
    if tank.matching is None:
        coil = right + 2.8
        pen.part("Capacitor", (right, high), (coil, high), bank)
    else:
        node, coil = right + 2.6, right + 5.6
        label = f"matching\n{quantity(tank.matching.inductance, 'H')}"
        pen.part("Inductor2", (right, high), (node, high), label)
        pen.part("Capacitor", (node, high), (node, low), bank, "bottom")
        pen.line((node, high), (coil, high))
        pen.dot((node, high), (node, low))
    pen.line((right, low), (coil, low))
    pen.part("Inductor2", (coil, high), (coil, low))
    pen.drawing.add(
        pen.elements.Rect((0, -0.95), (0.34, 0.95)).at((coil + 0.55, 0.5 * (high + low))).theta(0)
        .color(MUTED)
    )  # fmt: skip
    pen.text((coil + 1.1, 3.8), "coil, empty:", "left")
    pen.text((coil + 1.1, 3.2), quantity(machine.coil.inductance, "H"), "left")

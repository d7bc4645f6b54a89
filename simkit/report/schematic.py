"""The power circuit drawn from the machine file: what is there is drawn, what is not is not."""

import io
from typing import Any

from simkit.parameters.machine import Machine
from simkit.report.style import INK
from simkit.units import format_quantity


def schematic(machine: Machine) -> str:
    """Circuit diagram as SVG text: supply, link, bridge, transformer, tank and coil."""
    import schemdraw
    from matplotlib import rc_context

    schemdraw.use("matplotlib")
    with rc_context({"svg.hashsalt": "simkit", "svg.fonttype": "none"}):
        with schemdraw.Drawing(show=False) as drawing:
            drawing.config(unit=2.2, fontsize=10, color=INK, lw=1.2)
            end = _bridge(drawing, machine)
            _load(drawing, machine, end)
        return _svg(drawing)


def _svg(drawing: Any) -> str:
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    figure = drawing.draw(show=False).fig
    figure.patch.set_alpha(0.0)
    out = io.StringIO()
    FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _value(value: float, unit: str) -> str:
    return format_quantity(value, unit, 3)


def _bridge(drawing: Any, machine: Machine) -> tuple[Any, Any]:
    """Supply to bridge; the two ends of the primary circuit."""
    import schemdraw.elements as elm

    supply, full = machine.supply, machine.bridge.topology == "full"
    source = drawing.add(elm.SourceV().up().length(6).label(_value(supply.voltage, "V")))
    drawing.add(elm.Resistor().right().label(_value(supply.source_resistance, "ohm")))
    top = drawing.here
    drawing.add(
        elm.Capacitor().down().toy(source.start).label(_value(supply.link.capacitance, "F"))
    )
    drawing.add(elm.Line().left().tox(source.start))
    drawing.add(elm.Inductor2().at(top).right().label(_value(machine.bridge.loop_inductance, "H")))
    rail = drawing.here
    first = _leg(drawing, rail, source.start, ("Q1", "Q2"))
    drawing.add(elm.Line().at(rail).right().length(3.4))
    second_top = drawing.here
    drawing.add(elm.Line().at((rail[0], source.start[1])).left().tox(top[0]))
    if full:
        return first, _leg(drawing, second_top, source.start, ("Q3", "Q4"))
    return first, _return(drawing, machine, second_top, source.start)


def _leg(drawing: Any, top: Any, bottom: Any, names: tuple[str, str]) -> Any:
    import schemdraw.elements as elm

    upper = drawing.add(
        elm.NFet(bulk=False).at(top).anchor("drain").theta(0).label(names[0], "rgt")
    )
    drawing.add(elm.Line().at(upper.source).down().length(0.6))
    middle = drawing.here
    drawing.add(elm.Line().down().length(0.6))
    lower = drawing.add(elm.NFet(bulk=False).anchor("drain").theta(0).label(names[1], "rgt"))
    drawing.add(elm.Line().at(lower.source).down().toy(bottom[1]))
    drawing.add(elm.Line().left().length(0.01))
    drawing.add(elm.Dot().at(middle))
    return middle


def _return(drawing: Any, machine: Machine, top: Any, bottom: Any) -> Any:
    """The other end of a half bridge's primary: a capacitor midpoint, or the negative rail."""
    import schemdraw.elements as elm

    if machine.bridge.topology == "half-blocking":
        drawing.add(elm.Line().at((top[0], bottom[1])).right().length(0.4))
        return drawing.here
    text = _value(machine.bridge.split_capacitance or 0.0, "F")
    middle = (top[0], 0.5 * (top[1] + bottom[1]))
    drawing.add(elm.Capacitor().at(top).down().toy(middle[1]).label(text))
    drawing.add(elm.Dot())
    drawing.add(elm.Capacitor().down().toy(bottom[1]).label(text))
    return middle


def _load(drawing: Any, machine: Machine, ends: tuple[Any, Any]) -> None:
    """Transformer, tank and coil to the right of the bridge."""
    import schemdraw.elements as elm

    transformer, tank = machine.transformer, machine.tank
    first, second = ends
    x = max(first[0], second[0]) + 2.2
    drawing.add(elm.Line().at(first).up().length(0.001))
    core = drawing.add(
        elm.Transformer(t1=4, t2=2).at((x + 1.0, second[1] + 0.9)).anchor("p1").right()
        .label(f"{transformer.primary_turns}:{transformer.secondary_turns}", "top")
    )  # fmt: skip
    name = "a to primary"
    if transformer.blocking_capacitance is not None:
        name += f", through {_value(transformer.blocking_capacitance, 'F')}"
    drawing.add(elm.Line().at(core.p1).left().length(0.8).label(name, "left", fontsize=9))
    drawing.add(elm.Line().at(core.p2).left().length(0.8).label("b", "left", fontsize=9))
    drawing.add(elm.Dot(open=True).at(first).label("a", "left", fontsize=9))
    drawing.add(elm.Dot(open=True).at(second).label("b", "left", fontsize=9))
    here = core.s1
    drawing.add(elm.Line().at(here).up().length(0.5))
    if tank.feed == "loop":
        text = f"{tank.cans} x {_value(tank.can_capacitance, 'F')}"
        drawing.add(elm.Capacitor().right().label(text))
    else:
        matching = tank.matching.inductance if tank.matching else 0.0
        drawing.add(elm.Inductor2().right().label(_value(matching, "H")))
        node = drawing.here
        text = f"{tank.cans} x {_value(tank.can_capacitance, 'F')}"
        drawing.add(elm.Capacitor().down().toy(core.s2[1] - 0.5).label(text, "bottom"))
        drawing.add(elm.Line().at(node).right().length(1.6))
    coil = machine.coil
    drawing.add(
        elm.Inductor2(loops=5).down().toy(core.s2[1] - 0.5)
        .label(f"{_value(coil.inductance, 'H')} empty", "bottom")
    )  # fmt: skip
    drawing.add(elm.Line().left().tox(core.s2[0]))
    drawing.add(elm.Line().up().toy(core.s2[1]))

"""Figure of the temperatures while the last state of a run goes on."""

from simkit.report.figures import RC, legend_above, stack, svg
from simkit.report.style import CYCLE, MUTED, drawing
from simkit.report.view import Stay
from simkit.units import format_quantity

WIDTH, HEIGHT = 6.6, 1.9
"""Of the panel [inch]."""
MARKS = {
    1e-3: "1 ms", 1e-2: "10 ms", 0.1: "0.1 s", 1.0: "1 s", 10.0: "10 s", 60.0: "1 min",
    600.0: "10 min", 3600.0: "1 h", 36e3: "10 h",
}  # fmt: skip
"""Times that people say, with their words [s]."""


def stay_figure(view: Stay) -> str:
    """Junction and heatsink over the time that the last state goes on, limit marked, as SVG."""
    with drawing(RC):
        figure, (panel,) = stack(WIDTH, [HEIGHT])
        for (name, values), (colour, dash) in zip(view.curves, CYCLE, strict=False):
            panel.semilogx(view.time, values, color=colour, linestyle=dash, label=name)
        panel.axhline(view.limit, color=MUTED, linewidth=0.8, linestyle=(0, (4, 2)))
        panel.axvline(view.hold, color=MUTED, linewidth=0.8, linestyle=(0, (1, 2)))
        panel.set_xlim(view.time[0], view.time[-1])
        panel.set_ylabel("degC")
        panel.set_xlabel("time the last state goes on")
        panel.set_xticks(*_marks(view.time[0], view.time[-1]))
        panel.minorticks_off()
        legend_above(panel)
        return svg(figure)


def _marks(first: float, last: float) -> tuple[list[float], list[str]]:
    """Those marks that lie in a span [s]."""
    seen = [t for t in MARKS if first * (1 - 1e-9) <= t <= last * (1 + 1e-9)]
    return seen, [MARKS[t] for t in seen]


def stay_words(view: Stay) -> str:
    """What the figure says, for its caption."""
    end = format_quantity(view.curves[0][1][-1], "degC", 3)
    if view.left == float("inf"):
        return f"The hottest junction settles at {end}, below its limit."
    if view.left <= 0.0:
        return "A junction is at its limit by the end of the run."
    return f"A junction is at its limit after {format_quantity(view.left, 's', 3)}; at last {end}."

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
        for k, (name, values) in enumerate(view.curves):
            colour, dash = CYCLE[k % len(CYCLE)]
            width = 1.4 if k < len(CYCLE) else 0.7  # the second round is thin
            panel.semilogx(
                view.time, values, color=colour, linestyle=dash, linewidth=width, label=name
            )
        panel.axhline(view.limit, color=MUTED, linewidth=0.8, linestyle=(0, (4, 2)))
        panel.axvline(view.hold, color=MUTED, linewidth=0.8, linestyle=(0, (1, 2)))
        panel.set_xlim(view.time[0], view.time[-1])
        panel.set_ylabel("degC")
        panel.set_xlabel("time the last state goes on")
        panel.set_xticks(*_marks(view.time[0], view.time[-1]))
        panel.minorticks_off()
        legend_above(panel, max(len(view.curves), 1))
        return svg(figure)


def _marks(first: float, last: float) -> tuple[list[float], list[str]]:
    """Those marks that lie in a span [s]."""
    seen = [t for t in MARKS if first * (1 - 1e-9) <= t <= last * (1 + 1e-9)]
    return seen, [MARKS[t] for t in seen]


def stay_words(view: Stay) -> str:
    """What the figure says, for its caption: what is first at its limit, and where each settles."""
    said = [_part_words(*part) for part in view.parts]
    first = next((p for p in view.parts if p[3] is not None and p[3] < float("inf")), None)
    if first is None:
        lead = "No part of it comes to its limit"
    elif first[3] == 0.0:
        lead = f"First at its limit: {first[0]}, by the end of the run"
    else:
        lead = f"First at its limit: {first[0]}, after {format_quantity(first[3] or 0.0, 's', 3)}"
    return f"{lead}. At last: {'; '.join(said)}."


def _part_words(name: str, settled: float, limit: float | None, _: float | None) -> str:
    bound = "no limit given" if limit is None else f"of {format_quantity(limit, 'degC', 3)}"
    return f"{name} {format_quantity(settled, 'degC', 3)} {bound}"

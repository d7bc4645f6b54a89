"""Figures: data in, SVG text out; the same data always gives the same text."""

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from simkit.measure.waveforms import Array
from simkit.report.downsample import minmax
from simkit.report.style import CYCLE, GRID, INK, MODES, MUTED, ORANGE, PAPER, RED, drawing, library
from simkit.report.text import moment, typeset
from simkit.report.view import CloseUp, Course, Panel, Record, Span

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RC: dict[str, Any] = {
    # Text stays text: smaller, selectable, in the page's own typeface.
    "svg.fonttype": "none",
    "svg.hashsalt": "simkit",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.0,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "grid.color": GRID,
    "grid.linewidth": 0.5,
    "text.color": INK,
    "lines.linewidth": 1.2,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "legend.handlelength": 2.6,
}


def svg(figure: "Figure") -> str:
    """A figure as SVG text, without date; within the `drawing` it was made in."""
    library()
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    canvas: Any = FigureCanvasSVG(figure)
    canvas.print_svg(out, metadata={"Date": None, "Creator": None})
    return out.getvalue()


def canvas(width: float, heights: Sequence[float]) -> tuple["Figure", list["Axes"]]:
    """An empty figure with one column of panels that share the x axis; sizes in inches.

    Margins are fitted to what is drawn, wherever that lies; `stack` draws faster.
    """
    library()
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, sum(heights)), layout="constrained")
    layout: Any = figure.get_layout_engine()
    layout.set(h_pad=0.03, w_pad=0.02, hspace=0.02)
    return figure, _panels(figure, heights)


LEFT, RIGHT, TOP, BOTTOM, BETWEEN = 0.57, 0.1, 0.2, 0.42, 0.2
"""Margins of a stack, and the room above a panel for its curves' names [inch]."""
LABEL = 0.47
"""How far left of its axis a panel's label stands [inch]: beyond six figures."""


def stack(width: float, heights: Sequence[float]) -> tuple["Figure", list["Axes"]]:
    """As `canvas`, for panels with nothing but names above them: fixed margins, labels in a line.

    To find what fits, all text has to be laid out twice more.
    """
    library()
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, sum(heights)))
    place(figure, width, heights)
    panels = _panels(figure, heights)
    for panel in panels:
        panel.yaxis.set_label_coords(-LABEL / (width - LEFT - RIGHT), 0.5)
    return figure, panels


def place(
    figure: "Figure", width: float, heights: Sequence[float], columns: int = 1, top: float = TOP
) -> None:
    """Fixed margins for rows of panels; widths, heights and the room at the top in inches."""
    whole, count = sum(heights), len(heights)
    inside = whole - top - BOTTOM - BETWEEN * (count - 1)
    across = width - LEFT - RIGHT - (LEFT + RIGHT) * (columns - 1)
    figure.subplots_adjust(
        left=LEFT / width, right=1.0 - RIGHT / width, top=1.0 - top / whole, bottom=BOTTOM / whole,
        hspace=BETWEEN * count / inside, wspace=(LEFT + RIGHT) * columns / across,
    )  # fmt: skip


def _panels(figure: "Figure", heights: Sequence[float]) -> list["Axes"]:
    figure.patch.set_alpha(0.0)
    axes = figure.subplots(len(heights), 1, sharex=True, height_ratios=list(heights))
    panels = list(np.atleast_1d(axes))
    for panel in panels:
        panel.patch.set_alpha(0.0)
        panel.grid(True)
        panel.set_axisbelow(True)
    return panels


def timeline(
    courses: Sequence[Course], modes: Sequence[Span], events: Sequence[Span], stop: float
) -> str:
    """The event from start to end: mode strip, then a panel per course with its limits."""

    with drawing(RC):
        figure, panels = stack(8.2, [0.55, *[1.45] * len(courses)])
        mode_strip(panels[0], modes, stop)
        for panel, course in zip(panels[1:], courses, strict=True):
            course_panel(panel, course)
        for panel in panels:
            for event in events:
                panel.axvspan(event.start * 1e3, event.end * 1e3, color=MUTED, alpha=0.09, lw=0)
        event_names(panels[0], events)
        panels[-1].set_xlabel("time since the settled part began, ms")
        panels[-1].set_xlim(0.0, stop * 1e3)
        return svg(figure)


def mode_strip(panel: "Axes", modes: Sequence[Span], stop: float, scale: float = 1e3) -> None:
    """The modes of the bridge as coloured and hatched bars.

    `stop` is the axis's length, in the unit of the spans; `scale` what turns that into the axis's
    own: seconds into milliseconds unless given.
    """
    panel.set_ylim(0, 1)
    panel.set_yticks([])
    panel.grid(False)
    panel.spines["left"].set_visible(False)
    panel.set_ylabel("mode", rotation=0, ha="right", va="center")
    panel.yaxis.set_label_coords(-0.008, 0.5)
    for mode in modes:
        colour, hatch = MODES.get(mode.name, (MUTED, ""))
        left, width = mode.start * scale, (mode.end - mode.start) * scale
        panel.broken_barh([(left, width)], (0, 1), facecolor=colour, alpha=0.28, lw=0)
        panel.broken_barh([(left, width)], (0, 1), facecolor="none", edgecolor=colour,
                          hatch=hatch, lw=0.8)  # fmt: skip
        if mode.end - mode.start > 0.09 * stop:
            panel.text(left + width / 2, 0.5, mode.name, ha="center", va="center", weight="bold")


def event_names(panel: "Axes", events: Sequence[Span]) -> None:
    """Name and length of every event, above a panel."""
    for event in events:
        middle = 0.5e3 * (event.start + event.end)
        panel.annotate(
            f"{event.name}, {(event.end - event.start) * 1e3:.3g} ms", (middle, 1.0),
            xytext=(0, 3), textcoords="offset points", ha="center", va="bottom", color=INK,
            annotation_clip=False,
        )  # fmt: skip


def course_panel(panel: "Axes", course: Course) -> None:
    """Curves and limits of one course."""
    panel.set_ylabel(f"{course.title}, {typeset(course.unit)}")
    for curve, (colour, dashes) in zip(course.curves, CYCLE, strict=False):
        if curve.guide is not None:
            times, values = curve.guide
            panel.plot(times * 1e3, values, color=colour, lw=0.7)
        panel.plot(
            curve.times * 1e3, curve.values, color=colour, label=curve.name,
            ls=dashes if curve.guide is None else "", markersize=3.2,
            marker="." if curve.sampled else "",
        )  # fmt: skip
    top = max((float(np.max(c.values)) for c in course.curves if len(c.values)), default=1.0)
    for level in course.levels:
        _level(panel, level.value, level.text, top)
    if course.levels:
        # What is held against a limit starts at zero, so that heights can be compared.
        panel.set_ylim(bottom=0.0)
    legend_above(panel)


def logarithmic(panel: "Axes") -> None:
    """A logarithmic x axis marked in plain numbers: powers would be mark-up, which is not read."""
    panel.set_xscale("log")
    panel.xaxis.set_major_formatter(lambda value, _place: f"{value:g}")
    panel.xaxis.set_minor_formatter("")


def legend_above(panel: "Axes", columns: int = 4) -> None:
    """Names of the curves above the panel, where no curve can run through them."""
    panel.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=columns, fontsize=7.5,
                 borderpad=0.0, borderaxespad=0.15, columnspacing=1.4 if columns <= 4 else 0.9,
                 handlelength=2.0 if columns <= 4 else 1.6)  # fmt: skip


def _level(panel: "Axes", value: float, text: str, top: float) -> None:
    """A limit line; named at the upper edge when it lies far above everything drawn."""
    if value > 2.5 * top:
        panel.text(0.995, 1.02, f"{text}, far above", transform=panel.transAxes, ha="right",
                   va="bottom", color=RED, fontsize=7.5)  # fmt: skip
        return
    panel.axhline(value, color=RED, lw=1.0, ls=(0, (7, 2)))
    panel.set_ylim(top=max(panel.get_ylim()[1], 1.12 * value))
    panel.annotate(text, (1.0, value), xycoords=("axes fraction", "data"), xytext=(-3, 2),
                   textcoords="offset points", ha="right", va="bottom", color=RED,
                   fontsize=7.5)  # fmt: skip


def close_ups(views: Sequence[CloseUp]) -> list[str]:
    """Transitions on the same scales, so that they can be held side by side."""
    spans = [_spans(v) for v in views]
    limits = [(min(s[k][0] for s in spans), max(s[k][1] for s in spans)) for k in range(3)]
    return [_close_up(v, limits) for v in views]


def _spans(view: CloseUp) -> list[tuple[float, float]]:
    pair = (view.outgoing, view.incoming)
    groups = (
        [s.drain_source for s in pair],
        [view.bridge_current, view.outgoing.diode_current, view.incoming.channel_current],
        [s.gate_source for s in pair],
    )
    out = []
    for group in groups:
        low, high = min(float(a.min()) for a in group), max(float(a.max()) for a in group)
        room = 0.14 * max(high - low, 1.0)
        out.append((low - room, high + room))
    return out


def _close_up(view: CloseUp, limits: Sequence[tuple[float, float]]) -> str:

    with drawing(RC):
        figure, panels = stack(5.3, [0.55, 1.65, 2.0, 1.5])
        micro = (view.time - view.off) * 1e6
        panels[-1].set_xlim(float(micro[0]), float(micro[-1]))
        _commands(panels[0], view)
        _voltages(panels[1], view, micro)
        _currents(panels[2], view, micro)
        _gates(panels[3], view, micro)
        for panel, (low, high) in zip(panels[1:], limits, strict=True):
            panel.set_ylim(low, high)
        for panel in panels:
            panel.axvspan(0.0, view.dead_time * 1e6, color=ORANGE, alpha=0.16, lw=0)
        panels[-1].set_xlabel(f"µs after {view.outgoing.name} is commanded off")
        return svg(figure)


def _commands(panel: "Axes", view: CloseUp) -> None:
    """Gate commands as bars: what is on, and the gap between them."""
    dead = view.dead_time * 1e6
    for y, switch, start, length in (
        (1, view.outgoing, -1e3, 1e3), (0, view.incoming, dead, 1e3),
    ):  # fmt: skip
        panel.broken_barh([(start, length)], (y + 0.12, 0.76), facecolor=MUTED, alpha=0.45, lw=0)
        x, align = (0.01, "left") if y else (0.99, "right")
        panel.text(x, y + 0.5, f"{switch.name} on", transform=panel.get_yaxis_transform(),
                   ha=align, va="center", fontsize=7.5)  # fmt: skip
    panel.text(dead / 2, 1.0, "dead time", ha="center", va="center", fontsize=7.5)
    panel.set_ylim(0, 2)
    panel.set_yticks([])
    panel.grid(False)
    for side in ("left", "bottom"):
        panel.spines[side].set_visible(False)


def _pair(panel: "Axes", micro: Array, curves: Sequence[tuple[str, Array]]) -> None:
    for (name, values), (colour, dashes) in zip(curves, CYCLE, strict=False):
        panel.plot(micro, values, color=colour, ls=dashes, label=name)
    legend_above(panel)


def _voltages(panel: "Axes", view: CloseUp, micro: Array) -> None:
    out, into = view.outgoing, view.incoming
    _pair(panel, micro, [(out.name, out.drain_source), (into.name, into.drain_source)])
    panel.axhline(view.link, color=MUTED, lw=0.7, ls=":")
    panel.annotate("link", (0.0, view.link), xycoords=("axes fraction", "data"), xytext=(3, -2),
                   textcoords="offset points", va="top", color=MUTED, fontsize=7.5)  # fmt: skip
    panel.set_ylabel("drain-source, V")


def _currents(panel: "Axes", view: CloseUp, micro: Array) -> None:
    out, into = view.outgoing, view.incoming
    _pair(
        panel, micro,
        [("bridge node", view.bridge_current), (f"{out.name} body diode", out.diode_current),
         (f"{into.name} channel", into.channel_current)],
    )  # fmt: skip
    panel.axhline(0.0, color=MUTED, lw=0.7)
    panel.set_ylabel("current, A")
    reversal = zero_crossing(view.time, view.bridge_current, view.off)
    if reversal is not None:
        _mark(panel, (reversal - view.off) * 1e6, "current reverses")
    if view.recovery is not None and view.recovery_end is not None:
        _recovery(panel, view, micro)


def zero_crossing(time: Array, values: Array, after: float) -> float | None:
    """First change of sign after a time [s], None when there is none."""
    late = time >= after
    t, v = time[late], values[late]
    turns = np.flatnonzero(np.signbit(v[1:]) != np.signbit(v[:-1]))
    if len(turns) == 0:
        return None
    k = int(turns[0])
    return float(t[k] + (t[k + 1] - t[k]) * v[k] / (v[k] - v[k + 1]))


def _mark(panel: "Axes", x: float, text: str) -> None:
    panel.axvline(x, color=INK, lw=0.7, ls=":")
    left, right = panel.get_xlim()
    early = x < 0.5 * (left + right)
    panel.annotate(text, (x, 0.98), xycoords=("data", "axes fraction"),
                   xytext=(3 if early else -3, 0), textcoords="offset points", va="top",
                   ha="left" if early else "right", fontsize=7.5)  # fmt: skip


def _recovery(panel: "Axes", view: CloseUp, micro: Array) -> None:
    """Recovery charge shaded between the diode current and zero, its peak named."""
    found = view.recovery
    assert found is not None
    assert view.recovery_end is not None
    inside = (view.time >= found.time) & (view.time <= view.recovery_end)
    current = view.outgoing.diode_current
    panel.fill_between(micro[inside], np.minimum(current[inside], 0.0), 0.0, color=RED, alpha=0.35,
                       lw=0, hatch="////", edgecolor=RED)  # fmt: skip
    k = int(np.argmin(np.where(inside, current, np.inf)))
    text = f"recovery: {found.charge * 1e6:.3g} µC,\n{found.peak_current:.3g} A at its peak"
    panel.annotate(text, (float(micro[k]), float(current[k])), xytext=(0.02, 0.05),
                   textcoords="axes fraction", va="bottom", ha="left", fontsize=7.5,
                   bbox={"facecolor": PAPER, "alpha": 0.85, "lw": 0, "pad": 1},
                   arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.6})  # fmt: skip


def _gates(panel: "Axes", view: CloseUp, micro: Array) -> None:
    out, into = view.outgoing, view.incoming
    _pair(panel, micro, [(out.name, out.gate_source), (into.name, into.gate_source)])
    panel.axhline(view.threshold, color=RED, lw=0.9, ls=(0, (7, 2)))
    panel.annotate("threshold", (0.0, view.threshold), xycoords=("axes fraction", "data"),
                   xytext=(3, 2), textcoords="offset points", va="bottom", color=RED,
                   fontsize=7.5)  # fmt: skip
    panel.set_ylabel("gate-source, V")


def waveforms(record: Record, panels: Sequence[Panel], points: int = 500) -> str:
    """One stretch of waveforms at a glance: the viewer's stand-in on paper."""

    with drawing(RC):
        figure, axes = stack(8.2, [1.25] * len(panels))
        start, end = float(record.time[0]), float(record.time[-1])
        bins = np.repeat(np.linspace(start, end, points), 2) * 1e3
        for number, (axis, panel) in enumerate(zip(axes, panels, strict=True)):
            mine = [t for t in record.traces if t.panel == number]
            for trace, (colour, dashes) in zip(mine, CYCLE, strict=False):
                # Both extremes of every bin: a spike keeps its height.
                both = np.stack(minmax(record.time, trace.values, points), axis=1).ravel()
                axis.plot(bins, both, color=colour, ls=dashes, lw=1.0, label=trace.title)
            axis.set_ylabel(f"{panel.title}, {panel.unit}")
            legend_above(axis)
        axes[-1].set_xlabel("time since the settled part began, ms")
        axes[-1].set_xlim(start * 1e3, end * 1e3)
        axes[-1].ticklabel_format(axis="x", useOffset=False)
        return svg(figure)


def close_up_alt(view: CloseUp) -> str:
    """What a close-up shows, for those who do not see it."""
    return f"{view.title} at {moment(view.transition.time)}. {view.finding}"


__all__ = ["close_up_alt", "close_ups", "svg", "timeline", "waveforms", "zero_crossing"]

"""The report page: one file, no request to anywhere, whole without scripts too.

Every text is escaped by the template engine; figures are the project's own SVG. The page's
policy allows its own style and the one script whose digest it names, and nothing else.
"""

import base64
import hashlib
import json
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

from simkit.figures.table import sudden
from simkit.figures.terms import in_terms
from simkit.judge.cautions import CAUTIONS
from simkit.report import figures, text
from simkit.report.downsample import overview, within_budget
from simkit.report.operating_map import COLUMNS, map_rows, operating_figure
from simkit.report.schematic import schematic
from simkit.report.stay import stay_figure, stay_words
from simkit.report.style import CYCLE, TEMPLATES, VARIABLES, themed
from simkit.report.view import LimitRow, Record, ReportView

BINS = 2000
"""Bins of the viewer's overview: twice as many points per trace [1]."""
BUDGET = 700_000
"""Most that waveforms at full rate may take of a page [byte]; a whole page stays below 2 MB."""
SCALE = 3.0
"""Share of the limit at which a bar is full, at most [1]."""


def write_report(folder: Path, view: ReportView) -> None:
    """Write `index.html` and `figures/*.svg` into an existing folder."""
    drawn = {name: in_terms(view.machine, svg) for name, svg in draw(view).items()}
    target = folder / "figures"
    target.mkdir()
    for name, svg in drawn.items():
        (target / f"{name}.svg").write_text(svg, encoding="utf-8")
    said = in_terms(view.machine, page(view, drawn))
    (folder / "index.html").write_text(said, encoding="utf-8")


def draw(view: ReportView) -> dict[str, str]:
    """Every figure of a page as SVG, by name."""
    drawn = {
        "timeline": figures.timeline(view.courses, view.modes, view.events, view.stop),
        "circuit": schematic(view.machine),
    }
    close = [("healthy", view.healthy), ("worst", view.worst)]
    present = [(name, shown) for name, shown in close if shown is not None]
    pictures = figures.close_ups([shown for _, shown in present]) if present else []
    drawn |= {name: svg for (name, _), svg in zip(present, pictures, strict=True)}
    if view.windows:
        drawn["waveforms"] = figures.waveforms(still(view), view.panels)
    if view.operating:
        drawn["operating-map"] = operating_figure(view.operating)
    if view.stay:
        drawn["stay"] = stay_figure(view.stay)
    return drawn


def page(view: ReportView, drawn: dict[str, str]) -> str:
    """The page of one rehearsal as HTML text."""
    from markupsafe import Markup

    rows = text.by_ratio(view.limits)
    return rendered(
        "report.html.j2",
        "viewer.js",
        view=view,
        rows=rows,
        top=bar_scale(view.limits),
        todo=to_do(view),
        lead=leading(view) if view.outcome == "over_limit" else None,
        modes=text.course_of_modes(view.modes),
        figures={name: Markup(themed(svg, name)) for name, svg in drawn.items()},
        alt=figures.close_up_alt,
        losses=_shares(view),
        points=_points(view),
        map_columns=[name for _, name, _ in COLUMNS],
        map_rows=map_rows(view.operating) if view.operating else [],
        stay_words=stay_words(view.stay) if view.stay else "",
        colours=[VARIABLES[colour] for colour, _ in CYCLE],
        still=still(view) if view.windows else None,
        wavedata=embedded(viewer_data(view)),
    )


def rendered(template: str, script: str | None, **values: Any) -> str:
    """A template with the shared style, at most one script, and the policy that allows these."""
    from markupsafe import Markup

    code = (TEMPLATES / script).read_text(encoding="utf-8") if script else ""
    digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode("ascii")
    scripts = f"script-src 'sha256-{digest}'; " if script else ""
    policy = (
        f"default-src 'none'; {scripts}style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    style = Markup((TEMPLATES / "style.css").read_text(encoding="utf-8"))
    found = _environment().get_template(template)
    return str(found.render(style=style, script=Markup(code), policy=policy, **values))


@lru_cache(maxsize=1)
def _environment() -> Any:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        undefined=jinja2.StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "quantity": text.quantity,
        "error": text.error_text,
        "moment": text.moment,
        "percent": text.percent,
        "margin": text.margin,
        "typeset": text.typeset,
    }
    environment.globals |= {
        "caution_lines": CAUTIONS,
        "icons": text.STATUS_ICONS,
        "words": text.STATUS_WORDS,
        "outcome_icons": text.OUTCOME_ICONS,
        "outcome_words": text.OUTCOME_WORDS,
    }
    return environment


def embedded(data: Any) -> Any:
    """Data for a script, as text that cannot end the element it stands in."""
    from markupsafe import Markup

    out = json.dumps(data, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Markup(out.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def still(view: ReportView) -> Record:
    """The stretch that stands for the waveforms on paper: the one around the worst transition."""
    when = view.worst.transition.time if view.worst else 0.0
    inside = (w for w in view.windows if w.time[0] <= when <= w.time[-1])
    return next(inside, view.windows[0])


def viewer_data(view: ReportView) -> dict[str, Any]:
    """What the waveform viewer is given."""
    return {
        "panels": [asdict(panel) for panel in view.panels],
        "traces": [{"title": t.title, "panel": t.panel} for t in view.whole.traces],
        "views": [asdict(span) for span in view.views],
        "overview": asdict(overview(view.whole, BINS)),
        "windows": [asdict(item) for item in within_budget(view.windows, BUDGET)],
    }


def bar_scale(rows: tuple[LimitRow, ...]) -> float:
    """Share of the limit at which the bars of a table end [1]."""
    worst = max((row.ratio or 0.0 for row in rows), default=1.0)
    return min(max(1.25, 1.05 * worst), SCALE)


def to_do(view: ReportView) -> list[tuple[str, list[LimitRow]]]:
    """Advice with the rows it helps: of those over or near, else of the three closest.

    What the verdict's reason is about comes first, then what destroys within a cycle, then the
    others; each by its ratio.
    """
    rows = text.by_ratio(view.limits)
    over = [row for row in rows if row.status in ("over", "near")]
    lead = leading(view)
    over.sort(key=lambda row: (row is not lead, row.quantity not in sudden(), -(row.ratio or 0.0)))
    helped: dict[str, list[LimitRow]] = {}
    for row in over or rows[:3]:
        helped.setdefault(row.change, []).append(row)
    return list(helped.items())


def leading(view: ReportView) -> LimitRow | None:
    """The row that the reason of an over-limit verdict is about."""
    over = [row for row in view.limits if row.status == "over"]
    return min(over, key=_first, default=None)


def _first(row: LimitRow) -> tuple[bool, float, float]:
    first = row.first_over if row.first_over is not None else float("inf")
    return row.quantity not in sudden(), first, -(row.ratio or 0.0)


def _shares(view: ReportView) -> list[tuple[str, float, float]]:
    """Part, joules and share of everything lost, largest first."""
    total = sum(max(joules, 0.0) for _, joules in view.energy.lost) or 1.0
    ordered = sorted(view.energy.lost, key=lambda pair: -pair[1])
    return [(name, joules, joules / total) for name, joules in ordered]


POINT_ROWS = (
    ("Drive frequency", "frequency_hz", "Hz"),
    ("Resonant frequency", "resonant_frequency_hz", "Hz"),
    ("Phase, current behind voltage", "phase_deg", "deg"),
    ("Supply current", "supply_current_a", "A"),
    ("Input power", "input_power_w", "W"),
    ("Power in coil and workpiece", "workpiece_power_w", "W"),
    ("Loss in the bridge", "bridge_loss_w", "W"),
    ("Tank voltage, peak", "tank_voltage_peak_v", "V"),
    ("Coil current, peak", "tank_current_peak_a", "A"),
    ("Primary current, peak", "primary_current_peak_a", "A"),
    ("Turn-off current", "turn_off_current_a", "A"),
    ("Loaded Q", "loaded_q", "1"),
)


def _points(view: ReportView) -> list[tuple[str, Any, Any, str]]:
    return [
        (name, getattr(view.before, key), getattr(view.after, key), unit)
        for name, key, unit in POINT_ROWS
    ]

"""The report page: one file, no request to anywhere, legible without scripts.

Every text is escaped by the template engine; figures are the project's own SVG. The page's
policy allows its own style and nothing else.
"""

from pathlib import Path
from typing import Any

from simkit.report import figures, text
from simkit.report.schematic import schematic
from simkit.report.style import themed
from simkit.report.view import LimitRow, ReportView

TEMPLATES = Path(__file__).parent / "templates"


def write_report(folder: Path, view: ReportView) -> None:
    """Write `index.html` and `figures/*.svg` into an existing folder."""
    drawn = draw(view)
    target = folder / "figures"
    target.mkdir()
    for name, svg in drawn.items():
        (target / f"{name}.svg").write_text(svg, encoding="utf-8")
    (folder / "index.html").write_text(page(view, drawn), encoding="utf-8")


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
    return drawn


def page(view: ReportView, drawn: dict[str, str]) -> str:
    """The page of one rehearsal as HTML text."""
    import jinja2
    from markupsafe import Markup

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
    inline = {name: Markup(themed(svg, name)) for name, svg in drawn.items()}
    style = Markup((TEMPLATES / "style.css").read_text(encoding="utf-8"))
    template = environment.get_template("report.html.j2")
    return template.render(
        view=view,
        rows=text.by_ratio(view.limits),
        todo=to_do(view),
        modes=text.course_of_modes(view.modes),
        figures=inline,
        style=style,
        icons=text.STATUS_ICONS,
        words=text.STATUS_WORDS,
        outcome_icon=text.OUTCOME_ICONS[view.outcome],
        alt=figures.close_up_alt,
        losses=_shares(view),
        points=_points(view),
    )


def to_do(view: ReportView) -> list[LimitRow]:
    """Rows whose advice comes first: those over, else the three closest to their limits."""
    rows = text.by_ratio(view.limits)
    over = [row for row in rows if row.status in ("over", "near")]
    return over[:5] or rows[:3]


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

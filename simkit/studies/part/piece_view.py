"""What the page of a workpiece shows, from what was found."""

from simkit.studies.part.piece import PieceReport, Sweep
from simkit.studies.part.piece_page import Curve, LoadFigure, Mark, PieceView
from simkit.units import format_quantity


def piece_view(report: PieceReport) -> PieceView:
    """Page data of a piece."""
    return PieceView(
        machine=report.machine,
        title=report.title,
        sentence=report.sentence,
        facts=tuple(facts(report)),
        figures=(_level(report), _temperature(report), _place(report)),
        warnings=report.warnings,
    )


def facts(report: PieceReport) -> list[tuple[str, str]]:
    """Figures worth a name, as text."""
    rows = [
        ("empty coil", _pair(report.empty_inductance, report.empty_resistance)),
        ("reading at low level", _pair(report.level.inductance[0], report.level.resistance[0])),
        ("at the working level", _pair(*_working(report))),
        ("working coil current", format_quantity(report.working_current, "A", 3) + " peak"),
    ]
    if report.flip:
        rows += [
            ("L turns at", format_quantity(report.flip.coil_current, "A", 3) + " peak"),
            ("field there", f"{report.flip.surface_field / 1e3:.3g} kA/m"),
            ("permeability there", f"{report.flip.mu_r:.3g}"),
        ]
    if report.curie is not None:
        rows.append(("Curie point", format_quantity(report.curie, "degC")))
    return rows


def _pair(inductance: float, resistance: float) -> str:
    return f"{format_quantity(inductance, 'H', 4)}, {format_quantity(resistance, 'ohm', 3)}"


def _working(report: PieceReport) -> tuple[float, float]:
    return report.places.inductance[0], report.places.resistance[0]


def _curve(sweep: Sweep, factor: float = 1.0) -> Curve:
    x = tuple(factor * value for value in sweep.x)
    return Curve(sweep.name, x, sweep.inductance, sweep.resistance)


def _level(report: PieceReport) -> LoadFigure:
    marks = [Mark(report.working_current, "working level")]
    if report.flip:
        marks.append(Mark(report.flip.coil_current, "L turns"))
    return LoadFigure(
        key="level",
        title="Against the coil's current",
        caption=f"L and R at the coil's ends against its current. {report.sentence}",
        label="coil current, A peak",
        curves=(_curve(report.level),),
        empty=(report.empty_inductance, report.empty_resistance),
        marks=tuple(marks),
        logarithmic=True,
    )


def _temperature(report: PieceReport) -> LoadFigure:
    curie = report.curie
    said = "" if curie is None else f" Above the Curie point, {curie:g} °C, it is not magnetic."
    return LoadFigure(
        key="temperature",
        title="Against the piece's temperature",
        caption=f"L and R at the coil's ends while the piece is heated through.{said}",
        label="temperature of the piece, °C",
        curves=tuple(_curve(sweep) for sweep in report.temperatures),
        empty=(report.empty_inductance, report.empty_resistance),
        marks=() if curie is None else (Mark(curie, "Curie point"),),
    )


def _place(report: PieceReport) -> LoadFigure:
    return LoadFigure(
        key="place",
        title="Along the way out",
        caption="L and R at the coil's ends as the piece leaves, its current held.",
        label="middle of the piece from the middle of the coil, mm",
        curves=(_curve(report.places, 1e3),),
        empty=(report.empty_inductance, report.empty_resistance),
    )

"""`simkit part`: a part made from data-sheet numbers, put through virtual test circuits."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simkit.errors import InputError, Problem
from simkit.verbs.common import caution, json_option, note, progress_bar, quiet_option, set_option

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.studies.part.refitted import SideBySide
    from simkit.studies.part.study import PartReport


@click.command("part")
@click.argument("part_file", type=click.Path(path_type=Path))
@click.option("--piece", metavar="NAME", help="PART_FILE is a machine: sweep this workpiece of it.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the workpiece's page.")
@click.option(
    "--rehearse",
    type=click.Path(path_type=Path),
    metavar="SCENARIO",
    help="Rehearse it with the part's model file, and with our own switch fitted to that.",
)
@set_option
@json_option
@quiet_option
def command(
    part_file: Path,
    piece: str | None,
    out: Path | None,
    rehearse: Path | None,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Fit PART_FILE, run its virtual tests, and set given numbers beside obtained ones.

    With a model file in it ([model]) the file itself is tested. With --rehearse: how far a
    rehearsal with it and one with our own switch, fitted to what it showed, differ.

    With --piece: L and R of a machine's coil with that workpiece in it, against the coil's
    current, the piece's temperature and its place, as a page.
    """
    if piece is not None:
        return _piece(part_file, piece, out or Path("reports") / f"piece-{piece}", overrides,
                      as_json, quiet)  # fmt: skip
    if out is not None:
        raise InputError([Problem("--out", None, "", str(out), "goes with --piece NAME")])
    return _switch(part_file, rehearse, overrides, as_json, quiet)


def _piece(
    file: Path, name: str, out: Path, overrides: dict[str, str], as_json: bool, quiet: bool
) -> int:
    from simkit.studies.inputs.loading import load_machine
    from simkit.studies.output.folder import report_folder
    from simkit.studies.output.report_place import check_target
    from simkit.studies.part.piece import document as piece_document
    from simkit.studies.part.piece import examine_piece
    from simkit.studies.part.piece_page import write_piece
    from simkit.studies.part.piece_view import facts, piece_view

    machine = load_machine(file, overrides)
    check_target(out, mark="piece.json")
    report = examine_piece(machine, name)
    found = piece_document(report)

    folder = report_folder(
        out, "piece.json", found, lambda fresh: write_piece(fresh, piece_view(report))
    )
    if as_json:
        print(json.dumps(found, indent=1))
        return 0
    print(f"{report.title}\n{report.sentence}\n")
    for key, value in facts(report):
        print(f"  {key:22} {value}")
    for warning in report.warnings:
        note(f"note: {warning}", quiet)
    note(f"page: {folder / 'index.html'}", quiet)
    caution()
    return 0


def _switch(
    part_file: Path, scenario: Path | None, overrides: dict[str, str], as_json: bool, quiet: bool
) -> int:
    from simkit.parts.switches import load_part
    from simkit.studies.part.examined import examined

    loaded = load_part(part_file, overrides)
    try:
        with progress_bar(loaded.model.name, quiet) as progress:
            report = examined(loaded, progress)
    except ValueError as error:
        raise InputError([Problem(str(part_file), None, "", "", str(error))]) from error
    both = _beside(loaded, report, scenario, quiet) if scenario else None
    if as_json:
        found = document(report, loaded.model.name, loaded.digest)
        print(json.dumps(found | (_as_json(both) if both else {}), indent=1))
    else:
        _print(report, loaded.model.title, quiet)
        if both:
            _print_beside(both)
        for warning in loaded.warnings:
            note(f"note: {warning}", quiet)
    return 0


def _beside(part: "Loaded[Any]", report: "PartReport", scenario: Path, quiet: bool) -> "SideBySide":
    from simkit.studies.inputs.loading import load_scenario
    from simkit.studies.part.refitted import beside

    if part.model.model is None:
        rule = "goes with a part that has a model file ([model])"
        raise InputError([Problem("--rehearse", None, "", str(scenario), rule)])
    told, machine = load_scenario(scenario)
    try:
        with progress_bar(told.model.name, quiet) as progress:
            return beside(part, report, machine.model, told.model, progress)
    except ValueError as error:
        rule = f"our own switch cannot be fitted to what the file shows: {error}"
        raise InputError([Problem(str(part.file), None, "", "", rule)]) from error


def _as_json(both: "SideBySide") -> dict[str, object]:
    from dataclasses import asdict

    rows = [asdict(row) | {"differs": row.differs, "share": row.share} for row in both.rows]
    outcomes = {"file": both.file.verdict.outcome, "ours": both.ours.verdict.outcome}
    return {"rehearsed": {"verdicts": outcomes, "rows": rows}}


def _print_beside(both: "SideBySide") -> None:
    from simkit.judge.words import WORDS
    from simkit.units import format_quantity

    print(f"\nrehearsed with the file: {WORDS[both.file.verdict.outcome]}; with our own switch "
          f"fitted to it: {WORDS[both.ours.verdict.outcome]}")  # fmt: skip
    for row in both.rows:
        file, ours = ("not evaluated" if v is None else format_quantity(v, row.unit)
                      for v in (row.file, row.ours))  # fmt: skip
        if row.share is None:
            said = ""
        else:
            beyond = "beyond both errors" if row.differs else "within both errors"
            said = (
                f"{100 * row.share:+6.1f} % of the limit, {beyond if row.error is not None else ''}"
            )
        print(f"  {row.quantity:26} file {file:>13}  ours {ours:>13}  {said}")


def document(report: "PartReport", name: str, digest: str) -> dict[str, object]:
    """The report as one JSON document; SI units throughout."""
    from dataclasses import asdict
    from math import isfinite

    from simkit.judge.cautions import CAUTIONS

    rows = [
        {**asdict(row), "deviation": row.deviation, "status": row.status} for row in report.rows
    ]
    plain = [
        {k: None if isinstance(v, float) and not isfinite(v) else v for k, v in row.items()}
        for row in rows
    ]
    return {
        "part": {"name": name, "digest": digest},
        "within_bounds": report.within,
        "rows": plain,
        "contradictions": list(report.contradictions),
        "switch": report.switch.model_dump(mode="json"),
        "notes": list(report.notes),
        "gave_up": list(report.gave_up),
        "cautions": list(CAUTIONS),
        "engine": report.engine,
        "engine_seconds": report.engine_seconds,
    }


def _print(report: "PartReport", title: str, quiet: bool) -> None:
    from simkit.units import format_quantity

    print(title)
    test = None
    for sentence in report.gave_up:
        note(f"no answer from {sentence}", quiet)
    for row in report.rows:
        if row.test != test:
            test = row.test
            print(f"\n{test}")
        given = "-" if row.given is None else format_quantity(row.given, row.unit)
        obtained = format_quantity(row.obtained, row.unit)
        deviation = "" if row.deviation is None else f"{100 * row.deviation:+.1f} %"
        mark = "outside" if row.status == "outside" else ""
        print(
            f"  {row.quantity:15} given {given:>11}  obtained {obtained:>11}  {deviation:>8}  "
            f"{mark:7} {row.condition}"
        )
    for sentence in report.contradictions:
        print(f"\ncontradiction: {sentence}")
    print(
        "\nEvery fitted number is returned within its bound."
        if report.within
        else "\nNot every number is returned within its bound: see the lines marked outside."
    )
    for line in report.notes:
        note(f"note: {line}", quiet)
    caution()
    note(f"{report.engine}, {report.engine_seconds:.2f} s in the engine", quiet)

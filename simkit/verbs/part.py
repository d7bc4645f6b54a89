"""`simkit part`: a part made from data-sheet numbers, put through virtual test circuits."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simkit.errors import InputError, Problem
from simkit.verbs.common import caution, json_option, note, progress_bar, quiet_option, set_option

if TYPE_CHECKING:
    from simkit.studies.part.study import PartReport


@click.command("part")
@click.argument("part_file", type=click.Path(path_type=Path))
@click.option("--piece", metavar="NAME", help="PART_FILE is a machine: sweep this workpiece of it.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the workpiece's page.")
@set_option
@json_option
@quiet_option
def command(
    part_file: Path,
    piece: str | None,
    out: Path | None,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Fit PART_FILE, run its virtual tests, and set given numbers beside obtained ones.

    With --piece: L and R of a machine's coil with that workpiece in it, against the coil's
    current, the piece's temperature and its place, as a page.
    """
    if piece is not None:
        return _piece(part_file, piece, out or Path("reports") / f"piece-{piece}", overrides,
                      as_json, quiet)  # fmt: skip
    if out is not None:
        raise InputError([Problem("--out", None, "", str(out), "goes with --piece NAME")])
    return _switch(part_file, overrides, as_json, quiet)


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


def _switch(part_file: Path, overrides: dict[str, str], as_json: bool, quiet: bool) -> int:
    from simkit.parameters.part_igbt import Igbt
    from simkit.parts.modelled import with_model
    from simkit.parts.switches import load_part
    from simkit.run.process import NgspiceEngine
    from simkit.studies.part.igbt import examine_igbt
    from simkit.studies.part.study import examine

    loaded, engine = load_part(part_file, overrides), NgspiceEngine()
    test = examine_igbt if isinstance(loaded.model, Igbt) else examine
    try:
        with progress_bar(loaded.model.name, quiet) as progress:
            report = test(
                loaded.model,
                lambda deck: engine.run(deck.text, deck.saved, deck.stop),
                progress,
                lambda switch, celsius: with_model(loaded, switch, celsius),
            )
    except ValueError as error:
        raise InputError([Problem(str(part_file), None, "", "", str(error))]) from error
    if loaded.model.model is not None:
        from dataclasses import replace

        from simkit.studies.part.model_file import notes_on

        report = replace(report, notes=(*notes_on(loaded, report), *report.notes))
    if as_json:
        print(json.dumps(document(report, loaded.model.name, loaded.digest), indent=1))
    else:
        _print(report, loaded.model.title, quiet)
        for warning in loaded.warnings:
            note(f"note: {warning}", quiet)
    return 0


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
        "cautions": list(CAUTIONS),
        "engine": report.engine,
        "engine_seconds": report.engine_seconds,
    }


def _print(report: "PartReport", title: str, quiet: bool) -> None:
    from simkit.units import format_quantity

    print(title)
    test = None
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

"""`simkit new`: a commented machine file and first scenarios from a few asked values."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simkit.errors import InputError, Problem
from simkit.verbs.common import caution, json_option, note, quiet_option, set_option

if TYPE_CHECKING:
    from simkit.studies.new.described import Design
    from simkit.studies.new.study import Question


@click.command("new")
@click.argument("name")
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    default=Path(),
    show_default="the current folder",
    help="Folder in which the new one is made.",
)
@click.option("--mains", metavar="VOLTS", help="Mains, rms; with --power sizes the machine.")
@click.option("--power", metavar="WATTS", help="Power wanted in coil and workpiece.")
@click.option("--frequency", metavar="HERTZ", default="80 kHz", show_default=True,
              help="Working frequency wanted.")  # fmt: skip
@click.option("--coil", metavar="GEOMETRY", help='By ruler: "6 x 50 mm x 60 mm x 6 mm", turns, '
              "bore, length, tube.")  # fmt: skip
@click.option("--empty", metavar="L,R", help='By LCR meter, coil empty: "0.9 uH, 12 mohm".')
@click.option("--loaded", metavar="L,R", help="The same with the workpiece in.")
@click.option("--switch", metavar="CLASS", help="Part class, e.g. class-600v-superjunction.")
@click.option("--half", is_flag=True, help="Half bridge; else a full one.")
@click.option("--defaults", is_flag=True, help="Ask nothing; take the printed defaults.")
@set_option
@json_option
@quiet_option
def command(
    name: str,
    into: Path,
    mains: str | None,
    power: str | None,
    frequency: str,
    coil: str | None,
    empty: str | None,
    loaded: str | None,
    switch: str | None,
    half: bool,
    defaults: bool,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """A folder NAME with a commented machine file and first scenarios.

    One line says what is to be built: --mains 230 --power 1500 --coil "6 x 50 mm x 60 mm x 6 mm"
    sizes turns and capacitors by the fundamental, and --switch takes a part class.

    On a terminal the few values that matter are asked for; --set KEY=VALUE answers one beforehand.
    Elsewhere, or with --defaults, the printed defaults are taken. Whatever was not said is
    labelled as assumed in the file.
    """
    from simkit.judge.cautions import CAUTIONS
    from simkit.studies.new.study import questions, write_new

    answers = dict(overrides)
    wanted = {"--coil": coil, "--empty": empty, "--loaded": loaded}
    design = described(mains, power, frequency, wanted, switch, half)
    if design is None and not (defaults or as_json) and sys.stdin.isatty():
        answers |= _asked([q for q in questions() if q.key not in answers])
    made = write_new(name, into, answers, design)
    if as_json:
        values = [{"key": k, "value": v, "assumed": not told} for k, v, told in made.values]
        worked = [{"key": k, "value": v, "how": n} for k, v, n in made.worked_out]
        guessed = [{"key": k, "value": v} for k, v in made.guessed]
        document = {
            "schema": "simkit.new/1", "folder": str(made.folder), "files": list(made.files),
            "values": values, "worked_out": worked, "guessed": guessed,
            "cautions": list(CAUTIONS),
        }  # fmt: skip
        print(json.dumps(document, indent=1))
        return 0
    for key, value, told in made.values:
        note(f"{'as told' if told else 'assumed'}  {key} = {value}", quiet)
    for key, value, how in made.worked_out:
        note(f"worked out  {key} = {value} ({how})", quiet)
    note(f"{len(made.guessed)} values are guessed; {made.folder}/guessed.txt lists them, "
         f"{made.folder}/machine.svg shows the circuit.", quiet)  # fmt: skip
    print(made.folder / "machine.toml")
    note(f"Next: simkit check {made.folder}/machine.toml, then simkit run "
         f"{made.folder}/pull-out.toml", quiet)  # fmt: skip
    caution()
    return 0


def described(
    mains: str | None, power: str | None, frequency: str, coil: dict[str, str | None],
    switch: str | None, half: bool,
) -> "Design | None":  # fmt: skip
    """What the options describe; None when they describe nothing.

    Errors: InputError for an option that lacks another, or is no quantity.
    """
    from simkit.studies.new.described import Told, coil_of, designed, pair_of, quantity_of
    from simkit.studies.new.study import PIECE

    given = [k for k, v in {"--mains": mains, "--power": power, **coil}.items() if v]
    if not given and switch is None and not half:
        return None
    if mains is None or power is None:
        lacking = "--mains" if mains is None else "--power"
        rule = "goes with --mains, --power and either --coil or --empty"
        raise InputError([Problem((*given, "--switch")[0], None, "", "", rule, f"give {lacking}")])
    read = {k: pair_of(k, v) if v else None for k, v in coil.items() if k != "--coil"}
    shape = coil_of(coil["--coil"]) if coil["--coil"] else None
    told = Told(quantity_of("--mains", mains, "V"), quantity_of("--power", power, "W"),
                quantity_of("--frequency", frequency, "Hz"), shape, read["--empty"],
                read["--loaded"], switch, half)  # fmt: skip
    return designed(told, PIECE)


def _asked(questions: "list[Question]") -> dict[str, str]:
    """What a person answers on the terminal; enter alone keeps the default, which stays assumed."""
    from simkit.studies.new.study import refusal

    click.echo("Enter alone takes the value in brackets; it is then labelled as assumed.", err=True)
    answers = {}
    for question in questions:
        of = f" ({', '.join(question.choices)})" if question.choices else ""
        while True:
            text = click.prompt(f"{question.text}{of}", default=question.default, err=True).strip()
            said = refusal(question, text)
            if not said:
                break
            click.echo(f"  {said}", err=True)
        if text != question.default:
            answers[question.key] = text
    return answers

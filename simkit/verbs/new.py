"""`simkit new`: a commented machine file and first scenarios from a few asked values."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simkit.verbs.common import caution, json_option, note, quiet_option, set_option

if TYPE_CHECKING:
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
@click.option("--defaults", is_flag=True, help="Ask nothing; take the printed defaults.")
@set_option
@json_option
@quiet_option
def command(
    name: str,
    into: Path,
    defaults: bool,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """A folder NAME with a commented machine file and first scenarios.

    On a terminal the few values that matter are asked for; --set KEY=VALUE answers one beforehand.
    Elsewhere, or with --defaults, the printed defaults are taken. Whatever was not said is
    labelled as assumed in the file.
    """
    from simkit.judge.cautions import CAUTIONS
    from simkit.studies.new.study import questions, write_new

    answers = dict(overrides)
    if not (defaults or as_json) and sys.stdin.isatty():
        answers |= _asked([q for q in questions() if q.key not in answers])
    made = write_new(name, into, answers)
    if as_json:
        values = [{"key": k, "value": v, "assumed": not told} for k, v, told in made.values]
        document = {
            "schema": "simkit.new/1", "folder": str(made.folder), "files": list(made.files),
            "values": values, "cautions": list(CAUTIONS),
        }  # fmt: skip
        print(json.dumps(document, indent=1))
        return 0
    for key, value, told in made.values:
        note(f"{'as told' if told else 'assumed'}  {key} = {value}", quiet)
    print(made.folder / "machine.toml")
    note(f"Next: simkit check {made.folder}/machine.toml, then simkit run "
         f"{made.folder}/pull-out.toml", quiet)  # fmt: skip
    caution()
    return 0


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

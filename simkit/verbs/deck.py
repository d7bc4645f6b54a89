"""`simkit deck`: the netlist of a scenario, for any ngspice."""

import json
from pathlib import Path

import click

from simkit.verbs.common import json_option, set_option, write_output

RENDERED = "\n* rendered from numbers only;"
"""What every netlist of this verb holds, and no other."""


@click.command("deck")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write to a file instead.")
@set_option
@json_option
def command(scenario: Path, output: Path | None, overrides: dict[str, str], as_json: bool) -> int:
    """Print the netlist of SCENARIO; it runs unchanged in plain `ngspice -b`."""
    from simkit.rehearsal.rehearse import scenario_deck
    from simkit.studies.inputs.loading import load_scenario
    from simkit.studies.output.report_place import check_file

    loaded, machine = load_scenario(scenario, overrides)
    if output is not None:
        check_file(output, (loaded.file, machine.file), RENDERED)
    deck = scenario_deck(machine.model, loaded.model)
    if output is not None:
        write_output(output, deck.text)
    if as_json:
        document = {
            "schema": "simkit.deck/1", "scenario": loaded.model.name,
            "machine": machine.model.name, "digest": deck.digest, "begin_s": deck.begin,
            "stop_s": deck.stop, "saved": list(deck.saved),
            "file": str(output) if output else None,
            "deck": None if output else deck.text,
        }  # fmt: skip
        print(json.dumps(document, indent=1))
    elif output is None:
        click.echo(deck.text, nl=False)
    return 0

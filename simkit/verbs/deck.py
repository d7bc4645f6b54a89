"""`simkit deck`: the netlist of a scenario, for any ngspice."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simkit.verbs.common import json_option, note, quiet_option, set_option, write_output

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.rehearsal.exported import Exported

RENDERED = "\n* rendered from numbers only;"
"""What every netlist of this verb holds, and no other."""


@click.command("deck")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write to a file instead.")
@click.option("--no-engine", is_flag=True,
              help="Switches as warm as the fast model has them; no start is tried.")  # fmt: skip
@set_option
@json_option
@quiet_option
def command(
    scenario: Path,
    output: Path | None,
    no_engine: bool,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Print the netlist of SCENARIO as it is run; it runs unchanged in plain `ngspice -b`.

    Short runs of its settled part find how warm the switches are, as `simkit run` does.
    """
    from simkit.studies.inputs.loading import load_scenario
    from simkit.studies.output.report_place import check_file

    loaded, machine = load_scenario(scenario, overrides)
    if output is not None:
        check_file(output, (loaded.file, machine.file), RENDERED)
    found = netlist(machine.model, loaded.model, no_engine)
    deck = found.deck
    if output is not None:
        write_output(output, deck.text)
    if as_json:
        document = {
            "schema": "simkit.deck/1", "scenario": loaded.model.name,
            "machine": machine.model.name, "digest": deck.digest, "begin_s": deck.begin,
            "stop_s": deck.stop, "saved": list(deck.saved),
            "file": str(output) if output else None,
            "deck": None if output else deck.text,
            "switch_at_c": found.junction, "note": found.note,
        }  # fmt: skip
        print(json.dumps(document, indent=1))
    elif output is None:
        click.echo(deck.text, nl=False)
    if found.junction is not None:
        note(f"switches at {found.junction:.0f} degC; {found.note}", quiet)
    return 0


def netlist(machine: "Machine", scenario: "Scenario", no_engine: bool = False) -> "Exported":
    """The netlist, with the engine's help where there is an engine."""
    from simkit.errors import EngineMissing
    from simkit.rehearsal.exported import exported
    from simkit.rehearsal.rehearser import Rehearser

    if no_engine:
        return exported(machine, scenario, None)
    try:
        return exported(machine, scenario, Rehearser().door)
    except EngineMissing:
        return exported(machine, scenario, None)

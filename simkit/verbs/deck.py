"""`simkit deck`: the netlist of a scenario, for any ngspice."""

from pathlib import Path

import click

from simkit.verbs.common import set_option, write_output


@click.command("deck")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write to a file instead.")
@set_option
def command(scenario: Path, output: Path | None, overrides: dict[str, str]) -> int:
    """Print the netlist of SCENARIO; it runs unchanged in plain `ngspice -b`."""
    from simkit.studies.event import scenario_deck
    from simkit.studies.loading import load_scenario

    loaded, machine = load_scenario(scenario, overrides)
    text = scenario_deck(machine.model, loaded.model).text
    if output is None:
        click.echo(text, nl=False)
    else:
        write_output(output, text)
    return 0

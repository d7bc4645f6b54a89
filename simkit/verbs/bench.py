"""`simkit bench`: a local page that answers while one changes a machine's values."""

import json
from pathlib import Path

import click

from simkit.errors import InputError, Problem
from simkit.verbs.common import caution, json_option, note, quiet_option


@click.command("bench")
@click.argument("machine", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("reports/bench"),
    show_default=True,
    help="Folder of the reports of rehearsals started from the page.",
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Instead of a free one.")
@click.option(
    "--linger",
    type=click.FloatRange(min=0.5, max=86400.0),
    default=20.0,
    show_default=True,
    help="Seconds the server waits after its last page was closed.",
)
@click.option("--open", "show", is_flag=True, help="Open the address in the browser.")
@json_option
@quiet_option
def command(
    machine: Path, out: Path, port: int, linger: float, show: bool, as_json: bool, quiet: bool
) -> int:
    """A local page to change values of MACHINE and rehearse; ends after its last page.

    The fast model answers while you type; a verdict comes from a rehearsal only. The page is
    reached from this computer alone, at an address nobody can guess.
    """
    from simkit.studies.inputs.loading import load_machine

    load_machine(machine)

    def ready(address: str) -> None:
        print(json.dumps({"address": address}) if as_json else address, flush=True)
        note("Open this address in a browser on this computer. Ctrl-C ends the bench.", quiet)
        if not as_json:
            caution()
        if show:
            click.launch(address)

    from simkit.live.serve import serve

    try:
        serve(machine, out, ready, port, linger)
    except OSError as error:
        rule = f"cannot be listened on: {error.strerror}"
        raise InputError([Problem("--port", None, "", str(port), rule)]) from error
    except KeyboardInterrupt:
        note("\nbench ended", quiet)
    return 0

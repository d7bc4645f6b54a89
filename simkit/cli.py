"""The command `simkit`: a thin group whose verbs are loaded one at a time, when called.

Every error a person can cause ends as one readable block and an exit code of the contract:
0 within the limits checked, 1 over a limit, 2 the input is wrong, 3 no verdict, 4 our own fault.
"""

import importlib
import json
import os
import sys

import click

import simkit
from simkit.errors import InputError, SimkitError

VERBS = {
    "doctor": "Find the engine, test it, say how to install what is missing.",
    "check": "Validate a machine file; first-order design numbers beside their limits.",
    "deck": "Print the netlist of a scenario.",
    "run": "Simulate scenarios, measure, judge and report.",
    "schema": "Print the JSON Schema of a kind of file.",
}
"""Verb and its one line; each lives in simkit/verbs/<verb>.py as `command`."""
INTERRUPTED = 130


class LazyGroup(click.Group):
    """Lists verbs from the table and imports one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Verbs in the table's order."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The verb's command, None for an unknown name."""
        if cmd_name not in VERBS:
            return None
        module = importlib.import_module(f"simkit.verbs.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As usual, but an unknown verb is answered with the nearest one."""
        import difflib

        if args and args[0] not in VERBS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], VERBS, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise click.UsageError(f"there is no verb {args[0]!r}{hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The verbs with their lines, without importing any of them."""
        with formatter.section("Verbs"):
            formatter.write_dl(list(VERBS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(simkit.__version__, prog_name="simkit")
def group() -> None:
    """Rehearse a mains-powered induction heater on a simulated circuit before powering it up."""


def main() -> None:
    """Entry point: run the verb and leave with its exit code."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command with arguments; its exit code."""
    as_json = "--json" in arguments
    try:
        code = group.main(arguments, prog_name="simkit", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.ClickException as error:
        return _complain(as_json, "usage", [error.format_message()], 2)
    except (click.Abort, KeyboardInterrupt):
        return _complain(as_json, "interrupted", ["interrupted; nothing was written"], INTERRUPTED)
    except InputError as error:
        return _complain(as_json, "input", [str(p) for p in error.problems], 2)
    except SimkitError as error:
        kind = {2: "input", 3: "no verdict"}.get(error.exit_code, "fault of simkit")
        return _complain(as_json, kind, [str(error)], error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 4
    except Exception as error:
        if os.environ.get("SIMKIT_DEBUG"):
            raise
        said = f"{type(error).__name__}: {error}"
        hint = "this is a fault of simkit; SIMKIT_DEBUG=1 shows where it happened"
        return _complain(as_json, "fault of simkit", [said, hint], 4)


def _complain(as_json: bool, kind: str, lines: list[str], code: int) -> int:
    if as_json:
        print(json.dumps({"error": kind, "problems": lines, "exit_code": code}, indent=1))
    print(f"simkit: {kind}", *(f"  {line}" for line in lines), sep="\n", file=sys.stderr)
    return code

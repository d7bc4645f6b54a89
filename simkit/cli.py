"""The command `simkit`: a thin group whose verbs are loaded one at a time, when called.

Every error a person can cause ends as one readable block and an exit code of the contract:
0 within the limits checked, 1 over a limit, 2 the input is wrong, 3 no verdict, 4 our own fault.
"""

import gc
import importlib
import json
import os
import sys
import traceback
from dataclasses import asdict
from typing import Any

import click

import simkit
from simkit import streams
from simkit.errors import EngineError, InputError, SimkitError

# The matrices here are small and the engine runs several at a time: threads inside one solution
# only get in each other's way. Set before numpy is loaded; who has set it keeps it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

VERBS = {
    "doctor": "Find the engine, test it, say how to install what is missing.",
    "check": "Validate a machine file; first-order design numbers beside their limits.",
    "deck": "Print the netlist of a scenario.",
    "run": "Simulate scenarios, measure, judge and report.",
    "compare": "The same rehearsals before and after changes to the machine.",
    "map": "Many cases of a scenario: how often limits are exceeded, and where.",
    "protect": "What would have prevented an overstress: trip, margin, parts.",
    "part": "Virtual test circuits for a part made from data-sheet numbers.",
    "new": "A commented machine file and first scenarios from a few asked values.",
    "bench": "A local page to change values and rehearse.",
    "explain": "What a quantity, a key or a term is, and what to change.",
    "bring-up": "Staged bring-up sheet: what to set, what to read, when to stop.",
    "fit": "Adjust a machine to measured readings; name faults that explain them.",
    "completion": "Print what lets a shell complete verbs, options and names.",
    "schema": "Print the JSON Schema of a kind of file.",
    "cache": "Show or clear what is kept of earlier runs.",
}
"""Verb and its one line; each lives in simkit/verbs/<verb>.py as `command`."""
INTERRUPTED = 130
PIPE_CLOSED = 141
"""As a shell reports a program that wrote to a closed pipe."""
OWN_FAULT = "fault of simkit"
KINDS = {InputError.exit_code: "input", EngineError.exit_code: "no verdict"}
"""What is said first of an error, by its exit code."""


INTERRUPT = streams.Interrupted()


class PipeClosed(Exception):
    """The reader of a pipe has gone."""


class LazyGroup(click.Group):
    """Lists verbs from the table and imports one when it is called."""

    def invoke(self, ctx: click.Context) -> Any:
        """As usual, but click does not see a closed pipe, for which it leaves with code 1: here
        that would read "over a limit"."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError as error:
            raise PipeClosed from error

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
    # Imports and drawings make a hundred thousand small objects that stay: looking through them
    # for cycles as often as usual takes an eighth of a rehearsal's own CPU, for 6 MB of memory.
    gc.set_threshold(100_000, 50, 50)
    streams.prepare()
    INTERRUPT.watch()
    code = run(sys.argv[1:])
    sys.exit(_flushed(code))


def _flushed(code: int) -> int:
    """The exit code once all is written; another where it cannot be."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        code = _nobody_reads()
    except OSError as error:
        code = _not_written(error)
    try:
        sys.stderr.flush()
    except OSError:
        streams.silence(2)
    return code


def _nobody_reads() -> int:
    streams.silence(1)
    return PIPE_CLOSED


def _not_written(error: OSError) -> int:
    """What was worked out cannot be said: whatever it was, that is no verdict anybody has seen."""
    streams.silence(1)
    said = f"standard output cannot be written to: {error.strerror}; reports on disk are whole"
    streams.say(f"simkit: {KINDS[EngineError.exit_code]}", f"  {said}")
    return EngineError.exit_code


def run(arguments: list[str]) -> int:
    """Run the command with arguments; its exit code."""
    as_json = "--json" in arguments
    said: list[dict[str, Any]]
    try:
        code = group.main(arguments, prog_name="simkit", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.exceptions.NoArgsIsHelpError as error:
        streams.say(error.format_message())
        return InputError.exit_code
    except click.ClickException as error:
        return _complain(as_json, "usage", [_usage(error)], InputError.exit_code)
    except (click.Abort, KeyboardInterrupt):
        return _interrupted(as_json)
    except InputError as error:
        said = [{"text": str(p), **asdict(p)} for p in error.problems]
        return _complain(as_json, "input", said, error.exit_code)
    except EngineError as error:
        said = [{"text": error.reason, "log": list(error.log)}]
        return _complain(as_json, "no verdict", said, error.exit_code)
    except PipeClosed:
        return _nobody_reads()
    except streams.OutputLost as error:
        return _not_written(error)
    except Exception as error:  # noqa: BLE001 - the boundary: nothing gets past it unworded
        return _own_fault(as_json, error)


def _interrupted(as_json: bool) -> int:
    said = [{"text": "stopped; what was written before is whole"}]
    return _complain(as_json, "interrupted", said, INTERRUPTED)


def _usage(error: click.ClickException) -> dict[str, Any]:
    from simkit.verbs.usage import said

    return {"text": said(error)}


def _own_fault(as_json: bool, error: Exception) -> int:
    if INTERRUPT.asked:  # some libraries make an error of their own of it
        return _interrupted(as_json)
    if os.environ.get("SIMKIT_DEBUG"):
        traceback.print_exception(error)
    kind = KINDS.get(getattr(error, "exit_code", SimkitError.exit_code), OWN_FAULT)
    said = str(error) if isinstance(error, SimkitError) else f"{type(error).__name__}: {error}"
    problems: list[dict[str, Any]] = [{"text": said}]
    if kind == OWN_FAULT:
        problems.append({"text": "SIMKIT_DEBUG=1 before the command shows where it happened"})
    return _complain(as_json, kind, problems, getattr(error, "exit_code", 4))


def _complain(as_json: bool, kind: str, problems: list[dict[str, Any]], code: int) -> int:
    if as_json:
        document = {
            "schema": "simkit.error/1", "error": kind, "exit_code": code, "problems": problems
        }  # fmt: skip
        try:
            print(json.dumps(document, indent=1))
        except BrokenPipeError:
            return _nobody_reads()
        except streams.OutputLost as error:
            return _not_written(error)
    lines = [f"  {line}" for p in problems for line in str(p["text"]).splitlines()]
    streams.say(f"simkit: {kind}", *lines)
    return code

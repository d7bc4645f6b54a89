"""What the verbs share: options, workers, progress, and how a result is told."""

import json
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from simkit.errors import InputError, Problem
from simkit.streams import say

F = TypeVar("F", bound=Callable[..., Any])
CODES = {"within_limits": 0, "over_limit": 1, "no_verdict": 3}
"""Exit code of a verdict."""


def set_option(function: F) -> F:
    """`--set KEY=VALUE`, as often as wanted; arrives as a dict `overrides`."""
    return click.option(
        "--set",
        "overrides",
        multiple=True,
        metavar="KEY=VALUE",
        callback=lambda _, __, pairs: _pairs(pairs),
        help="Override one value of the machine file, e.g. --set drive.dead_time='0.8 us'.",
    )(function)


def _pairs(texts: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for text in texts:
        key, sign, value = text.partition("=")
        if not sign or not key.strip():
            raise InputError(
                [Problem("--set", None, "", text, "write KEY=VALUE, e.g. tank.cans=18")]
            )
        pairs[key.strip()] = value.strip()
    return pairs


def json_option(function: F) -> F:
    """`--json`: one document on standard output, nothing else there."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")(
        function
    )


def quiet_option(function: F) -> F:
    """`--quiet`: no progress and no notes."""
    return click.option("--quiet", is_flag=True, help="No progress, no notes.")(function)


def cache_option(function: F) -> F:
    """`--no-cache`: neither read nor fill the cache; arrives as `no_cache`."""
    return click.option("--no-cache", is_flag=True, help="Neither read nor fill the cache.")(
        function
    )


def note(text: str, quiet: bool = False) -> None:
    """One line for the person, on the error stream."""
    if not quiet:
        say(text)


def caution() -> None:
    """The block of cautions, on the error stream; `--quiet` drops progress and notes, not this."""
    from simkit.judge.cautions import spoken

    say(spoken())


def write_output(file: Path, text: str, option: str = "-o") -> None:
    """Write a text to the file a person named.

    Errors: InputError when that place cannot be written to.
    """
    from simkit.run.cache import write_whole

    try:
        write_whole(file, text.encode())
        file.chmod(0o644)
    except OSError as error:
        rule = f"cannot be written: {error.strerror}"
        raise InputError([Problem(option, None, "", str(file), rule)]) from error


def tell(
    result: Mapping[str, Any],
    table: Callable[[Any], None],
    folder: Path,
    as_json: bool,
    quiet: bool,
) -> int:
    """Print a study's result, as JSON or as its table and where the report is; its exit code."""
    if as_json:
        print(json.dumps(result, indent=1))
    else:
        table(result)
        note(f"report: {folder / 'index.html'}", quiet)
        caution()
    return CODES[result["verdict"]]


def cores() -> int:
    """Cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else os.cpu_count() or 1


def workers(address: str | None, jobs: int) -> Any:
    """Processes of this machine, or a dask cluster's; to be used in a `with` block.

    Errors: InputError when the extra is not installed or nobody answers at the address.
    """
    if address is None:
        from simkit.run.workers import Workers

        return Workers(jobs)
    from simkit.run.cluster import Cluster

    return Cluster(address)


@contextmanager
def progress_bar(label: str, quiet: bool) -> Iterator[Callable[[float], None] | None]:
    """A bar with the time left on a terminal; nothing elsewhere.

    With SIMKIT_PROGRESS=lines in the environment, lines "progress 0.34" for a program that reads
    them, whatever the error stream is.
    """
    if os.environ.get("SIMKIT_PROGRESS") == "lines":
        yield _lines()
        return
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
    from rich.progress import TimeRemainingColumn as Left

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), Left(),
               TextColumn("left"))  # fmt: skip
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(label, total=1.0)
        yield lambda share: bar.update(task, completed=share)


def _lines() -> Callable[[float], None]:
    """Writes a share as a line, at most five a second."""
    last = [0.0]

    def write(share: float) -> None:
        now = time.monotonic()
        if now - last[0] >= 0.2 or share >= 1.0:
            last[0] = now
            say(f"progress {share:.4f}")

    return write

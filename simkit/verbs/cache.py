"""`simkit cache`: what is kept of earlier runs, and how to be rid of it."""

import json
from typing import TYPE_CHECKING

import click

from simkit.verbs.common import json_option

if TYPE_CHECKING:
    from simkit.run.cache import Store


@click.group("cache", context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """What is kept of earlier runs: `info` shows it, `clear` removes it."""


@command.command("info")
@json_option
def info(as_json: bool) -> int:
    """Folder, entries and size of the caches."""
    from simkit.run.cache import FOLDER_VARIABLE, SIZE_VARIABLE, cache_folder

    found = {kind: store.usage() for kind, store in _stores().items()}
    if as_json:
        rows = {
            kind: {"entries": use.entries, "bytes": use.size, "limit_bytes": use.limit}
            for kind, use in found.items()
        }
        print(json.dumps({"folder": str(cache_folder()), "caches": rows}, indent=1))
        return 0
    print(f"{cache_folder()} ({FOLDER_VARIABLE} moves it, {SIZE_VARIABLE} bounds it)")
    for kind, use in found.items():
        size = f"{use.size / 1e6:.1f} of {use.limit / 1e6:.0f} MB"
        print(f"  {kind:8} {use.entries:6} entries  {size}")
    return 0


@command.command("clear")
@json_option
def clear(as_json: bool) -> int:
    """Remove every entry of the caches, and nothing else."""
    gone = {kind: store.clear() for kind, store in _stores().items()}
    if as_json:
        print(json.dumps({"removed": gone}, indent=1))
    else:
        print(f"removed {sum(gone.values())} entries")
    return 0


def _stores() -> dict[str, "Store"]:
    from simkit.run.cache import SHARES, default_store

    return {kind: default_store(kind) for kind in SHARES}

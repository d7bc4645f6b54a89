"""Random machines: `python -m benchmarks.random_machines WHAT [--seeds FROM:TO:STEP]`.

WHAT: `files` writes the cases; `ours` rehearses them with the code as it stands; `references` runs
the plain program where no kept reference fits; `both` does one after the other, case by case;
`table` prints what it came to; `record` puts the
latest results beside the references and writes docs/numerics.md anew. All are taken up again where
they stopped. Seeds from 1000 on are machines with IGBTs. Nothing is tuned on seeds from 300 on, nor
on those from 1024 on.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence

from benchmarks.provenance import commit
from benchmarks.random_machines import store
from benchmarks.random_machines.comparison import detail, report
from benchmarks.random_machines.files import write
from benchmarks.random_machines.page import record
from benchmarks.random_machines.plain_run import PlainFailed
from benchmarks.random_machines.reference import reference
from benchmarks.random_machines.rehearsed import Ours, rehearsed
from simkit.parts.warming import warmed_machine
from simkit.studies.inputs.loading import load_scenario


def ours(seeds: Sequence[int], again: bool, until: float) -> None:
    """Rehearse and keep; `again` also what is kept already."""
    have = {x["seed"] for x in store.lines(store.LATEST)}
    for seed in seeds:
        if (again or seed not in have) and time.monotonic() < until:
            keep(seed, rehearsed(write(seed)))


def keep(seed: int, found: Ours) -> None:
    """Keep simkit's side of a case, the digest of its circuit with it."""
    file = load_scenario(write(seed))
    key = store.digest(file[1].model, found.scenario)
    store.put(store.LATEST, {"seed": seed, "digest": key, "commit": commit(), **found.told})
    print(f"{seed}: {found.told['verdict']}, {found.told['seconds']} s: "
          f"{found.told['reason'][:150]}", flush=True)  # fmt: skip


def references(seeds: Sequence[int], until: float) -> None:
    """Run the plain program for the cases that simkit has run, where no kept reference fits."""
    results = {x["seed"]: x for x in store.lines(store.LATEST)}
    for seed in seeds:
        mine = results.get(seed)
        if mine is None or time.monotonic() > until:
            continue
        kept = {x["seed"]: x for x in store.lines(store.REFERENCES)}.get(seed)
        if store.fits(kept, mine):
            continue
        scenario, machine = load_scenario(write(seed))
        warm = mine.get("switch_at_c")
        used = machine.model if warm is None else warmed_machine(machine.model, warm)
        try:
            found = reference(used, scenario.model, mine.get("end"))
        except PlainFailed as failed:
            store.put(store.REFERENCES, {**store.known(mine), "failed": str(failed)})
            print(f"{seed}: no reference: {failed}", flush=True)
            continue
        store.put(store.REFERENCES, store.as_entry(mine, found, used))
        print(f"{seed}: reference, {found.seconds:.1f} s", flush=True)


def asked_seeds(text: str) -> list[int]:
    """FROM:TO:STEP as in Python, or numbers with commas."""
    if ":" in text:
        return list(range(*(int(x) for x in text.split(":"))))
    return [int(x) for x in text.split(",")]


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line of this package."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.random_machines",
                                     description=__doc__)  # fmt: skip
    parser.add_argument("what", choices=("files", "ours", "references", "both", "table", "record"))
    parser.add_argument("--seeds", type=asked_seeds, default=asked_seeds("0:350"))
    parser.add_argument("--again", action="store_true", help="also what is kept already")
    parser.add_argument("--minutes", type=float, default=1e6, help="begin nothing after these")
    asked = parser.parse_args(arguments)
    until = time.monotonic() + 60.0 * asked.minutes
    if asked.what == "files":
        for seed in asked.seeds:
            print(write(seed))
    elif asked.what == "ours":
        ours(asked.seeds, asked.again, until)
    elif asked.what == "references":
        references(asked.seeds, until)
    elif asked.what == "both":
        for seed in asked.seeds:
            ours([seed], asked.again, until)
            references([seed], until)
    elif asked.what == "table":
        print(detail(asked.seeds))
        print("\n".join(report(asked.seeds)))
    else:
        record()
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Advice followed on random machines: `python -m benchmarks.advice_tried WHAT`.

WHAT: `run --seeds FROM:TO:STEP --minutes N` rehearses each machine; where it is over a limit the
first advice is written into its files and the whole circuit is run; `table` prints what it came to,
`record` writes it into docs/advice.md. Taken up again where it stopped. Even seeds serve to tune
the search, odd ones are only reported.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchmarks.random_machines.__main__ import asked_seeds
from benchmarks.random_machines.files import CASES, write
from simkit.errors import SimkitError
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.backend import Budget
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.scenario.study import Order, rehearsed

RESULTS = Path(__file__).with_suffix(".jsonl")
PAGE = Path(__file__).resolve().parents[1] / "docs" / "advice.md"
BEGIN, END = "<!-- advice tried -->", "<!-- end of advice tried -->"
BUDGET = Budget(wall=120.0, cpu=150.0)
OUTCOMES = {
    "within": "first advice, followed, is within the limits checked (whole circuit)",
    "nothing": "nothing tried helps, said so",
    "not searched": "nothing was tried, with the reason: a fault the fast model does not follow",
    "failed": "first advice, followed, is not within",
}


def tried(seed: int) -> dict[str, Any]:
    """One machine: its verdict, the first advice, and what came of following it."""
    path = write(seed)
    started = time.monotonic()
    scenario, machine = load_scenario(path)
    plain = Order(settings=Settings(jobs=2), budget=BUDGET, cache=False)
    order = Order(settings=Settings(jobs=2), budget=BUDGET, cache=False, advice=True)
    base = rehearsed(scenario, machine, CASES / f"plain-{seed}", plain).result
    row: dict[str, Any] = {"seed": seed, "verdict": base["verdict"],
                           "run_s": round(time.monotonic() - started, 1)}  # fmt: skip
    if base["verdict"] != "over_limit":
        return row
    started = time.monotonic()
    found = rehearsed(scenario, machine, CASES / f"advice-{seed}", order).result
    row |= {"advised_s": round(time.monotonic() - started, 1), "note": found["advice_note"]}
    if found["advice"] is None:
        return row | {"outcome": "not searched"}
    first = found["advice"][0]
    row |= {"change": first["change"], "power_share": first["power_share"],
            "keeps_goal": first["keeps_goal"]}  # fmt: skip
    if first["verdict"] != "within_limits" or found["advice_note"].startswith("Nothing"):
        return row | {"outcome": "nothing"}
    then, other = load_scenario(path, first["change"])
    bench = Rehearser(budget=BUDGET, settings=Settings(whole=True, jobs=2))
    verdict = bench.rehearse(other.model, then.model).verdict
    outcome = "within" if verdict.outcome == "within_limits" else "failed"
    return row | {"outcome": outcome, "followed": verdict.outcome, "reason": verdict.reason}


def kept() -> list[dict[str, Any]]:
    """What is known already."""
    if not RESULTS.exists():
        return []
    return [json.loads(x) for x in RESULTS.read_text(encoding="utf-8").splitlines() if x]


def run(seeds: Sequence[int], until: float) -> None:
    """Try what is not known yet."""
    have = {x["seed"] for x in kept()}
    for seed in seeds:
        if seed in have or time.monotonic() > until:
            continue
        try:
            row = tried(seed)
        except SimkitError as error:
            row = {"seed": seed, "verdict": "no_verdict", "reason": str(error)[:200]}
        rows = sorted([*kept(), row], key=lambda x: int(x["seed"]))
        RESULTS.write_text("".join(json.dumps(x) + "\n" for x in rows), encoding="utf-8")
        print(json.dumps(row), flush=True)


def table(odd: bool = True) -> str:
    """How often each outcome came, of machines that were over a limit."""
    over = [x for x in kept() if "outcome" in x and x["seed"] % 2 == int(odd)]
    lines = ["| outcome | machines |", "| --- | --- |"]
    lines += [f"| {words} | {sum(x['outcome'] == name for x in over)} |"
              for name, words in OUTCOMES.items()]  # fmt: skip
    lines.append(f"| together | {len(over)} |")
    goal = [x for x in over if x["outcome"] == "within"]
    kept_power = sum(bool(x["keeps_goal"]) for x in goal)
    return "\n".join([*lines, "", f"Of those within, {kept_power} keep 80 % of the power or more; "
                      "the others say how much they keep."])  # fmt: skip


def record() -> None:
    """The table into the page."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    after = rest.partition(END)[2]
    PAGE.write_text(f"{before}{BEGIN}\n{table()}\n{END}{after}", encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.advice_tried", description=__doc__)
    parser.add_argument("what", choices=("run", "table", "record"))
    parser.add_argument("--seeds", type=asked_seeds, default=asked_seeds("1:80:2"))
    parser.add_argument("--minutes", type=float, default=1e6, help="begin nothing after these")
    asked = parser.parse_args(arguments)
    if asked.what == "run":
        run(asked.seeds, time.monotonic() + 60.0 * asked.minutes)
    elif asked.what == "table":
        print(table(odd=False))
        print(table())
    else:
        record()
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Advice followed on random machines: `python -m benchmarks.advice_tried WHAT`.

WHAT: `run --seeds FROM:TO:STEP --minutes N` rehearses each machine; where it is over a limit the
first advice is written into its files and the whole circuit is run; `table` prints what it came to,
`record` writes it into docs/advice.md. Taken up again where it stopped. Odd seeds from UNSEEN on
are only reported; the others served to tune the search. Seeds whose scenario is a fault that the
fast model does not follow are left out: there no advice is looked for, and the run says so. Of
every other machine ASKED of the power is asked for, the rest say nothing of it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import median
from typing import Any

from benchmarks.random_machines.__main__ import asked_seeds
from benchmarks.random_machines.files import write
from benchmarks.random_machines.scenario import FIRST, STEADY
from simkit.errors import SimkitError
from simkit.parameters.events import KINDS
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.backend import Budget
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.scenario.advised import with_advice
from simkit.studies.scenario.result import result_of

RESULTS = Path(__file__).with_suffix(".jsonl")
PAGE = Path(__file__).resolve().parents[1] / "docs" / "advice.md"
BEGIN, END = "<!-- advice tried -->", "<!-- end of advice tried -->"
BUDGET = Budget(wall=120.0, cpu=150.0)
ASKED = 0.6
UNSEEN = 59
"""First seed that nothing was tuned on; the odd ones below were looked at case by case."""
POWER_ERROR = 0.01
"""By how much a settled power may be told otherwise by a run of the whole circuit [1]."""
OUTCOMES = {
    "within": "first advice, followed, is within the limits checked (whole circuit)",
    "less": "within too, with less power than asked, said so",
    "nothing": "nothing tried helps, said so",
    "not searched": "nothing was tried, with the reason: a fault the fast model does not follow",
    "failed": "first advice, followed, is not within",
}


def followed_kind(seed: int) -> bool:
    """Whether a seed's first event is one that the fast model follows; nothing at all, too."""
    kind = FIRST[seed // 2 % len(FIRST)]
    return kind == STEADY or KINDS[kind].fast


def asked_of(seed: int) -> float | None:
    """Share of the power that is asked for [1]; None where nothing is said."""
    return ASKED if seed // 2 % 2 else None


def family_cpu() -> float:
    """CPU of this process and of all that it started, what has ended and been waited for too [s].

    Linux only: fields 14 to 17 of /proc/PID/stat (proc(5), recalled from memory).
    """
    rows = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        rows[int(stat.parent.name)] = (int(fields[1]), sum(int(x) for x in fields[11:15]))
    ours = {os.getpid()}
    while more := {p for p, (parent, _) in rows.items() if parent in ours} - ours:
        ours |= more
    return sum(rows[p][1] for p in ours if p in rows) / os.sysconf("SC_CLK_TCK")


def tried(seed: int) -> dict[str, Any]:
    """One machine: its verdict, the first advice, and what came of following it."""
    path = write(seed)
    share = asked_of(seed)
    before = family_cpu()
    scenario, machine = load_scenario(path, {"goal.keep_power": f"{share:.0%}"} if share else {})
    bench = Rehearser(budget=BUDGET, settings=Settings(jobs=1))
    began = time.monotonic()
    rehearsal = bench.rehearse(machine.model, scenario.model)
    seconds = time.monotonic() - began
    result = result_of(rehearsal, machine, scenario, seconds)
    run_cpu = family_cpu() - before
    row: dict[str, Any] = {"seed": seed, "verdict": result.verdict,
                           "run_cpu_s": round(run_cpu, 1)}  # fmt: skip
    if result.verdict != "over_limit":
        return row
    row |= {"asked": share, "over": {r.quantity: round(r.ratio, 3) for r in rehearsal.rows
                                     if r.status == "over" and r.ratio}}  # fmt: skip
    before = family_cpu()
    found = with_advice(result, rehearsal, scenario, machine, bench, seconds)
    row |= {"more_runs": round((family_cpu() - before) / run_cpu, 2), "note": found.advice_note}
    if found.advice is None:
        broken = "the search for it failed" in str(found.advice_note)
        return row | {"outcome": "failed" if broken else "not searched"}
    first = found.advice[0]
    row |= {"change": dict(first.change), "power_share": first.power_share,
            "keeps_goal": first.keeps_goal}  # fmt: skip
    if str(found.advice_note).startswith("Nothing tried helps"):
        return row | {"outcome": "nothing"}
    return row | followed(path, first.change, rehearsal.before.workpiece_power_w, share,
                          not first.keeps_goal)  # fmt: skip


def followed(
    path: Path,
    change: Mapping[str, str],
    power: float | None,
    share: float | None,
    said_less: bool,
) -> dict[str, Any]:
    """What the whole circuit says of the files with the change in them; `said_less`: the advice
    itself says that it keeps less power than asked."""
    scenario, machine = load_scenario(path, dict(change))
    bench = Rehearser(budget=BUDGET, settings=Settings(whole=True, jobs=1))
    then = bench.rehearse(machine.model, scenario.model)
    now = then.before.workpiece_power_w
    kept = now / power if now is not None and power else None
    good = then.verdict.outcome == "within_limits"
    short = share is not None and (kept is None or kept < share - POWER_ERROR)
    as_said = "less" if short and said_less else "failed" if short else "within"
    return {"outcome": as_said if good else "failed",
            "followed": then.verdict.outcome, "power_followed": kept,
            "reason": then.verdict.reason}  # fmt: skip


def kept() -> list[dict[str, Any]]:
    """What is known already."""
    if not RESULTS.exists():
        return []
    return [json.loads(x) for x in RESULTS.read_text(encoding="utf-8").splitlines() if x]


def run(seeds: Sequence[int], until: float) -> None:
    """Try what is not known yet."""
    have = {x["seed"] for x in kept()}
    for seed in seeds:
        if seed in have or not followed_kind(seed) or time.monotonic() > until:
            continue
        try:
            row = tried(seed)
        except SimkitError as error:
            row = {"seed": seed, "verdict": "no_verdict", "reason": str(error)[:200]}
        rows = sorted([*kept(), row], key=lambda x: int(x["seed"]))
        RESULTS.write_text("".join(json.dumps(x) + "\n" for x in rows), encoding="utf-8")
        print(json.dumps(row), flush=True)


def unseen(seed: int) -> bool:
    """Whether nothing was tuned on a seed."""
    return seed % 2 == 1 and seed >= UNSEEN


def table(fresh: bool = True) -> str:
    """How often each outcome came, of machines that were over a limit."""
    over = [x for x in kept() if "outcome" in x and unseen(x["seed"]) == fresh]
    lines = ["| outcome | machines |", "| --- | --- |"]
    lines += [f"| {words} | {sum(x['outcome'] == name for x in over)} |"
              for name, words in OUTCOMES.items()]  # fmt: skip
    lines.append(f"| together | {len(over)} |")
    return "\n".join([*lines, "", *notes(over)])


def notes(over: Sequence[Mapping[str, Any]]) -> list[str]:
    """Power kept and CPU, in words."""
    good = [x for x in over if x["outcome"] == "within"]
    asked = [x for x in good if x["asked"]]
    free = [x for x in good if not x["asked"]]
    many = sum(bool(x["keeps_goal"]) for x in free)
    said = [f"Of those within, {len(asked)} were asked to keep {ASKED:.0%} of the power and kept "
            f"it; of the {len(free)} without a word {many} keep 80 % or more, the others say how "
            "much they keep."]  # fmt: skip
    if costs := [x["more_runs"] for x in over if x["outcome"] != "not searched"]:
        said.append(f"Advice took {median(costs):.1f} times the CPU of one run more (median; at "
                    f"most {max(costs):.1f}).")  # fmt: skip
    return said


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
    parser.add_argument("--seeds", type=asked_seeds, default=asked_seeds("59:300:2"))
    parser.add_argument("--minutes", type=float, default=1e6, help="begin nothing after these")
    asked = parser.parse_args(arguments)
    if asked.what == "run":
        run(asked.seeds, time.monotonic() + 60.0 * asked.minutes)
    elif asked.what == "table":
        print(table(fresh=False))
        print(table())
    else:
        record()
    return 0


if __name__ == "__main__":
    sys.exit(main())

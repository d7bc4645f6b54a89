"""Does a two-level map tell the probability that a plain one tells? 500 cases of the demonstration.

    python benchmarks/map_agreement.py [CASES] [STORE]

Runs shipped tolerances.toml twice over the same sample: every case by circuit runs, then by the
calibrated fast model with verification. Prints seconds, cases run in full, and for each limit both
probabilities with their intervals; fails when two intervals do not overlap. A store, when named,
keeps the cases, so that a run that was stopped carries on; the times then mean nothing.
"""

import sys
import time
from pathlib import Path

from simkit.parameters.varying import MapPlan
from simkit.run.cache import Store
from simkit.run.workers import Workers
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps.space import space_of
from simkit.studies.maps.statistics import probability
from simkit.studies.maps.study import Mapped, Mapper

ROOT = Path(__file__).resolve().parents[1]


def mapped(cases: int, store: Store | None, full: bool) -> Mapped:
    scenario, machine = load_scenario(ROOT / "scenarios" / "chisel-brazing" / "tolerances.toml")
    space = space_of(machine, scenario, scenario.model.map or MapPlan())
    started = time.perf_counter()
    with Workers(2) as workers:
        found = Mapper(space, workers, store).run("sobol", cases, full)
    runs = sum(p.method == "circuit run" for p in found.points)
    print(f"{'plain' if full else 'two-level'}: {time.perf_counter() - started:.0f} s, "
          f"{runs} of {cases} cases by circuit runs")  # fmt: skip
    return found


def main() -> int:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    store = Store(Path(sys.argv[2])) if len(sys.argv) > 2 else None
    two, plain = mapped(cases, store, False), mapped(cases, store, True)
    print(two.checked)
    apart = 0
    for name in ("any limit", *plain.points[0].ratios):
        pair = []
        for found in (two, plain):
            over = sum(name in p.over or (name == "any limit" and bool(p.over))
                       for p in found.points)  # fmt: skip
            unsure = sum(name in p.near for p in found.points)
            if name == "any limit":
                unsure = sum(p.outcome == "no_verdict" for p in found.points)
            pair.append(probability(over, unsure, cases))
        a, b = pair
        apart += a.high < b.low or b.high < a.low
        if a.over or b.over or name == "any limit":
            print(f"{name:24} two-level {a.value:.3f} [{a.low:.3f}, {a.high:.3f}] "
                  f"plain {b.value:.3f} [{b.low:.3f}, {b.high:.3f}]")  # fmt: skip
    print("intervals overlap" if not apart else f"{apart} pairs of intervals lie apart")
    return 1 if apart else 0


if __name__ == "__main__":
    sys.exit(main())

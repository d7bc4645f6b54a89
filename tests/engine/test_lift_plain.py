"""A lift under two drives against plain `ngspice -b` runs of the whole event.

The plain run's oscillator, loop and measures are `benchmarks/drives.py`'s own; that module records
the 60 ms lift by hand. Here a lift of 6 ms, which a loop of a kilohertz follows as well.
"""

from __future__ import annotations

import json
import shutil

import pytest

from benchmarks.drives import RECORD, cases, ours, plain
from simkit.parameters.scenario import Scenario
from tests.slowly import rest_studied


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
@pytest.mark.parametrize("drive", rest_studied(["fixed", "phase-1-khz"]))
def test_a_lift_ends_as_a_plain_run_of_all_of_it_says(drive: str) -> None:
    machine, scenario = cases()[drive]
    data = scenario.model_dump(exclude_none=True)
    data["events"] = [{"kind": "pull-out", "at": 0.0, "duration": 6e-3}]
    short = Scenario.model_validate(data)
    mine, _ = ours(machine, short)
    whole, _ = plain(machine, short)
    # The bounds of the project: currents 2 %, phase 2 deg. The rehearsal states how well it knows
    # the number of recoveries; one more and one less are the two ends of the event.
    assert mine.phase == pytest.approx(whole.phase, abs=2.0)
    assert mine.can_current == pytest.approx(whole.can_current, rel=0.02)
    assert mine.supply_current == pytest.approx(whole.supply_current, rel=0.02)
    assert mine.forced is not None
    assert mine.forced_error is not None
    assert mine.forced_error <= 0.05 * mine.forced
    assert mine.forced == pytest.approx(whole.forced, abs=mine.forced_error + 2.0)


def test_the_recorded_lifts_of_sixty_milliseconds_agree() -> None:
    """What `python -m benchmarks.drives` recorded of both sides, over the whole lift by hand.

    But for a controller that is unstable with the coil empty: where it ends is chance.
    """
    kept = json.loads(RECORD.read_text(encoding="utf-8"))
    pairs = {n: (row["rehearsal"], row["plain"]) for n, row in kept.items() if "plain" in row}
    assert set(pairs) == {"fixed", "phase-10-hz", "phase-100-hz", "phase-1-khz", "sampled-0-1",
                          "sampled-0-3", "sampled-0-8", "self-oscillating",
                          "self-oscillating-80-v"}  # fmt: skip
    # A self-oscillating drive has a verdict, on either side of a limit.
    assert kept["self-oscillating"]["verdict"] == "over_limit"
    assert kept["self-oscillating-80-v"]["verdict"] == "within_limits"
    for mine, whole in (pair for name, pair in pairs.items() if name != "sampled-0-8"):
        assert mine["phase"] == pytest.approx(whole["phase"], abs=2.0)
        assert mine["can_current"] == pytest.approx(whole["can_current"], rel=0.02)
        assert mine["supply_current"] == pytest.approx(whole["supply_current"], rel=0.02)
        assert mine["forced"] == pytest.approx(whole["forced"], abs=mine["forced_error"] + 2.0)
    assert kept["sampled-0-8"]["rehearsal"]["forced"] is None, "a loop that swings has no number"

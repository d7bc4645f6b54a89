"""The trip boundary of the shank shaken loose: full runs just inside keep, just outside do not.

The moments are those that `simkit protect` brackets (docs/protection.md); each is run again here,
to the fine steps. Nothing outside the project gives them: the check is that the bracket holds, and
that what is exceeded beyond it is what reasoning says.
"""

from __future__ import annotations

import pytest

from simkit.figures.table import sudden
from simkit.run.workers import Workers
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.protect.study import Searcher
from simkit.studies.protect.trip import with_trip
from tests.machines import DEMO

CROSSING = 0.628e-3
"""When the bridge current passes 1.2 times its settled peak, after the event began [s]."""
EVERY = (0.7987e-3, 0.8067e-3)
SUDDENLY = (1.3023e-3, 1.3341e-3)
"""Last moment kept, first moment exceeded, after the event began [s]."""
CYCLE_BEFORE = 0.7868e-3
"""A cycle before the last moment kept, at the same phase [s]."""


@pytest.mark.slow
def test_trips_inside_the_boundary_keep_and_outside_do_not() -> None:
    scenario, machine = load_scenario(DEMO / "pull-out-shaken.toml")
    times = (*EVERY, *SUDDENLY, CYCLE_BEFORE)
    with Workers(2) as crew:
        searcher = Searcher(crew)
        rows = searcher.runs([(machine.model, with_trip(scenario.model, t)) for t in times])
    inside, outside, early, late, before = ({q: r["status"] for q, r in row["limits"].items()}
                                    for row in rows)  # fmt: skip
    # The bracket is 5 % of the delay at the lowest level, for both.
    for last, first in (EVERY, SUDDENLY):
        assert 0.0 < first - last <= 0.05 * (last - CROSSING)
    # The current per can goes up a per cent a cycle and is known to half of one: at the last moment
    # kept it may be too near its limit to call, a cycle earlier nothing is.
    assert set(before.values()) == {"ok"}, "every limit, those of the tank too"
    assert {q for q, status in inside.items() if status != "ok"} <= {"can_current_rms"}
    assert "over" not in inside.values()
    # The cans' current rises with the tank's, slowly: it is the first to go, alone.
    assert {q for q, status in outside.items() if status == "over"} == {"can_current_rms"}
    # Diodes are forced off only once the drive is below resonance, some half a millisecond later.
    # `sudden` names the figures of every kind of switch: this bridge has MOSFETs.
    here = sudden() & set(early)
    assert {"recovery_di_dt", "recovery_dv_dt", "channel_current_peak"} <= here
    assert {early[q] for q in here} == {"ok"}
    assert {"recovery_di_dt", "recovery_dv_dt"} <= {q for q in here if late[q] == "over"}

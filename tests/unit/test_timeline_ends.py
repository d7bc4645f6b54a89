"""A timeline's boundaries beyond its end, where a run of a very short scenario goes on."""

from __future__ import annotations

import numpy as np
import pytest

from simkit.circuit.timeline import BEYOND
from simkit.rehearsal.driving import driven_line
from simkit.rehearsal.job import cycles_from
from simkit.studies.inputs.loading import load_scenario
from tests.machines import DEMO


def test_a_changing_drive_s_boundaries_go_on_for_some_cycles_at_its_last_frequency() -> None:
    """Half a period of the last frequency apart, and enough of them for the cycles asked for: a
    scenario of half a cycle whose drive tracks had none beyond its end."""
    scenario, machine = load_scenario(DEMO / "pull-out-cold.toml", {"start.tracks": "true"})
    line = driven_line(machine.model, scenario.model)
    assert not line.frequency.constant
    last = line.end - 1.0 / line.frequency.last
    found = line.boundaries(last, line.end + (BEYOND - 2.0) / line.frequency.last)
    assert len(found) >= 2 * (BEYOND - 1.0)
    assert np.diff(found)[4:] == pytest.approx(0.5 / line.frequency.last, rel=1e-3)
    first, until = cycles_from(line, last, 4)
    assert until - first == pytest.approx(4.0 / line.frequency.last, rel=1e-3)

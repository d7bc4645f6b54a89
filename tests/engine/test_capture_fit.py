"""Three synthetic captures of a machine off its file, fitted back and laid over the circuit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from simkit.parameters.read_readings import load_readings
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.fit.captures import captures_of, overlays
from simkit.studies.fit.solve import Observation
from simkit.studies.fit.study import fit
from simkit.studies.inputs.loading import load_machine
from tests.machines import DEMO, demo
from tests.slowly import rest_studied
from tests.unit.test_captures import PIECE, lacking, plain, skewed, truth

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("made", rest_studied([plain, lacking, skewed], 2))
def test_a_capture_is_fitted_back_and_lies_over_the_circuit(
    made: Callable[[Path], tuple[Observation, ...]], tmp_path: Path
) -> None:
    """The piece's L within 2 % of the machine the capture came from, which is 2 % off the file.

    Over the fitted circuit's trace each channel lies within 12 % of its peak, rms: noise of 1 or
    2 % of the span, and edges that the synthetic node has infinitely steep.
    """
    loaded, bench = load_machine(DEMO / "machine.toml"), Rehearser()
    found = fit(loaded, made(tmp_path), bench)
    assert found.machine.workpieces[PIECE].inductance == pytest.approx(
        truth().workpieces[PIECE].inductance, rel=0.02
    )
    captured = captures_of(load_readings(tmp_path / "readings.toml"), demo())
    laid = overlays(captured, found.machine, bench)
    assert {o.shows for o in laid} == {s.channel.shows for c in captured for s in c.channels}
    for one in laid:
        if one.shows != "node":
            assert one.difference < 0.12, one.shows

"""When a limit went, of an event that was sampled: between the last sample that keeps it and the
first that does not, wherever the fast model has the crossing."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.figures.table import sudden
from simkit.judge.limits import Limit
from simkit.rehearsal.closeup import APART
from simkit.rehearsal.onset import NARROW, narrow, onset
from simkit.rehearsal.refining import Passes
from simkit.rehearsal.surrogate import Curve

PERIOD = 12.5e-6
BEGIN = 1e-3
END = 61e-3
TRUE = 40e-3
"""Where the circuit passes the limit [s]; the fast model has it 9 ms early."""
EARLY = 9e-3


def sample(time: float, **values: float) -> Any:
    series = [SimpleNamespace(quantity=q, worst=(v, time)) for q, v in values.items()]
    cycle = SimpleNamespace(start=time - 0.5 * PERIOD, end=time + 0.5 * PERIOD)
    return SimpleNamespace(series=series, cycles=(cycle,))


def line(time: np.ndarray, crossing: float) -> np.ndarray:
    """Nothing until 2 ms before a crossing, then straight up through 1 there."""
    return np.clip((time - crossing) / 2e-3 + 1.0, 0.0, None)


TIMES = np.linspace(0.0, END, 2000)


def test_the_gap_between_two_samples_is_the_error() -> None:
    samples = [sample(t, flux_peak=v) for t, v in [(1e-3, 0.0), (30e-3, 0.9), (50e-3, 3.0)]]
    found = onset("flux_peak", 1.0, samples, Curve(TIMES, line(TIMES, 31e-3)))
    assert found is not None
    assert found.at == pytest.approx(31e-3, abs=1e-5)
    assert (found.after, found.until) == (30e-3, 50e-3)
    assert found.error == pytest.approx(19e-3, abs=1e-5)


def test_a_course_that_never_crosses_leaves_the_sample_that_does() -> None:
    samples = [sample(t, flux_peak=v) for t, v in [(1e-3, 0.0), (50e-3, 3.0)]]
    found = onset("flux_peak", 1.0, samples, Curve(TIMES, 0.0 * TIMES))
    assert found is not None
    assert (found.at, found.after, found.until) == (50e-3, 1e-3, 50e-3)


def test_what_no_sample_or_the_first_one_exceeds_has_no_onset() -> None:
    kept = [sample(1e-3, flux_peak=0.1), sample(50e-3, flux_peak=0.9)]
    assert onset("flux_peak", 1.0, kept, None) is None
    over = [sample(1e-3, flux_peak=1.1), sample(50e-3, flux_peak=3.0)]
    assert onset("flux_peak", 1.0, over, None) is None


@pytest.mark.parametrize(("missed", "off", "error"), [(0.02, 0.0, 40e-6), (0.02, 0.05, 140e-6)])
def test_what_goes_smoothly_is_known_by_how_well_its_scale_is(
    missed: float, off: float, error: float
) -> None:
    """A course of 1/2 per millisecond: 2 % of its limit are 40 us, 7 % are 140."""
    samples = [sample(t, can_current_rms=v) for t, v in [(1e-3, 0.0), (30e-3, 0.5), (50e-3, 3.0)]]
    curve = Curve(TIMES, line(TIMES, 31e-3), missed)
    found = onset("can_current_rms", 1.0, samples, curve, off)
    assert found is not None
    assert found.at == pytest.approx(31e-3, abs=1e-5)
    assert found.error == pytest.approx(error, rel=0.1)
    # What destroys within a cycle comes with an edge that no course knows: the gap stays.
    same = [sample(t, recovery_dv_dt=v) for t, v in [(1e-3, 0.0), (30e-3, 0.5), (50e-3, 3.0)]]
    edge = onset("recovery_dv_dt", 1.0, same, curve, off)
    assert edge is not None
    assert (edge.after, edge.until) == (30e-3, 50e-3)
    # A scale that misses samples by a fifth says nothing of when.
    lost = onset("can_current_rms", 1.0, samples, replace(curve, missed=0.2), off)
    assert lost is not None
    assert (lost.after, lost.until) == (30e-3, 50e-3)


class Scout:
    """The fast model: early, at the samples' scale like the real one."""

    def __init__(self) -> None:
        frequency = SimpleNamespace(last=1.0 / PERIOD)
        events = (SimpleNamespace(start=BEGIN, end=END),)
        self.line = SimpleNamespace(frequency=frequency, events=events, end=END)

    def scaled(self, stretches: list[Any]) -> dict[str, Curve]:
        fast = line(TIMES, TRUE - EARLY)
        at, ratio = [], []
        for s in stretches:
            middle, values = 0.5 * (s.cycles[0].start + s.cycles[0].end), s.series[0].worst[0]
            here = float(np.interp(middle, TIMES, fast))
            if here > 0.0:
                at.append(middle)
                ratio.append(values / here)
        return {"recovery_dv_dt": Curve(TIMES, fast * np.interp(TIMES, at, ratio))}

    def corrected(self, _stretches: Any) -> "Scout":
        return self

    def sampled(self, stretch: Any) -> Any:
        return stretch


class Runs:
    """The circuit: late."""

    def __init__(self) -> None:
        self.starts: list[float] = []

    def elsewhere(self, _seeds: Any, start: float, _cycles: int) -> Any:
        self.starts.append(start)
        middle = start + 0.5 * PERIOD
        return lambda: sample(middle, recovery_dv_dt=float(line(np.array([middle]), TRUE)[0]))

    def gather(self, tasks: Any) -> list[Any]:
        return [task() for task in tasks]


def test_samples_close_the_gap_to_a_share_of_the_time_since_the_event_began() -> None:
    assert "recovery_dv_dt" in sudden()
    samples = [
        sample(t, recovery_dv_dt=float(line(np.array([t]), TRUE)[0])) for t in (BEGIN, 30e-3, 60e-3)
    ]
    scout: Any = Scout()
    runs: Any = Runs()
    limits = {"recovery_dv_dt": Limit("recovery_dv_dt", "V/s", 1.0, "the data sheet")}
    before = onset("recovery_dv_dt", 1.0, samples, scout.scaled(samples)["recovery_dv_dt"])
    assert before is not None
    assert before.until - before.after > 0.7 * (before.at - BEGIN)
    passes = Passes(list(samples), [], {})
    narrow(runs, scout, passes, limits)
    curve = scout.scaled(passes.stretches)["recovery_dv_dt"]
    found = onset("recovery_dv_dt", 1.0, passes.stretches, curve)
    assert found is not None
    assert found.after <= TRUE <= found.until
    # Four rounds at most, each of which leaves four fifths of the gap at the worst.
    assert found.until - found.after < 0.25 * (before.until - before.after)
    assert 1 <= len(runs.starts) <= 4
    starts = sorted(s.cycles[0].start for s in passes.stretches)
    assert min(np.diff(starts)) > APART * PERIOD


def test_a_gap_that_is_narrow_already_asks_for_nothing() -> None:
    wide = NARROW * (TRUE - BEGIN)
    samples = [
        sample(t, recovery_dv_dt=v)
        for t, v in [(BEGIN, 0.0), (TRUE - 0.4 * wide, 0.8), (TRUE + 0.4 * wide, 1.2)]
    ]
    runs: Any = Runs()
    limits = {"recovery_dv_dt": Limit("recovery_dv_dt", "V/s", 1.0, "the data sheet")}
    narrow(runs, Scout(), Passes(samples, [], {}), limits)  # type: ignore[arg-type]  # stand-ins
    assert runs.starts == []

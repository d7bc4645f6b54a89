"""The drive tuned down through resonance on the demonstration machine, at a bench supply's 100 V.

What should be seen is common practice, no source: with the drive above resonance the current lags
and no diode is forced off; on the way down current rises and its shape goes from near-triangular
to a sine; at resonance voltage and current are in phase; below it the current leads, and each
switch that turns on forces a conducting body diode off.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from simkit.measure.point import OperatingPoint, operating_point
from simkit.rehearsal.stretches import Stretch
from tests.machines import demo, seeded_stretch, still
from tests.slowly import first_quick

LOAD = "cold-steel-weak-field"
ABOVE = (1.6, 1.25, 1.15, 1.08, 1.04, 1.02)
BELOW = (0.98, 0.96, 0.92)
CYCLES, MEASURED = 24, 6


@cache
def at(detuning: float) -> tuple[OperatingPoint, Stretch]:
    """Settled operation at a frequency over the resonance of machine and load [1]."""
    machine = demo()
    frequency = detuning * machine.resonance(machine.load(LOAD).inductance)
    line = still(machine, CYCLES, load=LOAD, frequency=frequency, supply_voltage=100.0)
    stretch = seeded_stretch(machine, line, (CYCLES - MEASURED - 1) / frequency)
    return operating_point(stretch.waves, stretch.cycles, stretch.transitions), stretch


@pytest.mark.slow
@pytest.mark.parametrize("detuning", ABOVE)
def test_above_resonance_nothing_is_forced_off(detuning: float) -> None:
    point, stretch = at(detuning)
    assert stretch.recoveries == ()
    assert point.mode == "inductive"
    assert point.phase_deg > 0.0
    assert all(t.zero_voltage for t in stretch.transitions)


@pytest.mark.parametrize("detuning", first_quick(BELOW))
def test_below_resonance_every_transition_forces_a_diode_off(detuning: float) -> None:
    point, stretch = at(detuning)
    assert len(stretch.recoveries) == len(stretch.transitions) > 0
    assert point.mode == "capacitive"
    assert point.phase_deg < 0.0
    assert not any(t.zero_voltage for t in stretch.transitions)


@pytest.mark.slow
def test_recovery_adds_a_spike_to_the_switch_current_below_only() -> None:
    """Peak drain current over peak primary current: the spike is what no load current explains.

    Above: 1.1 at most, the primary current itself and the swing's share of the node's charge.
    Below: more than twice, the other switch's stored and junction charge on top.
    """

    def spike(detuning: float) -> float:
        point, stretch = at(detuning)
        peaks = [np.abs(s.drain_current).max() for s in measured(stretch).switches]
        return float(max(peaks) / point.primary_current_peak_a)

    assert max(spike(k) for k in ABOVE) < 1.1
    assert min(spike(k) for k in BELOW[1:]) > 2.0


def measured(stretch: Stretch):  # type: ignore[no-untyped-def]
    return stretch.waves.between(stretch.cycles[0].start, stretch.cycles[-1].end)


@pytest.mark.slow
def test_current_rises_as_resonance_is_approached_from_above() -> None:
    points = [at(k)[0] for k in (*ABOVE, 1.0)]
    for name in ("primary_current_rms_a", "tank_current_peak_a", "input_power_w"):
        values = [getattr(p, name) for p in points]
        assert values == sorted(values), name
        assert values[-1] > 3.0 * values[0]
    assert at(1.0)[0].tank_current_peak_a > at(BELOW[0])[0].tank_current_peak_a


@pytest.mark.slow
def test_shape_goes_from_near_triangular_to_a_sine() -> None:
    """Harmonics 2 to 15 over the fundamental; a triangle has 0.1206 (sum of 1/n^4, odd n)."""
    triangle = np.sqrt(sum(n**-4.0 for n in range(3, 16, 2)))
    values = [at(k)[0].primary_distortion for k in (*ABOVE, 1.0)]
    assert values == sorted(values, reverse=True)
    # Far above, half way to the triangle and beyond; at resonance a seventh of it.
    assert values[0] > 0.5 * triangle
    assert values[-1] < triangle / 6.0


@pytest.mark.slow
def test_phase_passes_zero_at_resonance() -> None:
    """From lag to lead within half a per cent of the resonance computed from L and C.

    The magnetising current and the dead time shift it by less.
    """
    phases = [at(k)[0].phase_deg for k in (1.02, 1.005, 0.995, 0.98)]
    assert phases == sorted(phases, reverse=True)
    assert phases[1] > 0.0 > phases[2]
    assert abs(at(1.0)[0].phase_deg) < 3.0

"""Matching transformer, against circuits stepped in time and integrals.

Each reference is worked out in the test by another way than the formula's.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from simkit.parts.transformer import (
    bridge_fundamental,
    coaxial_leakage,
    copper_resistivity,
    cycles_to_flux,
    flux_walk,
    inductance_factor,
    layer_ratio,
    leakage_inductance,
    magnetising_inductance,
    offset_flux,
    sine_flux,
    square_flux,
    wire_ac_resistance,
    wire_dc_resistance,
)

AREA, TURNS = 3.6e-4, 18


def test_square_flux_by_stepping_the_voltage() -> None:
    steps = 20000
    t = (np.arange(steps) + 0.5) / steps * 1e-5
    volts = np.where(t % 5e-6 < 4e-6, 320.0, 0.0) * np.where(t < 5e-6, 1.0, -1.0)
    flux = np.cumsum(volts) * 1e-5 / steps / (TURNS * AREA)
    swing = np.ptp(np.append(flux, 0.0))
    # one step of 20000 is the resolution of an edge
    assert square_flux(320.0, 1e5, TURNS, AREA, 1e-6) == pytest.approx(swing / 2, rel=1e-3)


def test_square_and_sine_of_one_half_wave_area() -> None:
    # mean of a half sine is 2 sqrt2/pi of its rms: equal means give equal flux
    mean = 2 * math.sqrt(2) / math.pi * 230.0
    assert square_flux(mean, 1e5, TURNS, AREA) == pytest.approx(sine_flux(230, 1e5, TURNS, AREA))


def test_half_the_turns_double_the_flux() -> None:
    assert square_flux(320, 1e5, 9, AREA) == pytest.approx(2 * square_flux(320, 1e5, 18, AREA))


def test_walk_by_stepping_an_inductor_with_resistance() -> None:
    frequency, error, volts, ohms, henry = 1e5, 20e-9, 320.0, 0.2, 2e-3
    walk = flux_walk(volts, frequency, error, ohms, henry, (TURNS, AREA))
    on, off = 5e-6 + error / 2, 5e-6 - error / 2
    # begun half a swing low, so that the mean over the first cycle is no current
    current, course = -0.5 * volts * 5e-6 / henry, []
    for _ in range(10000):
        before = current
        for time, drive in ((on, volts), (off, -volts)):
            current = drive / ohms + (current - drive / ohms) * math.exp(-ohms * time / henry)
        course.append(current - before)
    total = np.cumsum(course)
    # ten time constants of 0.01 s; the rest, exp(-10), and the ripple are below 2 in 1000
    assert total[-1] == pytest.approx(walk.current, rel=2e-3)
    # half a cycle of decay, T R/(2 L) = 0.1 %, and the asymmetry's own second order
    assert course[0] * henry / (TURNS * AREA) == pytest.approx(walk.first_step, rel=0.01)
    room = 0.5 * walk.offset
    cycles = cycles_to_flux(walk, room, frequency)
    # the mean current of cycle n, within the cycle's own ripple's growth
    assert total[int(cycles)] == pytest.approx(total[-1] / 2, rel=0.01)


def test_walk_that_stays_within_the_room_never_uses_it_up() -> None:
    walk = flux_walk(320.0, 1e5, 1e-9, 0.2, 1e-3, (TURNS, AREA))
    assert cycles_to_flux(walk, 2 * walk.offset, 1e5) == math.inf
    assert walk.offset == pytest.approx(offset_flux(1e-3, walk.current, TURNS, AREA))


def test_unequal_switch_drops_walk_too() -> None:
    walk = flux_walk(320.0, 1e5, 0.0, 0.2, 1e-3, (TURNS, AREA), voltage_error=0.1)
    # 0.1 V more for half of the time
    assert walk.average_voltage == pytest.approx(0.05)


def test_a_gap_takes_over_the_inductance() -> None:
    whole = inductance_factor(AREA, 0.1, 2300)
    gapped = inductance_factor(AREA, 0.1, 2300, 1e-3)
    assert gapped.value == pytest.approx(4e-7 * math.pi * AREA / 1e-3, rel=0.05)
    assert (whole.outside, gapped.outside) == ((), ())
    assert "gap" in inductance_factor(AREA, 0.1, 2300, 5e-3).outside[0]
    assert magnetising_inductance(whole.value, 10) == pytest.approx(100 * whole.value)


def test_leakage_by_the_energy_in_the_window() -> None:
    # H rises across the first build, is flat in the gap, falls across the second
    height, gap, first, second, turn = 0.03, 1e-3, 2e-3, 3e-3, 0.08
    x = np.linspace(0, first + gap + second, 200001)
    field = np.interp(x, [0, first, first + gap, first + gap + second], [0, 1, 1, 0])
    field = field * TURNS / height
    energy = 0.5 * 4e-7 * math.pi * np.trapezoid(field**2, x) * height * turn
    got = leakage_inductance(TURNS, turn, height, gap, first + second)
    assert got.value == pytest.approx(2 * energy, rel=1e-6)
    assert got.outside == ()
    assert leakage_inductance(TURNS, turn, 5e-3, gap, 5e-3).outside != ()


def test_thin_coax_is_a_flat_gap() -> None:
    flat = 4e-7 * math.pi * 0.05 * 1e-5 / (2 * math.pi * 5e-3)
    assert coaxial_leakage(1, 0.05, 5e-3, 5.01e-3) == pytest.approx(flat, rel=2e-3)
    with pytest.raises(ValueError, match="outer"):
        coaxial_leakage(1, 0.05, 5e-3, 5e-3)


def test_one_layer_of_thick_foil_carries_one_skin_depth() -> None:
    assert layer_ratio(10e-3, 1.724e-8, 1e5, 1).value == pytest.approx(10 / 0.20897, rel=1e-4)


@pytest.mark.parametrize("layers", [1, 2, 3, 5])
@pytest.mark.parametrize("thick", [0.3, 1.0, 2.0, 4.0])
def test_points_of_dowells_curves(layers: int, thick: float) -> None:
    """In the paper's own form, Re(M) + (m^2 - 1)/3 Re(D), M = ah coth(ah), D = 2 ah tanh(ah/2),
    ah = (1 + j) h/delta: P. L. Dowell, Proc. IEE 113 (1966) 1387, as restated in a public
    encyclopaedia of magnetics (read there)."""
    ah = (1.0 + 1.0j) * thick
    m, d = ah / cmath.tanh(ah), 2.0 * ah * cmath.tanh(0.5 * ah)
    wanted = m.real + (layers**2 - 1) / 3.0 * d.real
    depth = math.sqrt(1.724e-8 / (math.pi * 1e5 * 4e-7 * math.pi))
    found = layer_ratio(thick * depth, 1.724e-8, 1e5, layers).value
    assert found == pytest.approx(wanted, rel=1e-9)


def test_layers_for_thin_foil_follow_the_series() -> None:
    # 1 + (5 m^2 - 1)/45 D^4: W. G. Hurley, E. Gath, J. G. Breslin, IEEE Trans. Power
    # Electronics 15 (2000) 369 (recalled from memory); the next term is of order D^8
    d = 0.3
    got = layer_ratio(d * 0.20897e-3, 1.724e-8, 1e5, 4).value
    assert got - 1 == pytest.approx((5 * 16 - 1) / 45 * d**4, rel=0.01)


def test_strands_thinner_than_skin_depth_lose_little() -> None:
    fine = wire_ac_resistance(2.0, 0.1e-3, 1.724e-8, 1e5, strands=100)
    assert fine.value == pytest.approx(wire_dc_resistance(2.0, 0.1e-3, 1.724e-8) / 100, rel=1e-3)
    assert fine.outside == ()
    assert wire_ac_resistance(2.0, 1e-3, 1.724e-8, 1e5, strands=5).outside != ()


def test_copper_warns_beyond_its_range() -> None:
    assert copper_resistivity(100.0).outside == ()
    assert "temperature" in copper_resistivity(400.0).outside[0]


@pytest.mark.parametrize("conduction", [1.0, 0.8])
def test_fundamental_by_numerical_fourier(conduction: float) -> None:
    angle = (np.arange(100000) + 0.5) / 100000 * 2 * math.pi
    edge = math.pi / 2 * (1 - conduction)
    part = angle % math.pi
    wave = np.where((part > edge) & (part < math.pi - edge), 325.0, 0.0) * np.sign(np.sin(angle))
    fourier = 2 * np.mean(wave * np.sin(angle))
    assert bridge_fundamental(325.0, conduction=conduction) == pytest.approx(fourier, rel=1e-4)
    assert bridge_fundamental(325.0, True, conduction) == pytest.approx(fourier / 2, rel=1e-4)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="conduction"):
        bridge_fundamental(1.0, conduction=0.0)
    with pytest.raises(ValueError, match="on_time"):
        square_flux(320.0, 1e5, 18, AREA, 6e-6)

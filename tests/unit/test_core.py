"""Core loss and the saturable core.

Outside: Steinmetz' law is what a sine flux must give back; scipy's quad is the reference for
integrals; a square voltage and a sine of equal swing lose the same when the loss goes with
frequency to the first power (hysteresis alone), and 8/pi^2 when to the second (eddy currents).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from simkit.parts.core import (
    SaturableCore,
    Steinmetz,
    air_core_inductance,
    igse_loss,
    magnetising_current,
    saturable_core,
    saturation_flux,
    square_loss,
)
from tests.oracles.core import incremental_inductance, optimum_swing, steinmetz_loss

FERRITE = Steinmetz(1.5, 1.5, 2.5, 20e3, 300e3, "invented for this test")
CORE = SaturableCore(1e-3, 10e-6, 2e-3, 0.1)


def test_a_sine_flux_gives_steinmetz_back() -> None:
    times = np.linspace(0.0, 1e-5, 4001)
    flux = 0.1 * np.sin(2e5 * math.pi * times)
    drawn = igse_loss(FERRITE, list(times), list(flux))
    # 4000 chords of a sine: error of order (pi/4000)^2, well below 1e-4
    assert drawn.value == pytest.approx(steinmetz_loss(FERRITE, 1e5, 0.1).value, rel=1e-4)


@pytest.mark.parametrize(("alpha", "ratio"), [(1.0, 1.0), (2.0, 8 / math.pi**2)])
def test_square_over_sine_for_pure_loss_mechanisms(alpha: float, ratio: float) -> None:
    material = Steinmetz(1.0, alpha, 2.2, 1e3, 1e6, "invented for this test")
    got = square_loss(material, 1e5, 0.1).value / steinmetz_loss(material, 1e5, 0.1).value
    assert got == pytest.approx(ratio, rel=1e-12)


def test_idle_time_steepens_the_flux() -> None:
    # the same swing in the share s of the time: (1/s)^(alpha - 1)
    idle = square_loss(FERRITE, 1e5, 0.1, idle_share=0.36).value
    assert idle == pytest.approx(square_loss(FERRITE, 1e5, 0.1).value * 0.64**-0.5, rel=1e-12)


def test_fit_used_outside_its_frequencies_says_so() -> None:
    assert square_loss(FERRITE, 1e5, 0.1).outside == ()
    assert "frequency" in square_loss(FERRITE, 1e6, 0.1).outside[0]
    assert "frequency" in steinmetz_loss(FERRITE, 1e3, 0.1).outside[0]


def test_a_flux_that_does_not_close_is_refused() -> None:
    with pytest.raises(ValueError, match="period"):
        igse_loss(FERRITE, [0.0, 1e-5, 2e-5], [0.0, 0.1, 0.05])
    with pytest.raises(ValueError, match="rise"):
        igse_loss(FERRITE, [0.0, 1e-5, 1e-5], [0.0, 0.1, 0.0])


@pytest.mark.parametrize("factor", [0.9, 1.1])
def test_optimum_swing_has_the_least_loss(factor: float) -> None:
    args = (24.7e6, 2.6, 62.5e-6, 8.0, 1.724e-8, (0.297e-4, 0.5), (0.635e-4, 3.15e-2), 4.42e-2)
    best = optimum_swing(*args)

    def loss(swing: float) -> float:
        turns = 62.5e-6 / (2 * swing * 0.635e-4)
        copper = 1.724e-8 * 4.42e-2 * turns**2 * 8.0**2 / (0.297e-4 * 0.5)
        return copper + 24.7e6 * swing**2.6 * 0.635e-4 * 3.15e-2

    assert loss(factor * best) > loss(best)


def test_core_has_its_two_inductances() -> None:
    assert incremental_inductance(CORE, 0.0) == pytest.approx(1e-3, rel=1e-9)
    assert incremental_inductance(CORE, 50 * CORE.linkage) == pytest.approx(10e-6, rel=1e-3)


@pytest.mark.parametrize("linkage", [1e-4, 1.9e-3, 2.4e-3, 5e-3])
def test_current_is_the_integral_of_one_over_inductance(linkage: float) -> None:
    area = quad(lambda x: 1.0 / incremental_inductance(CORE, x), 0.0, linkage)[0]
    assert magnetising_current(CORE, linkage) == pytest.approx(area, rel=1e-7)
    assert magnetising_current(CORE, -linkage) == -magnetising_current(CORE, linkage)


def test_half_the_turns_saturate() -> None:
    """A winding with half its turns: twice the flux, and the current's spike far above the
    linear one. The knee goes with N, the inductance with N^2."""
    volt_seconds = 320.0 / (2 * 100e3)
    full = saturable_core(4e-3, 18, 3.6e-4, 0.35, 40e-6)
    half = saturable_core(1e-3, 9, 3.6e-4, 0.35, 10e-6)
    for core in (full, half):
        assert magnetising_current(core, 0.2 * core.linkage) < 1.1 * (
            0.2 * core.linkage / core.magnetising
        )
    peak = 0.5 * volt_seconds
    assert peak / half.linkage == pytest.approx(2 * peak / full.linkage)
    assert magnetising_current(half, 3 * peak) > 5 * (3 * peak / half.magnetising)


def test_saturation_goes_through_its_points() -> None:
    assert saturation_flux(0.49, 0.39, 25.0).value == pytest.approx(0.49)
    assert saturation_flux(0.49, 0.39, 100.0).value == pytest.approx(0.39)
    assert "temperature" in saturation_flux(0.49, 0.39, 180.0).outside[0]


def test_refusals() -> None:
    with pytest.raises(ValueError, match="below the magnetising"):
        SaturableCore(1e-3, 2e-3, 1e-3)
    with pytest.raises(ValueError, match="idle_share"):
        square_loss(FERRITE, 1e5, 0.1, idle_share=1.0)
    with pytest.raises(ValueError, match="turns"):
        air_core_inductance(0, 1e-4, 0.1)

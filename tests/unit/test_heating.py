"""Heating and melting, against closed forms, scipy's integrator and the chemicals library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from chemicals import Tm
from scipy.integrate import solve_ivp

from simkit.parts.heating import (
    BOLTZMANN,
    Body,
    Losses,
    body_of,
    heat_content,
    heat_lost,
    heat_through,
    heat_up,
    moisture_of,
    radiated,
    stall_temperature,
)
from simkit.parts.materials import material
from tests.oracles.heating import furnace_power, insulation_resistance

NONE = Losses(0.0, 0.0, math.inf, 20.0)
PIECE = Body(0.5, (20.0,), (500.0,))
METAL = Body(0.5, (20.0,), (500.0,), 600.0, 600.0, 2e5)


def test_no_losses_is_energy_over_power() -> None:
    course = heat_up((METAL,), NONE, 1000.0, 20.0, 700.0)
    energy = 0.5 * (500.0 * 680.0 + 2e5)
    assert course.energy == pytest.approx(energy)
    assert course.times[-1] == pytest.approx(energy / 1000.0)
    assert course.time_at(599.9) == pytest.approx(0.5 * 500.0 * 579.9 / 1000.0, rel=1e-6)
    # the plateau: 100 kJ at 1 kW
    assert course.time_molten() - course.time_at(600.0) == pytest.approx(100.0, rel=1e-3)
    assert course.stalled is None


def test_losses_through_insulation_are_the_exponential() -> None:
    losses = Losses(0.0, 0.0, 2.0, 20.0)
    course = heat_up((PIECE,), losses, 400.0, 20.0, 620.0)
    # rise 800 K in the end, time constant 2 K/W x 250 J/K; trapezoids on 2000 steps
    assert course.times[-1] == pytest.approx(500.0 * math.log(800.0 / 200.0), rel=1e-5)


def test_losses_by_radiation_have_their_closed_form() -> None:
    losses = Losses(0.01, 0.8, math.inf, 20.0)
    course = heat_up((PIECE,), losses, 500.0, 20.0, 650.0)
    strength = 0.8 * BOLTZMANN * 0.01
    end = (500.0 / strength + 293.15**4) ** 0.25

    def integral(t: float) -> float:
        return (0.5 * math.log((end + t) / (end - t)) + math.atan(t / end)) / (2 * end**3)

    exact = 250.0 / strength * (integral(923.15) - integral(293.15))
    assert course.times[-1] == pytest.approx(exact, rel=1e-5)


def test_charge_in_a_crucible_is_the_integrated_one() -> None:
    """The same with solve_ivp in heat content, with tables and two bodies."""
    charge, crucible = body_of(material("copper"), 0.3), body_of(material("graphite"), 0.2, False)
    losses = Losses(0.004, 0.8, 5.0, 20.0)
    course = heat_up((charge, crucible), losses, 1500.0, 20.0, 1150.0)
    grid = np.unique(np.r_[np.linspace(20.0, 1150.0, 500), 1084.62, 1084.621])
    whole = [sum(heat_content(b, 20.0, t).value for b in (charge, crucible)) for t in grid[1:]]
    content = np.concatenate(([0.0], whole))

    def slope(_t: float, heat: list[float]) -> list[float]:
        return [1500.0 - heat_lost(losses, float(np.interp(heat[0], content, grid)))]

    done = solve_ivp(slope, (0, course.times[-1]), [0.0], rtol=1e-8, max_step=1.0)
    assert done.y[0, -1] == pytest.approx(content[-1], rel=1e-4)


@pytest.mark.parametrize(("name", "number", "about"), [
    ("silver", "7440-22-4", 960.0), ("copper", "7440-50-8", 1085.0),
])  # fmt: skip
def test_silver_and_copper_melt_in_a_graphite_crucible_where_they_should(
    name: str, number: str, about: float
) -> None:
    """Common practice, no source: silver melts in a graphite crucible at about 960 degC,
    copper at about 1085. The plateau of the course is compared with that to 3 K and with the
    melting point of the chemicals library to 0.1 K."""
    charge = body_of(material(name), 0.1)
    crucible = body_of(material("graphite"), 0.15, melts=False)
    course = heat_up((charge, crucible), Losses(0.003, 0.8, 10.0, 20.0), 1000.0, 20.0, 1200.0)
    longest = int(np.argmax(np.diff(course.times)))
    assert course.celsius[longest] == pytest.approx(about, abs=3.0)
    assert course.celsius[longest] == pytest.approx(Tm(number) - 273.15, abs=0.1)
    assert course.molten[longest] == 0.0
    assert course.molten[longest + 1] == pytest.approx(1.0)
    assert course.time_molten() < 900.0


def test_too_little_power_stalls_below_the_melting_point() -> None:
    losses = Losses(0.02, 0.9, 1.0, 20.0)
    course = heat_up((METAL,), losses, 300.0, 20.0, 700.0)
    assert course.stalled is not None
    assert heat_lost(losses, course.stalled) == pytest.approx(300.0, rel=1e-6)
    assert course.celsius[-1] < course.stalled < 600.0
    assert course.time_molten() == math.inf
    assert course.time_at(600.0) == math.inf


def test_mushy_alloy_melts_over_its_range() -> None:
    brass = Body(1.0, (20.0,), (375.0,), 915.0, 955.0, 2e5)
    assert [brass.molten(t) for t in (900.0, 935.0, 1000.0)] == [0.0, 0.5, 1.0]
    assert heat_content(brass, 20.0, 935.0).value == pytest.approx(375.0 * 915.0 + 1e5)
    assert PIECE.molten(2000.0) == 0.0


def test_heat_content_warns_beyond_its_table() -> None:
    steel = body_of(material("low-carbon-steel"), 1.0)
    assert heat_content(steel, 20.0, 1000.0).outside == ()
    assert "end" in heat_content(steel, 20.0, 1600.0).outside[0]


def test_stall_without_losses_never_comes() -> None:
    assert stall_temperature(NONE, 1.0) == math.inf


def test_thin_insulation_is_a_flat_wall() -> None:
    flat = 1e-4 / (0.2 * 2 * math.pi * 0.05 * 0.3)
    assert insulation_resistance(0.3, 0.05, 0.0501, 0.2) == pytest.approx(flat, rel=2e-3)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="at least one"):
        heat_up((), NONE, 1.0, 20.0, 30.0)
    with pytest.raises(ValueError, match="above the start"):
        heat_up((PIECE,), NONE, 1.0, 30.0, 20.0)
    with pytest.raises(ValueError, match="liquidus"):
        Body(1.0, (20.0,), (500.0,), 600.0, 500.0, 1.0)
    with pytest.raises(ValueError, match="equal length"):
        Body(1.0, (20.0, 30.0), (500.0,))
    with pytest.raises(ValueError, match="emissivity"):
        Losses(1.0, 1.5, 1.0, 20.0)
    with pytest.raises(ValueError, match="efficiency"):
        furnace_power(1.0, 1.0, 1.1)
    with pytest.raises(ValueError, match="outer"):
        insulation_resistance(1.0, 0.1, 0.1, 1.0)
    assert radiated(NONE, 500.0) == 0.0


def test_power_that_goes_with_temperature_has_its_closed_form() -> None:
    """m c dT/dt = a + b T without losses: t = (m c/b) ln((a + b T2)/(a + b T1))."""
    course = heat_through((PIECE,), NONE, [(20.0, 500.0), (300.0, 220.0), (620.0, 220.0)])
    falling = 250.0 / -1.0 * math.log(220.0 / 500.0)
    # Trapezoids on 2000 steps.
    assert course.time_at(300.0) == pytest.approx(falling, rel=1e-4)
    assert course.times[-1] == pytest.approx(falling + 250.0 * 320.0 / 220.0, rel=1e-4)


def test_an_even_power_heats_as_before() -> None:
    losses = Losses(0.01, 0.8, 5.0, 20.0)
    even = heat_up((METAL,), losses, 900.0, 20.0, 700.0)
    course = heat_through((METAL,), losses, [(20.0, 900.0), (400.0, 900.0), (700.0, 900.0)])
    assert course.time_at(650.0) == pytest.approx(even.time_at(650.0), rel=1e-4)
    assert course.time_molten() == pytest.approx(even.time_molten(), rel=1e-4)


def test_power_that_falls_below_the_losses_stops_the_course_there() -> None:
    """Losses (T - 20)/1, power 400 falling to 0 at 620: they meet at (T - 20) = 400 (620 - T)/600,
    T = 260 degC; on a grid of 0.3 K."""
    losses = Losses(0.0, 0.0, 1.0, 20.0)
    course = heat_through((PIECE,), losses, [(20.0, 400.0), (620.0, 0.0)])
    assert course.stalled == pytest.approx(260.0, abs=0.5)
    assert course.time_at(400.0) == math.inf
    with pytest.raises(ValueError, match="losses exceed the power"):
        heat_through((PIECE,), losses, [(220.0, 100.0), (620.0, 900.0)])


def test_moisture_boils_off_before_the_charge_goes_on() -> None:
    """50 g from 20 degC: 0.05 (4186 x 80 + 2.257e6) J at 400 W take 324 s (steam tables, recalled
    from memory); the dry piece is 250 J/K."""
    wet = heat_up((PIECE, moisture_of(0.05)), NONE, 400.0, 20.0, 300.0)
    dry = heat_up((PIECE,), NONE, 400.0, 20.0, 300.0)
    water = 0.05 * (4186.0 * 80.0 + 2.257e6)
    assert wet.times[-1] - dry.times[-1] == pytest.approx(water / 400.0, rel=1e-3)
    assert wet.time_at(99.0) == pytest.approx((250.0 + 0.05 * 4186.0) * 79.0 / 400.0, rel=1e-3)

"""The gate resistor swept in circuit runs, against hand figures of its RC and of its RLC loop."""

from __future__ import annotations

from math import log

import pytest

from simkit.parameters.machine import Machine
from simkit.parts.gate_drive import loop_damping, ring_frequency
from simkit.parts.mosfet import gate_charges
from simkit.run.workers import Workers
from simkit.studies.gate_resistor import study
from simkit.studies.gate_resistor.study import Point, band_of, gate_loop
from tests.machines import crucible, demo, varied


def values(points: list[Point], quantity: str) -> list[float]:
    found = [p.figures[quantity].value for p in points]
    assert all(v is not None for v in found), quantity
    return [v for v in found if v is not None]


def swept(machine: Machine, wanted: tuple[int, ...]) -> list[Point]:
    """The sweep at some of its resistances."""
    some = [study.resistances(machine)[k] for k in wanted]
    with pytest.MonkeyPatch.context() as patch, Workers(2) as workers:
        patch.setattr(study, "resistances", lambda _: some)
        return study.sweep(machine, executor=workers)


@pytest.fixture(scope="module")
def points() -> list[Point]:
    """Both ends, the machine's own resistor and what lies around it."""
    return swept(demo(), (0, 3, 4, 5, 6, 8))


@pytest.fixture(scope="module")
def ringing_points() -> list[Point]:
    """Those that ring, and one that does not."""
    return swept(crucible(), (0, 1, 2, 3, 7))


def resistance(machine: Machine, resistor: float) -> float:
    """All in series with a gate at turn-off [ohm]."""
    return resistor + machine.drive.sink_resistance + machine.switch.channel.gate_resistance


@pytest.mark.slow
def test_turn_off_delay_lies_between_two_hand_figures(points: list[Point]) -> None:
    """An RC gate falls from V_on to V_th within R C ln(V_on/V_th).

    C is at least C_gs. At most it is C_gs + C_gd,max, the charge that the drain's rise brings
    through C_gd has to leave at no less than V_th/R, and the driver's edge is half over at the
    command.
    """
    machine, channel, drive = demo(), demo().switch.channel, demo().drive
    fall = log(drive.voltage_on / channel.threshold)
    charges = gate_charges(channel, machine.supply.voltage, 10.0, drive.voltage_on)
    for point in points:
        found = point.figures["turn_off_delay"].value
        assert found is not None
        r = resistance(machine, point.resistance)
        most = channel.gate_source_capacitance + channel.gate_drain_capacitance_max
        assert found > r * channel.gate_source_capacitance * fall
        assert found < (
            r * most * fall + r * charges["gate_drain"] / channel.threshold + drive.edge_time
        )


@pytest.mark.slow
def test_delay_and_loss_rise_with_the_resistor(points: list[Point]) -> None:
    for quantity in ("turn_off_delay", "turn_off_energy", "dead_time_eaten"):
        found = values(points, quantity)
        assert found == sorted(found), quantity


@pytest.mark.slow
def test_delay_is_proportional_to_the_loops_resistance(points: list[Point]) -> None:
    """While the node swings by itself well within the dead time, the delay goes with R alone.

    Within 15 %: the driver's edge adds a constant at the low end, and how far the drain rises
    before the gate has fallen changes the charge a little.
    """
    machine = demo()
    inner = [p for p in points if 5.0 < p.resistance < 40.0]
    assert len(inner) == 4
    per_ohm = [
        delay / resistance(machine, p.resistance)
        for p, delay in zip(inner, values(inner, "turn_off_delay"), strict=True)
    ]
    assert max(per_ohm) < 1.15 * min(per_ohm)


@pytest.mark.slow
def test_too_large_a_resistor_closes_the_band(points: list[Point]) -> None:
    """The off gate still stands above threshold when the other switch is commanded on.

    R C ln(V_on/V_th) alone, with C_gs + C_gd,max, outlasts the dead time of 0.6 us from 89 ohm on:
    the highest value must be over, and the machine's own, with a tenth of that delay, must not.
    """
    band = band_of(points, demo().drive.gate_resistor)
    assert band is not None
    assert band.high.next_resistance is not None
    assert points[-1].verdict == "over_limit"
    lift = points[-1].limits["gate_lift"]
    assert lift.value is not None
    assert lift.value > demo().switch.channel.threshold
    eaten = points[-1].figures["dead_time_eaten"].value
    assert eaten is not None
    assert eaten > demo().drive.dead_time, "both gates above threshold at once"


@pytest.mark.slow
def test_small_resistors_ring_as_the_loop_does(
    ringing_points: list[Point],
) -> None:
    """zeta = R/2 sqrt(C/L) and f = sqrt(1 - zeta^2)/(2 pi sqrt(L C)), textbook.

    Within 15 %: the formula has one capacitance, C_gs + C_gd,max, the circuit one that falls as
    the gate climbs over the drain's voltage; and the magnetising inductance is left out.
    """
    ringing = [p for p in ringing_points if p.loop_damping < 0.6]
    assert len(ringing) == 4
    for point in ringing:
        loop = gate_loop(varied(crucible(), {"drive.gate_resistor": point.resistance}))
        assert point.loop_damping == pytest.approx(loop_damping(loop))
        assert point.ring_damping == pytest.approx(loop_damping(loop), rel=0.15)
        assert point.ring_frequency == pytest.approx(ring_frequency(loop), rel=0.15)
    assert all(p.ring_frequency is None for p in ringing_points if p.loop_damping > 1.0)


@pytest.mark.slow
def test_overshoot_falls_with_the_resistor(ringing_points: list[Point]) -> None:
    """exp(-pi zeta/sqrt(1 - zeta^2)) of the step, textbook; none from critical damping on.

    Judged in shape: the driver's edge and the winding's magnetising current are not in it.
    """
    found = values(ringing_points, "overshoot")
    assert found == sorted(found, reverse=True)
    swing = crucible().drive.voltage_on - crucible().drive.voltage_off
    assert found[0] > 0.2 * swing
    damped = [v for v, p in zip(found, ringing_points, strict=True) if p.loop_damping > 1.0]
    assert max(damped) < 0.05 * swing


@pytest.mark.slow
def test_every_figure_has_an_error(points: list[Point]) -> None:
    for point in points:
        assert point.verdict != "no_verdict"
        for figure in point.figures.values():
            assert figure.error is not None
            assert figure.error >= 0.0

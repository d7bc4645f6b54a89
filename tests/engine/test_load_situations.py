"""What happens to piece, coil, tank and drive: the circuit's current against Ohm's law by hand.

The hand calculation: the bridge's square wave has harmonics 4 V/(k pi) (Fourier); they drive the
series circuit of leakage, blocking capacitor, magnetising branch and, through the turns, coil and
bank. Each situation says what L, R, C, f or V it leaves; the relations are beside it. V is the
link's own, as measured: what the supply's resistance drops is not what is looked at here.

2 %: beside their resistance the switches drop some of their current in the dead time through a
body diode, half a percent of the link; the edges take a hundredth of the half period; a piece is
still settling after its event, at least two memory times of the empty coil, and near resonance 1 %
of what changed is left. 2 degrees: the node's swing, 150 ns of 12 us, is half of it 2.2 degrees
where the current is smallest, and less where the drive compensates it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from simkit.circuit.timeline import timeline
from simkit.measure.point import OperatingPoint
from simkit.studies.situations.base import draft
from simkit.studies.situations.load_events import OFF_AXIS, SQUEEZED, STRETCHED
from tests.engine.runs import situation
from tests.machines import demo
from tests.slowly import rest_studied

TURNS = 22
LEAK, MAGNETISING, BLOCKING = 8e-6, 2.2e-3, 10e-6
CAN, CANS, CAN_ESR = 0.22e-6, 20, 8e-3
IN_SERIES = 2 * (75e-3 + 1 / (18 * (12 - 4))) + 60e-3
"""Two switches of R_D + 1/(K (V_GS - V_T)) each, and the primary's copper [ohm]."""
SECONDARY = 0.5e-3
EMPTY, COLD, HOT = (0.900e-6, 9e-3), (0.945e-6, 50e-3), (0.825e-6, 24e-3)
GRAPHITE = (0.760e-6, 38e-3)


def resonance(inductance: float, cans: int = CANS) -> float:
    return float(1 / (2 * np.pi * np.sqrt((inductance + LEAK / TURNS**2) * CAN * cans)))


@dataclass(frozen=True)
class State:
    """What the circuit is by hand: coil [H] [ohm], drive [Hz]."""

    coil: tuple[float, float]
    frequency: float
    cans: int = CANS

    def currents(self, link: float) -> tuple[np.ndarray, np.ndarray]:
        """Amplitudes of coil current [A] and input impedance [ohm], harmonics 1, 3 and 5."""
        order = np.array([1, 3, 5])
        omega = 2 * np.pi * self.frequency * order
        inductance, resistance = self.coil
        loop = resistance + SECONDARY + CAN_ESR / self.cans + 1j * omega * inductance
        loop = TURNS**2 * (loop + 1 / (1j * omega * CAN * self.cans))
        branch = 1j * omega * MAGNETISING
        impedance = loop * branch / (loop + branch)
        impedance = impedance + IN_SERIES + 1j * omega * LEAK + 1 / (1j * omega * BLOCKING)
        primary = 4 * link / (np.pi * order) / impedance
        return TURNS * primary * branch / (loop + branch), impedance

    def rms(self, link: float) -> float:
        return float(np.sqrt(0.5 * np.sum(np.abs(self.currents(link)[0]) ** 2)))

    def lag(self) -> float:
        """By how much the current lags the voltage [deg]."""
        return float(np.degrees(np.angle(self.currents(1.0)[1][0])))


def shorted(contact: float, frequency: float) -> tuple[float, float]:
    """Five turns, any two coupled by 0.4, the last one bridged: loop by loop (Kirchhoff)."""
    inductance, resistance = COLD
    own = inductance / (5 + 20 * 0.4)
    matrix = own * (0.6 * np.eye(5) + 0.4 * np.ones((5, 5)))
    impedance = 2j * np.pi * frequency * matrix + resistance / 5 * np.eye(5)
    loops = np.array([[1, 0], [1, 0], [1, 0], [1, 0], [0, 1]])
    mesh = loops.T @ impedance @ loops + contact * np.array([[1, -1], [-1, 1]])
    seen = 1 / np.linalg.inv(mesh)[0, 0]
    return float(seen.imag / (2 * np.pi * frequency)), float(seen.real)


def between(share: float, start: tuple[float, float], end: tuple[float, float]) -> tuple:
    return tuple(a + share * (b - a) for a, b in zip(start, end, strict=True))


NEAR, WORK = 1.02 * resonance(COLD[0]), 1.04 * resonance(COLD[0])
"""The drive 2 and 4 % above the loaded resonance [Hz]: scenario and machine file say so."""
AFTER: dict[str, State] = {
    # Out is out, however quickly: the empty coil.
    "pull-out-slow": State(EMPTY, NEAR),
    "pull-out-quick": State(EMPTY, NEAR),
    "pull-out-high-supply": State(EMPTY, NEAR),
    # Half the change.
    "pull-out-partly": State(between(0.5, COLD, EMPTY), NEAR),
    "pull-out-other-sign": State(EMPTY, 1.02 * resonance(GRAPHITE[0])),
    # The drive keeps 2 % above the resonance there is.
    "pull-out-tracked": State(EMPTY, 1.02 * resonance(EMPTY[0])),
    "piece-dropped-in": State(GRAPHITE, 1.02 * resonance(EMPTY[0])),
    # What a piece reflects, w^2 M^2/(R + j w L), grows with M^2: 15 % more of both changes.
    "off-axis": State(between(1.15, EMPTY, COLD), WORK),
    # Two pieces that do not see each other: their reflections add.
    "two-pieces": State(between(2.0, EMPTY, COLD), WORK),
    # How long a coil must be for it: test_coil_shapes below.
    "coil-stretched": State((0.8 * COLD[0], COLD[1]), WORK),
    "coil-squeezed": State((1.2 * COLD[0], COLD[1]), WORK),
    "shorted-turn": State(shorted(0.0, WORK), WORK),
    "piece-touches-coil": State(shorted(5e-3, WORK), WORK),
    "clamp-resistance": State((COLD[0], COLD[1] + 50e-3 / 3), WORK),
    "can-opens": State(COLD, WORK, CANS - 1),
    "warm-up-fixed-frequency": State(HOT, WORK),
    "warm-up-tracked": State(HOT, 1.04 * resonance(HOT[0])),
    "raise-supply-fully": State(COLD, WORK),
    "step-below": State(COLD, 0.97 * resonance(COLD[0])),
    "drift-below": State(COLD, 0.97 * resonance(COLD[0])),
    "tune-down-low-voltage": State(COLD, 0.97 * resonance(COLD[0])),
}
BEFORE: dict[str, State] = {
    **{name: State(COLD, WORK) for name in AFTER},
    **{name: State(COLD, NEAR) for name in AFTER if name.startswith("pull-out")},
    "pull-out-other-sign": State(GRAPHITE, 1.02 * resonance(GRAPHITE[0])),
    "piece-dropped-in": State(EMPTY, 1.02 * resonance(EMPTY[0])),
    "tune-down-low-voltage": State(COLD, 1.25 * resonance(COLD[0])),
}
LOADS = tuple(AFTER)


def holds(state: State, point: OperatingPoint, within: float = 0.02) -> None:
    """The measured point is the state by hand, in current, phase and mode.

    Current that leads at the edge has turned before the other switch turns on: never inductive.
    Whether it had turned at the turn-off already (capacitive) or turns within the dead time, 34
    degrees at 79 kHz, no phase tells; one that lags at the edge is never capacitive.
    """
    assert point.frequency_hz == pytest.approx(state.frequency, rel=1e-4), "digits of the file"
    assert point.coil_current_rms_a == pytest.approx(state.rms(point.supply_voltage_v), rel=within)
    assert point.phase_deg == pytest.approx(state.lag(), abs=2.0)
    assert point.mode != ("inductive" if state.lag() < 0.0 else "capacitive")


@pytest.mark.slow
@pytest.mark.situation("effect", *LOADS)
@pytest.mark.parametrize("name", rest_studied(LOADS, 7))
def test_the_circuit_ends_where_the_relations_say(name: str) -> None:
    # 0.3 ms after a quick pull-out the tank still lacks 1.3 % of its current in a whole run.
    holds(AFTER[name], situation(name).after, 0.03 if name == "pull-out-quick" else 0.02)


@pytest.mark.slow
@pytest.mark.situation("absence", *LOADS)
@pytest.mark.parametrize("name", rest_studied(LOADS, 7))
def test_before_its_event_nothing_of_it_is_there(name: str) -> None:
    """The state before is the other one by hand, and the tests would not take one for the other:
    current or phase differ by more than both tolerances."""
    found = situation(name)
    holds(BEFORE[name], found.before)
    volts = [p.supply_voltage_v for p in (found.before, found.after)]
    apart = AFTER[name].rms(volts[1]) / BEFORE[name].rms(volts[0]) - 1.0
    turned = AFTER[name].lag() - BEFORE[name].lag()
    assert abs(apart) > 0.04 or abs(turned) > 4.0


@pytest.mark.slow
@pytest.mark.situation("effect", "pull-out-high-supply")
def test_a_tenth_more_supply_is_a_tenth_more_current() -> None:
    """A linear circuit. 2 %: pulled out in one millisecond instead of two, the tank's current is
    still 1 % short of where it goes."""
    high, same = situation("pull-out-high-supply"), situation("pull-out-quick")
    for pair in ((high.before, same.before), (high.after, same.after)):
        volts = pair[0].supply_voltage_v / pair[1].supply_voltage_v
        amperes = pair[0].coil_current_rms_a / pair[1].coil_current_rms_a
        assert amperes == pytest.approx(volts, rel=0.02)
    assert high.before.supply_voltage_v / same.before.supply_voltage_v == pytest.approx(
        1.1, rel=2e-3
    )


@pytest.mark.slow
@pytest.mark.situation("effect", "raise-supply-fully")
@pytest.mark.situation("absence", "raise-supply-fully")
def test_power_grows_with_the_square_of_the_supply_and_the_mode_stays() -> None:
    """A linear circuit: from 100 V to 325 V 3.25 times the current and 10.6 times the power; R, Q
    and resonance know nothing of it. 2 % for the current as above, twice that for the power."""
    found = situation("raise-supply-fully")
    before, after = found.before, found.after
    volts = after.supply_voltage_v / before.supply_voltage_v
    assert volts == pytest.approx(3.25, rel=2e-3)
    assert after.coil_current_rms_a / before.coil_current_rms_a == pytest.approx(volts, rel=0.02)
    assert after.input_power_w / before.input_power_w == pytest.approx(volts**2, rel=0.04)
    assert after.mode == before.mode == "inductive"
    assert after.loaded_q == pytest.approx(before.loaded_q, rel=1e-6)


@pytest.mark.slow
@pytest.mark.situation("effect", "clamp-resistance")
def test_the_clamp_takes_its_share_of_the_power_and_of_q() -> None:
    """Q = w L/R falls to 3/4, and of the power in coil and clamp a quarter is the clamp's, I^2 R.
    1e-3: the rounded resistance in the scenario; 2 % for the power, twice the current's error."""
    found = situation("clamp-resistance")
    assert found.after.loaded_q / found.before.loaded_q == pytest.approx(0.75, rel=1e-3)
    clamp = found.after.coil_current_rms_a**2 * 50e-3 / 3
    assert clamp / found.after.workpiece_power_w == pytest.approx(0.25, rel=0.02)


@pytest.mark.slow
@pytest.mark.situation("effect", "warm-up-fixed-frequency", "coil-stretched", "coil-squeezed")
@pytest.mark.parametrize("name", ["warm-up-fixed-frequency", "coil-stretched", "coil-squeezed"])
def test_the_resonance_drifts_by_half_of_what_the_inductance_does(name: str) -> None:
    """df/f = -dL/2L, L with the leakage behind it; 1.5 %: the next term is 3/8 (dL/L)^2, with dL/L
    up to a fifth."""
    found = situation(name)
    change = (AFTER[name].coil[0] - COLD[0]) / (COLD[0] + LEAK / TURNS**2)
    drift = found.after.resonant_frequency_hz / found.before.resonant_frequency_hz
    assert drift == pytest.approx(1.0 - 0.5 * change + 0.375 * change**2, abs=0.015)


@pytest.mark.slow
@pytest.mark.situation("effect", "tune-down-low-voltage", "drift-below")
@pytest.mark.situation("absence", "step-below")
def test_tuned_through_resonance_the_largest_current_is_that_of_all_resistances() -> None:
    """V1/R at resonance, for the drift at full voltage too. 3 %: samples lie beside the top, where
    the course is flat, and the tank follows with 38 us. The step is too quick for it to be seen in
    its end: 0.97 of the resonance carries less."""
    top = State(COLD, resonance(COLD[0]))
    for name in ("tune-down-low-voltage", "drift-below"):
        found = situation(name)
        peaks = next(s for s in found.series if s.quantity == "coil_current_peak").values
        expected = np.sqrt(2.0) * top.rms(found.after.supply_voltage_v)
        assert peaks.max() == pytest.approx(expected, rel=0.03)
    step = situation("step-below").after
    assert np.sqrt(2.0) * step.coil_current_rms_a < 0.95 * expected


@pytest.mark.slow
@pytest.mark.situation("absence", "tune-down-low-voltage", "drift-below")
@pytest.mark.parametrize("name", ["tune-down-low-voltage", "drift-below"])
def test_above_resonance_nothing_is_capacitive(name: str) -> None:
    """The drive passes the phase's zero where the reactance by hand does, 0.1 % below w L = 1/w C
    for the blocking capacitor; 0.5 % are left out around it."""
    found = situation(name)
    crossing = resonance(COLD[0])
    above = [t.mode for t in found.whole.transitions
             if found.line.frequency.at(t.time) > 1.005 * crossing]  # fmt: skip
    assert above
    assert "capacitive" not in above


def wheeler(radius: float, length: float) -> float:
    """H. A. Wheeler, Proc. IRE 16 (1928) 1398: N^2 r^2/(9 r + 10 l) [uH], inches (recalled); here
    five turns. 1 % for l > 0.8 r."""
    r, length = radius / 25.4e-3, length / 25.4e-3
    return 25.0 * r**2 / (9.0 * r + 10.0 * length) * 1e-6


RADIUS, LENGTH = 23.7e-3, 40e-3
"""The demonstration coil as five turns of 6 mm tube, 8 mm apart [m]: 0.9 uH by Wheeler."""


@pytest.mark.situation("effect", "coil-stretched", "coil-squeezed")
def test_coil_shapes_that_the_factors_stand_for() -> None:
    """0.8 is a coil pulled to 1.4 times its length; 1.2 one pressed until its five 6 mm tubes
    touch, 30 mm, beyond which nothing goes. 2 %: Wheeler's own accuracy, twice."""
    assert wheeler(RADIUS, LENGTH) == pytest.approx(EMPTY[0], rel=0.02)
    assert wheeler(RADIUS, 1.4 * LENGTH) / wheeler(RADIUS, LENGTH) == pytest.approx(
        STRETCHED, rel=0.02
    )
    assert wheeler(RADIUS, 30e-3) / wheeler(RADIUS, LENGTH) == pytest.approx(SQUEEZED, rel=0.02)


@pytest.mark.situation("absence", "coil-stretched", "coil-squeezed")
def test_a_coil_left_alone_keeps_its_inductance() -> None:
    """An event of factor one is no event."""
    event = {"kind": "coil", "inductance_factor": 1.0, "at": 0.0, "duration": 1e-3}
    case = draft(demo(), "still", events=[event])
    assert timeline(case.machine, case.scenario).inductance.last == COLD[0]


def field_energy(offset: float) -> float:
    """Mean of H_z^2 over a thin piece of half the bore's length beside the axis, 1 A, five loops.

    Biot and Savart, summed over 360 pieces of each loop; a thin, long piece takes part in
    proportion to the square of the field along it.
    """
    angle = np.linspace(0.0, 2 * np.pi, 360, endpoint=False)
    heights = np.linspace(-16e-3, 16e-3, 5)
    along = np.linspace(-20e-3, 20e-3, 21)
    dx = offset - RADIUS * np.cos(angle)[:, None, None]
    dy = -RADIUS * np.sin(angle)[:, None, None]
    dz = along[None, :, None] - heights[None, None, :]
    cube = (dx**2 + dy**2 + dz**2) ** 1.5
    # (dl x r)_z = dl_x r_y - dl_y r_x
    cross = RADIUS * (-np.sin(angle)[:, None, None] * dy - np.cos(angle)[:, None, None] * dx)
    field = (cross / cube).sum(axis=(0, 2)) * (angle[1] - angle[0]) / (4 * np.pi)
    return float(np.mean(field**2))


@pytest.mark.situation("effect", "off-axis")
def test_beside_the_axis_a_piece_is_coupled_better_by_what_the_scenario_says() -> None:
    """Laplace's equation: the field of a coil is weakest on its axis, H(r) = H0 - r^2 H0''/4 with
    H0'' < 0 inside. The 15 % is what a thin piece 9 to 13 mm beside the axis of the demonstration
    coil gains; its bore leaves 12 mm to a shank of 16 mm."""
    gains = [field_energy(x) / field_energy(0.0) - 1.0 for x in (9e-3, 13e-3)]
    assert gains[0] < OFF_AXIS < gains[1]


@pytest.mark.situation("absence", "off-axis")
def test_on_the_axis_a_small_offset_does_nothing() -> None:
    """No first-order term by symmetry: a tenth of the offset has a hundredth of the gain, but
    for a fifth of it that is of fourth order."""
    small, large = (field_energy(x) / field_energy(0.0) - 1.0 for x in (1e-3, 1e-2))
    assert small / large == pytest.approx(0.01, rel=0.2)

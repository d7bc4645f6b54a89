"""Dead time too short, absent, too long, and at light load, against figures derived by hand.

Two hand calculations: what an edge does, by one leg integrated by itself (leg.py), and what the
current is at an edge and after it, by a square wave's harmonics (square_wave.py). Each test says
what both leave out. Without dead time: the sound machine's part is in test_situations.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from simkit.measure.waveforms import Waves, integral
from simkit.rehearsal.findings import Rehearsal
from simkit.studies.situations.dead_time import SHORT
from tests.engine.leg import Leg
from tests.engine.runs import settled, situation
from tests.engine.square_wave import after_edge
from tests.machines import demo

pytestmark = pytest.mark.slow

LOAD = "cold-steel-weak-field"
LONG = 0.2 / 130e3
"""A fifth of the shortest period the drive reaches [s]."""


@dataclass(frozen=True)
class Edge:
    """The last edge of a run."""

    waves: Waves
    """From the off command to two microseconds later."""
    off: float
    """The off command [s]."""
    outgoing: int
    incoming: int
    link: float
    """[V]"""
    shoot_through: float
    """[C]"""

    @property
    def node(self) -> float:
        """When the outgoing switch has half the link [s]."""
        volts = self.waves.switches[self.outgoing - 1].drain_source
        return float(self.waves.time[np.flatnonzero(volts > 0.5 * self.link)[0]])

    def current(self, time: float) -> float:
        """In the direction the outgoing switch had carried it [A]."""
        sign = 1.0 if self.outgoing in (1, 4) else -1.0
        return sign * float(np.interp(time, self.waves.time, self.waves.primary_current))

    @property
    def turned_on(self) -> float:
        """When the incoming gate passes its threshold [s]."""
        gate = self.waves.switches[self.incoming - 1].gate_source
        above = gate > self.waves.machine.switch.channel.threshold
        return float(self.waves.time[np.flatnonzero(above)[0]])


def last_edge(found: Rehearsal, dead_time: float) -> Edge:
    last = found.whole.transitions[-1]
    off = last.time - 0.5 * dead_time
    waves = found.whole.waves
    link = float(np.interp(off, waves.time, waves.link_voltage))
    part = waves.between(off, off + 2e-6)
    return Edge(part, off, last.outgoing, last.incoming, link, last.shoot_through)


def leg(edge: Edge, dead_time: float) -> Leg:
    """The leg at an edge, with the current that the run has while the node swings."""
    return Leg(edge.waves.machine, dead_time, edge.link, edge.current(edge.node))


@pytest.mark.situation("effect", "dead-time-none", "dead-time-short")
@pytest.mark.parametrize(
    ("name", "dead_time"), [("dead-time-none", 0.0), ("dead-time-short", SHORT * 0.6e-6)]
)
def test_what_shoots_through_is_what_the_overlapping_channels_carry(
    name: str, dead_time: float
) -> None:
    """Both gates pass threshold together for some tens of nanoseconds, and their square laws, the
    loop's inductance and the source leads say what flows.

    15 %: the overlap is the small difference of two delays, of which the gate loops' inductance
    (L/R, 2 ns) is left out.
    """
    edge = last_edge(situation(name), dead_time)
    assert edge.shoot_through == pytest.approx(leg(edge, dead_time).run().shoot_through, rel=0.15)


def switched(edge: Edge, dead_time: float, frequency: float) -> float:
    """Power that a bridge's four edges a cycle take, by the leg [W]."""
    done = leg(edge, dead_time).run()
    return 4.0 * frequency * (done.outgoing_loss + done.incoming_loss)


@pytest.mark.situation("effect", "dead-time-none", "dead-time-short")
@pytest.mark.situation("absence", "dead-time-none", "dead-time-short")
@pytest.mark.parametrize(
    ("name", "dead_time"), [("dead-time-none", 0.0), ("dead-time-short", SHORT * 0.6e-6)]
)
def test_the_bridge_loses_more_by_what_its_edges_take(name: str, dead_time: float) -> None:
    """With the fault and without: what is left besides edges is I^2 R, which stays. 12 %: the
    overlap as above."""
    found, sound = situation(name), settled()
    own = demo().drive.dead_time
    frequency = sound.after.frequency_hz
    without = switched(last_edge(sound, own), own, frequency)
    more = switched(last_edge(found, dead_time), dead_time, frequency) - without
    assert found.after.bridge_loss_w - sound.after.bridge_loss_w == pytest.approx(more, rel=0.12)
    assert without < 0.2 * more, "absent without the fault"


def carried(edge: Edge, until: float) -> float:
    """Charge through the incoming switch's body diode up to a time [C]."""
    part = edge.waves.between(edge.node, until)
    forward = np.maximum(part.switches[edge.incoming - 1].diode_current, 0.0)
    return integral(part.time, forward)


def by_hand(edge: Edge, frequency: float, until: float) -> float:
    """The same from the square wave's current: all of it flows there once the node has swung."""
    times = np.linspace(0.0, until - edge.node, 2001)
    current = after_edge(demo(), LOAD, frequency, edge.link, times)
    return float(np.trapezoid(np.maximum(current, 0.0), times))


@pytest.mark.situation("effect", "dead-time-long")
def test_in_a_long_dead_time_the_current_reverses_in_the_body_diode() -> None:
    """Until it does, the diode carries it: current by the square wave from the edge to its zero.

    5 % for the time: what the node's swing and the diode's drop take of the wave. 10 % for the
    charge: half the swing, 20 ns, belongs to the output capacitances.
    """
    found = situation("dead-time-long")
    edge, frequency = last_edge(found, LONG), found.after.frequency_hz
    times = np.linspace(0.0, 3e-6, 3001)
    current = after_edge(demo(), LOAD, frequency, edge.link, times)
    lag = float(times[np.flatnonzero(current < 0.0)[0]])
    diode = edge.waves.switches[edge.incoming - 1].diode_current
    late = edge.waves.time > edge.node + 1e-7
    reversed_at = float(edge.waves.time[late][np.flatnonzero(diode[late] < 0.0)[0]])
    assert reversed_at - edge.node == pytest.approx(lag, rel=0.05)
    assert reversed_at < edge.turned_on, "within the dead time"
    charge = carried(edge, reversed_at)
    assert charge == pytest.approx(by_hand(edge, frequency, reversed_at), rel=0.10)
    assert edge.current(edge.turned_on) < 0.0


def held_after_reversal(slope: float, fallen: float, lifetime: float) -> float:
    """How long a diode's stored charge still holds it on after its current passed zero [s].

    dq/dt = i - q/tau (Lauritzen and Ma, 1991) with i falling by `slope` [A/s] all the way, first
    for `fallen` [s] forward.
    """
    step, charge, time = 1e-10, 0.0, -fallen
    while time < 0.0 or charge > 0.0:
        charge += step * (-slope * time - charge / lifetime)
        time += step
    return time


@pytest.mark.situation("effect", "dead-time-long")
def test_the_stored_charge_holds_the_node_until_the_other_gate_comes() -> None:
    """The trade expects the reversed current to charge the node back, and a hard turn-on. Here the
    diode's charge outlasts the dead time: by hand a third of a microsecond, of which 0.2 are used,
    and the switch turns on with its diode still conducting."""
    edge = last_edge(situation("dead-time-long"), LONG)
    lifetime = demo().switch.diode.lifetime
    start = edge.current(edge.node)
    part = edge.waves.between(edge.node, edge.turned_on)
    sign = 1.0 if edge.outgoing in (1, 4) else -1.0
    reversal = float(part.time[np.flatnonzero(sign * part.primary_current < 0.0)[0]])
    fallen = reversal - edge.node
    held = held_after_reversal(start / fallen, fallen, lifetime)
    assert edge.turned_on - reversal < held
    drain = edge.waves.switches[edge.incoming - 1].drain_source
    assert float(np.interp(edge.turned_on, edge.waves.time, drain)) < 0.0


@pytest.mark.situation("absence", "dead-time-long")
def test_the_machines_own_dead_time_ends_before_the_current_does() -> None:
    """0.6 us and a gate's delay after the off command; by the square wave the current then still
    flows the same way, and the diode had less than the half of what the long one gives it. 10 %:
    as above."""
    found = settled()
    edge, frequency = last_edge(found, demo().drive.dead_time), found.after.frequency_hz
    now = np.array([edge.turned_on - edge.node])
    expected = float(after_edge(demo(), LOAD, frequency, edge.link, now)[0])
    assert edge.current(edge.turned_on) == pytest.approx(expected, rel=0.10)
    charge = carried(edge, edge.turned_on)
    assert charge == pytest.approx(by_hand(edge, frequency, edge.turned_on), rel=0.10)
    whole = last_edge(situation("dead-time-long"), LONG)
    assert charge < 0.7 * carried(whole, whole.turned_on)


def above_resonance(factor: float) -> float:
    """Drive frequency [Hz]: resonance of bank and coil with the leakage behind it, times that."""
    machine = demo()
    leakage = machine.transformer.leakage_inductance / machine.transformer.ratio**2
    inductance = machine.load(LOAD).inductance + leakage
    bank = machine.tank.can_capacitance * machine.tank.cans
    return float(factor / (2 * np.pi * np.sqrt(inductance * bank)))


def swing(edge: Edge, frequency: float) -> tuple[float, float]:
    """Current at the edge [A] and time from the off command to 90 % of the link [s], by hand."""
    current = float(after_edge(demo(), LOAD, frequency, edge.link, np.array([0.0]))[0])
    dead_time = demo().drive.dead_time
    return current, Leg(edge.waves.machine, dead_time, edge.link, current).run().delay


@pytest.mark.situation("effect", "dead-time-light-load")
def test_far_above_resonance_little_current_swings_the_node_later() -> None:
    """Current by the square wave, time by the leg with that current. 5 %: the gate loop's
    inductance, 2 ns, and the edges' share of the half period.

    Here the dead time is long enough for it: nothing is switched hard, by hand or in the run.
    """
    found = situation("dead-time-light-load")
    edge = last_edge(found, demo().drive.dead_time)
    current, needed = swing(edge, above_resonance(1.25))
    last = found.whole.transitions[-1]
    assert edge.current(edge.node) == pytest.approx(current, rel=0.05)
    assert last.needed == pytest.approx(needed, rel=0.05)
    assert needed < demo().drive.dead_time
    assert last.zero_voltage


@pytest.mark.situation("absence", "dead-time-light-load")
def test_at_the_working_point_twice_the_current_swings_the_node() -> None:
    """The same by hand at 4 % above resonance: twice the current, and sooner."""
    found, light = settled(), situation("dead-time-light-load")
    edge = last_edge(found, demo().drive.dead_time)
    current, needed = swing(edge, above_resonance(1.04))
    last = found.whole.transitions[-1]
    assert edge.current(edge.node) == pytest.approx(current, rel=0.05)
    assert last.needed == pytest.approx(needed, rel=0.05)
    little = last_edge(light, demo().drive.dead_time)
    assert current > 1.8 * little.current(little.node)
    assert last.needed < 0.95 * light.whole.transitions[-1].needed

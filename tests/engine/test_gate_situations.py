"""Gate drive and its wiring, against figures derived by hand, and that it is absent without.

What an edge does is one leg integrated by itself (leg.py); the rest stands in each test. Runs are
the first pass only.
"""

from __future__ import annotations

from itertools import pairwise
from math import log

import numpy as np
import pytest
from scipy.optimize import brentq

from simkit.measure.waveforms import Array, Waves, integral
from simkit.parameters.machine import Machine
from simkit.rehearsal.findings import Rehearsal
from tests.engine.leg import (
    Commutation,
    Leg,
    channel_current,
    gate_drain_capacitance,
    gate_drain_charge,
    output_capacitance,
)
from tests.engine.runs import crucible_settled, crucible_situation, settled, situation
from tests.machines import demo

pytestmark = pytest.mark.slow

SMALL, OWN, LARGE = 1.0, 10.0, 60.0
"""Gate resistors: a tenth, the machine's, six times [ohm]."""
AROUND = 1.5 + 1.5
"""Driver, sinking, and the chip's own [ohm]."""


def last_edge(found: Rehearsal) -> tuple[Waves, int, int, float, float]:
    """Waves from an off command to 1.2 us after it, who goes off and on, command [s], link [V]."""
    last, waves = found.whole.transitions[-1], found.whole.waves
    off = last.time - 0.5 * found.machine.drive.dead_time
    link = float(np.interp(off, waves.time, waves.link_voltage))
    return waves.between(off, off + 1.2e-6), last.outgoing, last.incoming, off, link


def by_leg(found: Rehearsal) -> Commutation:
    """The edge by the leg, with the current that the run has when the node has swung by half."""
    part, outgoing, _, _, link = last_edge(found)
    half = np.flatnonzero(part.switches[outgoing - 1].drain_source > 0.5 * link)[0]
    current = abs(float(part.primary_current[half]))
    return Leg(found.machine, found.machine.drive.dead_time, link, current).run()


def lost_at_turn_off(found: Rehearsal) -> float:
    """In the outgoing channel from 5 V on, below which it still conducts [J]."""
    part, outgoing, _, _, _ = last_edge(found)
    switch = part.switches[outgoing - 1]
    power = np.where(switch.drain_source > 5.0, switch.drain_source * switch.channel_current, 0.0)
    return integral(part.time, power)


def delay_by_hand(resistor: float, current: float, link: float) -> float:
    """From 12 V down to the plateau that carries the current, R C ln(V/V_pl), the charge that C_gd
    then takes to 90 % of the link, R Q/V_pl, and the loop's inductance, L/R [s]."""
    machine = demo()
    channel, drive = machine.switch.channel, machine.drive
    plateau = channel.threshold + np.sqrt(2.0 * current / channel.transconductance)
    whole = channel.gate_source_capacitance + channel.gate_drain_capacitance_max
    charge = gate_drain_charge(machine, plateau - 0.9 * link, plateau)
    fall = whole * log(drive.voltage_on / plateau)
    inductance = drive.loop_inductance + machine.switch.package.common_source_inductance
    resistance = resistor + AROUND
    return float(resistance * (fall + charge / plateau) + inductance / resistance)


@pytest.mark.situation("effect", "gate-resistor-small", "gate-resistor-large")
@pytest.mark.situation("absence", "gate-resistor-small", "gate-resistor-large")
def test_the_delay_goes_with_the_gate_resistor() -> None:
    """R C ln and R Q/V for each of the three, current as the run has it at the off command.

    6 %: the output capacitances take some of the current off the plateau, and with the small one
    the driver's edge is as slow as the gate. Between neighbours the delay at least doubles: none
    passes for another.
    """
    found = (situation("gate-resistor-small"), settled(), situation("gate-resistor-large"))
    needed = [f.whole.transitions[-1].needed for f in found]
    for run, delay, resistor in zip(found, needed, (SMALL, OWN, LARGE), strict=True):
        last, link = run.whole.transitions[-1], last_edge(run)[4]
        expected = delay_by_hand(resistor, last.turn_off_current, link)
        assert delay == pytest.approx(expected, rel=0.06)
    assert needed[1] > 2.0 * needed[0]
    assert needed[2] > 2.0 * needed[1]


@pytest.mark.situation("effect", "gate-resistor-large")
@pytest.mark.situation("absence", "gate-resistor-small", "gate-resistor-large")
def test_the_slow_edge_is_what_the_large_resistor_loses() -> None:
    """Voltage times current of the outgoing channel, by the leg. 5 %: the load's current, which
    falls meanwhile."""
    for found in (settled(), situation("gate-resistor-large")):
        assert lost_at_turn_off(found) == pytest.approx(by_leg(found).outgoing_loss, rel=0.05)
    assert lost_at_turn_off(situation("gate-resistor-large")) > 5.0 * lost_at_turn_off(settled())


@pytest.mark.situation("effect", "gate-resistor-small")
def test_the_small_resistor_leaves_the_bridge_nothing_but_conduction() -> None:
    """Two switches always carry the current: 2 I^2 R_DS(on); the edges, by the leg, take less than
    a tenth of that more. 3 %: body diodes in the dead time."""
    found = situation("gate-resistor-small")
    conducted = 2.0 * found.after.primary_current_rms_a**2 * on_resistance(found.machine)
    edges = 4.0 * found.after.frequency_hz * by_leg(found).outgoing_loss
    assert found.after.bridge_loss_w == pytest.approx(conducted + edges, rel=0.03)
    assert edges < 0.1 * conducted


def at_on_command(found: Rehearsal) -> float:
    """Gate of the outgoing switch when the other one is told to turn on [V]."""
    part, outgoing, _, off, _ = last_edge(found)
    told = off + found.machine.drive.dead_time
    return float(np.interp(told, part.time, part.switches[outgoing - 1].gate_source))


@pytest.mark.situation("effect", "gate-resistor-large")
def test_the_large_resistor_eats_the_dead_time() -> None:
    """By hand the swing ends after the dead time: the gate is still on its plateau,
    V_T + sqrt(2 i/K), when the other is told to turn on. 5 %: the output capacitances take some of
    the current."""
    found = situation("gate-resistor-large")
    last, channel = found.whole.transitions[-1], demo().switch.channel
    assert delay_by_hand(LARGE, last.turn_off_current, 323.0) > demo().drive.dead_time
    current = abs(last_edge(found)[0].primary_current[0])
    plateau = channel.threshold + np.sqrt(2.0 * current / channel.transconductance)
    assert at_on_command(found) == pytest.approx(plateau, rel=0.05)
    assert at_on_command(found) > channel.threshold


@pytest.mark.situation("absence", "gate-resistor-large", "gate-resistor-small")
def test_with_its_own_resistor_the_gate_is_empty_by_then() -> None:
    """0.45 us after the swing: ten times R (C_gs + C_gd) of 48 ns, e^-9 of the plateau."""
    assert delay_by_hand(OWN, 9.2, 323.0) < 0.3 * demo().drive.dead_time
    assert abs(at_on_command(settled())) < 0.1


def on_resistance(machine: Machine, current: float = 0.0) -> float:
    """Drift region and channel [ohm]: V/i of i = K (u V - V^2/2), u = V_GS - V_T."""
    channel = machine.switch.channel
    above = machine.drive.voltage_on - channel.threshold
    if current == 0.0:
        return channel.drain_resistance + 1.0 / (channel.transconductance * above)
    root = np.sqrt(above**2 - 2.0 * current / channel.transconductance)
    return float(channel.drain_resistance + (above - root) / current)


def measured_on_resistance(found: Rehearsal) -> tuple[float, float]:
    """V/i at the chip where the first switch's channel carries most [ohm], and that current [A]."""
    waves = found.whole.waves
    first = waves.switches[0]
    k = int(np.argmax(np.where(first.drain_source < 10.0, first.channel_current, 0.0)))
    return float(first.drain_source[k] / first.channel_current[k]), float(first.channel_current[k])


@pytest.mark.situation("effect", "driver-supply-low")
@pytest.mark.situation("absence", "driver-supply-low")
def test_a_starved_gate_leaves_the_channel_its_resistance() -> None:
    """2 V above threshold instead of 8 V: by the square law 32 mohm of channel instead of 7. The
    drift region is that of the junction's temperature. 1 %: nothing is left out but what the
    output capacitance carries."""
    starved, sound = situation("driver-supply-low"), settled()
    for found in (starved, sound):
        resistance, current = measured_on_resistance(found)
        assert resistance == pytest.approx(on_resistance(found.machine, current), rel=0.01)
    channel = demo().switch.channel
    assert starved.machine.drive.voltage_on == channel.threshold + 2.0
    assert measured_on_resistance(starved)[0] > 1.25 * measured_on_resistance(sound)[0]


def sag(found: Rehearsal, settling: float) -> float:
    """How much the gate voltages lose from some time [s] after an on command to just before the off
    command, mean of both gates over as many half periods up as down [V]."""
    waves, drive = found.whole.waves, found.machine.drive
    dead, edge = drive.dead_time, drive.edge_time
    lost = []
    times = sorted({t.time for t in found.whole.transitions})
    spans = list(pairwise(times))
    for start, end in spans[len(spans) % 2 :]:
        for switch in waves.switches:
            early, late = np.interp(
                (start + 0.5 * dead + settling, end - 0.5 * dead - edge),
                waves.time,
                np.abs(switch.gate_source),
            )
            lost.append(float(early - late))
    return float(np.mean(lost))


def sag_by_hand(machine: Machine, frequency: float, settling: float) -> float:
    """The magnetising current goes from -I to I, I = V t_on/(2 L_m); its driver and winding
    resistance and the coupling capacitor's charge by it are what the gate loses [V]. The driver
    sources with one resistance and sinks with another."""
    drive, transformer = machine.drive, machine.drive.transformer
    assert transformer is not None
    on_time = 0.5 / frequency - drive.dead_time
    slope = drive.voltage_on / transformer.magnetising_inductance
    last = 0.5 * slope * on_time
    first = -last + slope * settling
    sinking = drive.sink_resistance + transformer.winding_resistance
    sourcing = drive.source_resistance + transformer.winding_resistance
    ohmic = last * sourcing - first * (sinking if first < 0.0 else sourcing)
    charge = 0.5 * (first + last) * (on_time - settling)
    return ohmic + charge / transformer.coupling_capacitance


@pytest.mark.situation("effect", "gate-transformer-droop")
@pytest.mark.situation("absence", "gate-transformer-droop")
def test_a_gate_transformer_droops_by_what_its_magnetising_current_drops() -> None:
    """With a tenth of the magnetising inductance ten times the droop, by hand and in the run.

    8 %: coupling capacitor and inductance still ring at 17 kHz from the start, and not all of it
    goes out of a mean over a few half periods.
    """
    for found in (crucible_situation("gate-transformer-droop"), crucible_settled()):
        expected = sag_by_hand(found.machine, found.after.frequency_hz, 1e-6)
        assert sag(found, 1e-6) == pytest.approx(expected, rel=0.08)
    assert sag(crucible_situation("gate-transformer-droop"), 1e-6) > 1.0
    assert sag(crucible_settled(), 1e-6) < 0.3


def fault(found: Rehearsal) -> float:
    return found.line.events[0].start


@pytest.mark.situation("effect", "gate-lead-open")
def test_an_open_gate_lead_leaves_its_switch_on_until_the_bleed_resistor_has_emptied_it() -> None:
    """V_on exp(-t/(R C)), R C = 58 us with the drain low; after 3 us, just before the other switch
    comes, a twentieth is gone. 5 % of that: C_gd is a little smaller than its largest value."""
    found = situation("gate-lead-open")
    channel, drive, waves = demo().switch.channel, demo().drive, found.whole.waves
    whole = channel.gate_source_capacitance + channel.gate_drain_capacitance_max
    gate = float(np.interp(fault(found) + 3e-6, waves.time, waves.switches[0].gate_source))
    gone = drive.voltage_on * (1.0 - np.exp(-3e-6 / (drive.bleed_resistor * whole)))
    assert drive.voltage_on - gate == pytest.approx(gone, rel=0.05)


@pytest.mark.situation("effect", "gate-lead-open")
def test_the_other_switch_of_the_leg_then_carries_what_its_channel_lets_through() -> None:
    """K/2 (V_on - V_T)^2, its gate being driven. 5 %: the last of the current's rise."""
    found = situation("gate-lead-open")
    waves = found.whole.waves.between(fault(found) + 3e-6, fault(found) + 9e-6)
    full = channel_current(found.machine, found.machine.drive.voltage_on, 100.0)
    assert float(waves.switches[1].channel_current.max()) == pytest.approx(full, rel=0.05)


@pytest.mark.situation("effect", "gate-lead-open")
def test_the_shorts_own_voltage_lifts_the_open_gate() -> None:
    """Nobody holds it: C_gs dV_G = dQ_gd with what the channel drops, the drift region's share
    being outside. 12 %: the bleed resistor takes 0.1 V in this half microsecond."""
    found = situation("gate-lead-open")
    waves, resistance = found.whole.waves, found.machine.switch.channel.drain_resistance
    opened = waves.switches[0]
    inner = opened.drain_source - resistance * opened.channel_current
    start, end = fault(found) + 3.35e-6, fault(found) + 3.9e-6
    gate, drain = (np.interp((start, end), waves.time, v) for v in (opened.gate_source, inner))
    lifted = after_drain_step(found.machine, gate[0], drain[0], drain[1])
    assert lifted - gate[0] > 0.5
    assert gate[1] - gate[0] == pytest.approx(lifted - gate[0], rel=0.12)


def after_drain_step(machine: Machine, gate: float, before: float, after: float) -> float:
    """Where an open gate goes when its drain does [V]: what C_gs gains comes through C_gd."""
    held = machine.switch.channel.gate_source_capacitance

    def missing(new: float) -> float:
        return held * (new - gate) + gate_drain_charge(machine, gate - before, new - after)

    return float(brentq(missing, gate - 15.0, gate + 15.0))


@pytest.mark.situation("effect", "gate-lead-open-off")
def test_an_open_gate_that_is_down_is_pushed_below_and_creeps_up() -> None:
    """The drain falls, and C_gd pushes the open gate down by the charge balance. While it is down
    the bleed resistor gives it V_G/R t, and that is what it comes back higher by.

    2 % for the push, 10 % for the creep: C between C_gs alone and C_gs with C_gd.
    """
    found = situation("gate-lead-open-off")
    machine, waves = found.machine, found.whole.waves
    part = waves.between(fault(found), fault(found) + 6e-6)
    gate, drain = part.switches[1].gate_source, part.switches[1].drain_source
    down = int(np.argmax(part.time > fault(found) + 3e-6))
    before = int(np.argmax(part.time > fault(found) + 2.5e-6))
    pushed = after_drain_step(machine, gate[before], drain[before], drain[down])
    assert pushed < -4.0
    assert gate[down] == pytest.approx(pushed, rel=0.02)
    back = int(np.argmax(part.time > fault(found) + 5e-6))
    low = (part.time > part.time[down]) & (gate < 0.5 * gate[down])
    span = float(np.ptp(part.time[low]))
    given = -pushed * span / machine.drive.bleed_resistor
    crept = given / machine.switch.channel.gate_source_capacitance
    assert gate[back] - gate[before] == pytest.approx(crept, rel=0.10)
    late = waves.between(fault(found) + 3e-6, waves.time[-1]).switches[1]
    assert late.channel_current.max() < 0.5, "without its gate it never turns on again"


@pytest.mark.situation("absence", "gate-lead-open-off")
def test_a_driven_gate_is_back_before_its_command_and_turns_on() -> None:
    """The same push goes into the driver: 13 ohm with 5.8 nF, 75 ns; 0.25 us after the swing e^-3
    of what the open gate keeps is left. Then the switch carries its half period."""
    found = settled()
    edge = [t.time for t in found.whole.transitions if t.incoming == 2][-1]
    part = found.whole.waves.between(edge - 0.3e-6, edge + 4e-6)
    switch = part.switches[1]
    low = part.time[np.flatnonzero(switch.drain_source < 0.0)[0]]
    gate = float(np.interp(low + 0.25e-6, part.time, switch.gate_source))
    open_gate = after_drain_step(demo(), 0.0, 323.0, -0.9)
    assert abs(gate) < 0.06 * abs(open_gate)
    assert switch.channel_current.max() > 10.0


@pytest.mark.situation("effect", "gate-return-in-power-path")
@pytest.mark.situation("absence", "gate-return-in-power-path")
def test_a_shared_source_lead_slows_the_current_and_costs_at_every_edge() -> None:
    """L di/dt of the shared lead holds the gate up while the current falls: by the leg, with 18 nH
    and with the machine's own 3 nH.

    8 % for what the channel loses, 5 % for the delay: the gate loop's inductance and the load's
    current, which falls meanwhile.
    """
    shared, own = situation("gate-return-in-power-path"), settled()
    for found, inductance in ((shared, 18e-9), (own, 3e-9)):
        assert found.machine.switch.package.common_source_inductance == pytest.approx(inductance)
        edge = by_leg(found)
        assert lost_at_turn_off(found) == pytest.approx(edge.outgoing_loss, rel=0.08)
        assert found.whole.transitions[-1].needed == pytest.approx(edge.delay, rel=0.05)
    assert lost_at_turn_off(shared) > 1.4 * lost_at_turn_off(own)


@pytest.mark.situation("effect", "gate-return-in-power-path")
def test_the_current_falls_no_faster_than_the_gate_lets_the_shared_lead() -> None:
    """While it falls the gate is at most at its plateau and the driver at zero: L di/dt < V_pl.
    With 18 nH that is 0.25 A/ns; with 3 nH it would be six times that, and loop and gate set it."""
    for found, inductance in ((situation("gate-return-in-power-path"), 18e-9), (settled(), 3e-9)):
        slope, plateau = falling(found)
        assert slope < plateau / inductance
    assert falling(settled())[0] > falling(situation("gate-return-in-power-path"))[0] * 1.5


def falling(found: Rehearsal) -> tuple[float, float]:
    """Mean slope of the outgoing channel's current from 3 A to a tenth of that [A/s], and the gate
    at its start [V]."""
    part, outgoing, _, _, _ = last_edge(found)
    switch = part.switches[outgoing - 1]
    current: Array = switch.channel_current
    start = int(np.flatnonzero(current > 3.0)[-1])
    end = int(np.flatnonzero(current > 0.3)[-1])
    slope = (current[start] - current[end]) / (part.time[end] - part.time[start])
    return float(slope), float(switch.gate_source[start])


def capacitive_charge(found: Rehearsal) -> float:
    """What the load's current brings to the node while it goes from a tenth to nine tenths of the
    link, less what the outgoing channel takes of it [C]."""
    part, outgoing, _, _, link = last_edge(found)
    switch = part.switches[outgoing - 1]
    begin, end = (
        part.time[np.flatnonzero(switch.drain_source > share * link)[0]] for share in (0.1, 0.9)
    )
    swing = part.between(begin, end)
    channel = swing.switches[outgoing - 1].channel_current
    return integral(swing.time, np.abs(swing.primary_current) - channel)


def output_charge(machine: Machine, link: float) -> float:
    """Both switches' C_ds and C_gd from a tenth to nine tenths of the link [C]: one the way up, the
    other the way down, over the same voltages."""
    volts = np.linspace(0.1 * link, 0.9 * link, 2001)
    each = [output_capacitance(machine, v) + gate_drain_capacitance(machine, -v) for v in volts]
    return 2.0 * float(np.trapezoid(each, volts))


@pytest.mark.situation("effect", "snubber-missing")
@pytest.mark.situation("absence", "snubber-missing")
def test_without_snubbers_the_node_has_only_the_switches_capacitances() -> None:
    """With them 2 C V more: nearly five times as much charge at the same edge.

    20 %: the swing without takes 25 ns, in which the first pass makes few steps, and leads ring.
    """
    missing, sound = crucible_situation("snubber-missing"), crucible_settled()
    snubber = sound.machine.bridge.snubber
    assert snubber is not None
    for found, capacitance in ((missing, 0.0), (sound, 2.0 * snubber.capacitance)):
        link = last_edge(found)[4]
        expected = output_charge(found.machine, link) + 0.8 * link * capacitance
        assert capacitive_charge(found) == pytest.approx(expected, rel=0.20)
    peaks = [max(s.drain_source.max() for s in f.whole.waves.switches) for f in (missing, sound)]
    assert peaks[0] > peaks[1] + 10.0, "and more overshoot"

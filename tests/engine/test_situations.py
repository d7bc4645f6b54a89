"""What faults do in the circuit, against figures derived by hand, and that it is absent without.

Expected values are worked out here from the machine file's numbers with textbook relations; each
tolerance says what the hand calculation leaves out. Runs are the first pass only (20 ns).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simkit.measure.periodic import cycle_averages
from simkit.measure.waveforms import Waves, integral
from simkit.parameters.machine import Machine
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.situations import named
from simkit.studies.situations.base import draft
from tests.engine import square_wave
from tests.engine.runs import plain, run, settled, situation
from tests.machines import demo

pytestmark = pytest.mark.slow


def faulty(name: str, events: list[dict[str, Any]], **more: Any) -> Rehearsal:
    return run(draft(demo(), name, events=events, **more))


def after(found: Rehearsal, span: float) -> Waves:
    """Waveforms from the first event on, for a time [s]."""
    start = found.line.events[0].start
    return found.whole.waves.between(start, start + span)


def saturation(machine: Machine) -> float:
    """Square law, K/2 (V_GS - V_T)^2 [A]: Shichman and Hodges, 1968 (recalled from memory)."""
    channel = machine.switch.channel
    return 0.5 * channel.transconductance * (machine.drive.voltage_on - channel.threshold) ** 2


def overlap_charge(duration: float) -> float:
    event = {"kind": "gates-together", "leg": "a", "at": 0.0, "duration": duration}
    waves = after(faulty("overlap", [event], tail=2e-5), 5e-6)
    both = np.minimum(waves.switches[0].channel_current, waves.switches[1].channel_current)
    return integral(waves.time, np.maximum(both, 0.0))


@pytest.mark.situation("effect", "gates-together")
def test_shoot_through_charge_grows_with_the_overlap() -> None:
    """Each further time t of overlap carries t times the channels' saturation current.

    10 %: the lead inductances take some of the gate's voltage, and the gate is still settling.
    """
    more = overlap_charge(1.5e-6) - overlap_charge(1.0e-6)
    assert more == pytest.approx(0.5e-6 * saturation(demo()), rel=0.10)


@pytest.mark.situation(
    "absence",
    "gates-together",
    "gate-reversed",
    "dead-time-none",
    "gate-lead-open",
    "gate-lead-floating",
    "dead-time-short",
)
def test_without_overlap_nothing_shoots_through() -> None:
    """The dead time is longer than the gates' delays: a thousandth of the charge above at most."""
    charges = [t.shoot_through for t in plain().whole.transitions if t.time < 1e-4]
    assert charges
    assert max(charges) < 1e-3 * 0.5e-6 * saturation(demo())


@pytest.mark.situation("effect", "gate-reversed")
def test_a_reversed_winding_shorts_the_link_through_both_channels() -> None:
    """The current is what the channel lets through, the load's on top: 10 % for both."""
    waves = after(situation("gate-reversed"), 5e-6)
    peak = float(waves.switches[0].channel_current.max())
    assert peak == pytest.approx(saturation(demo()), rel=0.10)


def linkage_walk(delay: float | None) -> float:
    """Change of the core's mean flux linkage over six cycles [V s]."""
    events = [{"kind": "turn-off-delay", "switches": [1, 4], "delay": delay, "at": 0.0}]
    if delay is None:
        events = [{"kind": "trip", "at": 1e-4}]
    instead = {"transformer.blocking_capacitance": "absent"}
    found = faulty("walk", events, instead=instead, tail=1e-4)
    settled = found.scenario.start.settled
    cycles = tuple(c for c in found.whole.cycles if c.start > settled - 2e-5)[:8]
    linkage = found.machine.transformer.magnetising_inductance * cycle_averages(
        found.whole.waves, found.whole.waves.magnetising_current, cycles
    )
    return float(linkage[7] - linkage[1])


@pytest.mark.situation("effect", "flux-walks")
def test_flux_walks_by_the_difference_of_volt_seconds() -> None:
    """One half period longer by d, the other shorter by d: 2 V d more volt-seconds each cycle.

    15 %: the node's swing takes longer at one edge than at the other, windings and switches drop
    some volts of the walking current. The core is far below saturation in these six cycles.
    """
    delay = 0.15e-6
    walked = linkage_walk(delay)
    assert walked == pytest.approx(6 * 2 * demo().supply.voltage * delay, rel=0.15)


@pytest.mark.situation("absence", "flux-walks")
def test_equal_half_periods_do_not_walk() -> None:
    """A twentieth of the walk above at most: what the seed's offset relaxes by."""
    assert abs(linkage_walk(None)) < 0.05 * 6 * 2 * demo().supply.voltage * 0.15e-6


def gate_excursion(bleed: float) -> float:
    """How far the lower switch's open gate is below its source, 0.3 us after the drain fell [V]."""
    instead = {
        "drive.bleed_resistor": bleed,
        "switch.channel.gate_drain_capacitance_max": 30.1e-12,
        "switch.channel.gate_drain_capacitance_min": 30e-12,
    }
    events = [{"kind": "gate-open", "switches": [2], "at": 0.0}]
    waves = after(faulty("float", events, instead=instead, tail=2e-5), 5.5e-6)
    gate = waves.switches[1].gate_source
    lowest = waves.time[int(gate.argmin())]
    return -float(np.interp(lowest + 0.3e-6, waves.time, gate))


@pytest.mark.situation("effect", "gate-lead-floating")
def test_a_floating_gate_follows_its_drain_by_the_capacitor_divider() -> None:
    """dV_G = dV_D C_rss/(C_rss + C_gs), C_rss made constant for this.

    10 %: the drain falls a diode drop below zero, and leads ring by a volt or two.
    """
    divider = 30e-12 / (30e-12 + demo().switch.channel.gate_source_capacitance)
    expected = demo().supply.voltage * divider
    assert gate_excursion(9e8) == pytest.approx(expected, rel=0.10)


@pytest.mark.situation("absence", "gate-lead-floating")
def test_a_bleed_resistor_holds_the_gate() -> None:
    """10 ohm with 3.6 nF: 40 ns. After 0.3 us e^-7 is left; a tenth leaves room for ringing."""
    divider = 30e-12 / (30e-12 + demo().switch.channel.gate_source_capacitance)
    assert abs(gate_excursion(10.0)) < 0.1 * demo().supply.voltage * divider


@pytest.mark.situation("effect", "driver-unpowered")
def test_an_unpowered_gate_empties_through_its_bleed_resistor() -> None:
    """V = V_on exp(-t/(R C)), C = C_gs + C_gd with the drain low, over the first 5 us.

    15 % of what is gone: C_gd is not constant. Later the transformer saturates, and the drain,
    which then leaves the rail, lifts the gate.
    """
    found = situation("driver-unpowered")
    machine = found.machine
    channel = machine.switch.channel
    tau = machine.drive.bleed_resistor * (
        channel.gate_source_capacitance + channel.gate_drain_capacitance_max
    )
    start = found.line.events[0].start
    waves = found.whole.waves
    gate = np.interp(start + 5e-6, waves.time, waves.switches[0].gate_source)
    gone = machine.drive.voltage_on * (1.0 - np.exp(-5e-6 / tau))
    assert machine.drive.voltage_on - gate == pytest.approx(gone, rel=0.15)


@pytest.mark.situation("absence", "driver-unpowered")
def test_a_powered_gate_is_off_in_its_own_half_period() -> None:
    waves = plain().whole.waves
    assert waves.switches[0].gate_source.min() < 0.5


def loop_current(machine: Machine, cans: int, frequency: float, load: str) -> float:
    """Amplitude in the series loop, up to a constant: 1/|R + j(wL - 1/(wC))|."""
    omega, coil = 2 * np.pi * frequency, machine.load(load)
    transformer = machine.transformer
    inductance = coil.inductance + transformer.leakage_inductance / transformer.ratio**2
    reactance = omega * inductance - 1 / (omega * machine.tank.can_capacitance * cans)
    switches = 2 * (machine.switch.channel.drain_resistance + 0.02)
    series = (switches + transformer.primary_resistance) / transformer.ratio**2
    resistance = coil.resistance + transformer.secondary_resistance + series
    return float(1 / abs(resistance + 1j * reactance))


@pytest.mark.situation("effect", "can-opens")
def test_a_can_that_fails_open_moves_the_resonance_by_its_share() -> None:
    """The amplitude of the series loop with one can of twenty less, by its impedance.

    10 %: three memory times after the fault a twentieth of the transient is left, and the
    bridge's voltage is not quite square.
    """
    found = situation("can-opens")
    machine, line = found.machine, found.line
    start = line.events[0].start
    peaks = next(s for s in found.series if s.quantity == "coil_current_peak")
    before = peaks.values[peaks.times < start - 1e-5].mean()
    ratio = peaks.values[-5:-1].mean() / before  # the run ends inside a last, short stretch
    frequency, load = line.frequency.first, found.scenario.start.load
    expected = loop_current(machine, machine.tank.cans - 1, frequency, load)
    expected /= loop_current(machine, machine.tank.cans, frequency, load)
    assert ratio == pytest.approx(expected, rel=0.10)
    assert expected > 1.15, "the test would see a fault that does nothing"


@pytest.mark.situation("effect", "fuse-opens")
def test_an_open_fuse_leaves_the_link_to_the_capacitor() -> None:
    """Charge balance: C dV of the link is what the bridge drew; the source gives nothing.

    5 %: the film capacitor and what the leads hold.
    """
    found = situation("fuse-opens")
    waves = found.whole.waves.between(found.line.events[0].start + 1e-6, found.line.end)
    assert np.abs(waves.supply_current).max() < 0.05
    drawn = sum(waves.switches[k].drain_current for k in (0, 2))
    link = waves.node("link") - waves.node("cl1")
    fallen = (link[0] - link[-1]) * (found.machine.supply.link.capacitance + 4.7e-6)
    assert fallen == pytest.approx(integral(waves.time, np.asarray(drawn)), rel=0.05)


@pytest.mark.situation("absence", "fuse-opens")
def test_a_sound_fuse_carries_the_working_current() -> None:
    assert plain().whole.waves.supply_current.mean() > 3.0


@pytest.mark.situation("effect", "bypass-early")
@pytest.mark.situation("absence", "bypass-early")
def test_an_early_bypass_surges_by_what_is_missing_over_the_line_resistance() -> None:
    """(V - v)/R, R the source's and the link capacitor's ESR; 10 %: the working current beside
    it, and a step of 10 us against R C of 310 us."""
    found = situation("bypass-early")
    supply = found.machine.supply
    missing = supply.voltage - float(found.scenario.start.supply_voltage or 0.0)
    resistance = supply.source_resistance + supply.link.esr
    peak = float(found.whole.waves.supply_current.max())
    assert peak == pytest.approx(missing / resistance, rel=0.10)
    assert plain().whole.waves.supply_current.max() < 0.1 * peak, "absent without"


def test_a_surge_of_one_step_is_judged_not_lost_between_samples() -> None:
    """(V - v)/R at once; the mean over a cycle of 12 us is less by what a decay with R C = 310 us
    takes and by the step's own 10 us, under a tenth. Samples five cycles apart missed it.
    """
    found = Rehearser().rehearse(demo(), named("bypass-early").build(demo()).scenario)
    supply = found.machine.supply
    missing = supply.voltage - float(found.scenario.start.supply_voltage or 0.0)
    surge = missing / (supply.source_resistance + supply.link.esr)
    row = next(r for r in found.rows if r.quantity == "supply_current")
    assert found.is_whole
    assert row.status == "over"
    assert row.value is not None
    assert 0.9 * surge < row.value < surge


@pytest.mark.situation("effect", "tank-ground-fault")
def test_a_shorted_coil_lets_its_current_die_away_by_l_over_r() -> None:
    """Through its own resistance and the fault's: exp(-t (R + R_f)/L).

    15 %: the secondary still drives some amperes through the fault.
    """
    found = situation("tank-ground-fault")
    load = found.machine.load(found.scenario.start.load)
    rate = (load.resistance + 0.05) / load.inductance
    start = found.line.events[0].start + 1e-6
    current = [np.interp(start + t, found.whole.waves.time, found.whole.waves.coil_current)
               for t in (0.0, 5e-6)]  # fmt: skip
    assert current[1] / current[0] == pytest.approx(np.exp(-5e-6 * rate), rel=0.15)


@pytest.mark.situation("absence", "tank-ground-fault")
def test_a_sound_coil_keeps_its_current() -> None:
    """The drive puts back each cycle what R takes: the same a cycle later, where a coil shorted as
    above has exp(-(R + R_f)/(f L)), a quarter. 1 %: grid of the waveforms."""
    line, waves = plain().line, plain().whole.waves
    cycle = 1.0 / line.frequency.first
    course = np.linspace(5e-6, 5e-6 + cycle, 200)
    first, second = (np.interp(course + k * cycle, waves.time, waves.coil_current) for k in (0, 3))
    assert np.abs(second - first).max() < 0.01 * np.abs(first).max()
    load = plain().machine.load(plain().scenario.start.load)
    assert np.exp(-cycle * (load.resistance + 0.05) / load.inductance) < 0.3


@pytest.mark.situation("effect", "half-turns")
def test_half_the_turns_draw_four_times_the_power() -> None:
    """P = (V/n)^2/R at the same distance from resonance. 6 %: the switches drop their share."""
    power = [found.after.input_power_w for found in (situation("half-turns"), settled())]
    assert power[0] / power[1] == pytest.approx(4.0, rel=0.06)


@pytest.mark.situation("absence", "half-turns")
def test_the_whole_winding_draws_what_its_own_turns_say() -> None:
    """The square wave's harmonics over the impedance that 22 turns reflect, sum of V^2 Re(1/Z)/2.
    2 %: body diodes and the edges' share; half the turns would make it four times that."""
    sound = settled().after
    load = settled().scenario.start.load
    impedance = square_wave.impedance(demo(), load, sound.frequency_hz)
    volts = 4 * sound.supply_voltage_v / (np.pi * square_wave.ORDERS)
    expected = float(np.sum(0.5 * volts**2 * (1 / impedance).real))
    assert sound.input_power_w == pytest.approx(expected, rel=0.02)


@pytest.mark.situation("effect", "soak-low-voltage")
@pytest.mark.situation("absence", "soak-low-voltage")
def test_twenty_minutes_at_24_v_warm_the_heatsink_by_little() -> None:
    """Common practice, no source; at full voltage (325/24)^2 times the loss would not."""
    soak, hot = situation("soak-low-voltage"), situation("melt-charge")
    ambient = demo().cooling.ambient
    rise = [next(f.value for f in r.slow if f.name == "heatsink at the end") - ambient
            for r in (soak, hot)]  # fmt: skip
    assert 0.0 < rise[0] < 2.0
    assert rise[1] > 20.0 * rise[0]


def test_the_method_says_why_the_circuit_ran_whole() -> None:
    from simkit.studies.scenario.result import why_whole

    assert "does not know gate-reversed" in why_whole(situation("gate-reversed"))
    assert why_whole(settled()) == ""

"""One IGBT on the bench: fitted from its data sheet, put through the virtual test circuits.

E_on and E_off are integrated until the tail is gone, which takes longer than the 2 % of the
voltage and current at which IEC 60747-9 ends them (recalled from memory): a sheet's figure is
smaller by what the tail holds below that.
"""

from collections.abc import Iterator

from simkit.circuit import bench_decks
from simkit.measure import bench
from simkit.parameters.part_igbt import Igbt, TurnOff
from simkit.parameters.switch import Switch
from simkit.parts.igbt import snubbed_tail_energy
from simkit.parts.igbt_fit import FittedIgbt, fit_igbt, tail_at
from simkit.parts.mosfet_fit import COLD
from simkit.run.backend import Progress
from simkit.studies.part.study import (
    STATIC,
    SWITCHING_WINDOW,
    Dress,
    Measure,
    PartReport,
    Recorder,
    Row,
    Runner,
    Test,
    bare,
    capacitances_at,
    recovery_at,
)

NOTES = (
    "One stored charge: the lag of conduction after turn-on and the second slope of a tail are "
    "left out, and so is latch-up but as a rating.",
    "The channel follows a square law: in a short circuit a real part carries less.",
    "Threshold, steepness and capacitances are those of 25 degC.",
    "How the tail grows with voltage follows from reach_voltage, which no sheet states.",
)


def examine_igbt(
    part: Igbt, run: Runner, progress: Progress | None = None, dressed: Dress = bare
) -> PartReport:
    """Fit a part and run every virtual test circuit; as `study.examine`.

    Errors: ValueError when the part's figures allow no fit.
    """
    vectors = Recorder(run)
    cold = dressed(fit_igbt(part).switch, COLD)
    tests: tuple[Test, ...] = (
        lambda: saturation_rows(part, vectors, dressed),
        lambda: forward_rows(part, cold, vectors),
        lambda: transfer_rows(part, cold, vectors),
        lambda: capacitance_rows(part, cold, vectors),
        lambda: gate_charge_rows(part, cold, vectors),
        lambda: turn_off_rows(part, vectors, dressed),
        lambda: soft_turn_off_rows(part, vectors, dressed),
        lambda: recovery_rows(part, vectors, dressed),
    )
    said = (s for fitted in _at_every_temperature(part) for s in fitted.contradictions)
    return vectors.report(cold, tests, said, NOTES, progress)


def _at_every_temperature(part: Igbt) -> Iterator[FittedIgbt]:
    temperatures = {p.junction_temperature for p in part.saturation}
    temperatures |= {p.junction_temperature for p in part.turn_off}
    for celsius in sorted(temperatures):
        yield fit_igbt(part, celsius)


def saturation_rows(part: Igbt, vectors: Measure, dressed: Dress = bare) -> Iterator[Row]:
    """V_CE(sat) at every point."""
    for celsius in sorted({p.junction_temperature for p in part.saturation}):
        points = [p for p in part.saturation if p.junction_temperature == celsius]
        switch = dressed(fit_igbt(part, celsius).switch, celsius)
        gates = tuple(dict.fromkeys(p.gate_voltage for p in points))
        most = 3.0 * max(p.voltage for p in points)
        top = 1.1 * part.diode.forward[-1].current
        found = vectors(bench_decks.output_deck(switch, gates, most, top))
        for point in points:
            number = gates.index(point.gate_voltage) + 1
            got = bench.voltage_at_current(
                found, number, point.collector_current, bench_decks.DRAIN_SENSE
            )
            amps = f"I_C {point.collector_current:g} A"
            where = f"V_GE {point.gate_voltage:g} V, {amps}, {celsius:g} degC"
            yield Row("output curve", "V_CE(sat)", where, "V", point.voltage, got, STATIC)


def forward_rows(part: Igbt, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """V_F of the anti-parallel diode; the channel, its gate on, takes nothing of the current."""
    top = 1.1 * part.diode.forward[-1].current
    found = vectors(bench_decks.output_deck(switch, (15.0,), 5.0, top))
    resistor = bench_decks.forward_resistor(top)
    for point in part.diode.forward:
        got = bench.forward_voltage(found, point.current, resistor)
        yield Row("diode forward", "V_F", f"I_F {point.current:g} A", "V", point.voltage, got,
                  STATIC)  # fmt: skip


def transfer_rows(part: Igbt, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """Threshold and transconductance."""
    given = part.transfer
    top = part.gate_charge.plateau + 2.0
    deck = bench_decks.transfer_deck(switch, top, 20.0, given.threshold_current)
    found = vectors(deck)
    sense = bench_decks.threshold_sense(given.threshold_current)
    yield Row(
        "transfer curve", "V_GE(th)", f"I_C {given.threshold_current * 1e3:g} mA", "V",
        given.threshold, bench.threshold(found, given.threshold_current, sense), STATIC,
    )  # fmt: skip
    current = given.transconductance_current
    yield Row(
        "transfer curve", "g_fs", f"I_C {current:g} A", "S", given.transconductance,
        bench.steepness(found, current), STATIC,
    )  # fmt: skip


def capacitance_rows(part: Igbt, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """C_ies, C_oes, C_res at each given voltage."""
    given = [(point.collector_voltage, point) for point in part.capacitance]
    symbols = {"input": "C_ies", "output": "C_oes", "reverse": "C_res"}
    return capacitances_at(given, symbols, "V_CE {:g} V, V_GE 0", switch, vectors)


def gate_charge_rows(part: Igbt, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """Q_ge, Q_gc, Q_g and the plateau."""
    test = part.gate_charge
    deck, current = bench_decks.gate_charge_deck(
        switch, test.collector_voltage, test.collector_current, test.total
    )
    got = bench.gate_charge(vectors(deck), current, test.collector_voltage, test.gate_voltage)
    where = f"V_CC {test.collector_voltage:g} V, I_C {test.collector_current:g} A"
    upto = f"{where}, to V_GE {test.gate_voltage:g} V"
    for quantity, condition, unit, given, value in (
        ("Q_ge", where, "C", test.gate_emitter, got.gate_source),
        ("Q_gc", where, "C", test.gate_collector, got.gate_drain),
        ("Q_g", upto, "C", test.total, got.total),
        ("plateau", where, "V", test.plateau, got.plateau),
    ):
        yield Row("gate charge", quantity, condition, unit, given, value, STATIC)


def turn_off_rows(part: Igbt, vectors: Measure, dressed: Dress = bare) -> Iterator[Row]:
    """E_off and the tail under the sheet's conditions, at every temperature; E_on beside it."""
    for test in part.turn_off:
        switch = fit_igbt(part, test.junction_temperature).switch
        yield from _turn_off(part, test, dressed(switch, test.junction_temperature), vectors)


def _turn_off(part: Igbt, test: TurnOff, switch: Switch, vectors: Measure) -> Iterator[Row]:
    pulses = bench_decks.double_pulse_test(
        switch, test.supply_voltage, test.collector_current, (test.gate_off, test.gate_on),
        test.gate_resistor, test.loop_inductance,
    )  # fmt: skip
    found = vectors(pulses.deck)
    window = SWITCHING_WINDOW + bench_decks.tail_time(switch)
    energy = bench.switching_energy(found, pulses.turn_off, pulses.turn_on, window)
    decay, current = bench.tail(found, pulses.turn_off, test.tail_decay)
    wanted = tail_at(part, test.junction_temperature, [])
    where = (
        f"{test.supply_voltage:g} V, {test.collector_current:g} A, R_G {test.gate_resistor:g} ohm, "
        f"{test.junction_temperature:g} degC"
    )
    yield Row("clamped turn-off", "E_off", where, "J", test.energy, energy.turn_off, STATIC)
    yield Row("clamped turn-off", "tail to 1/e", where, "s", test.tail_decay, decay, STATIC)
    later = f"{where}, one decay after the channel"
    left = wanted.share * test.collector_current / 2.718281828
    yield Row("clamped turn-off", "tail current", later, "A", left, current, None)
    yield Row("clamped turn-off", "peak voltage", where, "V", None, energy.peak_voltage, None)
    yield Row("turn-on", "E_on", where, "J", test.turn_on_energy, energy.turn_on, None)


SOFT = 3.0
"""Rise of the soft turn-off, in decays of the tail [1]."""


def soft_turn_off_rows(part: Igbt, vectors: Measure, dressed: Dress = bare) -> Iterator[Row]:
    """The tail's energy where a capacitor across the switch slows the voltage: why resonant
    builders add one. Beside it, as if given, what the charge's law says."""
    for test in part.turn_off:
        switch = fit_igbt(part, test.junction_temperature).switch
        if dressed(switch, test.junction_temperature).foreign:
            return  # what is inside a model file cannot be told from its channel's current
        assert switch.bipolar is not None
        farads = SOFT * test.tail_decay * test.collector_current / test.supply_voltage
        deck, begin = bench_decks.soft_turn_off_deck(
            switch, test.supply_voltage, test.collector_current, (test.gate_off, test.gate_on),
            test.gate_resistor, farads,
        )  # fmt: skip
        got = bench.tail_energy(vectors(deck), begin)
        law = snubbed_tail_energy(
            switch.bipolar, test.supply_voltage, test.collector_current, farads
        )
        where = (
            f"{test.supply_voltage:g} V, {test.collector_current:g} A, {farads * 1e9:.3g} nF, "
            f"{test.junction_temperature:g} degC"
        )
        yield Row("soft turn-off", "tail's energy", where, "J", law, got, STATIC)


def recovery_rows(part: Igbt, vectors: Measure, dressed: Dress = bare) -> Iterator[Row]:
    """t_rr, Q_rr, I_RM of the anti-parallel diode at each given temperature."""
    for point in part.diode.recovery:
        fitted = fit_igbt(part, point.junction_temperature).switch
        switch = dressed(fitted, point.junction_temperature)
        yield from recovery_at(point, switch, vectors)

"""One part on the bench: fitted from its data sheet, put through the virtual test circuits.

Every given number is set beside what the engine's circuit returns under the sheet's conditions.
Numbers the fit did not aim at (switching energies) are listed without a bound.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from simkit.circuit import bench_decks
from simkit.circuit.netlist import Deck
from simkit.errors import EngineError, EngineMissing
from simkit.measure import bench
from simkit.parameters.part import CapacitancePoint, Mosfet, RecoveryPoint
from simkit.parameters.part_igbt import IgbtCapacitance
from simkit.parameters.switch import Switch
from simkit.parts.mosfet_fit import COLD, Fitted, fit
from simkit.run.backend import EngineRun, Progress
from simkit.studies.part.sturdy import test_of

Runner = Callable[[Deck], EngineRun]
Measure = Callable[[Deck], bench.Vectors]
Dress = Callable[[Switch, float], Switch]
"""From a fitted switch and a junction temperature [degC] to the one that is tested."""

STATIC = 0.10
"""Bound on static figures, capacitances and charges: what a sheet's typical figures differ by
between two readings of its curves (common practice, no source)."""
RECOVERY = 0.15
"""Bound on recovery figures: they hang on di/dt, which a sheet states to about as much (common
practice, no source)."""
SWITCHING_WINDOW = 0.9e-6
"""After a command of the double pulse: longer than any transition, shorter than the gaps [s]."""


@dataclass(frozen=True)
class Row:
    """One number of the data sheet beside what the virtual test gave."""

    test: str
    quantity: str
    condition: str
    unit: str
    given: float | None
    """None where the sheet has no such number [unit]."""
    obtained: float
    """[unit]"""
    allowed: float | None
    """Bound on the deviation, None where nothing was fitted to the number [1]."""

    @property
    def deviation(self) -> float | None:
        """Obtained over given, less one [1]."""
        return None if self.given is None else self.obtained / self.given - 1.0

    @property
    def status(self) -> str:
        """One of within, outside, or shown where there is nothing to hold it against."""
        if self.deviation is None or self.allowed is None:
            return "shown"
        # A NaN must count as outside, so the comparison is written this way round.
        return "within" if abs(self.deviation) <= self.allowed else "outside"


Test = Callable[[], Iterable[Row]]


@dataclass(frozen=True)
class PartReport:
    """What `simkit part` found."""

    switch: Switch
    """Circuit values at 25 degC, as a machine file would hold them."""
    rows: tuple[Row, ...]
    contradictions: tuple[str, ...]
    """Given figures that cannot be together, one sentence each."""
    notes: tuple[str, ...]
    engine: str
    engine_seconds: float
    """[s]"""
    gave_up: tuple[str, ...] = ()
    """Tests of a model file in which the engine gave up, and why."""

    @property
    def within(self) -> bool:
        """Whether every fitted number is returned within its bound, no test having been lost."""
        return not self.gave_up and all(row.status != "outside" for row in self.rows)


NOTES = (
    "The channel follows a square law: far above the fitted currents a real part carries less.",
    "Threshold, transconductance and capacitances are those of 25 degC; R_DS(on) and the recovery "
    "move with temperature.",
    "Recovery figures are of the stored charge alone; the output capacitance's charge comes on "
    "top in a circuit, and JEDEC's Q_rr counts it.",
    "C_oss follows one junction law and C_rss falls monotonically: the knee of a superjunction "
    "part lies between the given voltages unnoticed.",
)


def bare(switch: Switch, junction_temperature: float) -> Switch:
    """The fitted switch as it is, at whatever temperature [degC]."""
    del junction_temperature
    return switch


class Recorder:
    """Runs decks for a part's tests and keeps what each run took."""

    def __init__(self, run: Runner) -> None:
        self._run = run
        self._runs: list[EngineRun] = []
        self._gave_up: dict[str, str] = {}
        self._test = ""

    def __call__(self, deck: Deck) -> bench.Vectors:
        """Waveforms of a deck."""
        self._test = test_of(deck)
        self._runs.append(self._run(deck))
        return dict(self._runs[-1].vectors)

    def report(
        self, switch: Switch, tests: Sequence[Test], contradictions: Iterable[str],
        notes: tuple[str, ...], progress: Progress | None,
    ) -> PartReport:  # fmt: skip
        """What the tests return, each in its turn; progress is told the share done [1].

        A model file on which the engine gives up loses that test; our own switch raises.
        """
        rows: list[Row] = []
        for done, test in enumerate(tests, start=1):
            try:
                rows.extend(test())  # those before a failure are kept
            except EngineError as error:
                if switch.model is None or isinstance(error, EngineMissing):
                    raise
                self._gave_up[self._test] = error.reason
            if progress:
                progress(done / len(tests))
        return PartReport(
            switch=switch, rows=tuple(rows), contradictions=tuple(dict.fromkeys(contradictions)),
            notes=notes, engine=self._runs[-1].engine if self._runs else "",
            engine_seconds=sum(r.seconds for r in self._runs),
            gave_up=tuple(f"{test}: {why}" for test, why in self._gave_up.items()),
        )  # fmt: skip


def examine(
    part: Mosfet, run: Runner, progress: Progress | None = None, dressed: Dress = bare
) -> PartReport:
    """Fit a part and run every virtual test circuit.

    Parameters: `dressed` puts a model file in the fitted switch's place; run executes a deck (an
    EngineError goes through to the caller); progress is told the share of the tests done [1].
    Errors: ValueError when the part's figures allow no fit.
    """
    vectors = Recorder(run)
    cold = dressed(fit(part).switch, COLD)
    tests: tuple[Test, ...] = (
        lambda: static_rows(part, cold, vectors),
        lambda: hot_rows(part, vectors, dressed),
        lambda: transfer_rows(part, cold, vectors),
        lambda: capacitance_rows(part, cold, vectors),
        lambda: gate_charge_rows(part, cold, vectors),
        lambda: recovery_rows(part, vectors, dressed),
        lambda: double_pulse_rows(part, cold, vectors),
        lambda: avalanche_rows(part, cold, vectors),
    )
    said = (s for point in part.diode.recovery for s in _fit_at(part, point).contradictions)
    return vectors.report(cold, tests, said, NOTES, progress)


def _forward_top(part: Mosfet) -> float:
    return 1.1 * part.diode.forward[-1].current


def _on_resistance(part: Mosfet, switch: Switch, vectors: Measure) -> tuple[float, bench.Vectors]:
    test = part.on_resistance
    most = 3.0 * test.drain_current * test.hot
    deck = bench_decks.output_deck(switch, (test.gate_voltage,), most, _forward_top(part))
    found = vectors(deck)
    drop = bench.voltage_at_current(found, 1, test.drain_current, bench_decks.DRAIN_SENSE)
    return drop / test.drain_current, found


def static_rows(part: Mosfet, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """R_DS(on) at 25 degC and V_SD at each forward point."""
    resistor = bench_decks.forward_resistor(_forward_top(part))
    test = part.on_resistance
    where = f"V_GS {test.gate_voltage:g} V, I_D {test.drain_current:g} A"
    value, found = _on_resistance(part, switch, vectors)
    yield Row("output curve", "R_DS(on)", f"{where}, 25 degC", "ohm", test.cold, value, STATIC)
    for point in part.diode.forward:
        got = bench.forward_voltage(found, point.current, resistor)
        condition = f"I_S {point.current:g} A"
        yield Row("diode forward", "V_SD", condition, "V", point.voltage, got, STATIC)


def hot_rows(part: Mosfet, vectors: Measure, dressed: Dress = bare) -> Iterator[Row]:
    """R_DS(on) at the hot temperature."""
    test = part.on_resistance
    hot = dressed(fit(part, test.hot_temperature).switch, test.hot_temperature)
    value, _ = _on_resistance(part, hot, vectors)
    condition = (
        f"V_GS {test.gate_voltage:g} V, I_D {test.drain_current:g} A, {test.hot_temperature:g} degC"
    )
    yield Row("output curve", "R_DS(on)", condition, "ohm", test.hot, value, STATIC)


def transfer_rows(part: Mosfet, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """Threshold, transconductance and the points of the transfer curve."""
    given = part.transfer
    top = max(part.gate_charge.gate_voltage, *(p.gate_voltage for p in given.points), 0.0)
    deck = bench_decks.transfer_deck(switch, top, 20.0, given.threshold_current)
    found = vectors(deck)
    sense = bench_decks.threshold_sense(given.threshold_current)
    yield Row(
        "transfer curve", "V_GS(th)", f"I_D {given.threshold_current * 1e3:g} mA", "V",
        given.threshold, bench.threshold(found, given.threshold_current, sense), STATIC,
    )  # fmt: skip
    if given.transconductance is not None and given.transconductance_current is not None:
        current = given.transconductance_current
        yield Row(
            "transfer curve", "g_fs", f"I_D {current:g} A", "S", given.transconductance,
            bench.steepness(found, current), STATIC,
        )  # fmt: skip
    for point in given.points:
        got = bench.gate_voltage_at(found, point.drain_current)
        condition = f"I_D {point.drain_current:g} A"
        yield Row("transfer curve", "V_GS", condition, "V", point.gate_voltage, got, STATIC)


def capacitance_rows(part: Mosfet, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """C_iss, C_oss, C_rss at each given voltage."""
    given = [(point.drain_voltage, point) for point in part.capacitance]
    symbols = {"input": "C_iss", "output": "C_oss", "reverse": "C_rss"}
    return capacitances_at(given, symbols, "V_DS {:g} V, V_GS 0", switch, vectors)


def capacitances_at(
    given: Sequence[tuple[float, CapacitancePoint | IgbtCapacitance]], symbols: Mapping[str, str],
    condition: str, switch: Switch, vectors: Measure,
) -> Iterator[Row]:  # fmt: skip
    """The capacitances by name at each voltage [V], gate and source tied."""
    points = sorted(given, key=lambda each: each[0])
    test = bench_decks.capacitance_test(switch, tuple(voltage for voltage, _ in points))
    found = vectors(test.deck)
    slopes = (test.drain_slope, test.gate_slope)
    moments = zip(test.rest_times, test.drain_times, test.gate_times, strict=True)
    for (voltage, point), moment in zip(points, moments, strict=True):
        got = bench.capacitances(found, moment, slopes, test.sense)
        for kind, symbol in symbols.items():
            yield Row("capacitance", symbol, condition.format(voltage), "F",
                      getattr(point, kind), got[kind], STATIC)  # fmt: skip


def gate_charge_rows(part: Mosfet, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """Q_gs, Q_gd, Q_g and the plateau."""
    test = part.gate_charge
    deck, current = bench_decks.gate_charge_deck(
        switch, test.drain_voltage, test.drain_current, test.total
    )
    got = bench.gate_charge(vectors(deck), current, test.drain_voltage, test.gate_voltage)
    where = f"V_DD {test.drain_voltage:g} V, I_D {test.drain_current:g} A"
    yield Row("gate charge", "Q_gs", where, "C", test.gate_source, got.gate_source, STATIC)
    yield Row("gate charge", "Q_gd", where, "C", test.gate_drain, got.gate_drain, STATIC)
    upto = f"{where}, to V_GS {test.gate_voltage:g} V"
    yield Row("gate charge", "Q_g", upto, "C", test.total, got.total, STATIC)
    yield Row("gate charge", "plateau", where, "V", test.plateau, got.plateau, STATIC)


def _fit_at(part: Mosfet, point: RecoveryPoint) -> Fitted:
    found = fit(part, point.junction_temperature)
    if found.recovery is not point:
        raise ValueError(
            f"diode.recovery has two points at {point.junction_temperature:g} degC; one is fitted "
            "per temperature"
        )
    return found


def recovery_rows(part: Mosfet, vectors: Measure, dressed: Dress = bare) -> Iterator[Row]:
    """t_rr, Q_rr, I_RM at each given temperature."""
    for point in part.diode.recovery:
        switch = dressed(_fit_at(part, point).switch, point.junction_temperature)
        yield from recovery_at(point, switch, vectors)


def recovery_at(point: RecoveryPoint, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """t_rr, Q_rr, I_RM of a switch's diode under one set of conditions."""
    deck, command = bench_decks.recovery_deck(
        switch, point.forward_current, point.di_dt, point.reverse_voltage
    )
    got = bench.diode_recovery(vectors(deck), command, switch.diode.series_resistance)
    where = (
        f"I_F {point.forward_current:g} A, {point.di_dt / 1e6:g} A/us, "
        f"{point.junction_temperature:g} degC"
    )
    end = f"{where}, to the {point.definition}" if "%" in point.definition else where
    time = got.times[point.definition]
    yield Row("recovery", "t_rr", end, "s", point.time, time, RECOVERY)
    yield Row("recovery", "Q_rr", where, "C", point.charge, got.charge, RECOVERY)
    yield Row("recovery", "I_RM", where, "A", point.peak, got.peak, RECOVERY)


def double_pulse_rows(part: Mosfet, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """Switching energies, and the recovery that goes with them, under the sheet's conditions."""
    given = part.double_pulse
    test = bench_decks.double_pulse_test(
        switch, given.supply_voltage, given.drain_current, (given.gate_off, given.gate_on),
        given.gate_resistor, given.loop_inductance,
    )  # fmt: skip
    found = vectors(test.deck)
    energy = bench.switching_energy(found, test.turn_off, test.turn_on, SWITCHING_WINDOW)
    got = bench.diode_recovery(found, test.turn_on, switch.diode.series_resistance)
    where = (
        f"{given.supply_voltage:g} V, {given.drain_current:g} A, R_G {given.gate_resistor:g} ohm"
    )
    figures = (
        ("E_on", "J", given.turn_on, energy.turn_on),
        ("E_off", "J", given.turn_off, energy.turn_off),
        ("peak current", "A", None, energy.peak_current),
        ("peak voltage", "V", None, energy.peak_voltage),
        ("recovery di/dt", "A/s", None, got.slope),
        ("I_RM", "A", None, got.peak),
        ("Q_rr", "C", None, got.charge),
        ("t_rr (25 %)", "s", None, got.times["25 %"]),
    )
    for quantity, unit, wanted, value in figures:
        yield Row("double pulse", quantity, where, unit, wanted, value, None)


def avalanche_rows(part: Mosfet, switch: Switch, vectors: Measure) -> Iterator[Row]:
    """Avalanche voltage, and the energy the rated inductor really puts into the chip."""
    given, rated = part.avalanche, part.ratings.avalanche_energy
    if rated is None:
        return
    deck, inductance = bench_decks.avalanche_deck(
        switch, given.current, given.supply_voltage, rated
    )
    got = bench.avalanche(vectors(deck), bench_decks.AVALANCHE_BEGIN)
    where = f"I_AS {given.current:g} A, L {inductance * 1e3:.3g} mH"
    yield Row("unclamped switching", "V_AV", where, "V", given.voltage, got.voltage, STATIC)
    yield Row("unclamped switching", "E_AS", where, "J", rated, got.energy, STATIC)

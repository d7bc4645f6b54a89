"""The staged bring-up of a machine: stages, and what instruments will show at each.

Readings come from circuit runs at the stage's own voltage and frequency, or where none is needed
from a closed formula; their tolerances from those of the parts, linearised on the fast model, and
from the instruments'. The drive frequency of a powered stage is a margin above the resonance that
the person finds first, so that the tolerance of the resonance itself is not in the others.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.probes import Probes, Stage
from simkit.parameters.readings import READINGS
from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.bench import Setting, fast_readings, resonance
from simkit.studies.bring_up.trials import Rehearsals, Trials, clear_of, rehearsed
from simkit.studies.inputs.uncertain_values import (
    COVERAGE,
    Array,
    Uncertain,
    prior_covariance,
    scaled,
    uncertain,
)
from simkit.studies.low_voltage.bench_point import BenchPoint, bench_point, circuit_resonance

LOW = (12.0, 30.0)
"""Supply voltages of the first two powered stages [V]; common practice, no source."""
SOAK = 300.0
"""How long the second is kept [s]; common practice, no source."""
LIMITED = 1.0 / 3.0
"""Share of the working supply current allowed in the first stage at full voltage [1]."""
UNPOWERED = 1.0
"""Rails at which the gates are shown as without supply: no Miller plateau to speak of [V]."""
TRIED = 0.6
"""Share of the work that rehearsals are [1]; for the progress bar."""
MARGINS = np.geomspace(0.01, 0.8, 160)
CIRCUIT, FORMULA, FILE = "circuit run", "closed formula", "machine file"
UNITS = {
    "supply_current": "A", "tank_voltage": "V", "tank_scope": "V", "primary_current": "A",
    "current_scope": "V", "phase": "deg", "resonance": "Hz", "heatsink": "degC",
    "ring_down_frequency": "Hz", "ring_down_q": "1", "node_ringing_frequency": "Hz",
    "node_ringing_decay": "s", "gate_ringing_frequency": "Hz", "dead_time": "s",
    "gate_voltage": "V",
}  # fmt: skip

Say = Callable[[float], None]


@dataclass(frozen=True)
class Expected:
    """One reading to expect; all values in `unit`."""

    name: str
    """As in the readings file; "" for what is not fed back."""
    title: str
    unit: str
    value: float
    low: float
    high: float
    """Bounds of the 95 % interval: parts and instrument together."""
    instrument: float
    """Half-width at 95 % of the instrument alone; zero when `[probes]` is missing."""
    method: str
    """CIRCUIT, FORMULA or FILE."""


@dataclass(frozen=True)
class StageResult:
    """One stage with what is expected there."""

    stage: Stage
    setting: Setting | None
    frequency: float | None
    """Of the machine as described [Hz]."""
    expected: tuple[Expected, ...]
    point: BenchPoint | None
    trials: Trials | None = None
    """Rehearsals at this setting; None for the control board alone."""

    @property
    def step(self) -> bool:
        """Whether rehearsals let it stand as a step."""
        return self.trials is None or self.trials.step


@dataclass(frozen=True)
class BringUpResult:
    """All stages, and the tolerances they rest on."""

    machine: Machine
    stages: tuple[StageResult, ...]
    uncertain: tuple[Uncertain, ...]

    @property
    def steps(self) -> int:
        """How many stages from the first on are steps: the sheet ends at one that is none [1]."""
        return next((k for k, s in enumerate(self.stages) if not s.step), len(self.stages))


def usual_stages(machine: Machine) -> tuple[Stage, ...]:
    """The stages a machine is brought up in when its file lists none."""
    margin, full = machine.drive.working_margin, machine.supply.voltage
    piece = next(iter(machine.workpieces), "empty")
    # With the empty coil the resonance is sharp: twice the margin, and a tenth at least.
    wide = max(2.0 * margin, 0.1)
    stages = [Stage(name="control", title="Control board alone, bridge without supply")]

    def powered(name: str, title: str, voltage: float, load: str, above: float,
                soak: float | None = None) -> None:  # fmt: skip
        above = clear_of(machine, load, voltage, above)
        setting = Setting(load, voltage, margin=above)
        stages.append(Stage(
            name=name, title=title, supply_voltage=voltage, load=load, margin=above, soak=soak,
            current_limit=limit_for(machine, setting) if voltage <= LOW[1] else None,
        ))  # fmt: skip

    powered("first-power", "First power, empty coil", LOW[0], "empty", wide)
    powered("first-piece", "The same with the piece in", LOW[0], piece, margin)
    powered("soak", "Higher, and kept there", LOW[1], piece, margin, SOAK)
    powered("third", "A third of full voltage", round(full / 3.0), piece, margin)
    powered("full-held-back", "Full voltage, current held back by frequency", full, piece,
            held_back(machine, piece))  # fmt: skip
    powered("working", "Working power", full, piece, margin)
    return tuple(stages)


def limit_for(machine: Machine, setting: Setting) -> float:
    """Where to set a bench supply's limit: twice the expected current, two digits [A]."""
    expected = fast_readings(machine, setting, frozenset({"supply_current"}))
    return float(f"{max(2.0 * expected['supply_current'], 0.2):.2g}")


def held_back(machine: Machine, load: str) -> float:
    """Margin at which the supply current is a share of the working one, or the drive's end [1]."""
    voltage, margin = machine.supply.voltage, machine.drive.working_margin
    names = frozenset({"supply_current"})

    def current(above: float) -> float:
        return fast_readings(machine, Setting(load, voltage, margin=above), names)["supply_current"]

    margin = clear_of(machine, load, voltage, margin)
    at = resonance(machine, Setting(load, voltage))
    most = machine.drive.frequency_max / at - 1.0
    wanted = LIMITED * current(margin)
    fits = [float(m) for m in MARGINS if margin < m <= most and current(float(m)) <= wanted]
    return float(f"{fits[0] if fits else max(most, margin):.2g}")


def stages_of(machine: Machine) -> tuple[Stage, ...]:
    """Stages of the machine file, or else the usual ones."""
    if machine.bring_up is not None and machine.bring_up.stages:
        return machine.bring_up.stages
    return usual_stages(machine)


def bring_up(
    machine: Loaded[Machine], rehearser: Rehearser, say: Say | None = None,
    where: Rehearsals | None = None,
) -> BringUpResult:  # fmt: skip
    """Rehearse every stage at its own setting, and work out what instruments show there.

    Errors: EngineError when a circuit run gives no whole answer.
    """
    model = machine.model
    stages, trials = settled_stages(model, where or Rehearsals(), say)
    chosen = uncertain(machine, [s.load for s in stages if s.load])
    covariance = prior_covariance(model, chosen)
    out = []
    for number, stage in enumerate(stages):
        first = all(s.load != stage.load for s in stages[:number])
        found = _stage(model, stage, first, chosen, covariance, rehearser)
        out.append(replace(found, trials=trials.get(number)))
        if say:
            say(TRIED + (1.0 - TRIED) * (number + 1.0) / len(stages))
    return BringUpResult(model, tuple(out), chosen)


def settled_stages(
    machine: Machine, where: Rehearsals, say: Say | None
) -> tuple[tuple[Stage, ...], dict[int, Trials]]:
    """Stages with the margins at which their rehearsals let them stand, and those rehearsals."""
    stages = stages_of(machine)
    own = machine.bring_up is not None and bool(machine.bring_up.stages)
    powered = [k for k, s in enumerate(stages) if s.supply_voltage is not None]
    settings = [setting_of(machine, stages[k]) for k in powered]
    share = (lambda x: say(TRIED * x)) if say else None
    found = dict(zip(powered, rehearsed(machine, settings, own, where, share), strict=True))
    moved = {k: stages[k] if own else _at(stages[k], t) for k, t in found.items()}
    return tuple(moved.get(k, s) for k, s in enumerate(stages)), found


def _at(stage: Stage, trials: Trials) -> Stage:
    """A usual stage at the frequency that its rehearsals ended with."""
    return stage.model_copy(update={"margin": trials.frequency / trials.course.cold - 1.0})


def setting_of(machine: Machine, stage: Stage) -> Setting:
    """What is set at a powered stage."""
    volts = float(stage.supply_voltage or 0.0)
    return Setting(str(stage.load), volts, margin=stage.margin,
                   at_source=volts >= machine.supply.voltage)  # fmt: skip


def _stage(
    machine: Machine, stage: Stage, first: bool, chosen: tuple[Uncertain, ...],
    covariance: Array, rehearser: Rehearser,
) -> StageResult:  # fmt: skip
    if stage.supply_voltage is None:
        setting = Setting("empty", UNPOWERED, machine.drive.frequency_min)
        point = bench_point(rehearser, machine, setting)
        return StageResult(stage, None, point.frequency, control(machine, chosen), point)
    setting = setting_of(machine, stage)
    point = bench_point(rehearser, machine, setting)
    names = wanted(machine, stage, first)
    values = {k: v for k, v in point.readings.items() if k in names}
    fast = fast_readings(machine, setting, names)
    values = {**{k: v for k, v in fast.items() if k not in values}, **values}
    if "resonance" in names:
        values["resonance"] = circuit_resonance(rehearser, machine, setting)
    widths = tolerance(machine, setting, names, chosen, covariance)
    expected = tuple(
        _expected(machine.probes, name, values[name], widths[name])
        for name in READINGS
        if name in names and name in values
    )
    return StageResult(stage, setting, point.frequency, expected, point)


def wanted(machine: Machine, stage: Stage, first: bool) -> frozenset[str]:
    """Readings of a powered stage; resonance and ringing once for each load, at low voltage."""
    shown = {"tank_scope", "current_scope"} if machine.probes else set()
    names = {"supply_current", "tank_voltage", "primary_current", "phase"} | shown
    low = stage.supply_voltage is not None and stage.supply_voltage <= LOW[1]
    if first and low:
        names |= {"resonance", "ring_down_frequency", "ring_down_q", "node_ringing_frequency"}
    if stage.soak or stage.name == "working":
        names.add("heatsink")
    return frozenset(names)


def tolerance(
    machine: Machine, setting: Setting, names: frozenset[str], chosen: tuple[Uncertain, ...],
    covariance: Array,
) -> dict[str, float]:  # fmt: skip
    """Half-width at 95 % that the parts' tolerances give each reading, linearised [its unit].

    Each value is moved by its own standard deviation either way; the differences are the rows of
    the Jacobian by standard deviations, which the correlation joins.
    """
    spread = np.sqrt(np.diag(covariance))
    joint = covariance / np.outer(spread, spread)
    base = fast_readings(machine, setting, names)
    rows: dict[str, list[float]] = {name: [] for name in base}
    for k in range(len(chosen)):
        logs = np.zeros(len(chosen))
        logs[k] = spread[k]
        ends = [fast_readings(scaled(machine, chosen, sign * logs), setting, names)
                for sign in (1.0, -1.0)]  # fmt: skip
        for name in base:
            up, down = (end.get(name, base[name]) for end in ends)
            rows[name].append(0.5 * (up - down))
    return {name: COVERAGE * sqrt(max(float(np.array(row) @ joint @ np.array(row)), 0.0))
            for name, row in rows.items()}  # fmt: skip


def instrument(probes: Probes | None, name: str, value: float) -> float:
    """Half-width at 95 % of the instrument that shows a reading, in the reading's unit."""
    if probes is None:
        return 0.0
    own = probes.accuracy
    if name in ("phase", "heatsink", "dead_time"):
        return {"phase": own.phase, "heatsink": own.temperature, "dead_time": own.time}[name]
    shares = {"supply_current": own.meter, "resonance": own.frequency,
              "ring_down_frequency": own.frequency}  # fmt: skip
    return shares.get(name, own.scope) * abs(value)


def _expected(probes: Probes | None, name: str, value: float, width: float) -> Expected:
    own = instrument(probes, name, value)
    half = float(np.hypot(width, own))
    ringing = name.startswith(("ring_down", "node_ringing", "gate_ringing"))
    return Expected(
        name=name, title=READINGS[name], unit=UNITS[name], value=value, low=value - half,
        high=value + half, instrument=own, method=FORMULA if ringing else CIRCUIT,
    )  # fmt: skip


def control(machine: Machine, chosen: tuple[Uncertain, ...]) -> tuple[Expected, ...]:
    """Control board alone: gate voltage, dead time at both ends of the drive's range."""
    drive, probes = machine.drive, machine.probes
    share = next(u.tolerance for u in chosen if u.key == "drive.dead_time")
    out = [_expected(probes, "gate_voltage", drive.voltage_on, 0.0)]
    gate = fast_readings(machine, Setting("empty", 1.0), frozenset({"gate_ringing_frequency"}))
    out += [_expected(probes, name, value, 0.1 * value) for name, value in gate.items()]
    out = [replace(e, method=FILE if e.name == "gate_voltage" else e.method) for e in out]
    for frequency, end in ((drive.frequency_min, "lowest"), (drive.frequency_max, "highest")):
        one = _expected(probes, "dead_time", drive.dead_time, share * drive.dead_time)
        title = f"{READINGS['dead_time']}, at the {end} frequency, {frequency / 1e3:.4g} kHz"
        out.append(replace(one, title=title, method=FILE))
    return tuple(out)

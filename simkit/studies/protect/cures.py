"""What might prevent an overstress, each as a ladder of amounts from little to much.

A newcomer adds a cure by one function that yields steps, and its name in CURES.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import pi, sqrt
from typing import Any

from simkit.circuit.timeline import event_duration, timeline
from simkit.data import scenario_folder
from simkit.errors import InputError
from simkit.parameters.instead import Instead, replaced
from simkit.parameters.load import load_file
from simkit.parameters.machine import Machine
from simkit.parameters.part import Mosfet
from simkit.parameters.scenario import Scenario
from simkit.units import format_quantity

LAGS = (0.8, 0.4, 0.2, 0.1, 0.05, 0.025, 0.0125)
"""Time constants tried of a loop that tracks, as shares of the event's length [1]: slow first."""


@dataclass(frozen=True)
class Step:
    """One amount of a cure."""

    amount: str
    """In words: "4 % above resonance"."""
    machine: Machine
    scenario: Scenario
    parts: str
    """What it takes to build."""


@dataclass(frozen=True)
class Cure:
    """A cure with its ladder; `note` says what the circuit leaves out of it."""

    key: str
    title: str
    steps: tuple[Step, ...]
    note: str = ""


def cures(machine: Machine, scenario: Scenario) -> tuple[Cure, ...]:
    """Every cure that makes sense for a scenario on a machine, with its ladder."""
    found = []
    for key, title, make, note in CURES:
        steps = tuple(make(machine, scenario))
        if steps:
            found.append(Cure(key, title, steps, note))
    return tuple(found)


def with_start(scenario: Scenario, **values: Any) -> Scenario:
    """The scenario with values of its start replaced; None leaves one out."""
    data = scenario.model_dump(exclude_none=True, exclude={"map"})
    start = {k: v for k, v in (data["start"] | values).items() if v is not None}
    return Scenario.model_validate(data | {"start": start})


def margins(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Running further above resonance."""
    line = timeline(machine, scenario)
    tuned = machine.resonance(line.inductance.first)
    now = line.frequency.first / tuned - 1.0
    for more in (0.01, 0.02, 0.03, 0.045, 0.06, 0.09):
        margin = now + more
        if (1.0 + margin) * tuned < machine.drive.frequency_max:
            changed = with_start(scenario, frequency=None, margin=margin,
                                 margin_of=scenario.start.load)  # fmt: skip
            yield Step(f"{100 * margin:.3g} % above resonance", machine, changed, "none")


def slower(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """The piece moved more slowly."""
    moves = [k for k, e in enumerate(scenario.events) if e.about.pace == "moves"]
    if not moves:
        return
    name = scenario.start.load
    for factor in (4.0, 16.0):
        data = scenario.model_dump(exclude_none=True, exclude={"map", "ends"})
        for k in moves:
            whole = factor * event_duration(machine, scenario.events[k], name)
            data["events"][k].pop("speed", None)
            data["events"][k]["duration"] = whole
        yield Step(f"{factor:g} times as long", machine, Scenario.model_validate(data),
                   "a steady hand, or a stop")  # fmt: skip


def tracking(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """A drive whose loop follows the resonance and keeps the margin, one time constant behind.

    A first-order loop lags a steady ramp by its time constant tau (final value of 1/(1 + s tau)
    under a ramp); its bandwidth is 1/(2 pi tau). Slow loops first.
    """
    line = timeline(machine, scenario)
    changes = line.inductance.changes
    if len(changes) != 1 or scenario.start.tracks or line.frequency.changes:
        return
    begin, end = changes[0].start, changes[0].end
    margin = line.frequency.first / machine.resonance(changes[0].before) - 1.0
    if margin <= 0.0:
        return
    target = (1.0 + margin) * machine.resonance(changes[0].after)
    if not machine.drive.frequency_min < target < machine.drive.frequency_max:
        return
    for share in LAGS:
        tau = share * (end - begin)
        event = {"kind": "frequency", "at": begin - scenario.start.settled + tau,
                 "duration": end - begin, "frequency": target}  # fmt: skip
        data = scenario.model_dump(exclude_none=True, exclude={"map"})
        data["events"] = [*data["events"], event]
        amount = f"loop bandwidth {format_quantity(1.0 / (2.0 * pi * tau), 'Hz', 3)}"
        yield Step(amount, machine, Scenario.model_validate(data),
                   "phase detector, controlled oscillator")  # fmt: skip


def snubbers(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Resistor and capacitor from rail to rail at each leg, at the loop's own impedance."""
    loop = machine.bridge.loop_inductance
    for capacitance in (2.2e-9, 10e-9):
        value = {"place": "leg", "resistance": sqrt(loop / capacitance), "capacitance": capacitance}
        said = f"{value['resistance']:.2g} ohm and {capacitance * 1e9:.2g} nF at each leg"
        yield from _step(machine, scenario, {"bridge.snubber": value}, said, said)


def gate_resistors(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Slower switching, off as fast as before."""
    drive = machine.drive
    for factor in (2.0, 4.0):
        value = factor * drive.gate_resistor
        changes = {"drive.gate_resistor": value}
        if drive.turn_off_resistor is None:
            # In parallel with the larger one, the turn-off path stays what it was.
            parallel = 1.0 / (1.0 / drive.gate_resistor - 1.0 / value)
            changes["drive.turn_off_resistor"] = parallel
        said = f"{value:.3g} ohm at turn-on, as before at turn-off"
        yield from _step(machine, scenario, changes, said, "a resistor and a diode at each gate")


def faster_parts(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Shipped classes of parts with faster body diodes."""
    from simkit.parts.mosfet_fit import switch_from_part

    need = machine.switch.ratings.drain_voltage
    for name in ("class-650v-superjunction", "class-650v-sic"):
        part = load_file(scenario_folder() / "parts" / f"{name}.toml", Mosfet).model
        if part.ratings.drain_voltage < need:
            continue
        changes: dict[str, Any] = {"switch": switch_from_part(part).model_dump(exclude_none=True)}
        if "sic" in name:
            changes |= {"drive.voltage_on": 15.0, "drive.voltage_off": -4.0}
        yield from _step(machine, scenario, changes, part.title, "other switches in the bridge")


FAST = {
    "lifetime": 30e-9, "transit_time": 15e-9, "forward_voltage": 1.5, "forward_current": 20.0,
    "series_resistance": 15e-3, "emission": 2.0,
}  # fmt: skip
"""A 600 V, 20 A class fast diode, 30 ns (class values, common practice, no source)."""
SERIES_RESISTANCE = 25e-3
"""Drop of a low-voltage series diode of 0.5 V at 20 A, as a resistance [ohm] (class value)."""


def blocking_diodes(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Body diodes kept out by series diodes, fast diodes anti-parallel to both."""
    if machine.switch.diode.lifetime <= FAST["lifetime"]:
        return
    resistance = machine.switch.channel.drain_resistance + SERIES_RESISTANCE
    ratings = machine.switch.ratings
    changes: dict[str, Any] = {f"switch.diode.{k}": v for k, v in FAST.items()}
    changes |= {
        "switch.channel.drain_resistance": resistance,
        # The slope now acts on a plain diode, which has no parasitic transistor to turn on.
        "switch.ratings.recovery_dv_dt": max(ratings.recovery_dv_dt, 50e9),
        "switch.ratings.recovery_di_dt": max(ratings.recovery_di_dt, 1e9),
    }
    said = "30 ns diodes anti-parallel, low-voltage diodes in series"
    yield from _step(machine, scenario, changes, said, "two diodes more for each switch")


def link_capacitors(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """More capacitance in the link."""
    now = machine.supply.link.capacitance
    for factor in (2.0, 4.0):
        yield from _step(machine, scenario, {"supply.link.capacitance": factor * now},
                         f"{factor * now * 1e6:.4g} uF in the link", "capacitors")  # fmt: skip


def _step(
    machine: Machine, scenario: Scenario, changes: Mapping[str, Any], amount: str, parts: str
) -> Iterator[Step]:
    try:
        yield Step(amount, replaced(machine, changes), scenario, parts)
    except (Instead, InputError):
        return  # an amount this machine cannot have is no step


Make = Callable[[Machine, Scenario], Iterator[Step]]
CURES: tuple[tuple[str, str, Make, str], ...] = (
    ("margin", "Running further above resonance", margins, ""),
    ("tracking", "A drive that tracks the resonance", tracking,
     "The loop is a time constant's lag behind the resonance, nothing else."),
    ("slower", "Moving the piece more slowly", slower, ""),
    ("part", "Switches with a faster body diode", faster_parts, ""),
    ("diodes", "Series blocking diodes with anti-parallel fast diodes", blocking_diodes,
     "The fast diode stands in the body diode's place; the series diode is its resistance."),
    ("gate", "A larger turn-on gate resistor", gate_resistors, ""),
    ("snubber", "A snubber at each leg", snubbers, ""),
    ("link", "A larger link capacitor", link_capacitors, ""),
)  # fmt: skip
"""Key, title, ladder and what the circuit leaves out, for every cure but trip and clamp."""

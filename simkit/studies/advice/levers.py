"""What can be changed to bring a machine within its limits, and what each change costs.

A newcomer adds a lever by one function that yields steps, and its row in LEVERS. The cost of a
change has no unit: it only orders changes by how much they ask of a builder (a knob before a
soldering iron before a new winding), and grows with how far the value moves (our own judgement,
no source).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from math import log, log10, sqrt
from typing import Any

from simkit.circuit.timeline import start_margin, timeline
from simkit.errors import InputError
from simkit.parameters.instead import Instead, replaced
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario

MARGINS = (-0.2, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0, 1.2, 1.5, 1.8, 2.3, 3.0, 4.0)
"""Steps of the margin, times 1/Q: over 1/(2 Q) above resonance the tank's current falls by 3 dB."""
FURTHEST = 0.5
"""Largest margin tried [1]: beyond it the tank is no resonant circuit any more."""
TURNS = (0.75, 1.7)
CANS = (0.6, 2.0)
"""Turns and cans are tried between these, times what they are [1]."""
GATE = (0.33, 0.5, 0.7, 1.5, 2.2, 3.3, 4.7, 6.8)
TURN_OFF = (0.5, 2.0, 3.3, 5.0)
DEAD = (0.5, 0.7, 1.3, 1.7, 2.2, 3.0, 4.0)
SUPPLY = (0.97, 0.94, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5)
LINK = (2.0, 4.0)
LOOP = (0.7, 0.5)
HELD_OFF = (-3.0, -5.0)
"""Levels at which a gate is held off instead [V] (common practice, no source)."""
LONGEST_DEAD_TIME = 0.2
"""Times a period at the highest frequency [1]: beyond it little of the half period is left."""
SNUBBERS = (2.2e-9, 10e-9)
"""Capacitors of a snubber at each leg [F], with the loop's own impedance as the resistor."""


@dataclass(frozen=True, eq=False)
class Step:
    """One amount of a lever.

    Fields: lever: its key; x: how far the lever is moved, on an axis where effects are smooth;
    cost; values: machine values by dotted key; more_margin: added to the margin [1]; supply:
    no-load voltage [V], None where it stays; tracks: whether the drive comes to follow resonance.
    """

    lever: str
    x: float
    cost: float
    values: Mapping[str, Any] = field(default_factory=dict)
    more_margin: float = 0.0
    supply: float | None = None
    tracks: bool = False


@dataclass(frozen=True)
class Changed:
    """A machine and a scenario with some steps taken; settings: what is changed in the scenario's
    start, by key."""

    machine: Machine
    scenario: Scenario
    values: Mapping[str, Any]
    settings: Mapping[str, float]


def rounded(value: float, digits: int = 2) -> float:
    """A value as it would be written."""
    return round(value, digits - 1 - int(log10(abs(value)) // 1)) if value else value


def margins(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Running further above resonance, or nearer to it."""
    line = timeline(machine, scenario)
    z0 = sqrt(line.inductance.first / machine.tank.capacitance)
    width = min(max(line.resistance.first / z0, 0.01), 0.25)
    now = margin_of(machine, scenario)
    for share in MARGINS:
        more = round(now + share * width, 3) - now
        if abs(more) >= 0.002 and 0.0 < now + more <= FURTHEST:
            yield Step("margin", more, 0.1 + 0.1 * abs(more) / width, more_margin=more)


def turns(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Primary turns, on the same core and in the same window.

    The inductances then go with the square of the turns, and so does the winding's resistance.
    """
    now = machine.transformer.primary_turns
    for n in whole_numbers(now, *TURNS):
        square = (n / now) ** 2
        values: dict[str, Any] = {"transformer.primary_turns": n}
        for name in ("magnetising_inductance", "leakage_inductance", "primary_resistance"):
            if was := getattr(machine.transformer, name):
                values[f"transformer.{name}"] = rounded(square * was, 4)
        yield Step("turns", log(n / now), 0.5 + abs(log(n / now)), values)


def cans(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """More or fewer tank capacitors; the drive keeps its margin above the new resonance."""
    now = machine.tank.cans
    for n in whole_numbers(now, *CANS):
        yield Step("cans", log(n / now), 0.4 + 0.7 * abs(log(n / now)), {"tank.cans": n})


def whole_numbers(now: int, low: float, high: float) -> list[int]:
    """Some whole numbers about a value, without it."""
    first, last = max(1, round(low * now)), max(round(high * now), now + 1)
    step = max(1, (last - first) // 12)
    found = {*range(now, last + 1, step), *range(now, first - 1, -step)} - {now}
    return sorted(found)


def gate_resistors(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Slower or faster switching, in one resistor."""
    yield from _scaled(machine, "gate", "drive.gate_resistor", GATE, 0.25, 0.2)


def turn_off_resistors(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """The turn-off path's own resistor, where there is one."""
    if machine.drive.turn_off_resistor is not None:
        yield from _scaled(machine, "turn-off", "drive.turn_off_resistor", TURN_OFF, 0.25, 0.2)


def dead_times(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Longer or shorter dead time."""
    longest = LONGEST_DEAD_TIME / machine.drive.frequency_max
    for step in _scaled(machine, "dead time", "drive.dead_time", DEAD, 0.15, 0.3):
        if step.values["drive.dead_time"] <= max(longest, machine.drive.dead_time):
            yield step


def snubbers(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """A resistor and a capacitor from rail to rail at each leg, where there is no snubber."""
    if machine.bridge.snubber is not None:
        return
    for capacitance in SNUBBERS:
        resistance = rounded(sqrt(machine.bridge.loop_inductance / capacitance))
        values = {"bridge.snubber.place": "leg", "bridge.snubber.resistance": resistance,
                  "bridge.snubber.capacitance": capacitance}  # fmt: skip
        yield Step("snubber", log(capacitance / SNUBBERS[0]) + 1.0, 0.4, values)


def supplies(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Less supply voltage; nothing is to be built, but the power goes with its square."""
    now = supply_of(machine, scenario)
    for factor in SUPPLY:
        yield Step("supply", log(factor), 0.2 + 1.5 * abs(log(factor)),
                   supply=rounded(factor * now, 3))  # fmt: skip


def loops(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """A shorter loop from the film capacitor through a leg: wider strips, closer together."""
    yield from _scaled(machine, "loop", "bridge.loop_inductance", LOOP, 0.5, 0.4)


def held_off(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """Gates held off below zero, where the drive holds them higher."""
    now, low = machine.drive.voltage_off, machine.switch.ratings.gate_voltage
    for level in HELD_OFF if machine.drive.isolation == "ideal" else ():
        if level < now - 1.0 and -level < 0.5 * low:
            yield Step("held off", now - level, 0.6 + 0.02 * (now - level),
                       {"drive.voltage_off": level})  # fmt: skip


def tracking(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """A drive that follows the resonance at its margin, where something in the coil moves."""
    start, line = scenario.start, timeline(machine, scenario)
    by_margin = start.frequency is None and start.margin_of in (None, start.load)
    free = by_margin and not start.tracks and machine.drive.loop is None
    if free and line.inductance.changes:
        yield Step("tracking", 1.0, 0.8, tracks=True)


def links(machine: Machine, scenario: Scenario) -> Iterator[Step]:
    """More capacitance in the link."""
    yield from _scaled(machine, "link", "supply.link.capacitance", LINK, 0.4, 0.2)


def _scaled(
    machine: Machine, lever: str, key: str, factors: tuple[float, ...], fixed: float, slope: float
) -> Iterator[Step]:
    now = value_at(machine, key)
    for factor in factors if now > 0.0 else ():
        value = rounded(factor * now)
        if value != now:
            yield Step(lever, log(value / now), fixed + slope * abs(log(value / now)), {key: value})


Ladder = Callable[[Machine, Scenario], Iterator[Step]]
LEVERS: Mapping[str, tuple[str, Ladder]] = {
    "margin": ("start.margin", margins),
    "turns": ("transformer.primary_turns", turns),
    "cans": ("tank.cans", cans),
    "gate": ("drive.gate_resistor", gate_resistors),
    "turn-off": ("drive.turn_off_resistor", turn_off_resistors),
    "dead time": ("drive.dead_time", dead_times),
    "snubber": ("bridge.snubber", snubbers),
    "supply": ("supply.voltage", supplies),
    "link": ("supply.link.capacitance", links),
    "tracking": ("start.tracks", tracking),
    "loop": ("bridge.loop_inductance", loops),
    "held off": ("drive.voltage_off", held_off),
}
"""Key of the file that a goal may leave as it is, and ladder, of every lever."""
ALSO = {"margin": ("start.frequency", "drive.working_margin"),
        "supply": ("start.supply_voltage",)}  # fmt: skip
"""Other keys by which the same may be left as it is."""


def ladders(machine: Machine, scenario: Scenario) -> dict[str, list[Step]]:
    """Every lever's steps that the goal leaves open and that this machine can have."""
    goal = scenario.goal
    leave = set(goal.leave) if goal else set()
    found = {}
    for name, (key, make) in LEVERS.items():
        if leave & {key, *ALSO.get(name, ())}:
            continue
        steps = [s for s in make(machine, scenario) if fits(machine, scenario, s)]
        if goal and goal.most_cans is not None and name == "cans":
            steps = [s for s in steps if s.values["tank.cans"] <= goal.most_cans]
        if steps:
            found[name] = steps
    return found


def fits(machine: Machine, scenario: Scenario, *steps: Step) -> bool:
    """Whether a machine can take some steps at once, its drive reaching the frequency."""
    return taken(machine, scenario, steps) is not None


def taken(machine: Machine, scenario: Scenario, steps: tuple[Step, ...]) -> Changed | None:
    """Machine and scenario with steps taken; None where they cannot be.

    The drive keeps its margin above resonance, whatever moves that.
    """
    values: dict[str, Any] = {}
    for step in steps:
        values |= step.values
    more = sum(step.more_margin for step in steps)
    start, settings = scenario.start, dict[str, float]()
    supply = next((s.supply for s in steps if s.supply is not None), None)
    if supply is not None and (start.supply_voltage or machine_rectifies(machine)):
        settings["start.supply_voltage"] = supply
    elif supply is not None:
        values["supply.voltage"] = supply
    if more and start.frequency is None and start.margin is not None:
        settings["start.margin"] = round(start.margin + more, 4)
    elif more and start.frequency is None:
        values["drive.working_margin"] = round(machine.drive.working_margin + more, 4)
    if any(step.tracks for step in steps):
        settings["start.tracks"] = True
    try:
        made = replaced(machine, values) if values else machine
        if start.frequency is not None:
            settings |= _retuned(machine, scenario, made, more)
        moved = with_settings(scenario, settings)
        if not reaches(made, moved):
            return None
    except (Instead, InputError, ValueError):
        return None
    return Changed(made, moved, values, settings)


def machine_rectifies(machine: Machine) -> bool:
    """Whether the supply's voltage is that of rectified mains, which other values follow from."""
    return machine.supply.rectifier is not None


def _retuned(machine: Machine, scenario: Scenario, made: Machine, more: float) -> dict[str, float]:
    """The drive's new frequency where the scenario says one; nothing where it hardly moves."""
    was = timeline(machine, scenario).frequency.first
    margin = margin_of(machine, scenario) + more
    trial = with_settings(scenario, {"start.frequency": None, "start.margin": margin})
    found = rounded(timeline(made, trial).frequency.first, 4)
    return {} if abs(found / was - 1.0) < 5e-4 else {"start.frequency": found}


def with_settings(scenario: Scenario, settings: Mapping[str, float | None]) -> Scenario:
    """The scenario with values of its start replaced; None leaves one out."""
    if not settings:
        return scenario
    data = scenario.model_dump(exclude_none=True)
    plain = {key.removeprefix("start."): value for key, value in settings.items()}
    start = {k: v for k, v in (data["start"] | plain).items() if v is not None}
    return Scenario.model_validate(data | {"start": start})


def reaches(machine: Machine, scenario: Scenario) -> bool:
    """Whether drive and goal allow every frequency of a scenario."""
    line, drive, goal = timeline(machine, scenario), machine.drive, scenario.goal
    low = max(drive.frequency_min, (goal.frequency_min or 0.0) if goal else 0.0)
    high = min(drive.frequency_max, (goal.frequency_max or 1e9) if goal else 1e9)
    told = [line.frequency.first, *(c.after for c in line.frequency.changes)]
    return all(low <= f <= high for f in told)


def margin_of(machine: Machine, scenario: Scenario) -> float:
    """Drive above the resonance that the scenario's margin counts from [1]."""
    if scenario.start.frequency is None:
        return start_margin(machine, scenario.start)
    line = timeline(machine, scenario)
    return line.frequency.first / machine.resonance(line.inductance.first) - 1.0


def supply_of(machine: Machine, scenario: Scenario) -> float:
    """No-load voltage of the source [V]."""
    return scenario.start.supply_voltage or machine.supply.voltage


def value_at(machine: Machine, key: str) -> float:
    """Value of the machine at a dotted key; 0 where there is none."""
    at: Any = machine
    for name in key.split("."):
        at = getattr(at, name, None)
    return float(at) if isinstance(at, int | float) else 0.0

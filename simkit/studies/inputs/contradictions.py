"""What in a scenario contradicts itself or its machine, event by event."""

from collections.abc import Iterator

from simkit.circuit.timeline import event_duration
from simkit.parameters.events import Event
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario

Found = tuple[int, str, str, str]
"""Place of the event in the file, field, written value, rule."""
SAID = {"load": "load", "frequency": "frequency", "voltage": "supply voltage"}
"""What an event changes, in a message."""
STACKED = frozenset({"gates"})
"""Things several events may change at a time: each switch has its own gate."""


def contradictions(machine: Machine, scenario: Scenario) -> list[Found]:
    """Everything about the events that cannot be, in order of time."""
    found: list[Found] = []
    load = scenario.start.load
    until: dict[str, float] = {}
    for k, event in sorted(enumerate(scenario.events), key=lambda pair: pair[1].at):
        found += [(k, *rest) for rest in _of_one(machine, event, load)]
        for thing in _changed(machine, event, load):
            begins_early = event.at < until.get(thing, 0.0) - 1e-12
            if begins_early and thing not in STACKED:
                rule = f"the {SAID.get(thing, thing)} is still changing from the event before"
                found.append((k, "at", f"{event.at:g} s", rule))
            until[thing] = event.at + event_duration(machine, event, load)
        load = load_name_after(event, load)
    return found


def _changed(machine: Machine, event: Event, load: str) -> list[str]:
    """What an event changes; steel's L and R follow the current, so supply and frequency too."""
    from simkit.circuit.courses import follows_level

    thing = event.about.changes
    follows = event.kind in ("supply", "frequency") and follows_level(machine, load)
    return [thing, "load"] if follows else [thing]


def load_name_after(event: Event, load: str) -> str:
    """Name of the load in the coil after an event."""
    if event.kind == "pull-out":
        return "empty" if (event.share or 1.0) == 1.0 else load
    return event.load or load


def _of_one(machine: Machine, event: Event, load: str) -> Iterator[tuple[str, str, str]]:
    """Field, value and rule of what one event asks that cannot be."""
    if event.kind == "pull-out" and load == "empty":
        yield "kind", event.kind, "nothing is in the coil to pull out"
    if event.kind == "drop-in" and load != "empty":
        yield "kind", event.kind, f"{load} is still in the coil; pull it out first"
    if event.kind == "becomes" and load == "empty":
        yield "kind", event.kind, "nothing is in the coil that could change"
    count = machine.bridge.switches
    for number in event.switches or ():
        if not 1 <= number <= count:
            yield "switches", str(number), f"the bridge has the switches 1 to {count}"
    if event.leg == "b" and count == 2:
        yield "leg", "b", "a half bridge has leg a only"
    if event.cans is not None and event.cans >= machine.tank.cans:
        rule = f"must leave at least one of the {machine.tank.cans} cans of tank.cans"
        yield "cans", str(event.cans), rule
    yield from _times(machine, event)


def _times(machine: Machine, event: Event) -> Iterator[tuple[str, str, str]]:
    """Times of the gates that do not fit into a half period."""
    half = 0.5 / machine.drive.frequency_max
    for field in ("dead_time", "delay"):
        value = getattr(event, field)
        if value is not None and value + machine.drive.edge_time >= 0.5 * half:
            yield field, f"{value * 1e6:g} us", "must be below a quarter of the shortest period"

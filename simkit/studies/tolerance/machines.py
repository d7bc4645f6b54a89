"""The machines that a file's tolerances allow: a seeded sample of them, each with what it goes
through.

Latin hypercube over the axes of `simkit map`: a tolerance of the file is a band in which the value
lies anywhere alike; one assumed from the kind of source is normally distributed. Where other values
follow from a toleranced one, the machine is built anew at the band's end, and each follows as a
power of it. What a piece of known geometry does along its way is worked out once, for the file's
own machine, and scaled: steel's own change with the current of another machine is left out.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp, isfinite, log, sqrt
from typing import Any

import numpy as np

from simkit.circuit.timeline import Timeline, timeline
from simkit.errors import InputError
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parameters.varying import SCENARIO, MapPlan
from simkit.scout.draws import Path as Way
from simkit.studies.maps.space import (
    Array,
    Axis,
    Rebuilt,
    Space,
    nominal,
    space_of,
    varied_scenario,
)

DRAWS = 256
"""Machines drawn [1]: a share of a half is then known to within 6 points."""
SEED = 21
LOST = 0.02
"""Most draws that may be no machine at all, as a share of them [1]."""
POINTS = 24
"""Moments of each event that are looked at for those that count [1]."""
Place = tuple[str | int, ...]
"""Where a number stands in a machine as plain data."""


@dataclass(frozen=True)
class Sample:
    """Machines as drawn, the file's own first; `units`: their places in the unit cube."""

    axes: tuple[Axis, ...]
    units: Array
    machines: tuple[Machine, ...]
    ways: tuple[Way, ...]

    @property
    def assumed(self) -> bool:
        """Whether the file states no tolerance, so that its sources' usual ones stand."""
        return all(a.source.startswith("assumed") for a in self.axes)


def space_for(machine: Loaded[Machine], scenario: Loaded[Scenario]) -> Space:
    """What the files' tolerances vary; a sweep over a range of the scenario's [map] is none.

    Errors: InputError when nothing varies.
    """
    plan = scenario.model.map or MapPlan()
    kept = tuple(v for v in plan.vary if v.tolerance is not None)
    return space_of(machine, scenario, MapPlan(vary=kept))


def units_of(count: int, axes: int) -> Array:
    """A seeded Latin hypercube of the unit cube, a row a draw."""
    made = np.random.default_rng(SEED)
    return np.stack([(made.permutation(count) + 0.5) / count for _ in range(axes)], axis=1)


def sample(space: Space, line: Timeline, rebuilt: Rebuilt, draws: int = DRAWS) -> Sample:
    """The sample of a space; `line`: the file's own machine through the event."""
    units = units_of(draws, len(space.axes))
    far = Far.of(space, rebuilt)
    near = Space(space.machine, space.scenario,
                 tuple(a for a in space.axes if a not in far.axes))  # fmt: skip
    plain = [k for k, a in enumerate(space.axes) if a not in far.axes]
    times = moments(line)
    machines, ways, kept = [space.machine], [way_of(line, times)], []
    ways_of = _traveller(space, line, times)
    for row in units:
        values = space.values(row.tolist())
        try:
            machine, scenario = near.at([values[k] for k in plain])
            named = dict(zip(space.axes, values, strict=True))
            machine, scenario = far.moved(machine, named), far.said(space, scenario, named)
            ways.append(ways_of(machine, scenario))
        except (InputError, ValueError):
            continue
        machines.append(machine)
        kept.append(row)
    if len(kept) < (1.0 - LOST) * draws:
        raise ValueError(f"of {draws} machines within the tolerances {len(kept)} can be built")
    return Sample(space.axes, np.array(kept), tuple(machines), tuple(ways))


def moments(line: Timeline) -> Array:
    """Settled part, along each event, and the end [s]."""
    spans = [np.linspace(e.start, min(e.end, line.end), POINTS + 1) for e in line.events]
    return np.unique(np.concatenate(([0.0, line.end], *spans)))


def way_of(line: Timeline, times: Array) -> Way:
    """What a timeline has at some times."""
    return Way(*(p.along(times) for p in
                 (line.frequency, line.voltage, line.inductance, line.resistance)))  # fmt: skip


def _traveller(
    space: Space, line: Timeline, times: Array
) -> Callable[[Machine, Scenario], Way]:  # fmt: skip
    """What tells the way of a drawn machine: its own timeline, or the file's own, scaled."""
    loads = {space.scenario.start.load, *(e.load for e in space.scenario.events)}
    shaped = [p for n, p in space.machine.workpieces.items() if n in loads and p.geometry]
    if not shaped:
        return lambda machine, scenario: way_of(timeline(machine, scenario), times)
    if any(e.kind not in SCALED for e in space.scenario.events):
        raise ValueError("a piece of known geometry changes places in the event")
    own = way_of(line, times)
    return lambda machine, scenario: scaled_way(own, space.machine, machine, scenario)


SCALED = ("pull-out", "supply", "frequency")
"""Kinds of event along which a way can be scaled."""


def scaled_way(own: Way, before: Machine, machine: Machine, scenario: Scenario) -> Way:
    """The way of the file's own machine, as far as a drawn one's coil and piece differ from it.

    Each moment lies between piece and empty coil by its inductance; factors go as logarithms.
    """
    start = scenario.start
    coil, piece = before.coil, before.workpieces.get(start.load, before.coil)
    coil_now, piece_now = machine.coil, machine.workpieces.get(start.load, machine.coil)
    span = own.inductance[0] - coil.inductance
    inside = np.ones_like(own.inductance) if abs(span) < 1e-12 else np.clip(
        (own.inductance - coil.inductance) / span, 0.0, 1.0)  # fmt: skip

    def moved(name: str) -> Array:
        of_piece = log(getattr(piece_now, name) / getattr(piece, name))
        of_coil = log(getattr(coil_now, name) / getattr(coil, name))
        return np.asarray(np.exp(inside * of_piece + (1.0 - inside) * of_coil))

    inductance = own.inductance * moved("inductance")
    tuned = np.sqrt(before.tank.capacitance * own.inductance
                    / (machine.tank.capacitance * inductance))  # fmt: skip
    follows = start.tracks or before.drive.loop is not None
    at_empty = sqrt(before.tank.capacitance * coil.inductance
                    / (machine.tank.capacitance * coil_now.inductance))  # fmt: skip
    held = tuned if follows else at_empty if start.margin_of == "empty" else tuned[0]
    level = 1.0 if start.supply_voltage else machine.supply.voltage / before.supply.voltage
    return Way(
        own.frequency * (1.0 if start.frequency else held),
        own.source * np.where(own.source == own.source[0], level, 1.0),
        inductance,
        own.resistance * moved("resistance"),
    )


@dataclass(frozen=True)
class Far:
    """Axes from which other values of the machine follow.

    `slopes`: by axis, each number that moves with it, as its power of the axis' value [1].
    """

    slopes: Mapping[Axis, Mapping[Place, float]]

    @property
    def axes(self) -> tuple[Axis, ...]:
        """Those axes."""
        return tuple(self.slopes)

    @classmethod
    def of(cls, space: Space, rebuilt: Rebuilt) -> "Far":
        """The machine built anew at the high end of each such axis.

        Errors: InputError where it cannot be.
        """
        own = dict(numbers(plain_data(space.machine)))
        found = {}
        for axis in space.axes:
            if axis.followed:
                written = {k: repr(v) for k, v in placed_at(space, axis, axis.high).items()
                           if not k.startswith(SCENARIO)}  # fmt: skip
                there = dict(numbers(plain_data(rebuilt(written))))
                rise = log(axis.high / axis.nominal)
                ratios = {p: there.get(p, now) / now for p, now in own.items() if now}
                found[axis] = {p: log(r) / rise for p, r in ratios.items() if r > 0.0 and r != 1.0}
        return cls(found)

    def moved(self, machine: Machine, values: Mapping[Axis, float]) -> Machine:
        """A machine with what follows from these axes' values."""
        logs: dict[Place, float] = {}
        for axis, slopes in self.slopes.items():
            far = log(values[axis] / axis.nominal)
            for place, slope in slopes.items():
                logs[place] = logs.get(place, 0.0) + slope * far
        if not logs:
            return machine
        data = plain_data(machine)
        for place, value in logs.items():
            _scale(data, place, exp(value))
        return Machine.model_validate(data)

    def said(self, space: Space, scenario: Scenario, values: Mapping[Axis, float]) -> Scenario:
        """A scenario with what these axes move in it."""
        moved = {k.removeprefix(SCENARIO): v for axis in self.slopes
                 for k, v in placed_at(space, axis, values[axis]).items()
                 if k.startswith(SCENARIO)}  # fmt: skip
        return varied_scenario(scenario, moved)


def placed_at(space: Space, axis: Axis, value: float) -> dict[str, float]:
    """What stands at each key of an axis at one of its values, or of its factors."""
    return {key: axis.written(float(nominal(space.machine, space.scenario, key)), value)
            for key in axis.keys}  # fmt: skip


def plain_data(machine: Machine) -> dict[str, Any]:
    """A machine as plain data."""
    return machine.model_dump(mode="json", exclude_none=True)


def numbers(data: Any, place: Place = ()) -> Iterator[tuple[Place, float]]:
    """Every number that is no count, with its place."""
    if isinstance(data, float) and isfinite(data):
        yield place, data
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(
        data, list) else ()  # fmt: skip
    for name, value in inner:
        yield from numbers(value, (*place, name))


def _scale(data: Any, place: Sequence[str | int], factor: float) -> None:
    *path, last = place
    for name in path:
        data = data[name]
    data[last] *= factor

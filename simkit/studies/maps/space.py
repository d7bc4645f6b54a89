"""The space a map covers: what varies, how far, and the machine and scenario at each point."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from simkit.errors import InputError, Problem
from simkit.parameters.instead import Instead, describes, replaced
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.place import nearest
from simkit.parameters.scenario import Scenario
from simkit.parameters.varying import SCENARIO, MapPlan, Vary
from simkit.studies.inputs.uncertain_values import Uncertain, uncertain

Array = NDArray[np.float64]
STEPS = 7
"""Values of an axis of a full factorial map when none are given [1]."""
FACTOR_OF_TWO_SIGMA = 0.5
"""Standard deviation over half-width of a normal spread [1]."""
ONE_THING = {"supply.rectifier.mains_voltage": "supply.voltage"}
"""Keys that are one physical thing where a file says both: the mains give the link its voltage.
Nothing else follows from the first once the second is written."""


@dataclass(frozen=True)
class Axis:
    """One thing that varies; `low` and `high` are the value itself, or a factor on several."""

    keys: tuple[str, ...]
    nominal: float
    low: float
    high: float
    spread: str
    steps: int
    source: str
    """Who said that it varies."""
    whole: bool = False
    """Whether only whole numbers can be."""

    @property
    def name(self) -> str:
        """Its keys."""
        return " + ".join(self.keys)

    @property
    def relative(self) -> bool:
        """Whether several keys vary together, by a factor."""
        return len(self.keys) > 1

    @property
    def followed(self) -> tuple[str, ...]:
        """Those of its keys from which other values of the machine follow."""
        return tuple(k for k in self.keys if describes(k) and ONE_THING.get(k) not in self.keys)

    def written(self, now: float, value: float) -> float:
        """What stands at one of its keys, `now` in the file, at a value or factor of the axis."""
        new = now * value if self.relative else value
        return round(new) if self.whole else new

    def value(self, unit: float) -> float:
        """Value, or factor, at a place from 0 to 1 of its distribution."""
        middle, half = 0.5 * (self.low + self.high), 0.5 * (self.high - self.low)
        if self.spread == "normal":
            inside = min(max(unit, 1e-9), 1.0 - 1e-9)
            found = middle + half * FACTOR_OF_TWO_SIGMA * NormalDist().inv_cdf(inside)
        else:
            found = middle + half * (2.0 * unit - 1.0)
        return float(round(found)) if self.whole else found


Rebuilt = Callable[[Mapping[str, str]], Machine]
"""A machine with values of its file replaced, by dotted key."""


@dataclass(frozen=True)
class Space:
    """Machine and scenario, and the axes along which they vary."""

    machine: Machine
    scenario: Scenario
    axes: tuple[Axis, ...]
    rebuilt: Rebuilt | None = None
    """The machine from its file with values replaced, for those from which others follow."""

    def values(self, units: Sequence[float]) -> tuple[float, ...]:
        """Values at a point of the unit cube."""
        return tuple(a.value(u) for a, u in zip(self.axes, units, strict=True))

    def at(self, values: Sequence[float]) -> tuple[Machine, Scenario]:
        """Machine and scenario with the axes' values in place.

        Errors: InputError for a value the machine or the scenario cannot have.
        """
        machine: dict[str, Any] = {}
        scenario: dict[str, Any] = {}
        written: dict[str, str] = {}
        for axis, value in zip(self.axes, values, strict=True):
            for key in axis.keys:
                now = nominal(self.machine, self.scenario, key) if axis.relative else 1.0
                new = axis.written(now, value)
                if key.startswith(SCENARIO):
                    scenario[key.removeprefix(SCENARIO)] = new
                elif self.rebuilt is not None and key in axis.followed:
                    written[key] = repr(new)
                else:
                    machine[key] = new
        whole = self.rebuilt(written) if self.rebuilt is not None and written else self.machine
        return changed(whole, machine), varied_scenario(self.scenario, scenario)


def changed(machine: Machine, changes: Mapping[str, Any]) -> Machine:
    """The machine with values replaced; InputError names the key."""
    try:
        return replaced(machine, changes, alone=ONE_THING) if changes else machine
    except Instead as error:
        raise InputError([Problem("map", None, error.key, error.value, error.rule)]) from None


def varied_scenario(scenario: Scenario, changes: Mapping[str, Any]) -> Scenario:
    """The scenario with values replaced; InputError names the key."""
    if not changes:
        return scenario
    data = scenario.model_dump(exclude_none=True)
    for key, value in changes.items():
        *path, last = key.split(".")
        table: Any = data
        for name in path:
            table = _inner(table, name)
        if isinstance(table, dict):
            table[last] = value
    try:
        return Scenario.model_validate(data)
    except ValidationError as error:
        item = error.errors(include_url=False)[0]
        place = SCENARIO + ".".join(str(p) for p in item["loc"])
        raise InputError([Problem("map", None, place, "", str(item["msg"]))]) from None


def _inner(table: Any, name: str) -> Any:
    if isinstance(table, (list, tuple)) and name.isdecimal() and int(name) < len(table):
        return table[int(name)]
    return table.get(name) if isinstance(table, dict) else None


def nominal(machine: Machine, scenario: Scenario, key: str) -> float:
    """Value a key has in the files [its own unit]; InputError when it is no number there."""
    data: Any = (scenario if key.startswith(SCENARIO) else machine).model_dump(exclude_none=True)
    hint = ""
    for name in key.removeprefix(SCENARIO).split("."):
        if isinstance(data, dict) and name not in data:
            hint = nearest(name, data)
        data = _inner(data, name)
    if isinstance(data, bool) or not isinstance(data, int | float):
        rule = "there is no number at this place of the file"
        raise InputError([Problem("map", None, key, "", rule, hint)])
    return data


def space_of(
    machine: Loaded[Machine],
    scenario: Loaded[Scenario],
    plan: MapPlan,
    more: Sequence[Vary] = (),
    rebuilt: Rebuilt | None = None,
) -> Space:
    """What a plan varies; a key of the command line takes the place of the file's, which takes
    that of a tolerance in the machine file. Where nothing of the kind is written, the tolerance
    that the source of each value amounts to (`uncertain_values`), and the axis says so.

    Errors: InputError when nothing varies, or a key or value cannot be.
    """
    axes: dict[tuple[str, ...], Axis] = {}
    taken: set[str] = set()
    for source, wanted in (("--vary", more), ("the scenario file", plan.vary)):
        for said in wanted:
            vary = said.model_copy(update={"keys": tuple(map(placed, said.keys))})
            if not taken & set(vary.keys):
                axes[vary.keys] = axis_of(machine.model, scenario.model, vary, source, rebuilt)
                taken |= set(vary.keys)
    if plan.tolerances:
        for key, origin in machine.origins.items():
            if origin.tolerance and key not in taken and takes_part(scenario.model, key):
                said = Vary(keys=one_thing(machine, key), tolerance=origin.tolerance)
                axes[said.keys] = axis_of(machine.model, scenario.model, said, "the machine file")
                taken |= set(said.keys)
        if not axes:
            axes = {(u.key,): _assumed(machine, scenario, u) for u in _uncertain(machine, scenario)}
    if not axes:
        rule = "nothing varies: give a value a tolerance, a [map] table, or --vary"
        raise InputError([Problem(str(scenario.file), None, "map", "", rule)])
    return Space(machine.model, scenario.model, tuple(axes.values()), rebuilt)


def one_thing(machine: Loaded[Machine], key: str) -> tuple[str, ...]:
    """A key of the machine file, and what is the same thing as it where both are written there."""
    for pair in ONE_THING.items():
        if key in pair and all(k in machine.lines or k in machine.overridden for k in pair):
            return (key, *(k for k in pair if k != key))
    return (key,)


def placed(key: str) -> str:
    """A key as a map knows it: what only a scenario file has needs no `scenario.` before it."""
    first = key.split(".")[0]
    scenarios = first in Scenario.model_fields and first not in Machine.model_fields
    return f"{SCENARIO}{key}" if scenarios else key


def _uncertain(machine: Loaded[Machine], scenario: Loaded[Scenario]) -> tuple[Uncertain, ...]:
    start = scenario.model.start
    named = [start.load, start.margin_of, *(e.load for e in scenario.model.events)]
    return uncertain(machine, [name for name in named if name is not None])


def _assumed(machine: Loaded[Machine], scenario: Loaded[Scenario], one: Uncertain) -> Axis:
    said = Vary(keys=(one.key,), tolerance=one.tolerance, spread="normal")
    return axis_of(machine.model, scenario.model, said, f"assumed: {one.source}")


def takes_part(scenario: Scenario, key: str) -> bool:
    """Whether a value of the machine plays a part: a workpiece only where the scenario has it."""
    if not key.startswith("workpieces."):
        return True
    named = {scenario.start.load, scenario.start.margin_of, *(e.load for e in scenario.events)}
    return key.split(".")[1] in named


def axis_of(
    machine: Machine,
    scenario: Scenario,
    vary: Vary,
    source: str,
    rebuilt: Rebuilt | None = None,
) -> Axis:
    """An axis from what was written."""
    values = [nominal(machine, scenario, key) for key in vary.keys]
    whole = all(isinstance(v, int) for v in values)
    now = 1.0 if len(values) > 1 else float(values[0])
    if vary.tolerance is not None:
        low, high = now * (1.0 - vary.tolerance), now * (1.0 + vary.tolerance)
    else:
        low, high = (
            _read(machine, scenario, vary.keys[0], end, rebuilt) for end in (vary.low, vary.high)
        )
    if not low < high:
        rule = f"must rise: {low:g} is not below {high:g}"
        raise InputError([Problem("map", None, vary.keys[0], "", rule)])
    return Axis(vary.keys, now, low, high, vary.spread, vary.steps or STEPS, source, whole)


def _read(
    machine: Machine,
    scenario: Scenario,
    key: str,
    text: float | str | None,
    rebuilt: Rebuilt | None,
) -> float:
    """A value with its unit as the file at that key would read it."""
    if rebuilt is not None and describes(key):
        return float(nominal(rebuilt({key: str(text)}), scenario, key))
    if key.startswith(SCENARIO):
        new = varied_scenario(scenario, {key.removeprefix(SCENARIO): text})
        return float(nominal(machine, new, key))
    return float(nominal(changed(machine, {key: text}), scenario, key))


def draw(space: Space, sample: str, cases: int) -> Array:
    """Points of the unit cube, one row a case; the same every time, and a larger sample begins
    with the points of a smaller one.

    sobol: scrambled with a fixed seed; latin-hypercube: in blocks of 32 that each are one; full:
    every combination of the axes' steps, `cases` does not count.
    """
    count = len(space.axes)
    if sample == "full":
        rows = np.meshgrid(*(np.linspace(0.0, 1.0, a.steps) for a in space.axes), indexing="ij")
        return np.stack([r.ravel() for r in rows], axis=1)
    from scipy.stats import qmc

    if sample == "sobol":
        engine = qmc.Sobol(count, scramble=True, rng=np.random.default_rng(1))
        power = int(np.ceil(np.log2(max(cases, 2))))
        return np.asarray(engine.random_base2(power)[:cases], dtype=float)
    blocks = range(-(-cases // LATIN_BLOCK))
    points = [qmc.LatinHypercube(count, rng=np.random.default_rng(k)).random(LATIN_BLOCK)
              for k in blocks]  # fmt: skip
    return np.concatenate(points)[:cases]


LATIN_BLOCK = 32
"""Cases of one Latin hypercube; a sample is as many of them as it takes [1]."""

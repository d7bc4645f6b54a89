"""Which values of a machine are uncertain, by how much, and the machine with others in them.

A value's tolerance in the file is taken as the half-width of a 95 % interval; where the file gives
none, one is assumed from the kind of source, and whoever shows a result says so. Values vary as
logarithms, normally distributed, so that none turns negative.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.load import Loaded, Origin
from simkit.parameters.machine import Machine

Array = NDArray[np.float64]
COVERAGE = 2.0
"""Half-width of a 95 % interval over the standard deviation (ISO/IEC Guide 98-3, 6.2, G.6.6)."""
ASSUMED = {
    "measured": 0.05,
    "computed": 0.10,
    "datasheet class": 0.20,
    "estimated": 0.30,
    "design choice": 0.05,
    "standard": 0.05,
    "common practice": 0.30,
    "fitted": 0.05,
}
"""Half-width at 95 % of a value that states none, by its source; common practice, no source."""
KEYS = {
    "coil.inductance": "coil inductance",
    "coil.resistance": "coil resistance",
    "tank.can_capacitance": "capacitance of a can",
    "tank.can_esr": "ESR of a can",
    "tank.matching.inductance": "matching inductor",
    "tank.matching.resistance": "resistance of the matching inductor",
    "transformer.leakage_inductance": "leakage inductance",
    "transformer.magnetising_inductance": "magnetising inductance",
    "transformer.primary_resistance": "primary resistance",
    "transformer.secondary_resistance": "secondary resistance",
    "transformer.blocking_capacitance": "blocking capacitor",
    "bridge.split_capacitance": "midpoint capacitors",
    "bridge.loop_inductance": "loop inductance",
    "bridge.loop_damping": "damping of the loop",
    "switch.channel.drain_resistance": "on-resistance",
    "switch.channel.output_capacitance_zero": "output capacitance",
    "switch.package.drain_inductance": "drain lead inductance",
    "drive.dead_time": "dead time",
    "drive.loop_inductance": "gate loop inductance",
    "cooling.heatsink_resistance": "heatsink",
}
"""Values that readings at the bench depend on, with their names for people."""


@dataclass(frozen=True)
class Uncertain:
    """One uncertain value.

    Fields: key, title; value in its own unit; tolerance, the half-width at 95 % as a share [1];
    stated, whether the file gave the tolerance; source of the value.
    """

    key: str
    title: str
    value: float
    tolerance: float
    stated: bool
    source: str

    @property
    def deviation(self) -> float:
        """Standard deviation of the value's logarithm [1]."""
        return self.tolerance / COVERAGE


def uncertain(machine: Loaded[Machine], loads: Iterable[str]) -> tuple[Uncertain, ...]:
    """Uncertain values of a machine, with the workpieces among some loads."""
    keys = dict(KEYS)
    for load in dict.fromkeys(loads):
        if load != "empty":
            keys[f"workpieces.{load}.inductance"] = f"inductance with {load}"
            keys[f"workpieces.{load}.resistance"] = f"resistance with {load}"
    values = {key: value_at(machine.model, key) for key in keys}
    return tuple(
        _one(key, title, float(values[key]), _origin(machine, key))
        for key, title in keys.items()
        if values[key] is not None
    )


def _origin(machine: Loaded[Machine], key: str) -> Origin | None:
    return machine.origins.get(key)


def _one(key: str, title: str, value: float, origin: Origin | None) -> Uncertain:
    source = origin.source if origin else "computed"
    stated = origin is not None and origin.tolerance is not None
    tolerance = ASSUMED.get(source, ASSUMED["measured"])
    if origin is not None and origin.tolerance is not None:
        tolerance = origin.tolerance
    return Uncertain(key, title, value, tolerance, stated, source)


def value_at(model: Any, key: str) -> Any:
    """Value at a dotted key, None where a part is absent."""
    for part in key.split("."):
        model = model.get(part) if isinstance(model, dict) else getattr(model, part, None)
        if model is None:
            return None
    return model


def with_values(machine: Machine, values: Mapping[str, float]) -> Machine:
    """The machine with other values at dotted keys; ranges are not checked again."""
    tree: dict[str, Any] = {}
    for key, value in values.items():
        *path, last = key.split(".")
        table = tree
        for part in path:
            table = table.setdefault(part, {})
        table[last] = value
    found: Machine = _replaced(machine, tree)
    return found


def _replaced(model: Any, tree: dict[str, Any]) -> Any:
    """A section, or a dict of them, with a tree of new values put in."""
    if isinstance(model, dict):
        new = {k: _replaced(model[k], v) if isinstance(v, dict) else v for k, v in tree.items()}
        return {**model, **new}
    new = {k: _replaced(getattr(model, k), v) if isinstance(v, dict) else v
           for k, v in tree.items()}  # fmt: skip
    return model.model_copy(update=new)


def scaled(machine: Machine, chosen: Iterable[Uncertain], logs: Array) -> Machine:
    """The machine with each uncertain value multiplied by the exponential of its logarithm."""
    pairs = [(u, float(np.exp(x))) for u, x in zip(chosen, logs.tolist(), strict=True) if x != 0.0]
    changed = with_values(machine, {u.key: u.value * factor for u, factor in pairs})
    followed = {u.key: factor for u, factor in pairs if u.key.startswith("workpieces.")}
    return _levels(changed, followed) if followed else changed


def _levels(machine: Machine, factors: Mapping[str, float]) -> Machine:
    """The same factors on what steel shows at other levels of current."""
    pieces = dict(machine.workpieces)
    for key, factor in factors.items():
        _, name, what = key.split(".")
        levels = pieces[name].levels
        if levels is not None:
            new = tuple(x.model_copy(update={what: getattr(x, what) * factor}) for x in levels)
            pieces[name] = pieces[name].model_copy(update={"levels": new})
    return machine.model_copy(update={"workpieces": pieces})


def prior_covariance(machine: Machine, chosen: tuple[Uncertain, ...]) -> Array:
    """Covariance of the logarithms: tolerances, or what an earlier fit left, jointly."""
    covariance = np.diag([u.deviation**2 for u in chosen])
    record = machine.fit
    if record is None:
        return covariance
    at = {u.key: k for k, u in enumerate(chosen)}
    known = [(n, at[key]) for n, key in enumerate(record.parameters) if key in at]
    for n, k in known:
        for m, j in known:
            joint = record.deviation[n] * record.deviation[m] * record.correlation[n][m]
            covariance[k, j] = joint
    return covariance

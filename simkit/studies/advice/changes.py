"""Changes in words: key of the file, old and new value, and how the new one is written there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.advice.levers import Changed
from simkit.units import format_quantity

KEYS: Mapping[str, tuple[str, str]] = {
    "start.margin": ("margin above resonance", "%"),
    "drive.working_margin": ("margin above resonance", "%"),
    "start.frequency": ("drive frequency", "Hz"),
    "start.supply_voltage": ("supply voltage", "V"),
    "supply.voltage": ("supply voltage", "V"),
    "transformer.primary_turns": ("primary turns", ""),
    "transformer.magnetising_inductance": ("magnetising inductance", "H"),
    "transformer.leakage_inductance": ("leakage inductance", "H"),
    "transformer.primary_resistance": ("resistance of the primary", "ohm"),
    "tank.cans": ("tank capacitors", ""),
    "drive.gate_resistor": ("gate resistor", "ohm"),
    "drive.turn_off_resistor": ("turn-off resistor", "ohm"),
    "drive.dead_time": ("dead time", "s"),
    "bridge.snubber.place": ("snubber", ""),
    "bridge.snubber.resistance": ("snubber resistor", "ohm"),
    "bridge.snubber.capacitance": ("snubber capacitor", "F"),
    "start.tracks": ("drive that follows the resonance", ""),
    "supply.link.capacitance": ("link capacitance", "F"),
    "bridge.loop_inductance": ("loop inductance", "H"),
    "drive.voltage_off": ("gate voltage when off", "V"),
}
"""What a key is called and in which unit it is written, for every key that a lever moves."""
FOLLOWS = ("transformer.magnetising_inductance", "transformer.leakage_inductance",
           "transformer.primary_resistance")  # fmt: skip
"""What goes with the turns: told in the file only where it is written there."""


@dataclass(frozen=True)
class Change:
    """One value: key of the machine or scenario file, before and after in `unit`, and as text."""

    key: str
    before: float | str | None
    after: float | str
    unit: str
    text: str
    """The new value as the file has it."""

    @property
    def said(self) -> str:
        """In words: "primary turns 18 to 21"."""
        name = KEYS[self.key][0]
        if self.key == "start.tracks":
            return name
        if self.before is None:
            return f"{name} {self.text}"
        return f"{name} {text_of(self.key, self.before)} to {self.text}"


def changes_of(
    machine: Machine, scenario: Scenario, changed: Changed, written: frozenset[str] | None
) -> tuple[Change, ...]:
    """Every value that is changed; `written`: keys that stand in the machine file, None where
    nobody knows."""
    found = []
    for key, after in {**changed.values, **changed.settings}.items():
        if key in FOLLOWS and written is not None and key not in written:
            continue
        before = _now(machine, scenario, key)
        unit = {"%": "1", "": "1"}.get(KEYS[key][1], KEYS[key][1])
        found.append(Change(key, _plain(before), _plain(after), unit, text_of(key, after)))
    return tuple(found)


def _now(machine: Machine, scenario: Scenario, key: str) -> Any:
    at: Any = scenario if key.startswith("start.") else machine
    for name in key.split("."):
        at = getattr(at, name, None)
    return machine.supply.voltage if key == "start.supply_voltage" and at is None else at


def _plain(value: Any) -> Any:
    """A yes or no as a file has it; anything else as it is."""
    return str(value).lower() if isinstance(value, bool) else value


def text_of(key: str, value: float | str) -> str:
    """A value as a file has it."""
    unit = KEYS[key][1]
    value = _plain(value)
    if isinstance(value, str) or unit == "":
        return str(value)
    if unit == "%":
        return f"{100.0 * value:.4g} %"
    return format_quantity(value, unit, 4)


def told(changes: tuple[Change, ...]) -> str:
    """Changes in words, without what only follows from the turns."""
    return ", ".join(c.said for c in changes if c.key not in FOLLOWS)

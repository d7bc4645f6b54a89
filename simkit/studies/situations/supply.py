"""The supply: charging, by-pass, smoothing capacitor, mains, fuse, and a fault to earth."""

from typing import Any

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import Case, Situation, draft, rounded

LAMP = {"lamp_voltage": 230.0, "lamp_power": 100.0}
"""A filament lamp: a design choice; what is sold differs."""
RESISTOR = {"resistor": 47.0}
"""A wire-wound resistor [ohm]: common practice, no source."""
MAINS = {"mains_frequency": 50.0, "diode_drop": 1.0}
HALFWAY = 0.5
"""Link over its final voltage when the by-pass closes too early [1]."""
SAG = 0.6
"""Mains in the sag over nominal [1]; IEC 61000-4-11 tests with 40 % and 70 % (recalled)."""
HELD = 40e-3
"""How long the sag lasts [s]: two periods of the mains, so that the link has run down to it."""
FAULT = 0.05
"""Resistance of the fault to earth [ohm]: a design choice, a piece lying across."""


def _mains(machine: Machine) -> dict[str, Any]:
    rectifier = machine.supply.rectifier
    if rectifier is None:
        return dict(MAINS)
    return {"mains_frequency": rectifier.mains_frequency, "diode_drop": rectifier.diode_drop}


def lamp(machine: Machine) -> Case:
    """Link charged through a lamp, then full running."""
    limiter = dict(LAMP)
    path = machine.supply.rectifier.precharge if machine.supply.rectifier else None
    if path is not None and path.lamp_power is not None and path.lamp_voltage is not None:
        limiter = {"lamp_voltage": path.lamp_voltage, "lamp_power": path.lamp_power}
    told = _mains(machine) | limiter
    return draft(machine, "precharge-lamp", title="Link charged through a lamp", precharge=told)


def resistor(machine: Machine) -> Case:
    """Link charged through a resistor, then full running."""
    limiter = dict(RESISTOR)
    path = machine.supply.rectifier.precharge if machine.supply.rectifier else None
    if path is not None and path.resistor is not None:
        limiter = {"resistor": path.resistor}
    told = _mains(machine) | limiter
    title = "Link charged through a resistor"
    return draft(machine, "precharge-resistor", title=title, precharge=told)


def early(machine: Machine) -> Case:
    """The by-pass closes at the mains' peak with the link half charged, the bridge running."""
    full = machine.supply.voltage
    step = {"kind": "supply", "voltage": full, "at": 0.0, "duration": 1e-5}
    start = {"supply_voltage": rounded(HALFWAY * full)}
    title = "By-pass closes with the link half charged"
    return draft(machine, "bypass-early", title=title, events=[step], start=start, tail=5e-4)


def smoothing_open(machine: Machine) -> Case:
    """The smoothing capacitor comes off while the heater runs."""
    event = {"kind": "link-capacitor-open", "at": 0.0}
    title = "Smoothing capacitor open"
    return draft(machine, "smoothing-capacitor-open", title=title, events=[event])


def sag(machine: Machine) -> Case:
    """The mains sags and comes back while the heater runs."""
    full = machine.supply.voltage
    events = [
        {"kind": "supply", "voltage": rounded(SAG * full), "at": 0.0, "duration": 1e-3},
        {"kind": "supply", "voltage": full, "at": HELD, "duration": 1e-4},
    ]
    title = "Mains sags and returns"
    return draft(machine, "mains-sag", title=title, events=events, tail=1e-3)


def fuse(machine: Machine) -> Case:
    """The fuse opens while the heater runs."""
    event = {"kind": "fuse", "at": 0.0}
    return draft(machine, "fuse-opens", title="Fuse opens", events=[event])


def earth(machine: Machine) -> Case:
    """The coil's hot end touches the earthed other end."""
    event = {"kind": "ground-fault", "resistance": FAULT, "at": 0.0}
    return draft(machine, "tank-ground-fault", title="Ground fault of the tank", events=[event])


FAMILY = "supply"
SUPPLY = tuple(
    Situation(name, FAMILY, title, expects, build)
    for name, title, expects, build in (
        ("precharge-lamp", "Precharge by lamp",
         "A cold filament lets a surge through, then glows and limits.", lamp),
        ("precharge-resistor", "Precharge by resistor",
         "The first surge is the largest, V/R; the rest follows R C.", resistor),
        ("bypass-early", "By-pass closing too early",
         "What is missing on the link flows at once, limited by the line alone.", early),
        ("smoothing-capacitor-open", "Smoothing capacitor open",
         "The film capacitor alone carries the bridge's ripple; on real mains the link then "
         "follows the half waves, which the model's constant source does not show.",
         smoothing_open),
        ("mains-sag", "Mains sag and return",
         "The link runs down by what the bridge draws; the return charges it through the line at "
         "once.", sag),
        ("fuse-opens", "Fuse opening",
         "The link runs down and the bridge follows it.", fuse),
        ("tank-ground-fault", "Ground fault of the tank",
         "With the other end earthed too the coil is shorted and the resonance is gone.", earth),
    )
)  # fmt: skip

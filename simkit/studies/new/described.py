"""A machine from what is known before it is built: mains, power, a ruler or an LCR meter, a class.

Sized by the fundamental: with the drive a margin m above resonance the loop's reactance is
X = w L (1 - 1/(1 + m)^2) and its power P = E^2 R/(R^2 + X^2) with E = (4/pi) (V/n)/sqrt 2, half of
it for a half bridge, so n = (4/pi) V/sqrt 2 sqrt(R/(P (R^2 + X^2))). First-harmonic identities,
common practice, no source; dead time, stray inductance and steel that changes with the field are
left out, which `simkit check` and a rehearsal then show. Range: Q above 3.
"""

import re
from dataclasses import dataclass
from math import ceil, floor, log10, pi, sqrt

from simkit.errors import InputError, Problem
from simkit.units import format_quantity, parse_quantity

MARGIN = 0.04
"""Working margin of the starting machine [1]."""
LOADED = (0.97, 3.5)
"""L and R with a piece over the empty coil's where nobody read them [1]: steel at full power; a
guess, labelled as one."""
CAN_CURRENT, SHARE = 18.0, 0.7
"""Rated current of the starting machine's can [A], and the share of it that is used [1]."""
LEAKAGE, MAGNETISING, WINDING = 8e-6 / 22**2, 2.2e-3 / 22**2, 60e-3 / 22
"""Of the starting machine's transformer, by the square of its turns [H] [H], by its turns [ohm]."""
CORE, SWING = 3.6e-4, 0.18
"""The starting machine's core [m2], and the flux that one sized here swings to [T]."""
WALL, LEAD, SPACING = 1e-3, 100e-3, 20e-3
"""Tube's wall, leads and their spacing where nobody said [m]; guesses."""
COPPER = 1.8e-8
"""Copper a little warm [ohm m]."""
STANDARD = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
"""Series E6, IEC 60063, recalled from memory."""


@dataclass(frozen=True)
class Told:
    """What a person said; None for what they did not.

    Fields: mains, rms [V]; power into the coil [W]; frequency wanted [Hz]; coil as turns, bore,
    length and tube [1] [m] [m] [m]; empty and loaded as L and R [H] [ohm]; switch, a part class;
    half bridge or full.
    """

    mains: float
    power: float
    frequency: float
    coil: tuple[float, float, float, float] | None
    empty: tuple[float, float] | None
    loaded: tuple[float, float] | None
    switch: str | None
    half: bool


@dataclass(frozen=True)
class Design:
    """Values of the machine file that follow.

    Fields: told, by key, as the person said them; worked_out, by key, with how; switch.
    """

    told: dict[str, str]
    worked_out: dict[str, tuple[str, str]]
    switch: str | None


def quantity_of(option: str, text: str, unit: str) -> float:
    """One quantity of an option, above zero. Errors: InputError."""
    try:
        value = parse_quantity(text.strip(), unit)
    except ValueError as error:
        raise InputError([Problem(option, None, "", text, str(error))]) from None
    if not value > 0.0:
        raise InputError([Problem(option, None, "", text, "must be above zero")])
    return value


def coil_of(text: str) -> tuple[float, float, float, float]:
    """ "6 x 50 mm x 60 mm x 6 mm": turns, bore, length over all turns, tube. Errors: InputError."""
    parts = re.split(r"\s+[x\u00d7]\s+", text.strip())
    if len(parts) != 4:
        rule = 'write turns, bore, length and tube: "6 x 50 mm x 60 mm x 6 mm"'
        raise InputError([Problem("--coil", None, "", text, rule)])
    sizes = [quantity_of("--coil", part, "m") for part in parts[1:]]
    return quantity_of("--coil", parts[0], "1"), sizes[0], sizes[1], sizes[2]


def pair_of(option: str, text: str) -> tuple[float, float]:
    """ "0.9 uH, 12 mohm": what an LCR meter shows, L and series R. Errors: InputError."""
    parts = text.split(",")
    if len(parts) != 2:
        rule = 'write L and R at the working frequency: "0.9 uH, 12 mohm"'
        raise InputError([Problem(option, None, "", text, rule)])
    return quantity_of(option, parts[0], "H"), quantity_of(option, parts[1], "ohm")


def designed(told: Told, piece: str) -> Design:
    """The values that follow from what was said.

    Errors: InputError for a coil that cannot be wound, or is neither measured nor described.
    """
    empty, how = _empty(told)
    loaded = told.loaded or (LOADED[0] * empty[0], LOADED[1] * empty[1])
    volts, omega = sqrt(2.0) * told.mains, 2.0 * pi * told.frequency
    # The bank resonates with the loaded coil a margin below the frequency that was asked for.
    bank = (1.0 + MARGIN) ** 2 / (omega**2 * loaded[0])
    current = sqrt(told.power / loaded[1])
    cans = max(ceil(current / (SHARE * CAN_CURRENT)), 1)
    can = _standard(bank / cans)
    cans = max(round(bank / can), 1)
    reactance = omega * loaded[0] * (1.0 - 1.0 / (1.0 + MARGIN) ** 2)
    emf = 4.0 / pi / sqrt(2.0) * volts * (0.5 if told.half else 1.0)
    turns = max(round(emf * sqrt(loaded[1] / (told.power * (loaded[1] ** 2 + reactance**2)))), 1)
    # A square wave of v lasts half a period, half of it from zero to the peak: B = v/(4 f N A).
    swing = volts * (0.5 if told.half else 1.0) / (4.0 * told.frequency * turns)
    core = max(CORE, swing / SWING)
    sized = f"sized for {format_quantity(told.power, 'W', 3)} at {MARGIN:.0%} above resonance"
    resonates = f"resonates near {format_quantity(told.frequency, 'Hz', 3)}"
    out = {
        "supply.voltage": (format_quantity(volts, "V", 4), "peak of the mains told"),
        "coil.inductance": (format_quantity(empty[0], "H", 3), how),
        "coil.resistance": (format_quantity(empty[1], "ohm", 3), how),
        "transformer.primary_turns": (str(turns), sized),
        "transformer.leakage_inductance": (_of(LEAKAGE * turns**2, "H"), "by the square of turns"),
        "transformer.magnetising_inductance": (
            _of(MAGNETISING * turns**2 * core / CORE, "H"), "by the square of turns and the core"),
        "transformer.core_area": (
            f"{1e4 * core:.2g} cm^2", f"swings to {_of(swing / core, 'T')} at that frequency"),
        "transformer.primary_resistance": (_of(WINDING * turns, "ohm"), "by turns"),
        "tank.can_capacitance": (_of(can, "F"), resonates),
        "tank.cans": (str(cans), f"{resonates}; each carries {current / cans:.2g} A"),
        "limits.supply_current": (_of(1.6 * told.power / volts, "A"), "1.6 times the power's own"),
    }  # fmt: skip
    guess = "guessed from the empty coil: read it"
    for name, value, unit in zip(("inductance", "resistance"), loaded, ("H", "ohm"), strict=True):
        out[f"workpieces.{piece}.{name}"] = (_of(value, unit), "" if told.loaded else guess)
    given = {"bridge.topology": "half-split" if told.half else "full"}
    for key in [k for k in out if not out[k][1]]:
        given[key] = out.pop(key)[0]
    return Design(given, out, told.switch)


def _of(value: float, unit: str) -> str:
    return format_quantity(value, unit, 3)


def _empty(told: Told) -> tuple[tuple[float, float], str]:
    """L and R of the empty coil, and how they were had: "" when they were read."""
    if told.empty is not None:
        return told.empty, ""
    if told.coil is None:
        rule = "describe the coil by --coil, or by what an LCR meter reads of it, --empty"
        raise InputError([Problem("new", None, "", "", rule)])
    from simkit.parts.coil import CoilGeometry, coil_from_geometry

    turns, bore, length, tube = told.coil
    pitch = (length - tube) / max(turns - 1.0, 1.0)
    try:
        shape = CoilGeometry(turns, bore, tube, min(WALL, tube / 2), pitch, LEAD, SPACING)
        coil = coil_from_geometry(shape, told.frequency, COPPER)
    except ValueError as error:
        raise InputError([Problem("--coil", None, "", "", str(error))]) from None
    return (coil.inductance, coil.resistance), "computed from the coil told, leads guessed"


def _standard(farads: float) -> float:
    """The nearest capacitance of the series E6 [F]."""
    decade = 10.0 ** floor(log10(farads))
    return min((s * d for s in STANDARD for d in (decade, 10.0 * decade)),
               key=lambda c: abs(c / farads - 1.0))  # fmt: skip

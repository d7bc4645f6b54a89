"""Quantities at the edge: "4.7 uF" and 4.7e-6, against the unit that a field expects.

The set of spellings is closed. A wrong case, a comma, a foreign unit or a half-understood suffix
is refused with what to write instead: "1,5 uF" must never become 15 uF, nor "1.8 uf" pass.
General unit libraries accept too much here, which is why this gate is our own.
"""

import re
from functools import lru_cache
from math import floor, isfinite, log10

PREFIXES = {
    "G": 1e9, "M": 1e6, "k": 1e3, "": 1.0, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6,
    "n": 1e-9, "p": 1e-12,
}  # fmt: skip
NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(.*)\Z", re.DOTALL)
MARKED = re.compile(r"(\d+)([RkMGmunp])(\d+)\Z")
"""A letter in place of the decimal point: 4k7, 2R2."""

_PLAIN = {
    "V": ("V",), "A": ("A",), "ohm": ("ohm", "Ohm", "Ω", "Ω"), "F": ("F",), "H": ("H",),
    "s": ("s", "sec"), "Hz": ("Hz",), "W": ("W",), "J": ("J",), "C": ("C",), "T": ("T",),
    "Pa": ("Pa",), "Wb": ("Wb", "Vs", "V*s"), "S": ("S", "A/V"), "m": ("m",), "V*s": ("V*s", "Vs"),
}  # fmt: skip
"""Units that take any prefix, with their other spellings."""
_RATIOS = {"V/s": ("V", "s"), "A/s": ("A", "s"), "m/s": ("m", "s")}
_FIXED: dict[str, dict[str, float]] = {
    "1": {"%": 0.01, "1": 1.0},
    "degC": {"degC": 1.0, "°C": 1.0},
    "K": {"K": 1.0},
    "K/W": {"K/W": 1.0, "degC/W": 1.0, "°C/W": 1.0},
    "W/K": {"W/K": 1.0},
    "J/K": {"J/K": 1.0},
    "A/V^2": {"A/V^2": 1.0, "A/V2": 1.0},
    "A/m": {"A/m": 1.0, "kA/m": 1e3},
    "m^2": {"m^2": 1.0, "cm^2": 1e-4, "cm2": 1e-4, "mm^2": 1e-6, "mm2": 1e-6},
    "m^3": {"m^3": 1.0, "cm^3": 1e-6, "mm^3": 1e-9},
    "m^3/s": {"m^3/s": 1.0, "l/min": 1e-3 / 60.0, "l/h": 1e-3 / 3600.0},
    "kg": {"kg": 1.0, "g": 1e-3},
    "kg/m^3": {"kg/m^3": 1.0, "g/cm^3": 1e3},
    "ohm*m": {"ohm*m": 1.0, "Ω·m": 1.0},
    "W/(m*K)": {"W/(m*K)": 1.0},
    "J/(kg*K)": {"J/(kg*K)": 1.0},
    "J/kg": {"J/kg": 1.0, "kJ/kg": 1e3},
    "rad": {"rad": 1.0},
    "deg": {"deg": 1.0, "°": 1.0},
}
_EXTRA = {"Pa": {"bar": 1e5}, "m": {"cm": 1e-2}, "m/s": {"cm/s": 1e-2}, "s": {"min": 60.0}}


class UnitError(ValueError):
    """A text that is no quantity of the wanted unit; `rule` says why, `hint` what to write."""

    def __init__(self, rule: str, hint: str = "") -> None:
        """Keep rule and hint."""
        self.rule, self.hint = rule, hint
        super().__init__(f"{rule}; {hint}" if hint else rule)


@lru_cache(maxsize=64)
def spellings(unit: str) -> dict[str, float]:
    """Every accepted unit text for a unit, with its factor to SI; KeyError for an unknown unit."""
    if unit in _FIXED:
        return _FIXED[unit]
    if unit in _RATIOS:
        above, below = (spellings(part) for part in _RATIOS[unit])
        return {f"{a}/{b}": x / y for a, x in above.items() for b, y in below.items()}
    names = _PLAIN[unit]
    out = {p + name: factor for p, factor in PREFIXES.items() for name in names}
    return out | _EXTRA.get(unit, {})


UNITS = tuple(sorted({*_PLAIN, *_RATIOS, *_FIXED}))
"""Every unit a field may have."""


def parse_quantity(value: object, unit: str) -> float:
    """SI value of a text with a unit, or of a number, which counts as in the field's own unit.

    Errors: UnitError, with what to write instead.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise UnitError(f"must be a quantity in {unit}", _example(unit))
    if not isinstance(value, str):
        return _finite(float(value), unit)
    text = value.strip()
    if "," in text:
        raise UnitError("a comma is not a decimal point", f'write "{text.replace(",", ".", 1)}"')
    if marked := MARKED.match(text):
        whole, letter, rest = marked.groups()
        factor = 1.0 if letter == "R" else PREFIXES[letter]
        if letter == "R" and unit != "ohm":
            raise UnitError(f"must be a quantity in {unit}", _example(unit))
        return _finite(float(f"{whole}.{rest}") * factor, unit)
    found = NUMBER.match(text)
    if not found:
        raise UnitError(f"must be a number with a unit, in {unit}", _example(unit))
    number, written = float(found.group(1)), found.group(2).strip()
    if written == "":
        return _finite(number, unit)
    return _finite(number * _factor(written, unit, found.group(1)), unit)


def _factor(written: str, unit: str, number: str) -> float:
    known = spellings(unit)
    if written in known:
        return known[written]
    loose = {name.lower(): name for name in reversed(list(known))}
    near = loose.get(written.lower())
    if near is not None:
        raise UnitError(
            f"{written!r} is not a unit here: capital and small letters matter",
            f'did you mean "{number} {near}"?',
        )
    for other in UNITS:
        if written in spellings(other):
            raise UnitError(f"must be in {unit}, not in {written}", _example(unit))
    raise UnitError(f"{written[:40]!r} is not a unit known here; wanted {unit}", _example(unit))


def _finite(value: float, unit: str) -> float:
    if not isfinite(value):
        raise UnitError(f"must be a finite number in {unit}", _example(unit))
    return value


def _example(unit: str) -> str:
    examples = {
        "F": "4.7 uF", "H": "35 nH", "s": "0.6 us", "ohm": "10 ohm", "V": "325 V", "A": "12 A",
        "Hz": "80 kHz", "1": "5 %", "m": "40 mm", "V/s": "15 V/ns", "A/s": "600 A/us",
        "m/s": "300 mm/s", "m^2": "3.6 cm^2", "m^3/s": "1.5 l/min", "degC": "150 degC",
    }  # fmt: skip
    return f'for example "{examples.get(unit, "1.5 " + unit)}"'


def format_quantity(value: float, unit: str, digits: int = 4) -> str:
    """A value for people: "4.7 uF", "46.2 V/ns", "12.5 %" stays 0.125 for a plain ratio."""
    if not isfinite(value):
        return "not reached" if value > 0 else "none"
    if unit == "V/s":
        return f"{value / 1e9:.{digits}g} V/ns"
    if unit == "A/s":
        return f"{value / 1e6:.{digits}g} A/us"
    if unit == "m^2":
        return f"{value * 1e4:.{digits}g} cm^2"
    if unit == "m^3/s":
        return f"{value * 60e3:.{digits}g} l/min"
    if unit not in _PLAIN and unit != "m/s":
        return f"{value:.{digits}g} {unit}" if unit != "1" else f"{value:.{digits}g}"
    exponent = 0 if value == 0.0 else 3 * floor(log10(abs(value) * (1 + 1e-12)) / 3)
    exponent = min(max(exponent, -12), 9)
    letter = {-12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}[exponent]
    scaled = f"{value / 10.0**exponent:.{digits}g}"
    if "e" in scaled:
        scaled = f"{float(scaled):.0f}"
    return f"{scaled} {letter}{unit}"

"""The closed set of units: what each measures and every spelling that is read for it."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

PREFIXES = {
    "p": Fraction(1, 10**12),
    "n": Fraction(1, 10**9),
    "u": Fraction(1, 10**6),
    "m": Fraction(1, 1000),
    "": Fraction(1),
    "k": Fraction(1000),
    "M": Fraction(10**6),
    "G": Fraction(10**9),
}
"""SI prefixes that are read (SI Brochure, 9th edition, table 7; u stands for the letter mu too)."""
PREFIX_WORDS = {
    "pico": "p", "nano": "n", "micro": "u", "milli": "m", "kilo": "k", "mega": "M", "giga": "G"
}  # fmt: skip
UNIT_WORDS = {
    "second": "s", "sec": "s", "volt": "V", "ampere": "A", "amp": "A", "ohm": "ohm", "farad": "F",
    "henry": "H", "henrie": "H", "hertz": "Hz", "watt": "W", "joule": "J", "coulomb": "C",
}  # fmt: skip
"""Words for which a message offers the symbol; none of them is read."""


@dataclass(frozen=True)
class Unit:
    """One unit a field may have, and the spellings that are read for it."""

    symbol: str
    """How simkit writes it."""
    dimension: str
    """What it measures, in words."""
    prefixes: str = ""
    """SI prefixes that make sense before it; the empty prefix always does."""
    bare: bool = False
    """Whether a prefix alone is read, as in "10k" for a resistor."""
    others: Mapping[str, Fraction] | None = None
    """Further spellings and their factors to the symbol."""
    display: tuple[str, ...] = ()
    """Spellings to choose from when writing a value, smallest first; else prefixes are used."""
    infix: str = ""
    """Letters that may stand for the decimal point, as in 4k7 (IEC 60062)."""
    example: str = ""
    """A value a machine might have, for messages; else 1.5 of the symbol."""

    @property
    def spellings(self) -> Mapping[str, Fraction]:
        """Folded spelling to factor, the empty text and bare prefixes included."""
        return _spellings(self.symbol)


def _per(top: Mapping[str, Fraction], bottom: Mapping[str, Fraction]) -> dict[str, Fraction]:
    return {f"{a}/{b}": x / y for a, x in top.items() for b, y in bottom.items()}


def _with(prefixes: str, unit: str) -> dict[str, Fraction]:
    return {f"{p}{unit}": PREFIXES[p] for p in ("", *prefixes)}


_F = Fraction
_SECONDS = _with("mun", "s")
_LENGTHS = {**_with("num", "m"), "cm": _F(1, 100)}
_RESISTIVITIES = {
    **{f"{p}ohm*{m}": PREFIXES[p] * _LENGTHS[m] for p in ("", *"mun") for m in ("m", "cm")},
    "ohm*mm2/m": _F(1, 10**6),
}
_FLUXES = {
    **_with("num", "Wb"),
    **_with("num", "V*s"),
    **_with("num", "Vs"),
    "V*us": _F(1, 10**6),
    "V*ms": _F(1, 1000),
}
_CONDUCTANCES = {**_with("num", "S"), **_with("um", "A/V")}


def _per_metre_kelvin(top: str) -> dict[str, Fraction]:
    return {f"{top}/{bottom}": _F(1) for bottom in ("m*K", "mK", "m/K", "m*degC")}


_ALL = (
    Unit("V", "voltage", example="325 V", prefixes="numk", bare=True, infix="Vkm"),
    Unit("A", "current", example="12 A", prefixes="numk", bare=True, infix="A"),
    Unit(
        "ohm",
        "resistance",
        example="10 ohm",
        prefixes="numkMG",
        bare=True,
        others={"R": _F(1)},
        infix="RkKMGm",
    ),
    Unit("F", "capacitance", example="4.7 uF", prefixes="pnum", bare=True, infix="pnumF"),
    Unit("H", "inductance", example="35 nH", prefixes="pnum", bare=True, infix="pnumH"),
    Unit(
        "s",
        "time",
        example="0.6 us",
        prefixes="pnum",
        bare=True,
        others={"sec": _F(1), "min": _F(60), "h": _F(3600)},
    ),
    Unit("Hz", "frequency", example="80 kHz", prefixes="kMG", bare=True),
    Unit("W", "power", example="250 W", prefixes="numkM"),
    Unit(
        "J",
        "energy",
        example="40 mJ",
        prefixes="pnumkM",
        others={"Ws": _F(1), "W*s": _F(1), "Wh": _F(3600)},
    ),
    Unit("C", "charge", example="150 nC", prefixes="pnum", others={"As": _F(1), "A*s": _F(1)}),
    Unit("degC", "temperature", example="150 degC", display=("degC",)),
    Unit("K", "temperature difference", others={"mK": _F(1, 1000)}, display=("K",)),
    Unit(
        "K/W",
        "thermal resistance",
        example="0.3 K/W",
        others={"mK/W": _F(1, 1000), "degC/W": _F(1), "K/kW": _F(1, 1000)},
        display=("K/W",),
    ),
    Unit(
        "J/K",
        "heat capacity",
        "mk",
        others={"Ws/K": _F(1), "W*s/K": _F(1), "J/degC": _F(1)},
        display=("J/K",),
    ),
    Unit("W/K", "thermal conductance", "mk", others={"W/degC": _F(1)}, display=("W/K",)),
    Unit(
        "1/K",
        "temperature coefficient",
        others={"/K": _F(1), "%/K": _F(1, 100), "ppm/K": _F(1, 10**6)},
        display=("1/K",),
    ),
    Unit(
        "V/s",
        "slope of voltage",
        example="15 V/ns",
        others=_per(_with("mk", "V"), _SECONDS),
        display=("V/s", "V/us", "V/ns"),
    ),
    Unit(
        "Hz/s",
        "slope of frequency",
        example="1 kHz/ms",
        others=_per(_with("kM", "Hz"), _SECONDS),
        display=("Hz/s", "kHz/s", "kHz/ms"),
    ),
    Unit(
        "A/s",
        "slope of current",
        example="600 A/us",
        others=_per(_with("mk", "A"), _SECONDS),
        display=("A/s", "A/ms", "A/us"),
    ),
    Unit(
        "m",
        "length",
        example="40 mm",
        others={**_LENGTHS, "km": _F(1000)},
        display=("um", "mm", "m"),
    ),
    Unit(
        "m/s",
        "speed",
        example="300 mm/s",
        others=_per({"mm": _F(1, 1000), "cm": _F(1, 100), "m": _F(1)}, {"s": _F(1), "min": _F(60)}),
        display=("mm/s", "m/s"),
    ),
    Unit(
        "m^2",
        "area",
        example="3.6 cm^2",
        others={"cm2": _F(1, 10**4), "mm2": _F(1, 10**6)},
        display=("mm^2", "cm^2", "m^2"),
    ),
    Unit(
        "m^3",
        "volume",
        others={"mm3": _F(1, 10**9), "cm3": _F(1, 10**6), "l": _F(1, 1000)},
        display=("mm^3", "cm^3", "m^3"),
    ),
    Unit(
        "m^3/s",
        "flow",
        example="1.5 l/min",
        others=_per(
            {"l": _F(1, 1000), "L": _F(1, 1000), "ml": _F(1, 10**6), "m3": _F(1)},
            {"s": _F(1), "min": _F(60), "h": _F(3600)},
        ),
        display=("ml/min", "l/min"),
    ),
    Unit("T", "flux density", example="320 mT", prefixes="num"),
    Unit(
        "A/m^2",
        "current density",
        example="5 A/mm^2",
        others={"A/mm^2": _F(10**6), "A/mm2": _F(10**6), "A/cm^2": _F(10**4)},
        display=("A/mm^2",),
    ),
    Unit("A^2*s", "melting integral", "k", others={"A2s": _F(1)}, display=("A^2*s",)),
    Unit(
        "W/m^3",
        "loss density",
        "kM",
        others={"mW/cm^3": _F(1000), "W/cm^3": _F(10**6), "kW/m3": _F(1000)},
        display=("kW/m^3",),
    ),
    Unit("A/m", "field strength", "k", others={"A/cm": _F(100), "A/mm": _F(1000)}),
    Unit("S", "conductance", others=_CONDUCTANCES, display=("nS", "uS", "mS", "S")),
    Unit("A/V", "transconductance", others=_CONDUCTANCES, display=("uA/V", "mA/V", "A/V")),
    Unit("A/V^2", "transconductance parameter", "um", display=("uA/V^2", "mA/V^2", "A/V^2")),
    Unit(
        "1",
        "plain number",
        example="5 %",
        others={"%": _F(1, 100), "ppm": _F(1, 10**6)},
        display=("1",),
    ),
    Unit("%", "percentage", display=("%",)),
    Unit(
        "kg",
        "mass",
        example="80 g",
        others={"g": _F(1, 1000), "mg": _F(1, 10**6), "t": _F(1000)},
        display=("mg", "g", "kg"),
    ),
    Unit("kg/m^3", "density", others={"g/cm3": _F(1000)}, display=("kg/m^3",)),
    Unit("ohm*m", "resistivity", others=_RESISTIVITIES, display=("nohm*m", "uohm*m", "ohm*m")),
    Unit("W/(m*K)", "thermal conductivity", others=_per_metre_kelvin("W"), display=("W/(m*K)",)),
    Unit(
        "J/(kg*K)",
        "specific heat",
        others={
            **{f"J/{b}": _F(1) for b in ("kgK", "kg/K", "kg*degC")},
            **{
                f"{t}/{b}": _F(1000)
                for t, g in (("kJ", "kg"), ("J", "g"))
                for b in (f"{g}*K", f"{g}K", f"{g}/K")
            },
        },
        display=("J/(kg*K)",),
    ),
    Unit(
        "J/kg",
        "specific energy",
        others={"kJ/kg": _F(1000), "J/g": _F(1000)},
        display=("J/kg", "kJ/kg"),
    ),
    Unit(
        "W/(m^2*K)",
        "heat transfer coefficient",
        others={f"W/{b}": _F(1) for b in ("m2K", "m2/K", "m2*degC")},
        display=("W/(m^2*K)",),
    ),
    Unit(
        "Pa", "pressure", example="3 bar", prefixes="kM", others={"bar": _F(10**5), "mbar": _F(100)}
    ),
    Unit("V*s", "flux linkage", others=_FLUXES, display=("nV*s", "uV*s", "mV*s", "V*s")),
    Unit("Wb", "magnetic flux", others=_FLUXES, display=("nWb", "uWb", "mWb", "Wb")),
    Unit("rad", "angle", "m", others={"deg": _F(math.pi / 180)}, display=("mrad", "rad")),
    Unit("deg", "angle in degrees", others={"rad": _F(180 / math.pi)}, display=("deg",)),
)
UNITS: Mapping[str, Unit] = {unit.symbol: unit for unit in _ALL}
"""The closed set of units a field may have."""

# Look-alike letters: micro sign and mu, ohm sign and omega, typeset minus and spaces.
_LETTERS = str.maketrans(
    {
        "\u00b5": "u", "\u03bc": "u", "\u03a9": "ohm", "\u2126": "ohm",
        "\u2212": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " ",
    }
)  # fmt: skip
# Only in the unit: in a number a raised digit or a bracket must not turn into a plain digit.
_UNIT_LETTERS = str.maketrans(
    {
        "\u2103": "degC", "\u00b0": "deg", "\u00b2": "2", "\u00b3": "3", "\u00b7": "*",
        "\u22c5": "*", "^": None, "(": None, ")": None,
    }
)  # fmt: skip


def plain_letters(text: str) -> str:
    """Text with look-alike letters replaced by the ones simkit writes."""
    return text.translate(_LETTERS).strip()


def fold(text: str) -> str:
    """Spelling of a unit brought to the one form under which it is looked up."""
    text = plain_letters(text).translate(_UNIT_LETTERS).replace("Ohm", "ohm")
    return re.sub(r"\s*([*/])\s*|\s+", lambda m: m.group(1) or "*", text)


@cache
def _spellings(symbol: str) -> Mapping[str, Fraction]:
    unit = UNITS[symbol]
    table = {fold(text): factor for text, factor in _with(unit.prefixes, symbol).items()}
    table |= {fold(text): factor for text, factor in (unit.others or {}).items()}
    if unit.bare:
        table |= {p: PREFIXES[p] for p in unit.prefixes if p not in table}
    return {"": Fraction(1), **table}

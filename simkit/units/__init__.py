"""Quantities with units at the edge: "4.7 uF" becomes 4.7e-6, and back.

Inside simkit every quantity is a plain float in the SI unit of its field. Reading is a strict gate:
each field accepts the closed list of spellings of its own unit and nothing else, because a lenient
parser turns "1,5 uF" into 15 uF and "3.5 cm2" into 0.035 m2 without a word. Letters keep their
case: m is milli and M is mega, as the SI has it.

Factors are exact fractions, so "0.22 uF" gives the same float as 0.22e-6 would.
"""

import difflib
import math
import re
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from typing import Any

from simkit.units.table import PREFIX_WORDS, PREFIXES, UNIT_WORDS, UNITS, Unit, fold, plain_letters

__all__ = ["UNITS", "Unit", "UnitError", "parse_quantity", "format_quantity"]

LONGEST = 60
"""Characters a quantity may have; more is not a number a person wrote."""
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(.*)", re.ASCII)
_INFIX = re.compile(r"([+-]?\d+)([A-Za-z])(\d+)\s*(.*)", re.ASCII)


class UnitError(ValueError):
    """A text is not a quantity of the unit expected: the rule broken and what to write instead."""

    def __init__(self, rule: str, hint: str = "") -> None:
        self.rule = rule
        self.hint = hint
        super().__init__(f"{rule}; {hint}" if hint else rule)


def parse_quantity(value: str | float | int, unit: str) -> float:
    """Value in the given unit [unit], from text with a unit or from a plain number.

    A number, or text without a unit, is taken in the unit itself. Accepted besides: the spellings
    of UNITS[unit], "4k7" and "2R2" (letter codes of IEC 60062) where the unit has them, "5 %" for
    a ratio. Errors: UnitError for anything else, not-a-number and infinity included; KeyError for
    a unit outside UNITS. Range: what a double holds.
    """
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise UnitError(f"must be {_expected(unit)}", _example(unit))
    try:
        number = float(_exact(value, unit) if isinstance(value, str) else value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise UnitError("must be a finite number", _example(unit))
    return number


def _exact(text: str, unit: str) -> Fraction:
    if len(text) > LONGEST:
        raise UnitError(f"is longer than the {LONGEST} characters of any quantity", _example(unit))
    plain = plain_letters(text)
    if "," in plain:
        _refuse_comma(plain, unit)
    coded = _INFIX.fullmatch(plain)
    if coded and coded.group(2) in UNITS[unit].infix:
        return _letter_code(coded, unit)
    parts = _NUMBER.fullmatch(plain)
    if parts is None:
        raise UnitError(f"must be {_expected(unit)}", _example(unit))
    number, written = parts.groups()
    factor = UNITS[unit].spellings.get(fold(written))
    if factor is None:
        raise _wrong_unit(number, written, unit)
    return Fraction(number) * factor


def _letter_code(coded: re.Match[str], unit: str) -> Fraction:
    """4k7, 2R2, 4n7: the letter is prefix and decimal point at once; the unit may follow."""
    whole, letter, part, rest = coded.groups()
    if fold(rest) not in ("", unit):
        raise _wrong_unit(f"{whole}{letter}{part}", rest, unit)
    prefix = letter if letter in PREFIXES else {"K": "k"}.get(letter, "")
    return Fraction(f"{whole}.{part}") * PREFIXES[prefix]


def _refuse_comma(text: str, unit: str) -> None:
    rule = "a comma has no place in a number"
    point, nothing = text.replace(",", "."), text.replace(",", "")
    if not _readable(nothing, unit):
        raise UnitError(rule, _example(unit))
    if text.count(",") > 1 or "." in text:
        raise UnitError(rule, f"write {nothing}")
    # With three digits after it the comma may part the thousands, as in 1,500.
    thousands = re.search(r",\d{3}(?!\d)", text)
    raise UnitError(rule, f"write {nothing} or {point}" if thousands else f"write {point}")


def _readable(text: str, unit: str) -> bool:
    try:
        _exact(text, unit)
    except UnitError:
        return False
    return True


def _wrong_unit(number: str, written: str, unit: str) -> UnitError:
    dimension = UNITS[unit].dimension
    other = _unit_of(fold(written))
    if unit == "degC" and written in ("K", "C"):
        rule = "must be a temperature in degC"
        celsius = float(number) - 273.15 if written == "K" else float(number)
        hint = f"write {celsius:g} degC"
    elif other and other.dimension != dimension:
        rule = f"is {_article(other.dimension)} where {_expected(unit)} is expected"
        hint = _example(unit)
    else:
        near = _nearest(fold(written), unit)
        why = ": capitals matter" if near.lower() == fold(written).lower() else ""
        rule = f"{written} is not a unit of {dimension}{why}"
        hint = f"did you mean {number} {near}?" if near else _example(unit)
    return UnitError(rule, hint)


def _unit_of(written: str) -> Unit | None:
    # A bare prefix is not the unit of anything.
    known = written and written not in PREFIXES
    return next((u for u in UNITS.values() if known and written in u.spellings), None)


def _nearest(written: str, unit: str) -> str:
    """Accepted spelling that differs in case only, or else by little."""
    known = [s for s in UNITS[unit].spellings if s]
    if unit == "ohm" and written.lower().startswith("meg"):
        return "Mohm"
    for spelling in known:
        if spelling.lower() == written.lower():
            return spelling
    in_symbols = _in_symbols(written)
    if in_symbols in known:
        return in_symbols
    # Never a spelling that has lost the prefix: it would be a thousand times off.
    prefixed = len(written) > 1 and written[0] in PREFIXES
    known = [s for s in known if not prefixed or s[0] == written[0]]
    near = difflib.get_close_matches(written, known, 1, 0.6)
    return near[0] if near else ""


def _in_symbols(written: str) -> str:
    """A unit in words, such as usec, microseconds or kilovolts, in symbols; else empty."""
    found = re.fullmatch(
        rf"({'|'.join(PREFIX_WORDS)}|[pnumkMG])?({'|'.join(UNIT_WORDS)})s?", written
    )
    if found is None:
        return ""
    prefix, word = found[1] or "", found[2]
    return PREFIX_WORDS.get(prefix, prefix) + UNIT_WORDS[word]


def _expected(unit: str) -> str:
    dimension = UNITS[unit].dimension
    return f"{_article(dimension)} in {unit}" if unit not in ("1", "%") else _article(dimension)


def _article(noun: str) -> str:
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


def _example(unit: str) -> str:
    if unit == "1":
        return 'for example 0.05 or "5 %"'
    return f'for example "{UNITS[unit].example or f"1.5 {unit}"}"'


def format_quantity(value: float, unit: str, digits: int = 4) -> str:
    """Text of a value [unit] with the given number of significant digits, in engineering form.

    parse_quantity(format_quantity(x, u), u) returns x to those digits. Slopes come in the units of
    the trade ("5 V/ns", "100 A/us"), a ratio without a unit. Errors: KeyError for a unit outside
    UNITS. Range: any finite double; infinity stands for a bound that is never reached and is
    written so, and not-a-number as "none".
    """
    if not math.isfinite(value):
        return "not reached" if value > 0 else "none"
    if not UNITS[unit].display:
        return _with_prefix(value, unit, digits)
    rounded = float(f"{value:.{digits - 1}e}")
    spelling, factor = _display(rounded, unit)
    number = _plain(f"{rounded / factor:.{digits}g}")
    return number if spelling == "1" else f"{number} {spelling}"


def _plain(number: str) -> str:
    """A number as people write it: no power of ten from a millionth to a thousand million.

    The digits stay those there were: "1.08e+03" is 1080, "2.2e-05" is 0.000022.
    """
    mantissa, _, power = number.partition("e")
    if not power:
        return number
    exponent = int(power)
    if not -6 <= exponent < 9:
        return f"{mantissa}e{exponent}"
    decimals = max(len(mantissa.partition(".")[2]) - exponent, 0)
    return f"{float(number):.{decimals}f}"


def _display(value: float, unit: str) -> tuple[str, float]:
    scales = list(_scales(unit))
    fitting = [scale for scale in scales if abs(value) >= scale[1] * (1 - 1e-12)]
    return (fitting or scales)[-1 if fitting or not value else 0]


def _scales(unit: str) -> Iterator[tuple[str, float]]:
    for spelling in UNITS[unit].display:
        yield spelling, float(UNITS[unit].spellings[fold(spelling)])


def _with_prefix(value: float, unit: str, digits: int) -> str:
    prefixes = UNITS[unit].prefixes
    text = str(_renderer(prefixes)(value, units=unit).render(prec=digits - 1))
    if "e" not in text.partition(" ")[0]:
        return text
    # Beyond the prefixes of the unit: in the outermost one, "22e-15 C" as 0.022 pC.
    by_size = sorted(("", *prefixes), key=lambda prefix: PREFIXES[prefix])
    prefix = by_size[0 if abs(value) < 1.0 else -1]
    scaled = f"{value / float(PREFIXES[prefix]):.{digits - 1}e}"
    mantissa, _, power = scaled.partition("e")
    if int(power) < -3:  # zeros do not read better than the power of ten
        return text
    mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
    return f"{_plain(f'{mantissa}e{power}')} {prefix}{unit}"


@cache
def _renderer(prefixes: str) -> Any:
    """Quantity class that writes these prefixes only; its settings stay apart from others'."""
    from quantiphy import Quantity

    class Rendered(Quantity):
        """Quantities with these prefixes."""

    Rendered.set_prefs(output_sf=prefixes, spacer=" ")
    return Rendered

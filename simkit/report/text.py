"""Numbers and findings as people read them, on a page and on a terminal."""

import re
from collections.abc import Sequence
from math import isfinite

from simkit.report.view import LimitRow, Span
from simkit.units import format_quantity

STATUS_WORDS = {"ok": "ok", "near": "near", "over": "over", "not_evaluated": "not evaluated"}
STATUS_ICONS = {"ok": "\u2713", "near": "\u2248", "over": "\u2716", "not_evaluated": "?"}
OUTCOME_WORDS = {
    "within_limits": "within the limits checked",
    "over_limit": "over a limit",
    "no_verdict": "no verdict",
}
OUTCOME_ICONS = {"within_limits": "\u2713", "over_limit": "\u2716", "no_verdict": "?"}
WEIGHT = {"over": 0, "near": 1, "not_evaluated": 2, "ok": 3}
EXPONENT = re.compile(r"\d(\.\d+)?e\+\d+")
"""Powers of ten where the unit has no larger prefix: 1.08e+03 A/us reads better as 1080."""
MICRO = re.compile(r"((?<=\d )|(?<=, ))u(?=(s|C|F|H|V|A|J|W|T|Ω)\b)")
"""After a number or a name, "delay, us", only: words begin with the same letters."""
DEGREES = re.compile(r"(?<=\d) deg\b")
PER_CENT = re.compile(r"(?<=\d)%")
MINUS = "\u2212"


def typeset(text: str) -> str:
    """ASCII units in print: "-3 us" becomes a true minus and a micro sign, "5%" gets its space."""
    for plain, set_ in (("degC", "°C"), ("ohm", "Ω"), ("A/us", "A/µs"), ("V/us", "V/µs"),
                        ("m^2", "m²"), ("V^2", "V²"), (" +/- ", " ± ")):  # fmt: skip
        text = text.replace(plain, set_)
    text = MICRO.sub("µ", text)
    text = DEGREES.sub("°", PER_CENT.sub("\u00a0%", text))
    text = EXPONENT.sub(lambda found: f"{float(found[0]):.0f}", text)
    return MINUS + text[1:] if text[:1] == "-" and text[1:2].isdigit() else text


def quantity(value: float | None, unit: str, digits: int = 3) -> str:
    """A value with its unit for the page; a dash when there is none."""
    if value is None or not isfinite(value):
        return "\u2013"
    return typeset(format_quantity(value, unit, digits)).rstrip()


def error_text(error: float | None, unit: str) -> str:
    """A numerical error with its sign, two digits; empty when there is none or it is not known."""
    if not error or not isfinite(error):
        return ""
    return "\u00b1 " + quantity(error, unit, 2)


def percent(share: float | None, digits: int = 3) -> str:
    """A share as per cent: 0.773 is "77.3 %"."""
    if share is None or not isfinite(share):
        return "\u2013"
    value = 100.0 * share
    # From where its digits end, format g writes a power of ten: 100 as 1e+02.
    number = f"{value:.0f}" if abs(value) >= 10**digits - 0.5 else f"{value:.{digits}g}"
    return f"{number} %".replace("-", MINUS)


def moment(time: float | None) -> str:
    """A time of the run: milliseconds to the microsecond; seconds when held long after it."""
    if time is None or not isfinite(time):
        return "\u2013"
    return f"{time:.3g} s" if time >= 1.0 else f"{time * 1e3:.3f} ms"


def margin(row: LimitRow) -> str:
    """How far a row is from its limit, in words."""
    if row.ratio is None:
        return "not evaluated"
    if row.ratio > 1.0:
        return f"{row.ratio:.2f} times the limit"
    return f"{percent(1.0 - row.ratio, 2)} below the limit"


def by_ratio(rows: Sequence[LimitRow]) -> list[LimitRow]:
    """Rows with the worst first; what was not evaluated comes before what is ok."""
    return sorted(rows, key=lambda r: (WEIGHT[r.status], -(r.ratio or 0.0), r.name))


def course_of_modes(modes: Sequence[Span]) -> str:
    """The modes of an event in a sentence."""
    if not modes:
        return "No commutation was seen."
    parts = [f"{m.name} until {moment(m.end)}" for m in modes[:-1]]
    if len(parts) > 4:
        parts = [*parts[:2], f"{len(parts) - 3} changes", parts[-1]]
    last = modes[-1].name
    return f"{', then '.join([*parts, f'{last} to the end'])}.".capitalize()

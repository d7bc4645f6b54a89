"""Numbers as model files write them: a decimal, a scale letter, then letters that say nothing."""

import re

NUMBER = re.compile(r"(?P<digits>(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)(?P<letters>[a-z%]*)")
SCALES = {"t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3, "u": 1e-6,
          "n": 1e-9, "p": 1e-12, "f": 1e-15}  # fmt: skip
"""As the Berkeley program's users' guide (SPICE3f, 1993, section 2.1) lists them, in small letters.
No `a` for atto: after a number it mostly stands for ampere, and readers
differ on it."""
MEANINGLESS = frozenset({"", "v", "a", "ohm", "ohms", "h", "hz", "s", "sec", "c", "deg", "w",
                         "volt", "volts", "amp", "amps", "henry"})  # fmt: skip
"""Letters that follow a number or its scale and change nothing. Not "farad": its first letter is a
scale, and 1 farad would be read as a femtofarad."""


class NotANumber(ValueError):
    """A text that is no number, or one that could be read in two ways."""


def number(text: str) -> float:
    """Value of a number with its scale letter: "2.2k", "10meg", "30pf", "5v".

    Errors: NotANumber, for letters that are neither scale nor unit too.
    """
    sign = -1.0 if text.startswith("-") else 1.0
    found = NUMBER.fullmatch(text[1:] if text[:1] in "+-" else text)
    if not found:
        raise NotANumber(f"{text!r} is no number")
    return sign * float(found["digits"]) * scale(found["letters"])


def scale(letters: str) -> float:
    """Factor that the letters after a number's digits stand for [1]. Errors: NotANumber."""
    if letters in MEANINGLESS:
        return 1.0
    for mark in sorted(SCALES, key=len, reverse=True):
        if letters.startswith(mark) and letters[len(mark) :] in MEANINGLESS | {"f"}:
            return SCALES[mark]
    raise NotANumber(f"the letters {letters!r} after a number are neither a scale nor a unit")


def plain(value: float) -> str:
    """A number in our own form: digits, sign, exponent, no letter but its `e`."""
    return f"{value:.12g}"

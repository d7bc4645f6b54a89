"""A statement's text into words: what stands in braces, quotes or brackets stays together."""

import re
from collections.abc import Iterator

from simkit.modelfile.refused import Place

OPENING = {"{": "}", "(": ")"}


def words(text: str, place: Place) -> list[str]:
    """Words outside braces and brackets; `'...'` becomes `{...}`; no space around `=`.

    Errors: InputError for a brace, bracket or quote without its other half.
    """
    out, word, open_marks = [], "", list[str]()
    for letter in _tidied(text, place):
        if letter in OPENING:
            open_marks.append(OPENING[letter])
        elif letter in OPENING.values() and (not open_marks or open_marks.pop() != letter):
            raise place.refuse(text, f"{letter!r} closes nothing that was opened")
        if letter in " ," and not open_marks:
            out.append(word)
            word = ""
        else:
            word += letter
    if open_marks:
        raise place.refuse(text, f"{open_marks[-1]!r} is missing")
    return [w for w in [*out, word] if w]


def _tidied(text: str, place: Place) -> str:
    if text.count("'") % 2 or '"' in text:
        raise place.refuse(text, "a quote has no other half, or is a double one",
                           "an expression stands in braces: {...}")  # fmt: skip
    quoted = re.sub(r"'([^']*)'", r"{\1}", text)
    return re.sub(r"(?<![<>=!])\s*=\s*(?!=)", "=", quoted)


def braced(text: str) -> str:
    """What stands in a pair of braces around the whole, or the text itself."""
    text = text.strip()
    return text[1:-1] if text.startswith("{") and text.endswith("}") else text


def pairs(text: str, place: Place) -> Iterator[tuple[str, str]]:
    """NAME=VALUE by NAME=VALUE; a value without braces goes to the next name.

    Errors: InputError for what is no such pair.
    """
    tokens = words(text, place)
    at = 0
    while at < len(tokens):
        name, mark, value = tokens[at].partition("=")
        at += 1
        if not mark:
            raise place.refuse(tokens[at - 1], "has no value", "write NAME=VALUE")
        while at < len(tokens) and not re.match(r"[a-z_]\w*=(?!=)", tokens[at]):
            value += " " + tokens[at]
            at += 1
        if not value.strip():
            raise place.refuse(name, "has no value", "write NAME=VALUE")
        yield name, value

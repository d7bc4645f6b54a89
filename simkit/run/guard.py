"""What a deck may hold before any engine sees it.

Engines run shell and file commands found in decks: control blocks, start-up comments, includes.
Only the few element and dot lines that this project's templates use are let through, in
printable ASCII, so that nothing else can arrive there by any way.
"""

import re

from simkit.errors import SimkitError

ELEMENT = re.compile(
    r"[bcdegijklmqrvx][a-z0-9_]* [a-z0-9_ .+\-*/()=,#?:<>&|\[\]]*\Z", re.IGNORECASE
)
DOT = re.compile(
    r"\.(options|model|subckt|ends|save|tran|end|ic)\b[a-z0-9_ .+\-()=@,#\[\]]*\Z", re.IGNORECASE
)
CONTINUED = re.compile(r"\+ [a-z0-9_ .+\-()=@,#\[\]]*\Z", re.IGNORECASE)
COMMENT = re.compile(r"\*(?!#)(?!\s*#)(?!ng_)[ -~]*\Z")
MAX_BYTES = 32_000_000


class DeckRefused(SimkitError):
    """A deck with a line that may not reach the engine."""

    exit_code = 2


def inspect(text: str) -> None:
    """Raise DeckRefused, naming the line, unless every line is of an allowed form."""
    if len(text) > MAX_BYTES:
        raise DeckRefused(f"the deck has {len(text)} characters, more than {MAX_BYTES}")
    # Other line ends than \n are refused: the engine's door splits at them, a filter might not.
    for number, line in enumerate(text.split("\n"), start=1):
        if line == "" or any(p.match(line) for p in (ELEMENT, DOT, CONTINUED, COMMENT)):
            continue
        raise DeckRefused(f"line {number} of the deck may not reach the engine: {line[:80]!r}")

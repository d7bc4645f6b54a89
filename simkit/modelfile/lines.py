"""From bytes to statements: comments out, continuations joined, everything bounded."""

from collections.abc import Iterator
from dataclasses import dataclass

from simkit.errors import InputError, Problem
from simkit.modelfile.refused import Place

MOST_BYTES = 1_000_000
MOST_LINES = 20_000
LONGEST_LINE = 2_000
"""Characters of a line as written [1]."""
LONGEST_STATEMENT = 20_000
"""Characters of a statement with its continuations [1]."""


@dataclass(frozen=True)
class Statement:
    """One statement, in small letters, white space folded."""

    place: Place
    text: str


def statements(content: bytes, file: str) -> tuple[Statement, ...]:
    """All statements of a model file.

    Errors: InputError for what is no plain text, too large, or holds a character that another
    reader could take for the end of a line.
    """
    if len(content) > MOST_BYTES:
        raise _whole(file, f"is larger than the {MOST_BYTES // 1000} kB a model file may have")
    rows = _decoded(content, file).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(rows) > MOST_LINES:
        raise _whole(file, f"has more than the {MOST_LINES} lines a model file may have")
    return tuple(_joined(rows, file))


def _whole(file: str, rule: str) -> InputError:
    return InputError([Problem(file, None, "", "", rule)])


def _decoded(content: bytes, file: str) -> str:
    # Remarks in old files are in Latin-1, where every byte is a character: none fails, and what is
    # not ASCII is let through in remarks only.
    text = content.decode("latin-1")
    if text.startswith("\xef\xbb\xbf"):  # UTF-8's mark
        text = text[3:]
    for number, row in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        wrong = next((c for c in row if ord(c) < 32 and c != "\t"), None)
        if wrong is not None or "\x7f" in row:
            code = ord(wrong) if wrong is not None else 127
            rule = f"holds the control character {code}, which some readers take for a line's end"
            hint = "delete it, or save the file as plain text"
            raise InputError([Problem(file, number, "", "", rule, hint)])
    return text


def _joined(rows: list[str], file: str) -> Iterator[Statement]:
    start, held = 0, ""
    for number, row in enumerate(rows, 1):
        place = Place(file, number)
        if len(row) > LONGEST_LINE:
            raise place.refuse("", f"the line is longer than {LONGEST_LINE} characters")
        text = without_remark(row).strip()
        if not text:
            continue
        if not text.isascii():
            letter = next(c for c in text if not c.isascii())
            said = f"a character outside ASCII stands in a statement (code {ord(letter)})"
            raise place.refuse(text, said, "only remarks may hold one: type it anew")
        if text.startswith("+"):
            if not start:
                raise place.refuse(text, "a continuation (+) follows no statement")
            held = f"{held} {text[1:].strip()}"
            if len(held) > LONGEST_STATEMENT:
                said = f"the statement is longer than {LONGEST_STATEMENT} characters"
                raise Place(file, start).refuse("", said)
            continue
        if start:
            yield _statement(file, start, held)
        start, held = number, text
    if start:
        yield _statement(file, start, held)


def _statement(file: str, line: int, text: str) -> Statement:
    return Statement(Place(file, line), " ".join(text.lower().split()))


def without_remark(row: str) -> str:
    """A line without what follows `;` or ` $`; nothing of one that begins with `*`."""
    if row.lstrip().startswith("*"):
        return ""
    return row.split(";", 1)[0].split(" $", 1)[0]

"""Which line of a TOML text each key was written on.

The standard library's parser keeps no positions. This scanner reads a text which that parser has
already accepted, so it need not judge, only follow: headers, arrays of tables, dotted and quoted
keys, inline tables and lists, over as many lines as they run.
"""

import re
from bisect import bisect_left
from collections.abc import Mapping

_PART = re.compile(r"""[ \t]*("(?:\\.|[^"\\])*"|'[^']*'|[A-Za-z0-9_-]+)[ \t]*""")
_STRING = re.compile(
    r'''"""(?:\\.|[^\\])*?"""(?:"{1,2})?|\'\'\'.*?\'\'\'(?:'{1,2})?|"(?:\\.|[^"\\])*"|'[^']*\'''',
    re.DOTALL,
)
_BLANK = re.compile(r"(?:\s|#[^\n]*)*")
_BARE = re.compile(r"[^,\]}#\n]*")

Key = tuple[str, ...]


def line_table(text: str) -> dict[str, int]:
    """Line, counted from 1, of every dotted key, table and list element of a valid TOML text."""
    return {".".join(key): line for key, line in _Scanner(text).document().items()}


def nearest_line(lines: Mapping[str, int], key: str) -> int | None:
    """Line of a key, or else of the closest table around it."""
    while key:
        if key in lines:
            return lines[key]
        key = key.rpartition(".")[0]
    return None


class _Scanner:
    """A place in a text, and the lines found on the way to it."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found: dict[Key, int] = {}
        self.counts: dict[Key, int] = {}
        self.ends = [match.start() for match in re.finditer("\n", text)]

    def document(self) -> dict[Key, int]:
        table: Key = ()
        self.blank()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.blank()
        return self.found

    def blank(self) -> None:
        """Step over white space, line ends and comments."""
        blank = _BLANK.match(self.text, self.at)
        self.at = blank.end() if blank else self.at

    def take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:  # the parser accepts something that is not followed here
            self.at = len(self.text)
            return ""
        self.at = match.end()
        return match.group(match.lastindex or 0)

    def line(self, at: int) -> int:
        return bisect_left(self.ends, at) + 1

    def note(self, key: Key, at: int) -> None:
        """Keep the first line of a key and of the tables it implies."""
        line = self.line(at)
        for length in range(1, len(key) + 1):
            self.found.setdefault(key[:length], line)

    def header(self) -> Key:
        start = self.at
        several = self.text.startswith("[[", self.at)
        self.at += 2 if several else 1
        key = self.inside_lists(self.key())
        self.at += 2 if several else 1
        if several:
            number = self.counts.get(key, 0)
            self.counts[key] = number + 1
            self.note(key, start)
            key = (*key, str(number))
        # A table may be opened after its parts were: its own header is then the better line.
        self.found[key] = self.line(start)
        self.note(key, start)
        return key

    def inside_lists(self, key: Key) -> Key:
        """The key with the number of the latest element after each list of tables in it."""
        full: Key = ()
        for place, part in enumerate(key):
            full = (*full, part)
            if place < len(key) - 1 and full in self.counts:
                full = (*full, str(self.counts[full] - 1))
        return full

    def key(self) -> Key:
        parts = [_unquoted(self.take(_PART))]
        while self.text.startswith(".", self.at):
            self.at += 1
            parts.append(_unquoted(self.take(_PART)))
        return tuple(parts)

    def pair(self, table: Key) -> None:
        start = self.at
        key = (*table, *self.key())
        self.note(key, start)
        self.at += 1  # the sign "="
        self.value(key)

    def value(self, key: Key) -> None:
        self.blank()
        first = self.text[self.at : self.at + 1]
        if first == "[":
            self.many(key, "]")
        elif first == "{":
            self.many(key, "}")
        else:
            self.take(_STRING if first in ('"', "'") and first else _BARE)

    def many(self, key: Key, end: str) -> None:
        """The elements of a list, or the pairs of an inline table."""
        self.at += 1
        number = 0
        self.blank()
        while self.at < len(self.text) and self.text[self.at] != end:
            if end == "}":
                self.pair(key)
            else:
                self.note((*key, str(number)), self.at)
                self.value((*key, str(number)))
                number += 1
            self.blank()
            if self.text.startswith(",", self.at):
                self.at += 1
                self.blank()
        self.at += 1


def _unquoted(part: str) -> str:
    return part[1:-1] if part[:1] in ('"', "'") else part

"""Which line of a TOML text a dotted key was written on.

The standard parser keeps no positions; this scanner reads just enough structure: table headers,
arrays of tables, dotted keys, and arrays that run over several lines. A key inside an inline
table is found under the line of the table itself.
"""

import re

HEADER = re.compile(r"\s*\[(\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
KEY = re.compile(r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"))*)\s*=(.*)$""")


def line_table(text: str) -> dict[str, int]:
    """Line (from 1) of every dotted key and table found in a text."""
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    table = ""
    rows = text.split("\n")
    number = 0
    while number < len(rows):
        row = rows[number]
        number += 1
        if header := HEADER.match(row):
            table = _plain(header.group(2))
            if header.group(1):
                index = counts.get(table, 0)
                counts[table] = index + 1
                lines.setdefault(table, number)
                table = f"{table}.{index}"
            lines.setdefault(table, number)
        elif found := KEY.match(row):
            key = ".".join(part for part in (table, _plain(found.group(1))) if part)
            lines.setdefault(key, number)
            number = _skip_value(rows, number, found.group(2), key, lines)
    return lines


def nearest_line(lines: dict[str, int], key: str) -> int | None:
    """Line of a key, or of the closest table around it."""
    while key:
        if key in lines:
            return lines[key]
        key = key.rpartition(".")[0]
    return None


def _plain(key: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in key.split("."))


def _skip_value(rows: list[str], number: int, value: str, key: str, lines: dict[str, int]) -> int:
    """Index of the row after a value that may run over several rows."""
    for quote in ('"""', "'''"):
        if value.count(quote) == 1:
            while number < len(rows) and quote not in rows[number]:
                number += 1
            return number + 1
    depth, index = _depth(value), 0
    while depth > 0 and number < len(rows):
        row = rows[number]
        number += 1
        if depth == 1 and row.lstrip().startswith("{"):
            lines.setdefault(f"{key}.{index}", number)
            index += 1
        depth += _depth(row)
    return number


def _depth(row: str) -> int:
    bare = re.sub(r'"(?:\\.|[^"\\])*"|\'[^\']*\'', "", row).split("#")[0]
    return bare.count("[") - bare.count("]")

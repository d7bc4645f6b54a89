"""What a name means: judged quantities, machine-file and scenario fields, modes, terms.

A name may be a quantity of a result ("recovery_dv_dt"), a key of a file ("drive.dead_time", or
"dead_time" alone), a term of the glossary ("capacitive", "zero-voltage switching"), or a material
("brass").
"""

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from simkit.errors import InputError, Problem
from simkit.figures.table import figures
from simkit.parameters.fields import Quantity, Shape, field_shape
from simkit.parameters.schema import MODELS
from simkit.parts.materials import materials
from simkit.studies.explain.materials import lines as material_lines

GLOSSARY = Path(__file__).with_name("glossary.toml")
PLAIN = {
    "name": "Short name, lower-case words joined by hyphens; reports are filed under it",
    "title": "One line for headings",
    "description": "A sentence or two for the report",
    "machine": "Machine file, relative to this file",
    "load": "A workpiece of the machine by its name, or empty for the coil alone",
    "margin_of": "Load whose resonance the margin counts from, where it is not the one in the coil",
    "tracks": "true: the drive follows the resonance and keeps its margin",
    "holds": "What the drive's loop holds: phase, lead (a time) or margin (as an ideal drive)",
    "by": "How the loop holds it: continuous, sampled, or self-oscillating",
    "signal": "What the loop's detector sees: current of the bridge or bank, or the bank's voltage",
    "set_with": "Load with which the loop's bandwidth was set",
    "part": "Part file, relative to this file",
    "material": "A material by its name",
    "note": "Free words",
}
"""What the keys that hold a text are, by their last name."""
LABELS = {
    "what": "What it is",
    "why": "Why it matters",
    "how": "How it is computed",
    "scope": "On the scope",
    "change": "Known to help, not tried",
}


@dataclass(frozen=True)
class Explanation:
    """One name explained; `lines` are pairs of a label and a text."""

    name: str
    kind: str
    """quantity, field, table, term or material."""
    title: str
    lines: tuple[tuple[str, str], ...]
    see: tuple[str, ...]


@dataclass(frozen=True)
class FieldDoc:
    """One key of a file a person writes."""

    file: str
    """machine, scenario or part."""
    key: str
    """Dotted, a star for a free name or a place in a list."""
    quantity: Quantity | None
    choices: tuple[str, ...]
    section: str
    """What the table around it describes."""
    required: bool


@cache
def glossary() -> Mapping[str, Mapping[str, Any]]:
    """Terms by name, as the glossary file has them."""
    return tomllib.loads(GLOSSARY.read_text(encoding="utf-8"))


@cache
def field_docs() -> tuple[FieldDoc, ...]:
    """Every key of every kind of file, in the schema's order."""
    return tuple(doc for file, model in MODELS.items() for doc in _fields(file, model, ""))


def _fields(file: str, model: type[BaseModel], prefix: str) -> Iterator[FieldDoc]:
    section = " ".join((model.__doc__ or "").split())
    for name, info in model.model_fields.items():
        shape, key = field_shape(info), f"{prefix}{name}"
        if not _inner(shape):
            required = info.is_required()
            yield FieldDoc(file, key, shape.quantity, shape.choices, section, required)
        for below in (shape.each, shape.named):
            if below is not None and below.quantity is not None:
                # a list of plain numbers: each place has the unit
                yield FieldDoc(file, f"{key}.*", below.quantity, below.choices, section, False)
        for inner, star in _inner(shape):
            yield from _fields(file, inner, f"{key}.{star}")


def _inner(shape: Shape) -> list[tuple[type[BaseModel], str]]:
    """Models one level down, with what stands between their key and this one."""
    found = [(model, "") for model in shape.models]
    for below in (shape.each, shape.named):
        if below is not None:
            found += [(model, f"*.{star}") for model, star in _inner(below)]
    return found


def names() -> dict[str, tuple[str, ...]]:
    """Every name that can be explained, by kind."""
    keys = tuple(dict.fromkeys(doc.key for doc in field_docs()))
    return {"quantity": tuple(figures()), "term": tuple(glossary()), "field": keys,
            "material": tuple(materials())}  # fmt: skip


def explained(name: str) -> Explanation:
    """The explanation of a name.

    Errors: InputError that offers the nearest known name.
    """
    wanted = name.strip()
    for find in (_quantity, _term, _material, _field, _section):
        found = find(wanted)
        if found is not None:
            return found
    raise InputError([Problem("explain", None, wanted, "", "is not a name known here", near(name))])


def near(name: str) -> str:
    """Hint with the nearest names, or where to find them all."""
    known: dict[str, str] = {}
    for kind in names().values():
        for full in kind:
            known.setdefault(full.rpartition(".")[2].replace("_", "-"), full)
            known.setdefault(full.replace("_", "-"), full)
    known |= {other: term for other, term in _others().items() if other not in known}
    folded = name.strip().lower().replace("_", "-").replace(" ", "-")
    found = difflib.get_close_matches(folded, known, 3, 0.6)
    offered = list(dict.fromkeys(known[close] for close in found))
    if not offered:
        return "`simkit explain` alone lists them"
    return f"did you mean {' or '.join(offered)}?"


def _quantity(name: str) -> Explanation | None:
    key = name.lower().replace("-", "_").replace(" ", "_")
    figure = figures().get(key)
    if figure is None:
        return None
    words = figure.words
    lines = [
        ("What it is", words.what),
        ("Why it kills", words.why),
        ("How it is computed", words.how),
        ("Formula", words.formula),
        ("Computed in", figure.place),
        ("On the scope", words.scope),
        (LABELS["change"], words.change),
        ("In the machine file", ", ".join(words.moved_by)),
    ]
    return Explanation(key, "quantity", words.title, _filled(lines), _same_named(key))


def _same_named(key: str) -> tuple[str, ...]:
    """Keys of files that carry a quantity's name, such as limits.supply_current."""
    return tuple(d.key for d in field_docs() if d.key.rpartition(".")[2] == key)


def _filled(lines: list[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    return tuple((label, text) for label, text in lines if text)


@cache
def _others() -> dict[str, str]:
    """What people may type for a term, folded, to the term's name."""
    found: dict[str, str] = {}
    for name, words in glossary().items():
        for other in (name, str(words["title"]), *words.get("also", ())):
            found.setdefault(other.lower().replace("_", "-").replace(" ", "-"), name)
    return found


def _term(name: str) -> Explanation | None:
    key = _others().get(name.lower().replace("_", "-").replace(" ", "-"))
    if key is None or any(d.key == name for d in field_docs()):
        return None
    words = glossary()[key]
    lines = [(label, str(words.get(part, ""))) for part, label in LABELS.items()]
    return Explanation(key, "term", str(words["title"]), _filled(lines), ())


def _field(name: str) -> Explanation | None:
    key = name.lower()
    docs = [doc for doc in field_docs() if _fits(doc.key, key)]
    docs = docs or [doc for doc in field_docs() if doc.key.endswith("." + key)]
    if not docs:
        return None
    doc = docs[0]
    own = key.rpartition(".")[2]
    about = doc.quantity.description if doc.quantity else PLAIN.get(own, doc.section)
    lines = [("What it is", about)]
    lines += [("Where", f"{doc.file} file, {doc.key}: {doc.section}")]
    lines += _values(doc)
    if own == "material":
        lines += [("One of", ", ".join(materials()))]
    moved = [f for f in figures().values() if doc.key in f.words.moved_by]
    lines += [("Moves", ", ".join(f"{f.words.title} ({f.name})" for f in moved))]
    lines += [("Optional", "" if doc.required else "yes")]
    title = doc.key.rpartition(".")[2].replace("_", " ")
    others = tuple(dict.fromkeys(d.key for d in docs if d.key != doc.key))
    return Explanation(doc.key, "field", title, _filled(lines), others)


def _material(name: str) -> Explanation | None:
    found = material_lines(name)
    if found is None:
        return None
    key = name.lower().replace(" ", "-").replace("_", "-")
    return Explanation(key, "material", key.replace("-", " "), _filled(found), _same_named(key))


def _section(name: str) -> Explanation | None:
    """A table of a file, such as `bridge` or `switch.ratings`."""
    key = name.lower()
    inside = [d for d in field_docs() if _fits_start(d.key, key)]
    if not inside:
        return None
    depth = len(key.split("."))
    own = [d for d in inside if len([p for p in d.key.split(".")[depth:] if p != "*"]) == 1]
    about = own[0].section if own else "Tables with names of your own."
    lines = [
        ("What it is", about),
        ("Where", f"{inside[0].file} file, [{key}]"),
        ("Its keys", ", ".join(d.key for d in inside)),
    ]
    return Explanation(key, "table", key.replace(".", ", "), _filled(lines), ())


def _values(doc: FieldDoc) -> list[tuple[str, str]]:
    quantity = doc.quantity
    if quantity is None:
        return [("One of", ", ".join(doc.choices))]
    usual = ""
    if quantity.usual:
        usual = " to ".join(quantity.show(bound) for bound in quantity.usual)
    unit = "none (a ratio or a count)" if quantity.unit == "1" else quantity.unit
    return [("Unit", unit), ("Allowed", quantity.range_text()), ("Usual", usual)]


def _fits_start(pattern: str, key: str) -> bool:
    """Whether a field lies in the table of a dotted key."""
    count = len(key.split("."))
    parts = pattern.split(".")
    return len(parts) > count and _fits(".".join(parts[:count]), key)


def _fits(pattern: str, key: str) -> bool:
    """Whether a dotted key is a field, a star standing for any one name in between."""
    parts, given = pattern.split("."), key.split(".")
    return len(parts) == len(given) and all(
        p in ("*", g) for p, g in zip(parts, given, strict=True)
    )

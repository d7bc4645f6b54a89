"""The generated pages of the documentation: reference, formulas with their sources, glossary.

Everything here is read from the code: verbs from the command line, keys, units and ranges from the
models that read the files, quantities and terms from what `simkit explain` says, formulas from the
docstrings. `write_pages` puts them into docs/reference, which is not committed.
"""

import ast
import importlib
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

import click

from simkit.cli import VERBS
from simkit.figures.table import figures
from simkit.parameters.schema import MODELS
from simkit.studies.explain.study import (
    PLAIN,
    Explanation,
    FieldDoc,
    explained,
    field_docs,
    glossary,
)

ROOT = Path(__file__).resolve().parents[1]
FILES = {
    "machine": "One heater: what is soldered, wound and bolted, and what each part may take.",
    "scenario": "What happens to a machine, and when.",
    "part": "One switch by the numbers of its data sheet.",
    "igbt-part": "One IGBT with its diode by the numbers of its data sheet.",
    "readings": "What instruments showed at a low supply voltage, each with its uncertainty.",
    "change": "Changes to a machine that are to be held against it as it is.",
}
"""What each kind of file is, for the head of its page."""
FORMULAS = {
    "tank": ("scout/phasor", "scout/plant", "scout/steady", "parts/capacitor", "measure/tank"),
    "bridge": ("parts/charge", "scout/turnoff", "scout/edgeloss", "measure/commutation",
               "measure/switch"),
    "recovery": ("parts/diode", "measure/recovery"),
    "mosfet": ("parts/mosfet", "parts/mosfet_fit", "parts/warming"),
    "igbt": ("parts/igbt", "parts/igbt_fit"),
    "coil": ("parts/coil", "parts/inductance", "parts/skin", "parts/rings", "parts/ringsystem",
             "parts/coupled_turns"),
    "workpiece": ("parts/workpiece", "parts/magnetics", "parts/profiles", "parts/working",
                  "parts/heating", "parts/materials"),
    "core": ("parts/core", "parts/transformer", "parts/windings"),
    "thermal": ("parts/thermal", "parts/cooling", "parts/heat_path", "parts/slow_heat",
                "parts/coil_water"),
    "supply": ("parts/supply", "parts/precharge", "parts/mains", "measure/energy"),
    "gate": ("parts/gate_drive", "scout/drive", "measure/gate"),
    "scout": ("scout/operating", "scout/envelope", "scout/forced"),
    "loop": ("scout/tracking", "scout/phasor_course", "scout/loop_gain", "scout/slow"),
    "numerics": ("rehearsal/discretisation", "rehearsal/refining", "judge/verdict"),
}  # fmt: skip
"""Page of theory and the modules whose formulas it lists."""


def write_pages(docs: Path) -> None:
    """Write every generated page below docs/reference, anew."""
    folder = docs / "reference"
    shutil.rmtree(folder, ignore_errors=True)
    for name, text in pages().items():
        page = folder / f"{name}.md"
        page.parent.mkdir(parents=True, exist_ok=True)
        page.write_text(text, encoding="utf-8")


def pages() -> dict[str, str]:
    """Name and text of every generated page."""
    found = {"verbs": verbs_page(), "quantities": quantities_page(), "glossary": glossary_page()}
    found |= {f"{kind}-file": file_page(kind) for kind in MODELS}
    found |= {f"formulas/{name}": formulas_page(name) for name in FORMULAS}
    return found


# --- verbs -------------------------------------------------------------------------------


def verb_command(verb: str) -> click.Command:
    """The command behind a verb."""
    module = importlib.import_module(f"simkit.verbs.{verb.replace('-', '_')}")
    command: click.Command = module.command
    return command


def verbs_page() -> str:
    """Every verb with its line and the help it prints."""
    lines = ["# Verbs", "", "What `simkit VERB --help` prints, for every verb.", ""]
    for verb, line in VERBS.items():
        context = click.Context(
            verb_command(verb), info_name=f"simkit {verb}", max_content_width=96
        )
        lines += [f"## {verb}", "", line, "", *fenced(verb_command(verb).get_help(context))]
    return "\n".join(lines) + "\n"


# --- files -------------------------------------------------------------------------------


def file_page(kind: str) -> str:
    """Every key of a kind of file: unit, range, choices, meaning."""
    lines = [f"# Keys of a {kind} file", "", FILES[kind], "",
             f"`simkit schema {kind}` prints the same for an editor. A star stands for a name of "
             "your own, or for each entry of a list. A quantity is a text with its unit "
             '(`"1.8 uF"`), or a plain number in the unit given here; a table `{ value, source, '
             "tolerance, note }` says more about it.", ""]  # fmt: skip
    docs = [doc for doc in field_docs() if doc.file == kind]
    tables: dict[str, list[FieldDoc]] = {}
    for doc in docs:
        tables.setdefault(doc.key.rpartition(".")[0], []).append(doc)
    for table, entries in tables.items():
        lines += [f"## {heading(table)}", "", plain(entries[0].section), "", *key_table(entries)]
    return "\n".join(lines) + "\n"


def heading(table: str) -> str:
    """A table's name as a heading."""
    return f"`[{table}]`" if table else "At the top"


def key_table(docs: list[FieldDoc]) -> list[str]:
    """Rows of one table of a file."""
    lines = ["| key | unit | allowed | needed | what it is |", "| --- | --- | --- | --- | --- |"]
    return [*lines, *(f"| `{doc.key}` | " + " | ".join(cells(doc)) + " |" for doc in docs), ""]


def cells(doc: FieldDoc) -> tuple[str, str, str, str]:
    """Unit, range or choices, whether needed, meaning."""
    own = doc.key.rpartition(".")[2]
    needed = "yes" if doc.required else "no"
    if doc.quantity is None:
        return "", plain(", ".join(doc.choices)), needed, plain(PLAIN.get(own, ""))
    unit = "" if doc.quantity.unit == "1" else doc.quantity.unit
    return unit, plain(doc.quantity.range_text()), needed, plain(doc.quantity.description)


# --- what `simkit explain` says ----------------------------------------------------------


def quantities_page() -> str:
    """Every judged quantity."""
    lines = ["# Quantities that are judged", "",
             "Each is held against a limit of the machine file. `simkit explain NAME` prints the "
             "same.", ""]  # fmt: skip
    for name in figures():
        lines += told(explained(name), f"`{name}`")
    return "\n".join(lines) + "\n"


def glossary_page() -> str:
    """Every term."""
    lines = ["# Glossary", "", "Words of the trade as they are used here.", ""]
    for name, words in sorted(glossary().items(), key=lambda pair: str(pair[1]["title"]).lower()):
        lines += told(explained(name), f"`{name}`", also(words))
    return "\n".join(lines) + "\n"


def also(words: Mapping[str, object]) -> str:
    """Other names of a term."""
    others = words.get("also", ())
    return ", ".join(str(other) for other in others) if isinstance(others, list) else ""


def told(words: Explanation, name: str, others: str = "") -> list[str]:
    """One explanation as a section."""
    lines = [f"## {plain(words.title)}", "", name + (f", also: {plain(others)}" if others else "")]
    for label, text in words.lines:
        lines += ["", f"**{label}.** {plain(text)}"]
    return [*lines, ""]


# --- formulas ----------------------------------------------------------------------------


def formulas_page(page: str) -> str:
    """What the modules behind a page of theory say of themselves: formula, unit, source, range."""
    lines = [f"# Formulas: {page}", "",
             "As the code states them: formula, units in brackets, source, range. "
             f"[What it means](../../theory/{page}.md).", ""]  # fmt: skip
    for module in FORMULAS[page]:
        lines += [f"## `simkit/{module}.py`", ""]
        for name, text in documented(ROOT / "simkit" / f"{module}.py"):
            lines += [f"### `{name}`", ""] if name else []
            lines += fenced(text)
    return "\n".join(lines) + "\n"


def documented(path: Path) -> Iterator[tuple[str, str]]:
    """The module's docstring under an empty name, then those of its public functions."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    yield "", ast.get_docstring(tree) or ""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node.name, ast.get_docstring(node) or ""


# --- text --------------------------------------------------------------------------------


def fenced(text: str) -> list[str]:
    """A block that is shown as it is."""
    return ["```text", *text.splitlines(), "```", ""]


def plain(text: str) -> str:
    """A text without line breaks, its signs not taken for markup."""
    joined = " ".join(text.split())
    return "".join("\\" + sign if sign in "|*_<>[]$" else sign for sign in joined)

"""What simkit stands on: `python -m benchmarks.dependencies [--write] [LIST]`.

Writes the tables of docs/dependencies.md from pyproject.toml and from what is installed: why each
declared package is there, its size, licence and alternative, and the licences of the whole
resolved tree. LIST, a file of name, version and month of the latest release split by tabs, gives
the dates; those already in the page are kept otherwise.
"""

import argparse
import importlib.metadata as metadata
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "dependencies.md"
BASE = "base"
BEGIN, END = "<!-- {}: written by benchmarks/dependencies.py -->", "<!-- end of {} -->"
WHY = {
    "PySpice": (
        "runs ngspice's shared library and reads its vectors",
        "own ctypes binding: its error handling would be ours to keep up with every release",
    ),
    "numpy": ("arrays of every waveform and model", "none of its standing"),
    "scipy": (
        "root finding, integration, special functions of the scout and the parts",
        "own numerics, to be checked anew",
    ),
    "pandas": (
        "tables of maps and measurements, CSV files",
        "csv of the standard library: no tables; polars: another data model",
    ),
    "matplotlib": (
        "figures of the report, as SVG",
        "drawing in the browser: pages would need a script to show a waveform",
    ),
    "jinja2": (
        "templates of netlists and pages, escaping by default",
        "string.Template: no loops, no escaping",
    ),
    "pydantic": (
        "checked machine and scenario files, JSON Schemas",
        "attrs with own checks: no schema",
    ),
    "click": ("the command line, loaded lazily by verb", "argparse: no completion for shells"),
    "rich": ("tables and progress in the terminal", "plain print: no width, no progress"),
    "quantiphy": (
        "numbers with SI prefixes, both ways",
        "pint: heavier, and units of its own choosing",
    ),
    "platformdirs": ("the folder of the cache on each system", "own table of folders"),
    "schemdraw": ("the circuit's drawing in the report", "own drawing of symbols"),
    "starlette": (
        "the live page of `simkit bench`",
        "http.server: no streams, little care for hostile requests",
    ),
    "uvicorn": ("serves that page", "hypercorn: larger"),
    "tomlkit": ("writes a fitted machine file with its comments kept", "tomllib reads only"),
    "pytest": ("runs the tests", "unittest: no parameters, no fixtures"),
    "pytest-xdist": ("runs them on every core", "pytest-parallel: not maintained"),
    "hypothesis": ("properties over drawn inputs", "random by hand: no shrinking"),
    "mypy": ("types, strict", "pyright: fetches another runtime"),
    "ruff": ("style and formatting", "several slower tools"),
    "scipy-stubs": ("types of scipy", "none"),
    "pandas-stubs": ("types of pandas", "none"),
    "jsonschema": ("holds schemas and results against each other", "fastjsonschema: fewer drafts"),
    "types-jsonschema": ("types of jsonschema", "none"),
    "hatchling": ("builds the wheel", "setuptools: more to say for the same"),
    "scikit-fem": (
        "finite elements as reference for coil and workpiece",
        "larger packages with compilers",
    ),
    "gmsh": ("meshes for it", "own meshes: no reference any more"),
    "chemicals": ("reference values of materials", "tables typed in"),
    "iapws": ("reference values of water", "tables typed in"),
    "axe-core-python": ("rules of accessibility in the browser test", "reading pages by eye alone"),
    "distributed": ("maps on several machines", "own sockets"),
    "sphinx": ("the documentation as a site", "mkdocs: no checked references"),
    "myst-parser": ("reads its Markdown", "reStructuredText: pages unreadable in the clone"),
    "myst-nb": ("runs the notebooks of the docs at every build", "nbsphinx: wants pandoc"),
    "ipykernel": ("what it runs them with", "none that we know"),
    "furo": ("theme that fetches nothing when read", "the default theme: poor on a phone"),
    "latex2mathml": ("sets the formulas of the theory pages as MathML", "a script in each page"),
    "sedes": ("ngspice's library in a wheel, for people without root", "none that we know"),
    "neospice": ("a second engine written apart", "none that we know"),
    "atheris": ("coverage-guided fuzzing", "hypothesis alone: sees no coverage"),
}
"""Why a package is there, and what was considered in its place."""
Row = tuple[str, ...]


def declared() -> dict[str, list[str]]:
    """Names that pyproject.toml declares, with the sets ("base" or an extra) that name them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    found: dict[str, list[str]] = {}
    for extra, lines in {BASE: project["dependencies"], **project["optional-dependencies"]}.items():
        for line in lines:
            found.setdefault(name_of(line), []).append(extra)
    return found


def name_of(requirement: str) -> str:
    """The name at the beginning of a requirement."""
    found = re.match(r"[\w.-]+", requirement)
    assert found
    return found[0]


def size_of(found: metadata.Distribution) -> float:
    """Size of what a package installed [MB]."""
    paths = (Path(str(found.locate_file(f))) for f in found.files or [])
    return sum(p.stat().st_size for p in paths if p.is_file()) / 1e6


def licence_of(found: metadata.Distribution) -> str:
    """Licence as the package states it: expression, else classifiers, else the free field."""
    about = found.metadata
    marks = [c for c in about.get_all("Classifier") or [] if c.startswith("License ::")]
    said = about.get("License-Expression") or ", ".join(m.split(" :: ")[-1] for m in marks)
    free = (about.get("License") or "").strip().split("\n")[0][:40]
    return said or free or "not stated in its metadata"


def tree() -> dict[str, metadata.Distribution]:
    """Every installed package that simkit's base and extras lead to, by lower-case name."""
    found: dict[str, metadata.Distribution] = {}
    waiting = list(declared())
    while waiting:
        name = waiting.pop().lower().replace("_", "-")
        try:
            one = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue
        if name not in found:
            found[name] = one
            waiting += [name_of(r) for r in one.requires or [] if "extra ==" not in r]
    return found


def dates(listed: Path | None) -> dict[str, str]:
    """Month of the latest release by name, from a list, else from the page as it stands."""
    if listed is None:
        page = PAGE.read_text(encoding="utf-8") if PAGE.exists() else ""
        return dict(re.findall(r"^\| (\S+) \|.*\| (\d{4}-\d\d) \|", page, re.M))
    rows = (line.split("\t") for line in listed.read_text(encoding="utf-8").splitlines())
    months = {r[0]: r[2] for r in rows if len(r) > 2}
    return {n: months[n.lower()] for n in declared() if n.lower() in months}


def packages(month: dict[str, str]) -> Iterator[Row]:
    """One row for each declared package."""
    installed = tree()
    for name, sets in declared().items():
        one = installed.get(name.lower())
        yield (name, ", ".join(sets), WHY[name][0],
               f"{one.version}, {size_of(one):.1f}" if one else "not installed here",
               month.get(name, "not known"),
               licence_of(one) if one else "not installed here", WHY[name][1])  # fmt: skip


def markdown(head: Row, rows: Iterator[Row]) -> str:
    """Rows as a table."""
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def put(text: str, part: str, body: str) -> str:
    """A page's text with one marked part replaced."""
    begin, end = BEGIN.format(part), END.format(part)
    before, _, rest = text.partition(begin)
    return f"{before}{begin}\n\n{body}\n\n{end}{rest.partition(end)[2]}"


def main() -> int:
    """Print the tables, or write them into the page."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.dependencies")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("list", nargs="?", type=Path)
    asked = parser.parse_args()
    head = ("package", "set", "why", "version, size [MB]", "latest release", "licence",
            "considered instead")  # fmt: skip
    table = markdown(head, packages(dates(asked.list)))
    licences = markdown(
        ("package", "version", "licence"),
        ((name, one.version, licence_of(one)) for name, one in sorted(tree().items())),
    )
    if not asked.write:
        print(table, licences, sep="\n\n")
        return 0
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(put(put(text, "packages", table), "licences", licences), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

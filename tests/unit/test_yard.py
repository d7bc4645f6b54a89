"""The yard: which package may know which, what is loaded when, sizes, wording, one version.

No physics here and nothing from outside to compare with: these are the house's own rules.
"""

from __future__ import annotations

import ast
import graphlib
import importlib.metadata
import os
import re
import shutil
import statistics
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import simkit
from simkit.cli import VERBS

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "simkit"
MODULES = sorted(PACKAGE.rglob("*.py"))

# What each part may import of the others. "simkit" itself (the version) is open to all.
BASE = {"errors", "units", "data"}
MAY_IMPORT = {
    "simkit": set(),
    "errors": set(),
    "units": {"errors"},
    "data": set(),
    "streams": set(),
    "parameters": BASE,
    "modelfile": BASE,
    "parts": BASE | {"parameters", "modelfile"},
    "circuit": BASE | {"parameters", "parts"},
    "run": BASE | {"parameters", "parts", "circuit"},
    "scout": BASE | {"parameters", "parts", "circuit"},
    "measure": BASE | {"parameters"},
    "figures": BASE | {"parameters", "parts", "scout", "measure"},
    "judge": BASE | {"parameters", "measure", "figures"},
    "result": BASE | {"parameters", "measure", "figures", "judge"},
    "report": BASE | {"parameters", "measure", "figures", "judge", "result"},
    "rehearsal": BASE
    | {"parameters", "parts", "circuit", "run", "scout", "measure", "figures", "judge"},
    "studies": BASE
    | {"parameters", "parts", "circuit", "run", "scout", "measure", "figures", "judge"}
    | {"rehearsal", "result", "report"},
}
# The live page asks the fast models and starts rehearsals as processes of their own.
MAY_IMPORT["live"] = set(MAY_IMPORT) | {"cli"}
# The command line stands on top, one module a verb: it may know all of them.
MAY_IMPORT["verbs"] = set(MAY_IMPORT)
MAY_IMPORT["cli"] = set(MAY_IMPORT)
# What `import simkit` offers stands beside the command line: the verbs are functions there.
MAY_IMPORT["python"] = set(MAY_IMPORT)
MAY_IMPORT["__main__"] = {"cli"}


def part_of(module: str) -> str:
    """The module simkit.run.library belongs to "run", the package itself to "simkit"."""
    return module.split(".")[1] if "." in module else module


def module_name(path: Path) -> str:
    names = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(names[:-1] if names[-1] == "__init__" else names)


def imported(tree: ast.AST, submodules: set[str]) -> Iterator[tuple[int, str]]:
    """Line and full name of every module of the package that the tree imports, anywhere."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, a.name) for a in node.names if a.name.startswith("simkit"))
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                yield node.lineno, "relative"
            elif node.module == "simkit":
                for a in node.names:
                    yield node.lineno, f"simkit.{a.name}" if a.name in submodules else "simkit"
            elif node.module and node.module.startswith("simkit."):
                yield node.lineno, node.module


def wrong_imports(source: str, part: str, submodules: set[str]) -> list[str]:
    allowed = MAY_IMPORT[part] | {part, "simkit"}
    return [
        f"line {line}: {part} imports {name}"
        for line, name in imported(ast.parse(source), submodules)
        if part_of(name) not in allowed
    ]


SUBMODULES = {part_of(module_name(path)) for path in MODULES}


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_imports_run_one_way(path: Path) -> None:
    part = part_of(module_name(path))
    assert part in MAY_IMPORT, f"say in MAY_IMPORT what the new part {part!r} may know"
    assert wrong_imports(path.read_text(encoding="utf-8"), part, SUBMODULES) == []


@pytest.mark.parametrize(
    ("part", "source"),
    [
        ("measure", "from simkit.run.backend import Engine"),
        ("measure", "def f():\n    import simkit.circuit.netlist"),
        ("parts", "from simkit import circuit"),
        ("report", "from simkit.studies import event"),
        ("judge", "from ..run import backend"),
        ("units", "if True:\n    from simkit.parameters import machine"),
    ],
)
def test_an_import_the_wrong_way_is_seen(part: str, source: str) -> None:
    assert wrong_imports(source, part, SUBMODULES | {"circuit"}) != []


def a_circle(sources: dict[str, str]) -> list[str]:
    """One circle of modules that import each other, wherever in them the import stands."""
    knows = {}
    for name, source in sources.items():
        found = set()
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Import):
                found |= {a.name for a in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                inner = {f"{node.module}.{a.name}" for a in node.names}
                found |= inner & set(sources) or {node.module}
        knows[name] = (found & set(sources)) - {name}
    try:
        graphlib.TopologicalSorter(knows).prepare()
    except graphlib.CycleError as error:
        return list(error.args[1])
    return []


def test_no_modules_import_each_other_in_a_circle() -> None:
    sources = {module_name(path): path.read_text(encoding="utf-8") for path in MODULES}
    assert a_circle(sources) == []


def test_a_circle_is_seen_where_an_import_hides_in_a_function() -> None:
    hidden = "def f():\n    from simkit.studies import b"
    sources = {"simkit.studies.a": hidden, "simkit.studies.b": "import simkit.studies.a as a"}
    assert set(a_circle(sources)) == set(sources)
    assert a_circle(sources | {"simkit.studies.b": "import simkit.studies"}) == []


def loaded_by(code: str) -> set[str]:
    """Top-level names of the modules loaded once the code has run in a fresh interpreter."""
    report = "import sys; print(*{m.partition('.')[0] for m in sys.modules}, sep='\\n')"
    script = f"try:\n    {code}\nexcept SystemExit:\n    pass\nprint('LOADED')\n{report}"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return set(done.stdout.rpartition("LOADED\n")[2].split())


HEAVY = {"PySpice", "pandas", "matplotlib", "scipy", "schemdraw", "starlette", "uvicorn"}


def test_import_of_the_package_loads_nothing_heavy() -> None:
    loaded = loaded_by("import simkit")
    assert "simkit" in loaded
    assert loaded & (HEAVY | {"numpy", "pydantic", "jinja2", "rich", "click"}) == set()


@pytest.mark.parametrize("arguments", [["--help"], ["run", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    loaded = loaded_by(f"import simkit.cli, sys; sys.exit(simkit.cli.run({arguments!r}))")
    assert "click" in loaded, "the command line did run"
    assert loaded & HEAVY == set()


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_modules_stay_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from the first statement after the docstring to the last."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    if not body:
        return 0
    return (body[-1].end_lineno or body[-1].lineno) - body[0].lineno + 1


def test_functions_stay_short() -> None:
    lengths = sorted(
        body_lines(node)
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    )
    assert statistics.median(lengths) <= 10
    assert lengths[int(0.9 * len(lengths))] <= 40


SILENCED = re.compile(r"#\s*(noqa|type:\s*ignore)(.*)")
SILENCED_WITH_REASON = re.compile(r"#\s*(noqa: [A-Z]+\d+|type: ignore\[[a-z-]+\])\s*(-|#)\s*\w+")


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_a_silenced_complaint_names_its_code_and_its_reason(path: Path) -> None:
    bare = [
        line.strip()
        for line in path.read_text(encoding="utf-8").splitlines()
        if SILENCED.search(line) and not SILENCED_WITH_REASON.search(line)
    ]
    assert bare == []


def test_each_rule_left_out_has_its_reason_beside_it() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    lists = re.search(r"\nignore = \[\n(.*?)\n\]", text, re.S)
    assert lists is not None
    assert all(re.search(r'"[A-Z]+\d*", # \w+', line) for line in lists.group(1).splitlines())


# --- the front page ----------------------------------------------------------------------


def test_readme_is_short_and_opens_with_the_job() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) < 120
    title, first = text.split("\n\n")[:2]
    assert title == "# simkit"
    assert "induction heater" in first
    assert 200 < len(first) < 900, "one paragraph that says the job whole"


@pytest.mark.parametrize("command", ["./run demo", "./run test"])
def test_readme_names_the_two_commands(command: str) -> None:
    assert command in (ROOT / "README.md").read_text(encoding="utf-8")


def test_readme_names_each_verb() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [verb for verb in VERBS if f"simkit {verb}" not in text] == []


# --- scripts -----------------------------------------------------------------------------

SHELLS = [shell for shell in ("sh", "dash", "bash") if shutil.which(shell)]


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize("script", ["run", ".ci/run"])
def test_scripts_are_plain_shell(shell: str, script: str) -> None:
    assert os.access(ROOT / script, os.X_OK)
    done = subprocess.run([shell, "-n", script], cwd=ROOT, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_run_refuses_what_it_does_not_know() -> None:
    done = subprocess.run(["./run", "fly"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 2
    assert "./run demo" in done.stderr


def test_the_demo_it_runs_is_shipped() -> None:
    name = re.search(r"^demo_scenario=(\S+)$", (ROOT / "run").read_text(), re.M)
    assert name is not None
    assert (ROOT / name.group(1)).is_file()


# --- one version -------------------------------------------------------------------------


def test_the_version_stands_in_one_place() -> None:
    written = [path for path in MODULES if f'"{simkit.__version__}"' in path.read_text()]
    assert written == [PACKAGE / "__init__.py"]
    assert 'dynamic = ["version"]' in (ROOT / "pyproject.toml").read_text()
    # By the command it brings: the distribution's name is its own, the package's stays "simkit".
    ours = [
        one.version
        for one in importlib.metadata.distributions()
        if any(e.group == "console_scripts" and e.name == "simkit" for e in one.entry_points)
    ]
    assert set(ours) == {simkit.__version__}


def test_nobody_is_told_to_fetch_simkit_by_its_bare_name() -> None:
    """On the public registry that name is another project's: extras come from the clone."""
    files = [p for p in (ROOT / "docs").rglob("*.*") if p.suffix in (".md", ".ipynb")]
    files += [ROOT / "README.md", ROOT / "DEVELOPERS.md", *MODULES]
    told = re.compile(r"pip install[^\n`]*\bsimkit\b")
    assert [str(p) for p in files if told.search(p.read_text())] == []


def test_the_changelog_opens_with_this_version() -> None:
    heading = re.search(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text(), re.M)
    assert heading is not None
    assert heading.group(1) == simkit.__version__

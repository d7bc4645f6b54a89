"""Documentation against what it documents, and every command it shows, run.

Held against: the command line's own table of verbs, the JSON Schemas that `simkit schema` prints,
the keys of the command contract, a result of a real run, and the exit codes the pages state.
"""

import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from simkit.cli import VERBS
from simkit.figures.table import figures
from simkit.parameters.schema import MODELS, json_schema
from simkit.result.described import keys
from simkit.studies.explain.study import glossary

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TUTORIAL = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
RESULT_PAGE = (ROOT / "docs" / "result.md").read_text(encoding="utf-8")
pytestmark = pytest.mark.usefixtures("kept_by_all")
QUICK = ("doctor", "check", "explain", "schema", "deck", "completion", "cache")
"""Verbs that answer within seconds."""


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    """The generated pages, written by the generator in a process of its own."""
    code = "import json, pages; print(json.dumps(pages.pages()))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT / "docs", check=True, capture_output=True, text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "docs")))},
    )  # fmt: skip
    found: dict[str, str] = json.loads(done.stdout)
    return found


# --- everything is documented ------------------------------------------------------------


def test_every_verb_is_documented(pages: dict[str, str]) -> None:
    assert re.findall(r"^## (\S+)", pages["verbs"], re.M) == list(VERBS)
    assert {command.split()[1] for command in readme_commands()} == set(VERBS)


def schema_keys(schema: dict[str, object]) -> set[str]:
    """Names of all properties of a JSON Schema, however deep."""
    found: set[str] = set()
    waiting: list[object] = [schema]
    while waiting:
        node = waiting.pop()
        if isinstance(node, dict):
            found |= set(node.get("properties", {}))
            waiting += node.values()
        elif isinstance(node, list):
            waiting += node
    return found


# Keys by which any value says more about itself; each page tells of them once, at its head.
SAID_ONCE = {"value", "source", "tolerance", "note"}


@pytest.mark.parametrize("kind", MODELS)
def test_every_key_of_a_file_is_documented(kind: str, pages: dict[str, str]) -> None:
    said = {part for key in re.findall(r"`([^`]+)`", pages[f"{kind}-file"])
            for part in key.strip("[]").split(".")}  # fmt: skip
    keys = schema_keys(json_schema(kind))
    assert len(keys) > 3
    assert keys - said - SAID_ONCE == set()


def test_every_quantity_and_term_is_documented(pages: dict[str, str]) -> None:
    for page, names in (("quantities", figures()), ("glossary", glossary())):
        assert set(names) <= set(re.findall(r"^`([^`]+)`", pages[page], re.M))


def result_page_keys() -> set[str]:
    rows = [line.split("|")[1] for line in RESULT_PAGE.splitlines() if line.startswith("| `")]
    return {key for row in rows for key in re.findall(r"`(\w+)`", row)}


def test_every_key_of_the_contract_is_documented() -> None:
    assert {name for name, _ in keys()} <= result_page_keys()


def test_readme_stays_short() -> None:
    assert len(README.splitlines()) <= 120


# --- every command runs ------------------------------------------------------------------


def commands(text: str) -> list[tuple[str, tuple[int, ...]]]:
    """Commands of a page's blocks with the exit codes the page allows; 0 where it names none."""
    blocks = re.findall(r"^```sh\n(.*?)^```", text, re.M | re.S)
    found = []
    for line in "".join(blocks).splitlines():
        command, _, remark = line.partition("#")
        codes = tuple(map(int, re.findall(r"\d+", remark))) if "exit code" in remark else (0,)
        found.append((command.strip(), codes))
    return [entry for entry in found if entry[0]]


def readme_commands() -> list[str]:
    return re.findall(r"^(simkit \S.*?)  +\S", README, re.M)


def run(command: str, folder: Path, limit: float) -> int:
    words = shlex.split(command)
    assert words[0] == "simkit"
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONSAFEPATH": "1"}
    done = subprocess.run(
        [sys.executable, "-m", *words], cwd=folder, env=environment, timeout=limit,
        stdin=subprocess.DEVNULL, capture_output=True, text=True,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    return done.returncode


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the shipped machines, as the tutorial's reader has it."""
    folder = tmp_path_factory.mktemp("clone")
    shutil.copytree(ROOT / "scenarios", folder / "scenarios")
    return folder


def of(text: str, quick: bool) -> list[tuple[str, tuple[int, ...]]]:
    return [entry for entry in commands(text) if (entry[0].split()[1] in QUICK) == quick]


@pytest.mark.parametrize(("command", "codes"), of(TUTORIAL, quick=True))
def test_quick_command_of_the_tutorial(command: str, codes: tuple[int, ...], clone: Path) -> None:
    assert run(command, clone, 60) in codes


@pytest.mark.slow
@pytest.mark.parametrize(("command", "codes"), of(TUTORIAL, quick=False))
def test_slow_command_of_the_tutorial(command: str, codes: tuple[int, ...], clone: Path) -> None:
    """In the page's order: later commands read what earlier ones left."""
    assert run(command, clone, 600) in codes


@pytest.mark.slow
def test_a_real_result_has_no_undocumented_key(clone: Path) -> None:
    left = json.loads((clone / "reports/pull-out-cold/result.json").read_text(encoding="utf-8"))
    assert set(left) - result_page_keys() == set()


# --- README's lines, under the names it gives -----------------------------------------------

GENTLE = """
title = "A larger gate resistor"
scenarios = ["scenario.toml"]

[changes.gate-resistor-doubled]
title = "20 ohm at the gates"
machine.drive.gate_resistor = "20 ohm"
"""
# Two cases, so that a map fits into a test; how many a map wants is in docs/maps.md.
FEW = """
[map]
sample = "sobol"
cases = 2

[[map.vary]]
keys = ["drive.dead_time"]
tolerance = "10 %"
"""
READ = """
machine = "chisel-brazing"

[[points]]
load = "empty"
supply_voltage = "12 V"
resonance = { value = "79.1 kHz", uncertainty = "0.2 kHz" }
"""
BY_ANOTHER_TEST = {
    "./run demo": "installs packages of the system: tests/robust/test_fresh_machine.py runs it",
    "./run test": "would run this suite within itself: tests/robust/test_fresh_machine.py runs it",
    "simkit bench machine.toml": "stays up: test_bench_of_the_readme_answers_and_ends runs it",
}
"""Lines of README and tutorial that the tests below do not run, and why."""
EXTRA = {"simkit new shop-heater": " --defaults"}
"""What stands for the answers that a person would type."""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files README's table speaks of, under the names it gives them."""
    folder = tmp_path_factory.mktemp("desk")
    demo = ROOT / "scenarios" / "chisel-brazing"
    shutil.copy(demo / "machine.toml", folder / "machine.toml")
    scenario = (demo / "pull-out-wide.toml").read_text(encoding="utf-8")
    (folder / "scenario.toml").write_text(scenario + FEW, encoding="utf-8")
    shutil.copy(ROOT / "scenarios/parts/class-600v-planar.toml", folder / "part.toml")
    (folder / "change.toml").write_text(GENTLE, encoding="utf-8")
    (folder / "readings.toml").write_text(READ, encoding="utf-8")
    return folder


def lines_of(quick: bool) -> list[str]:
    wanted = [line for line in readme_commands() if line not in BY_ANOTHER_TEST]
    return [line for line in wanted if (line.split()[1] in (*QUICK, "new")) == quick]


@pytest.mark.parametrize("command", lines_of(quick=True))
def test_quick_command_of_the_readme(command: str, desk: Path) -> None:
    # The desk's machine is over with its cold piece taken out at the same frequency, and says so.
    expected = 1 if command.split()[1] == "check" else 0
    assert run(command + EXTRA.get(command, ""), desk, 60) == expected


@pytest.mark.slow
@pytest.mark.parametrize("command", lines_of(quick=False))
def test_slow_command_of_the_readme(command: str, desk: Path) -> None:
    assert run(command, desk, 600) in (0, 1)


@pytest.mark.slow
def test_bench_of_the_readme_answers_and_ends(desk: Path) -> None:
    command = [sys.executable, "-m", *shlex.split("simkit bench machine.toml"), "--linger", "0.5"]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONSAFEPATH": "1"}
    with subprocess.Popen(
        command, cwd=desk, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        text=True,
    ) as server:  # fmt: skip
        try:
            assert server.stdout is not None
            address = next(found[0] for line in server.stdout
                           if (found := re.search(r"http://\S+", line)))  # fmt: skip
            with urllib.request.urlopen(address, timeout=60) as answer:
                page = answer.read().decode()
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(60)
    assert answer.status == 200
    assert "<h1" in page


def shown_lines(text: str) -> set[str]:
    """Every line of a page's code blocks that starts a command; the script in Python is run by
    tests/engine/test_python.py."""
    blocks = re.findall(r"^```(?!python)\w*\n(.*?)^```", text, re.M | re.S)
    lines = "".join(blocks).splitlines()
    return {re.split(r"  +|\s+#", line)[0].strip() for line in lines if line.strip()}


def test_no_line_of_a_block_goes_untested() -> None:
    ran = {command for command, _ in commands(TUTORIAL)} | set(readme_commands())
    shown = shown_lines(README) | shown_lines(TUTORIAL)
    assert shown - ran - set(BY_ANOTHER_TEST) == set()
    assert set(BY_ANOTHER_TEST) <= shown


# --- the site ----------------------------------------------------------------------------


@pytest.mark.slow
def test_the_site_builds_without_warnings_and_fetches_nothing(tmp_path: Path) -> None:
    pytest.importorskip("furo", reason="the extra `docs` is not installed")
    command = [sys.executable, "-m", "sphinx", "-q", "-W", "-b", "html", "docs", str(tmp_path)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    built = list(tmp_path.rglob("*.html"))
    assert len(built) > 30
    fetched = r"""<(?:script|img|link|iframe)\b[^>]*\b(?:src|href)=["'](?:https?:)?//"""
    assert [page.name for page in built if re.search(fetched, page.read_text("utf-8"))] == []
    sheets = list(tmp_path.rglob("*.css"))
    away = r"(?:@import|url\()\s*[\"']?(?:https?:)?//"
    assert sheets
    assert [page.name for page in sheets if re.search(away, page.read_text("utf-8"))] == []

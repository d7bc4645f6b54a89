"""The figures' library is brought in without reading settings that lie in the current folder.

It looks for a `matplotlibrc` there before all other places and opens what it finds. The rules are
the project's own; the control shows that the trap works on a program that walks into it.
"""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DRAW = (
    "import os\nfrom simkit.report.schematic import schematic\nfrom simkit.report.figures import "
    "canvas, svg\nfrom tests.machines import demo\nbefore = os.getcwd()\n"
    "figure, _ = canvas(4.0, [2.0])\nassert '<svg' in svg(figure)\n"
    "assert '<svg' in schematic(demo())\nassert os.getcwd() == before\nprint('drawn')"
)
BARE = "import matplotlib; print(matplotlib.rcParams['lines.linewidth'])"


def ran(code: str, folder: Path, seconds: float) -> str:
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], cwd=folder, capture_output=True, text=True,
        timeout=seconds, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True,
    )  # fmt: skip
    return done.stdout + done.stderr


@pytest.mark.slow
def test_a_pipe_of_that_name_does_not_hold_the_tool(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "matplotlibrc")
    assert ran(DRAW, tmp_path, 60.0) == "drawn\n"


@pytest.mark.slow
def test_hostile_settings_are_not_read(tmp_path: Path) -> None:
    # Read, each of these lines would be complained about on stderr.
    (tmp_path / "matplotlibrc").write_text("nonsense : was-here\nlines.linewidth: was-here\n")
    assert ran(DRAW, tmp_path, 60.0) == "drawn\n"


def test_the_library_alone_would_read_them(tmp_path: Path) -> None:
    (tmp_path / "matplotlibrc").write_text("lines.linewidth: 77\n")
    assert ran(BARE, tmp_path, 60.0) == "77.0\n"


def test_a_folder_that_is_gone_is_no_hindrance(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    folder.mkdir()
    assert ran(f"import os; os.rmdir({str(folder)!r})\nfrom simkit.report.style import library\n"
               "library()\nimport matplotlib; print('in')", folder, 60.0) == "in\n"  # fmt: skip


@pytest.mark.parametrize(
    "path", sorted((ROOT / "simkit" / "report").glob("*.py")), ids=lambda p: p.stem
)
def test_whoever_imports_it_asks_first(path: Path) -> None:
    for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(function, ast.FunctionDef) or function.name == "library":
            continue
        lines = [ast.unparse(line) for line in function.body]
        first = next((k for k, t in enumerate(lines) if _brings_in(t)), None)
        if first is not None:
            assert "library()" in lines[:first], f"{path.name}: {function.name}"


def _brings_in(text: str) -> bool:
    return text.startswith(("import matplotlib", "from matplotlib", "import schemdraw",
                            "from schemdraw"))  # fmt: skip

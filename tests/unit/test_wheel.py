"""What a wheel carries, and that it works away from the clone."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "chisel-brazing"


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The built wheel, unpacked as an installer would."""
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps"]
    command += ["--no-build-isolation", "--wheel-dir", str(folder), str(ROOT)]
    subprocess.run(command, check=True, capture_output=True)
    (wheel,) = folder.glob("simkit_induction-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


def run_python(site: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"PYTHONPATH": str(site)}
    return subprocess.run(
        [sys.executable, *arguments], cwd=folder, env=environment, capture_output=True, text=True
    )


@pytest.mark.slow
def test_the_wheel_carries_all_data(unpacked: Path) -> None:
    package = unpacked / "simkit"
    assert (package / "py.typed").is_file()
    for folder in ("netlists", "scenarios"):
        here = {p.relative_to(ROOT / folder) for p in (ROOT / folder).rglob("*.*")}
        there = {
            p.relative_to(package / "_data" / folder) for p in package.rglob(f"{folder}/**/*.*")
        }
        assert here
        assert there == here
    templates = {p.relative_to(ROOT) for p in (ROOT / "simkit").rglob("*.j2")}
    assert {p for p in templates if not (unpacked / p).is_file()} == set()
    assert not list(unpacked.glob("tests"))


@pytest.mark.slow
def test_the_wheel_works_away_from_the_clone(unpacked: Path, tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "mine")
    where = run_python(unpacked, tmp_path, "-c", "import simkit; print(simkit.__file__)")
    assert Path(where.stdout.strip()).is_relative_to(unpacked)
    scenario = "mine/pull-out-cold.toml"
    deck = run_python(unpacked, tmp_path, "-m", "simkit", "deck", scenario, "--no-engine")
    assert deck.returncode == 0, deck.stderr
    assert deck.stderr.endswith("not tried by an engine\n")
    assert "Traceback" not in deck.stderr
    assert ".tran" in deck.stdout
    assert str(ROOT) not in deck.stdout

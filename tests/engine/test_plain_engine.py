"""`simkit deck` output in plain `ngspice -b`, the independent check of the engine's door."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from simkit.measure.waveforms import Waves
from simkit.rehearsal.exported import scenario_deck
from simkit.rehearsal.rehearse import rehearse
from simkit.rehearsal.settings import Settings
from simkit.run.process import NgspiceEngine
from simkit.studies.inputs.loading import load_scenario
from tests.machines import DEMO, SHIPPED

needs_program = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice program")


def raw_vectors(path: Path) -> dict[str, np.ndarray]:
    """Binary raw file of ngspice as vectors by lower-case name."""
    data = path.read_bytes()
    split = data.index(b"Binary:\n")
    header = data[:split].decode().splitlines()
    count = int(next(x for x in header if x.startswith("No. Variables")).split(":")[1])
    first = header.index("Variables:") + 1
    names = [line.split()[1].lower() for line in header[first : first + count]]
    table = np.frombuffer(data[split + 8 :], dtype="<f8")
    table = table[: len(table) // count * count].reshape(-1, count)
    return {
        name.removeprefix("i(").removesuffix(")") if name.startswith("i(@") else name: table[:, k]
        for k, name in enumerate(names)
    }


def peaks(waves: Waves, start: float) -> dict[str, float]:
    part = waves.between(start, float(waves.time[-1]) + 1.0)
    return {
        "drain voltage": max(float(s.drain_source.max()) for s in part.switches),
        "drain current": max(float(np.abs(s.drain_current).max()) for s in part.switches),
        "tank voltage": float(np.abs(part.bank_voltage).max()),
        "coil current": float(np.abs(part.coil_current).max()),
        "primary current": float(np.abs(part.primary_current).max()),
    }


def both(scenario: Path, folder: Path) -> tuple[dict[str, float], dict[str, float]]:
    loaded, machine = load_scenario(scenario)
    deck = scenario_deck(machine.model, loaded.model)
    run = NgspiceEngine().run(deck.text, deck.saved, deck.stop)
    ours = Waves.from_vectors(machine.model, run.vectors, deck.begin)
    (folder / "deck.cir").write_text(deck.text)
    subprocess.run(["ngspice", "-n", "-b", "-r", "out.raw", "deck.cir"], cwd=folder, check=True,
                   capture_output=True, timeout=300)  # fmt: skip
    plain = Waves.from_vectors(machine.model, raw_vectors(folder / "out.raw"), deck.begin)
    return peaks(ours, 0.0), peaks(plain, 0.0)


def agree(scenario: Path, folder: Path) -> None:
    ours, plain = both(scenario, folder)
    for name, value in plain.items():
        # The same engine on the same text; 0.5 % leaves room for another build of it.
        assert ours[name] == pytest.approx(value, rel=5e-3), name


@pytest.mark.slow
@needs_program
@pytest.mark.parametrize("scenario", SHIPPED, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_every_shipped_deck_does(scenario: Path, tmp_path: Path) -> None:
    if scenario.parent.name == "parts":
        pytest.skip("a part, not a rehearsal")
    agree(scenario, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["pull-out-cold", "pull-out-hot", "drop-in", "pull-out-wide", "tune-down"]
)
def test_close_ups_find_what_the_whole_run_finds(name: str) -> None:
    """Every judged quantity of the sampled event within both errors, or 1 %, of the whole run's."""
    scenario, machine = load_scenario(DEMO / f"{name}.toml")
    engine = NgspiceEngine()

    def found(whole: bool):  # type: ignore[no-untyped-def]
        return rehearse(
            machine.model, scenario.model,
            lambda deck, progress: engine.run(deck.text, deck.saved, deck.stop),
            settings=Settings(whole=whole, jobs=2),
        )  # fmt: skip

    sampled, whole = found(False), found(True)
    assert abs(sampled.energy.residual) <= 0.01
    assert abs(whole.energy.residual) <= 0.01
    # "near" may fall on either side of a limit; otherwise the outcomes are the same.
    if "near" not in {r.status for r in (*sampled.rows, *whole.rows)}:
        assert sampled.verdict.outcome == whole.verdict.outcome
    for mine, theirs in zip(sampled.rows, whole.rows, strict=True):
        assert mine.value is not None
        assert theirs.value is not None
        room = (mine.error or 0.0) + (theirs.error or 0.0) + 0.01 * abs(theirs.value)
        assert mine.value == pytest.approx(theirs.value, abs=room), mine.quantity

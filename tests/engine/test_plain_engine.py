"""`simkit deck` output in plain `ngspice -b`, the independent check of the engine's door."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks.random_machines.files import write
from benchmarks.scenarios import shaken
from simkit.circuit.netlist import Deck
from simkit.measure.waveforms import Waves
from simkit.rehearsal.exported import exported, scenario_deck
from simkit.rehearsal.rehearse import rehearse
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.backend import EngineRun, Progress
from simkit.run.process import NgspiceEngine
from simkit.studies.inputs.loading import load_scenario
from tests.machines import DEMO, SHIPPED
from tests.slowly import first_quick, rest_studied

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


LONGEST = 1.5e-3
"""Length of a deck beyond which its end is brought nearer [s]: minutes in two engines buy nothing
where both read the same text, and every event begins within it."""


def both(scenario: Path, folder: Path) -> tuple[dict[str, float], dict[str, float]]:
    loaded, machine = load_scenario(scenario)
    deck = shortened(scenario_deck(machine.model, shaken(loaded.model)))
    run = NgspiceEngine().run(deck.text, deck.saved, deck.stop)
    ours = Waves.from_vectors(machine.model, run.vectors, deck.begin)
    (folder / "deck.cir").write_text(deck.text)
    subprocess.run(["ngspice", "-n", "-b", "-r", "out.raw", "deck.cir"], cwd=folder, check=True,
                   capture_output=True, timeout=300)  # fmt: skip
    plain = Waves.from_vectors(machine.model, raw_vectors(folder / "out.raw"), deck.begin)
    return peaks(ours, 0.0), peaks(plain, 0.0)


def shortened(deck: Deck) -> Deck:
    if deck.stop <= LONGEST:
        return deck
    text, count = re.subn(r"(?m)^(\.tran \S+) \S+", rf"\g<1> {LONGEST:.9g}", deck.text)
    assert count == 1
    return replace(deck, text=text, stop=LONGEST)


def agree(scenario: Path, folder: Path) -> None:
    ours, plain = both(scenario, folder)
    for name, value in plain.items():
        # The same engine on the same text; 0.5 % leaves room for another build of it.
        assert ours[name] == pytest.approx(value, rel=5e-3), name


@pytest.mark.slow
@needs_program
@pytest.mark.parametrize(
    "scenario", rest_studied(SHIPPED), ids=lambda p: f"{p.parent.name}-{p.stem}"
)
def test_every_shipped_deck_does(scenario: Path, tmp_path: Path) -> None:
    """The whole of it; what a hand moves is moved within 2 ms."""
    if scenario.parent.name == "parts":
        pytest.skip("a part, not a rehearsal")
    agree(scenario, tmp_path)


@pytest.mark.slow
def test_close_ups_find_what_the_whole_run_finds() -> None:
    """Every judged quantity of the sampled event within both errors, or 1 %, of the whole run's.

    A lift of 6 ms: below 500 cycles an event may be run whole anyway, and 60 ms are minutes."""
    loaded, machine = load_scenario(DEMO / "pull-out-wide.toml")
    scenario, engine = shaken(loaded.model, 6e-3), NgspiceEngine()

    def found(whole: bool):  # type: ignore[no-untyped-def]
        return rehearse(
            machine.model, scenario,
            lambda deck, progress: engine.run(deck.text, deck.saved, deck.stop),
            settings=Settings(whole=whole, jobs=2),
        )  # fmt: skip

    sampled, whole = found(False), found(True)
    assert not sampled.is_whole
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


STOPPED = (0, 1, 80)
"""Random machines whose netlist with its nodes' voltages given stops at once [seeds]."""


def short_scenario(folder: Path) -> Path:
    """The demonstration machine with a class part, and a scenario of 40 cycles."""
    shutil.copytree(DEMO.parent, folder / "scenarios")
    text = (DEMO.parent / "bar-heating" / "draw-out.toml").read_text()
    head = text[: text.index("[[events]]")].replace("tail = ", 'tail = "0.1 ms" #')
    path = folder / "scenarios" / "bar-heating" / "short.toml"
    path.write_text(re.sub(r"settled = .*", 'settled = "0.2 ms"', head))
    return path


@pytest.mark.slow
def test_the_exported_deck_is_the_one_that_runs(tmp_path: Path) -> None:
    """To the last letter but for the measurements, the switches' warmed resistance too."""
    scenario, machine = load_scenario(short_scenario(tmp_path))
    assert machine.model.switch.warming is not None
    engine, ran = NgspiceEngine(), list[str]()

    def runner(deck: Deck, progress: Progress | None) -> EngineRun:
        ran.append(deck.text)
        return engine.run(deck.text, deck.saved, deck.stop)

    rehearse(machine.model, scenario.model, runner, settings=Settings(whole=True, refine=False))
    whole = ran[-1]
    found = exported(machine.model, scenario.model, runner)
    assert found.junction is not None
    lines = [x for x in found.deck.text.splitlines() if not x.startswith((".meas", "* what plain"))]
    assert "\n".join(lines) == whole.rstrip("\n")


@needs_program
@pytest.mark.parametrize("seed", first_quick(STOPPED))
def test_an_exported_deck_runs_as_it_stands(seed: int, tmp_path: Path) -> None:
    """Nothing but `-b`; the end brought nearer, for the time it takes."""
    scenario, machine = load_scenario(write(seed, tmp_path))
    for runner in (Rehearser().door, None):
        text = exported(machine.model, scenario.model, runner).deck.text
        short, count = re.subn(r"(?m)^\.tran (\S+) \S+", r".tran \1 3e-5", text)
        assert count == 1
        (tmp_path / "deck.cir").write_text(short)
        done = subprocess.run(["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True,
                              text=True, timeout=100, check=False)  # fmt: skip
        assert done.returncode == 0
        assert "aborted" not in done.stdout + done.stderr
        assert re.search(r"tank_voltage_max\s+=\s+\d", done.stdout)

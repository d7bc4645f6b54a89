"""The second engine against closed solutions and against the first, through the same door.

It reads another dialect; each translation is held against something that does not know of it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from simkit.circuit.analysis import Analysis
from simkit.errors import EngineFailed, EngineMissing
from simkit.run import neospice
from simkit.run.backend import Budget
from simkit.run.dialect import NUDGES, eased, nudged, otherwise, translated
from simkit.run.guard import DeckRefused
from simkit.run.neospice import NeospiceEngine
from simkit.run.process import NgspiceEngine
from tests.machines import TOPOLOGIES, demo, scenario, seeded_deck, still, topology

TIGHT = ".options method=trap reltol=1e-5 trtol=1 abstol=1e-9 vntol=1e-7 chgtol=1e-14\n"


def ran(text: str, saved: tuple[str, ...], stop: float) -> dict[str, np.ndarray]:
    return dict(NeospiceEngine().run(text, saved, stop).vectors)


def test_a_charging_capacitor_follows_its_closed_solution() -> None:
    text = (
        "* rc step\nv1 in 0 1\nr1 in out 1e3\nc1 out 0 1e-7 ic=0\n"
        + TIGHT
        + ".save v(out) i(v1)\n.tran 1e-6 1e-3 0 1e-6 uic\n.end\n"
    )
    found = ran(text, ("v(out)", "i(v1)"), 1e-3)
    exact = 1.0 - np.exp(-found["time"] / 1e-4)
    # Trapezoidal steps of a hundredth of the time constant: (1/100)^2/12 = 8e-6, and its start.
    assert np.abs(found["v(out)"] - exact).max() < 1e-4
    assert np.abs(found["i(v1)"] + 1e-3 * np.exp(-found["time"] / 1e-4)).max() < 2e-7


@pytest.mark.parametrize(("i1", "i2", "k"), [(1, 0, 0.5), (1, -0.9, 0.999), (-0.3, 0.7, 1.0)])
def test_coupled_inductors_start_with_their_mutual_flux(i1: float, i2: float, k: float) -> None:
    """L di/dt = -R i with full L: i(t) = exp(-L^-1 R t) i(0)."""
    text = (
        f"* coupled\nl1 a 0 1e-3 ic={i1}\nl2 b 0 4e-3 ic={i2}\nk1 l1 l2 {k}\nra a 0 10\nrb b 0 10\n"
        + TIGHT
        + ".save v(a) v(b)\n.tran 1e-8 2e-5 0 1e-8 uic\n.end\n"
    )
    found = ran(text, ("v(a)", "v(b)"), 2e-5)
    # The exact matrix has no inverse at k = 1; a coupling a hair below has the same currents.
    mutual = min(k, 1.0 - 1e-9) * 2e-3
    matrix = np.array([[1e-3, mutual], [mutual, 4e-3]])
    exact = expm(-10.0 * 2e-5 * np.linalg.inv(matrix)) @ np.array([i1, i2])
    got = np.array([found["v(a)"][-1], found["v(b)"][-1]]) / -10.0
    assert got == pytest.approx(exact, abs=2e-4 * max(abs(i1), abs(i2)))


@pytest.mark.parametrize("level", [-2.0, -0.5, 0.5, 2.0])
def test_conditionals_one_in_another_choose_as_written(level: float) -> None:
    text = (
        f"* conditional\nv1 in 0 {level}\n"
        "b1 0 out i=sgn(v(in))*(abs(v(in))<1 ? 0.25 : (v(in)>0 ? 3*abs(v(in)) : 5))\nr1 out 0 1\n"
        ".save v(out)\n.tran 1e-8 1e-6 0 1e-8 uic\n.end\n"
    )
    size = 0.25 if abs(level) < 1.0 else (3.0 * level if level > 0.0 else 5.0)
    found = ran(text, ("v(out)",), 1e-6)
    assert found["v(out)"][-1] == pytest.approx(np.sign(level) * size, rel=1e-9)


def test_a_deck_it_does_not_read_whole_is_a_failure_not_an_answer() -> None:
    text = (
        "* unknown function\nv1 in 0 1\nr1 in out 1\nb1 out 0 i=nonesuch(v(in))\nr2 out 0 1\n"
        ".save v(out)\n.tran 1e-6 1e-5 0 1e-6 uic\n.end\n"
    )
    with pytest.raises(EngineFailed, match="did not read the deck whole"):
        ran(text, ("v(out)",), 1e-5)


def test_the_guard_stands_before_it_too() -> None:
    with pytest.raises(DeckRefused):
        ran("* x\n.include /etc/passwd\n.end\n", ("v(a)",), 1e-6)


def test_its_absence_is_no_verdict_with_one_line_to_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(neospice, "PACKAGE", "neospice-that-is-not-there")
    with pytest.raises(EngineMissing, match="pip install"):
        NeospiceEngine().run("* a\n.end\n", ("v(a)",), 1e-6)


WHOLE = ("full", "loop", "ideal")


@pytest.mark.parametrize(
    "kind",
    [
        pytest.param(t, id="-".join(t), marks=[] if t == WHOLE else [pytest.mark.slow])
        for t in TOPOLOGIES
    ],
)
def test_both_engines_agree_on_the_bridge(kind: tuple[str, str, str]) -> None:
    machine = demo() if kind == WHOLE else topology(*kind)
    deck = seeded_deck(machine, still(machine, 4), Analysis(step=10e-9, reltol=3e-5, abstol=1e-5))
    first = NgspiceEngine().run(deck.text, deck.saved, deck.stop, Budget()).vectors
    second = NeospiceEngine().run(deck.text, deck.saved, deck.stop, Budget()).vectors
    late = deck.stop / 2.0  # the first cycle settles the fast states
    grid = np.linspace(late, deck.stop, 4000)
    for name in deck.saved:
        a = np.interp(grid, first["time"], first[name])
        b = np.interp(grid, second["time"], second[name])
        # Steps fall elsewhere, so edges of tens of nanoseconds differ point by point, and on nodes
        # between inductances the second engine rings for single steps: a few points in a hundred.
        size = max(np.abs(a).max(), 1e-3)
        assert np.mean(np.abs(a - b) > 0.02 * size) < 0.03, name
        if name.startswith(("@", "v(fl", "v(d")):
            assert np.abs(b).max() == pytest.approx(np.abs(a).max(), rel=0.01, abs=1e-3), name


def test_translation_leaves_a_deck_without_its_cases_alone() -> None:
    text = "* plain\nr1 a 0 1\nl1 a b 1e-3 ic=2\n.tran 1e-6 1e-5 0 1e-6 uic\n.end\n"
    assert translated(text) == text


def test_the_command_line_knows_each_engine() -> None:
    from simkit.run.engines import ENGINES
    from simkit.verbs import run

    assert tuple(ENGINES) == run.ENGINES


def test_a_nudged_deck_has_longer_edges_and_nothing_else_new() -> None:
    text = "* p\nv1 a 0 pulse(0 12 1e-6 3e-08 4e-08 5e-6 12e-6)\nr1 a 0 3e-08\n.end\n"
    # 3e-8 (1 + 1e-4) = 3.0003e-8, 4e-8 (1 + 1e-4) = 4.0004e-8.
    wanted = text.replace("3e-08 4e-08", "3.0003e-08 4.0004e-08")
    assert nudged(text, 1e-4) == wanted
    assert nudged(text, 0.0) == text


def test_an_eased_deck_has_another_tolerance_and_nothing_else_new() -> None:
    text = "* e\n.options method=trap vntol=1e-4 reltol=1e-4\nr1 a 0 1e-4\n.end\n"
    assert eased(text) == text.replace("vntol=1e-4", "vntol=0.001")


def test_what_is_tried_in_a_decks_place_begins_with_it_and_never_repeats() -> None:
    bare = "* b\nr1 a 0 1\n.end\n"
    assert list(otherwise(bare)) == [bare]
    text = "* o\n.options vntol=1e-4\nv1 a 0 pulse(0 12 1e-6 3e-08 4e-08 5e-6 12e-6)\n.end\n"
    tried = list(otherwise(text))
    assert tried[0] == text
    assert len(tried) == len(set(tried)) == 2 * len(NUDGES)


@pytest.mark.slow
def test_corners_that_meet_do_not_stop_it() -> None:
    """The chisel machine at resonance: as written the engine stops, at any step and tolerance."""
    from simkit.circuit.netlist import machine_deck
    from simkit.circuit.timeline import timeline
    from simkit.rehearsal.scouting import scouted

    start = {"settled": 2.5e-4, "tail": 2.5e-4, "margin": 0.003}
    line = timeline(demo(), scenario(**start))
    part = line.stretch(-2.0 / line.frequency.first, 6.0 / line.frequency.first)
    seed = scouted(demo(), line).seed(part.begin)
    deck = machine_deck(demo(), part, seed, Analysis(step=20e-9, reltol=1e-4))
    peak = {}
    for engine in (NgspiceEngine(), NeospiceEngine()):
        vectors = engine.run(deck.text, deck.saved, deck.stop, Budget()).vectors
        late = vectors["time"] > deck.stop / 2.0
        peak[engine.name] = np.abs(vectors["v(fl)"][late]).max()
    # Picoseconds in a period of 13 us, and 20 ns steps on a smooth swing: far below a per mille.
    assert peak["neospice"] == pytest.approx(peak["ngspice"], rel=1e-3)

"""A stored deck for each topology, so that a change to a template is seen before any number moves.

`pytest tests/decks --renew` writes them anew; the difference then shows up in review.
The seed is written out here and not taken from the fast model: the decks hold what templates and
values make, not what a solver's last digit happens to be.
"""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

import pytest

from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.values import Seed
from simkit.parameters.machine import Machine
from simkit.rehearsal.job import WORKING
from simkit.run.guard import inspect
from tests.machines import TOPOLOGIES, demo, still, topology, varied

GOLDEN = Path(__file__).parent / "golden"
SEED = Seed(
    link_voltage=320.0,
    primary_current=-12.0,
    load_current=-260.0,
    coil_current=-262.0,
    tank_voltage=31.0,
    blocking_voltage=0.5,
)
SNUBBER = {"resistance": 10.0, "capacitance": 1e-9}
OPTIONS: dict[str, dict[str, Any]] = {
    "snubber-per-switch": {"bridge.snubber": {"place": "switch", **SNUBBER}},
    "snubber-per-leg": {"bridge.snubber": {"place": "leg", **SNUBBER}},
    "turn-off-diode": {"drive.turn_off_resistor": 4.7},
    "linear-core": {"transformer.core_path": None},
    "no-blocking-capacitor": {"transformer.blocking_capacitance": None},
}


def cases() -> dict[str, Machine]:
    found = {"-".join(parts): topology(*parts) for parts in TOPOLOGIES}
    return found | {name: varied(demo(), change) for name, change in OPTIONS.items()}


CASES = cases()


def golden_deck(machine: Machine) -> Deck:
    return machine_deck(machine, still(machine, 4, frequency=80e3), SEED, WORKING)


def difference(stored: str, made: str, name: str) -> str:
    """Unified difference, empty when there is none."""
    lines = difflib.unified_diff(
        stored.splitlines(), made.splitlines(), f"{name} stored", f"{name} made now", lineterm=""
    )
    return "\n".join(lines)


@pytest.mark.parametrize("name", CASES)
def test_deck_is_the_stored_one(name: str, request: pytest.FixtureRequest) -> None:
    path, made = GOLDEN / f"{name}.cir", golden_deck(CASES[name]).text
    if request.config.getoption("--renew"):
        path.write_text(made, encoding="ascii")
    if not path.is_file():
        pytest.fail(f"no stored deck {path.name}; --renew writes it")
    changed = difference(path.read_text(encoding="ascii"), made, name)
    assert not changed, f"\n{changed}"


def test_no_stored_deck_is_left_over() -> None:
    assert {p.stem for p in GOLDEN.glob("*.cir")} == set(CASES)


def test_a_changed_value_is_seen() -> None:
    """The comparison can fail: one ohm more in one resistor shows as one line out, one in."""
    name = "full-loop-ideal"
    changed = varied(CASES[name], {"drive.gate_resistor": 11.0})
    found = difference(golden_deck(CASES[name]).text, golden_deck(changed).text, name)
    assert [line for line in found.splitlines() if line.startswith(("-rg1 ", "+rg1 "))] == [
        "-rg1 j1 h1 10",
        "+rg1 j1 h1 11",
    ]


@pytest.mark.parametrize("name", CASES)
def test_deck_passes_the_guard(name: str) -> None:
    inspect(golden_deck(CASES[name]).text)


@pytest.mark.parametrize("name", CASES)
def test_every_saved_vector_has_its_node(name: str) -> None:
    """A node saved but not there would be left out by the engine, after the run."""
    deck = golden_deck(CASES[name])
    words = {w for line in deck.text.splitlines() if line[:1] not in "*." for w in line.split()}
    inner = {"di", "si", "gi", "da", "qm"}
    for vector in deck.saved:
        if vector.startswith("@"):
            continue
        node = vector.removeprefix("v(").removesuffix(")")
        device, _, tail = node.partition(".")
        assert (device in words and tail in inner) if tail else node in words, vector

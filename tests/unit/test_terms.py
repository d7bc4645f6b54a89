"""What people read of an IGBT machine is in an IGBT's terms; keys and netlists stay."""

from __future__ import annotations

import re
from functools import cache

import pytest

from simkit.data import scenario_folder
from simkit.figures.table import figures
from simkit.figures.terms import BIPOLAR, in_terms
from simkit.parameters.machine import Machine
from simkit.studies.inputs.loading import load_machine
from tests.machines import demo


@cache
def igbt_machine() -> Machine:
    return load_machine(scenario_folder() / "tube-bending" / "machine.toml").model


FOREIGN = re.compile(r"body.diode|drain|gate-source|parasitic transistor", re.IGNORECASE)
TOLD = ("title", "why")


def test_a_mosfet_keeps_its_terms() -> None:
    for figure in figures().values():
        assert in_terms(demo(), figure.words.why) == figure.words.why


@pytest.mark.parametrize("name", sorted(figures()))
def test_titles_and_reasons_of_every_figure(name: str) -> None:
    machine = igbt_machine()
    for part in TOLD:
        said = in_terms(machine, getattr(figures()[name].words, part))
        assert not FOREIGN.search(said), said


def test_sentences_of_a_verdict() -> None:
    machine = igbt_machine()
    said = in_terms(machine, "Q2's body-diode recovery dv/dt; Q1: Drain-source voltage, peak")
    assert said == "Q2's anti-parallel diode recovery dv/dt; Q1: Collector-emitter voltage, peak"


def test_keys_and_netlists_stay() -> None:
    machine = igbt_machine()
    for kept in ("switch.ratings.drain_voltage", "drain_voltage_peak", "sub-drain-source-x",
                 '<pre class="n">* drain current\nbody diode</pre>'):  # fmt: skip
        assert in_terms(machine, kept) == kept
    mixed = in_terms(machine, "drain current <pre>drain current</pre> drain current")
    assert mixed == "collector current <pre>drain current</pre> collector current"


def test_no_term_is_made_of_another() -> None:
    """One pass replaces all; a word that comes out is not one that goes in."""
    for words in BIPOLAR.values():
        assert in_terms(igbt_machine(), words) == words

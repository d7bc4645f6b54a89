"""A workpiece swept over level, temperature and place.

Outside: the flux identity of a long coil, L_in/L_out = 1 + (mu_r pi a d - pi a^2)/A (any text on
induction heating), gives the permeability at which the sign turns, mu_r d = a; the Curie point of
iron, 770 degC (handbook value), above which steel's permeability is 1.
"""

from __future__ import annotations

import json
import re
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from simkit.errors import InputError
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parts.materials import material
from simkit.studies.inputs.loading import load_machine
from simkit.studies.part.piece import PieceReport, document, examine_piece
from simkit.studies.part.piece_page import load_figure, write_piece
from simkit.studies.part.piece_view import piece_view
from tests.machines import DEMO, ROOT


@pytest.fixture(scope="module")
def bars() -> Loaded[Machine]:
    return load_machine(ROOT / "scenarios" / "bar-heating" / "machine.toml")


@pytest.fixture(scope="module")
def cold(bars: Loaded[Machine]) -> PieceReport:
    return examine_piece(bars, "cold-bar")


@pytest.mark.slow
def test_low_level_raises_and_full_power_lowers(cold: PieceReport) -> None:
    working = np.interp(np.log(cold.working_current), np.log(cold.level.x), cold.level.inductance)
    assert cold.level.inductance[0] > cold.empty_inductance > working
    assert cold.sentence.startswith("Raises L at low level, lowers it in a strong field")


@pytest.mark.slow
def test_the_sign_turns_where_the_flux_identity_says(cold: PieceReport) -> None:
    """mu_r d = a: in a long coil the flux in the skin makes up for what the bar shuts out.

    Within 15 %: the coil is not long (62 mm for a bore of 40 mm), the bar little longer, and
    permeability is a mean over its side; skin over radius, a seventh, enters the identity too.
    Saturated steel carries 0.97 sqrt(4/pi) = 1.09 of that flux: the reactance of a permeability
    that falls as 1/H (Neiman; `tests/oracles/magnetics.py`), for the fundamental of a square B.
    """
    assert cold.flip is not None
    radius = 8e-3
    ohms = material("low-carbon-steel").resistivity.at(20.0, "steel").value
    depth = sqrt(ohms / (pi * cold.frequency * 4e-7 * pi))
    more = 0.97 * sqrt(4.0 / pi)
    assert cold.flip.mu_r == pytest.approx((radius / depth / more) ** 2, rel=0.15)
    # B at the surface there lies near saturation, where permeability has fallen: 1 to 2.2 T.
    assert 1.0 < 4e-7 * pi * cold.flip.mu_r * cold.flip.surface_field < 2.3


def test_the_curie_point_takes_the_permeability(cold: PieceReport) -> None:
    assert cold.curie == pytest.approx(770.0, abs=5.0)  # a degree or two between handbooks
    for sweep in cold.temperatures:
        x = np.array(sweep.x)
        below, above = int(np.flatnonzero(x < cold.curie)[-1]), int(np.flatnonzero(x > 770.5)[0])
        assert sweep.mu_r[above] == pytest.approx(1.0)
        assert sweep.inductance[above] < cold.empty_inductance
        # The skin grows by the root of mu_r: several times less resistance with weak field.
        assert sweep.resistance[below] > 2.0 * sweep.resistance[above]
    weak = cold.temperatures[0]
    assert weak.x[0] == 20.0
    assert weak.x[-1] == 1000.0
    # Cold to hot below the Curie point R goes as the root of the resistivity, at least.
    assert weak.resistance[5] > weak.resistance[0]


def test_clear_of_the_coil_it_is_the_empty_coil(cold: PieceReport) -> None:
    """A tenth of a per cent: the way out ends one and a half bores from the coil."""
    assert cold.places.inductance[-1] == pytest.approx(cold.empty_inductance, rel=1e-3)
    assert cold.places.resistance[-1] == pytest.approx(cold.empty_resistance, rel=2e-2)


@pytest.mark.slow
def test_a_hot_bar_lowers_l_at_every_level(bars: Loaded[Machine]) -> None:
    hot = examine_piece(bars, "hot-bar")
    assert hot.flip is None
    assert hot.sentence == "Lowers L at every level."


def test_what_cannot_be_worked_out_is_said(bars: Loaded[Machine]) -> None:
    with pytest.raises(InputError, match="cold-bar"):
        examine_piece(bars, "cold-ba")
    with pytest.raises(InputError, match="measured"):
        examine_piece(load_machine(DEMO / "machine.toml"), "steel-hot")


@pytest.mark.slow
def test_the_page_shows_what_was_found(cold: PieceReport, tmp_path: Path) -> None:
    view = piece_view(cold)
    write_piece(tmp_path, view)
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    for text in ("L turns", "Curie point", "working level", "temperature of the piece, °C"):
        assert text in page
    assert sorted(p.stem for p in (tmp_path / "figures").iterdir()) == [
        "level",
        "place",
        "temperature",
    ]
    # One point drawn per point computed, and the same drawing twice.
    level = view.figures[0]
    drawn = load_figure(level)
    assert drawn == load_figure(level)
    assert len(re.findall(r"<use ", drawn)) >= 2 * len(cold.level.x)
    assert json.loads(json.dumps(document(cold)))["flip"]["mu_r"] == cold.flip.mu_r  # type: ignore[union-attr]  # the cold bar has one

"""The sweep of the gate resistor: its values, the band, its page and its words. No circuit here.

What the runs come to is in tests/engine/test_gate_resistor.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simkit.errors import InputError
from simkit.measure.gate_edge import UNITS, damping_ratio
from simkit.measure.ringing import ringing
from simkit.run.cache import Store
from simkit.studies.gate_resistor import study as gate_resistor
from simkit.studies.gate_resistor.page import band_words, dead_time_left, sweep_figure, sweep_page
from simkit.studies.gate_resistor.study import Point, band_of, document, resistances, sweep
from simkit.studies.inputs.loading import load_machine
from simkit.verbs.gate_resistor import refuse
from tests.machines import DEMO, demo, varied

MACHINE = load_machine(DEMO / "machine.toml")
OWN = MACHINE.model.drive.gate_resistor


def told(job: Mapping[str, Any]) -> dict[str, Any]:
    """What a worker would bring back, made up: over above 20 ohm, lost at the lowest value."""
    r = job["machine"]["drive"]["gate_resistor"]
    if r < 1.5:
        return {"verdict": "no_verdict", "reason": "it did not converge", "timed_out": False}
    over = r > 20.0
    limit = {"unit": "V", "value": 0.1 * r, "error": 0.01, "limit": 2.0, "status": "ok"}
    return {
        "verdict": "over_limit" if over else "within_limits",
        "reason": "the gate was lifted" if over else "none went", "timed_out": False,
        "figures": {q: {"unit": u, "value": 1e-8 * r, "error": 1e-10} for q, u in UNITS.items()},
        "limits": {"gate_lift": limit, "gate_voltage_peak": limit, "junction_held": limit},
        "part": "Q2", "quantity": "gate_lift", "ratio": 0.05 * r, "zero_voltage": True,
        "ring_frequency": None, "ring_damping": None,
    }  # fmt: skip


@pytest.fixture
def points(monkeypatch: pytest.MonkeyPatch) -> list[Point]:
    monkeypatch.setattr(gate_resistor, "tried", told)
    return sweep(MACHINE.model)


def test_values_are_geometric_around_the_machines_own() -> None:
    tried = resistances(demo())
    assert OWN in tried
    assert tried[0] == pytest.approx(0.1 * OWN)
    assert tried[-1] == pytest.approx(10.0 * OWN)
    # Six digits are kept of each value, so ratios agree to a few in 1e6.
    assert np.diff(np.log(tried)) == pytest.approx(np.log(100.0) / (len(tried) - 1), rel=1e-4)


def test_the_second_resistor_keeps_its_share(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gate_resistor, "tried", told)
    found = sweep(varied(demo(), {"drive.turn_off_resistor": 4.0}))
    shares = [p.turn_off_resistance / p.resistance for p in found if p.turn_off_resistance]
    assert len(shares) == len(found)
    assert shares == pytest.approx([4.0 / OWN] * len(shares), rel=1e-5)


def test_the_band_ends_where_something_is_over_or_unknown(points: list[Point]) -> None:
    band = band_of(points, OWN)
    assert band is not None
    assert band.low.resistance == pytest.approx(1.77828)
    assert band.low.closed_by == "it did not converge"
    assert band.high.resistance == pytest.approx(17.7828)
    assert band.high.next_resistance == pytest.approx(31.6228)
    assert band.high.closed_by == "the gate was lifted"


def test_no_verdict_is_in_no_band(points: list[Point]) -> None:
    """A value without a verdict in the middle parts the band: the machine's own side is taken."""
    k = next(k for k, p in enumerate(points) if p.resistance == OWN) - 1
    parted = [*points[:k], replace(points[k], verdict="no_verdict"), *points[k + 1 :]]
    band = band_of(parted, OWN)
    assert band is not None
    assert band.low.resistance == OWN
    assert band.low.next_resistance == points[k].resistance


def test_without_the_machines_own_the_longest_stretch_counts(points: list[Point]) -> None:
    outcomes = ["within_limits"] * 2 + ["over_limit"] * 4 + ["within_limits"] * 3
    band = band_of([replace(p, verdict=v) for p, v in zip(points, outcomes, strict=True)], OWN)
    assert band is not None
    assert band.low.resistance == points[6].resistance
    assert band.high.next_resistance is None
    assert "the sweep ends here" in band.high.closed_by


def test_nothing_within_is_no_band(points: list[Point]) -> None:
    assert band_of([replace(p, verdict="over_limit") for p in points], OWN) is None
    lost = document(MACHINE, [replace(p, verdict="no_verdict") for p in points], 1.0)
    assert lost["band"] is None
    assert lost["verdict"] == "no_verdict"
    assert "no band to suggest" in band_words(lost)
    assert "no band to suggest" in sweep_page(lost, {"gate_lift": "lift"}, sweep_figure(lost))


def test_the_page_shows_every_value_and_asks_nobody(points: list[Point]) -> None:
    result = document(MACHINE, points, 3.0)
    assert result["verdict"] == "within_limits"
    page = sweep_page(result, {"gate_lift": "gate lift"}, sweep_figure(result))
    assert "Suggested band: 1.78 Ω to 17.8 Ω; the machine&#39;s 10 Ω lies inside it" in page
    assert page.count("31.6 Ω") >= 3, "the end's next value and a row in each table"
    assert page.count("it did not converge") == 2, "what closes the band, and the row"
    assert "src=" not in page
    assert 'href="http' not in page


def test_what_is_left_of_the_dead_time(points: list[Point]) -> None:
    result = document(MACHINE, points, 3.0)
    own = next(p for p in result["points"] if p["resistance"] == OWN)
    assert dead_time_left(own, 600e-9) == pytest.approx(600e-9 - 1e-8 * OWN)
    assert dead_time_left(result["points"][0], 600e-9) is None


def test_a_sweep_cut_short_carries_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ran: list[float] = []

    def failing(job: Mapping[str, Any]) -> dict[str, Any]:
        if len(ran) == 3:
            raise KeyboardInterrupt
        ran.append(job["machine"]["drive"]["gate_resistor"])
        return told(job)

    monkeypatch.setattr(gate_resistor, "tried", failing)
    with pytest.raises(KeyboardInterrupt):
        sweep(MACHINE.model, store=Store(tmp_path))
    again: list[float] = []

    def noting(job: Mapping[str, Any]) -> dict[str, Any]:
        again.append(job["machine"]["drive"]["gate_resistor"])
        return told(job)

    monkeypatch.setattr(gate_resistor, "tried", noting)
    assert len(sweep(MACHINE.model, store=Store(tmp_path))) == 9
    assert sorted(ran + again) == pytest.approx(resistances(MACHINE.model))


def test_damping_of_a_known_ringing() -> None:
    """v = exp(-z w0 t) cos(sqrt(1 - z^2) w0 t), textbook: the fit must give z back."""
    zeta, omega = 0.2, 2.0 * np.pi * 5e6
    time = np.linspace(0.0, 1e-6, 2000)
    wave = np.exp(-zeta * omega * time) * np.cos(np.sqrt(1.0 - zeta**2) * omega * time)
    # The samples follow the model exactly, so that only the fit's own tolerance is left.
    assert damping_ratio(ringing(time, wave)) == pytest.approx(zeta, rel=1e-3)


@pytest.mark.parametrize("option", ["vary", "only", "sample", "cases", "full"])
def test_options_of_a_map_are_refused(option: str) -> None:
    nothing = {"vary": (), "only": False, "sample": None, "cases": None, "full": False}
    refuse(nothing)
    with pytest.raises(InputError, match=f"--{option}"):
        refuse(nothing | {option: "x"})

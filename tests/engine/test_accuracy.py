"""Stated errors hold, refinement works and can be seen to be needed, a wrong start is noticed.

Held against: the theory of the trapezoidal rule (second order), and runs on steps and tolerances
far finer than those used.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck
from simkit.circuit.timeline import timeline
from simkit.circuit.values import Seed
from simkit.errors import EngineFailed
from simkit.rehearsal import job as runs
from simkit.rehearsal import rehearse as event
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.scouting import Scouted, scouted
from simkit.rehearsal.settings import Settings
from simkit.run.backend import EngineRun, Progress
from simkit.studies.inputs.loading import load_scenario
from tests.machines import DEMO, demo, run_deck, run_text, scenario

CALM = {"settled": 3e-4, "tail": 1e-4}
HARD = {**CALM, "margin": -0.03}
"""Driven below resonance: every transition forces a diode off, where coarse steps go wrong."""


def door(deck: Deck, progress: Progress | None) -> EngineRun:
    return run_deck(deck)


def rehearsed(hard: bool = False, refine: bool = True) -> Rehearsal:
    settings = Settings(refine=refine)
    return event.rehearse(demo(), scenario(**(HARD if hard else CALM)), door, settings=settings)


@cache
def reference(hard: bool = False) -> dict[str, float]:
    """Judged values on steps and tolerances finer than any rehearsal's first and second pass."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("WORKING", "LOOK"):
            patch.setattr(runs, name, Analysis(step=4e-9, reltol=2e-5))
        patch.setattr(runs, "FINE", Analysis(step=1.5e-9, reltol=1e-5))
        return {r.quantity: r.value for r in rehearsed(hard).rows if r.value is not None}


def wrong(
    found: Rehearsal, exact: dict[str, float], stated: Rehearsal, times: float = 1.0
) -> set[str]:
    """Quantities whose values lie outside some times the error that another rehearsal states."""
    errors = {r.quantity: r.error for r in stated.rows if r.error is not None}
    worst: dict[str, float] = {}
    for s in found.series:
        worst[s.quantity] = max(worst.get(s.quantity, -np.inf), s.worst[0])
    # A part's figure from the whole run has a row and no value per window: it is not compared.
    both = errors.keys() & exact.keys() & worst.keys()
    return {q for q in both if abs(worst[q] - exact[q]) > times * errors[q]}


COARSE = Analysis(step=300e-9, reltol=3e-3)
"""What a plain run might use; engine notes of such circuits speak of tens of per cent."""


@pytest.mark.slow
def test_with_refinement_disabled_the_check_detects_wrong_figures(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    exact = reference(hard=True)
    with_it = rehearsed(hard=True)
    for name in ("WORKING", "LOOK"):
        monkeypatch.setattr(runs, name, COARSE)
    without = rehearsed(hard=True, refine=False)
    assert wrong(with_it, exact, with_it) == set()
    assert wrong(without, exact, with_it) != set(), "the check can fail"
    # And unrefined figures are not passed off as good: no error, no verdict.
    assert without.verdict.outcome == "no_verdict"
    # These come from charge and resistors, or from the switching on, by no step of the engine.
    aside = {"driver_power", "driver_current_peak", "inrush_melting", "rectifier_surge",
             "precharge_energy", "bleeder_power"}  # fmt: skip
    run = [r for r in without.rows if r.quantity not in aside]
    assert {r.status for r in run} == {"not_evaluated"}


def two_coarse_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    """So coarse that they differ by more than a figure may be doubted by."""
    for name in ("WORKING", "LOOK"):
        monkeypatch.setattr(runs, name, Analysis(step=4e-7, reltol=1e-2, trtol=7.0))
    monkeypatch.setattr(runs, "FINE", Analysis(step=60e-9, reltol=1e-3))


@pytest.mark.slow
def test_a_figure_beyond_five_per_cent_is_refined_by_itself(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two passes so coarse that they differ by more than that: a third, far finer one, follows."""
    two_coarse_passes(monkeypatch)
    found = rehearsed(hard=True)
    assert min(s.analysis.step for s in found.close) == 2e-9
    assert any(row.value is not None for row in found.rows)
    for row in found.rows:
        if row.value is None:  # even so not good enough: no verdict, and why
            assert "too much to tell it from its limit" in row.note
        elif row.error_parts is not None and row.unit != "degC":
            # Parts around the switches are not refined: they follow the tank's, error and all.
            assert row.error is not None
            small = row.error <= 0.05 * max(abs(row.value), 0.2 * row.limit)
            assert small or abs(row.limit - row.value) > 2.0 * row.error, row.quantity


@pytest.mark.slow
def test_a_refinement_that_stops_leaves_the_figure_in_doubt(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two coarse passes as above, and an engine that gets through neither of the finest runs."""
    two_coarse_passes(monkeypatch)

    def stops(deck: Deck, progress: Progress | None) -> EngineRun:
        # the ladder takes less of the step and eases the tolerance, of the finest runs alone
        if any(f".tran {step}" in deck.text for step in ("2e-09", "1e-09", "5e-10")):
            raise EngineFailed("Timestep too small", ())
        return run_deck(deck)

    found = event.rehearse(demo(), scenario(**HARD), stops)
    assert any(told == "refinement: Timestep too small" for told in found.retries)
    assert min(s.analysis.step for s in found.close) == 60e-9
    doubted = [row for row in found.rows if row.value is None]
    assert all("too much to tell it from its limit" in row.note for row in doubted)
    wide = [row for row in found.rows if row.error and row.error > 0.05 * abs(row.value or 0.0)]
    assert doubted or wide


@pytest.mark.slow
def test_a_whole_event_that_stops_leaves_what_the_samples_told() -> None:
    """A tuned-down drive whose gate lift samples leave too near its limit, and an engine that does
    not get through the whole event."""
    tuned, machine = load_scenario(DEMO / "tune-down.toml")

    def stops(deck: Deck, progress: Progress | None) -> EngineRun:
        if deck.stop > 1e-3:  # samples take some cycles, the event 3 ms
            raise EngineFailed("Timestep too small", ())
        return run_deck(deck)

    found = event.rehearse(machine.model, tuned.model, stops)
    assert any(told == "whole event: Timestep too small" for told in found.retries)
    assert not found.is_whole
    assert found.verdict.outcome == "over_limit"
    doubted = [row for row in found.rows if row.value is None]
    assert [row.quantity for row in doubted] == ["gate_lift"]


@pytest.mark.slow
def test_a_wrong_start_gives_no_wrong_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """The tank seeded with half its swing: noticed, run in for longer, and right in the end."""
    exact = reference()
    true = Scouted.seed

    def halved(self: Scouted, begin: float) -> Seed:
        seed = true(self, begin)
        if self.times:  # corrected by what runs have shown, as every later seed is
            return seed
        missing = -0.5 * seed.coil_current  # loop-fed: bank, secondary and coil share a current
        return replace(
            seed,
            coil_current=seed.coil_current + missing,
            tank_voltage=0.5 * seed.tank_voltage,
            load_current=seed.load_current + missing,
            primary_current=seed.primary_current + missing / demo().transformer.ratio,
        )

    monkeypatch.setattr(Scouted, "seed", halved)
    found = rehearsed()
    # A stated error is an estimate: a value may lie outside it, never beyond three times it.
    assert wrong(found, exact, found, times=3.0) == set()
    evaluated = [r for r in found.rows if r.value is not None]
    assert all(r.error is not None for r in evaluated)


def test_the_residue_tells_a_wrong_start_from_a_right_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Before anything is done about it; the run-in of a sample is shorter than the memory."""
    scout = scouted(demo(), timeline(demo(), scenario(**CALM)))
    right = _calm(scout)
    true = Scouted.seed
    monkeypatch.setattr(
        Scouted,
        "seed",
        lambda self, begin: replace(
            true(self, begin), tank_voltage=3.0 * true(self, begin).tank_voltage
        ),
    )
    off = _calm(scout)
    assert off > 0.05, "beyond what a figure may be doubted by"
    assert off > 5.0 * right


def _calm(scout: Scouted) -> float:
    job = runs.Job(demo(), scout, door, Settings(), runs.Counter(None), [])
    settled = scout.line.end
    return scout.remains(job.calm(settled), settled).share


def test_the_observed_order_of_convergence_is_that_of_the_trapezoidal_rule() -> None:
    """Steps h, 2h, 4h bound by their largest size alone: (x_4h - x_2h)/(x_2h - x_h) = 2^p, p = 2.

    On a smooth oscillation, where theory promises it; a switching edge is resolved by the
    tolerance instead. Source: any text on the trapezoidal rule, global error proportional to h^2.
    """
    last = []
    for step in (4e-8, 2e-8, 1e-8):
        text = (
            "* ring\nl1 a 0 1e-6 ic=100\nc1 a 0 4e-6 ic=0\nr1 a 0 50\n"
            ".options method=trap reltol=1 trtol=1e4 abstol=1e6 vntol=1e6 chgtol=1e6\n"
            f".save v(a)\n.tran {step} 5e-5 0 {step} uic\n.end\n"
        )
        run = run_text(text, ("v(a)",), 5e-5)
        last.append(float(np.interp(4e-5, run.vectors["time"], run.vectors["v(a)"])))
    order = np.log2(abs(last[0] - last[1]) / abs(last[1] - last[2]))
    # The engine's first steps are shorter than the bound: a few per cent of the order.
    assert order == pytest.approx(2.0, abs=0.2)


@pytest.mark.slow
def test_figures_of_a_deciding_window_converge() -> None:
    """Step bounds 4h, 2h, h with the tolerance alongside: each halving moves the figures less."""
    found = []
    for step, reltol in ((20e-9, 1e-4), (10e-9, 5e-5), (5e-9, 2.5e-5), (2.5e-9, 1.25e-5)):
        with pytest.MonkeyPatch.context() as patch:
            for name in ("WORKING", "LOOK"):
                patch.setattr(runs, name, Analysis(step=step, reltol=reltol))
            job = runs.Job(
                demo(),
                scouted(demo(), timeline(demo(), scenario(**CALM))),
                door,
                Settings(),
                runs.Counter(None),
                [],
            )
            stretch = job.calm(job.scout.line.end)
        found.append(
            {s.quantity: s.worst[0] for s in stretch.series if s.part in ("Q1", "tank capacitor")}
        )
    for quantity in ("drain_voltage_peak", "drain_current_rms", "can_voltage_rms"):
        values = [f[quantity] for f in found]
        steps = np.abs(np.diff(values))
        # The last halving moves a figure by less than the first, or both are below 0.02 %, where
        # the run-in's own rounding is seen.
        assert steps[-1] < max(steps[0], 2e-4 * abs(values[-1])), (quantity, values)
        assert steps[-1] < 2e-3 * abs(values[-1]), (quantity, values)

"""Runs of the situations on the demonstration machine, shared by the tests that look into them.

First pass only (20 ns): what is held against a hand calculation here is far coarser than that.
"""

from __future__ import annotations

from functools import cache

from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.studies.situations import Case, named
from simkit.studies.situations.base import draft
from tests.machines import crucible, demo

BENCH = Rehearser(settings=Settings(refine=False))


def run(case: Case) -> Rehearsal:
    return BENCH.rehearse(case.machine, case.scenario)


@cache
def situation(name: str) -> Rehearsal:
    return run(named(name).build(demo()))


@cache
def plain() -> Rehearsal:
    """The machine at its working point, nothing happening, as long as the faults' runs."""
    return run(draft(demo(), "plain", events=[{"kind": "trip", "at": 1.2e-4}], tail=1e-5))


@cache
def settled() -> Rehearsal:
    return run(draft(demo(), "settled"))


@cache
def crucible_situation(name: str) -> Rehearsal:
    """On the half bridge with gate transformers and snubbers."""
    return run(named(name).build(crucible()))


@cache
def crucible_settled() -> Rehearsal:
    return run(draft(crucible(), "settled"))

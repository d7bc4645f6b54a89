"""From rest, and onto a tank that still rings: against volt-seconds by hand and a tank by hand."""

from __future__ import annotations

from functools import cache
from math import exp
from typing import Any

import pytest
from pydantic import ValidationError

from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.studies.situations.base import draft
from tests.machines import demo

BENCH = Rehearser(settings=Settings(refine=False))
F = 80.5e3


@cache
def started(first_half: str, frequency: float = F) -> Rehearsal:
    case = draft(demo(), "start", events=[{"kind": "start", "at": 0.0, "first_half": first_half}],
                 start={"frequency": frequency}, tail=1.2e-4)  # fmt: skip
    return BENCH.rehearse(case.machine, case.scenario)


def value(found: Rehearsal, quantity: str) -> float:
    rows = [r.value for r in found.rows if r.quantity == quantity and r.value is not None]
    return max(rows)


def test_a_full_first_half_doubles_the_flux_of_a_halved_one() -> None:
    full, halved = (value(started(x), "flux_peak") for x in ("full", "halved"))
    core, drive = demo().transformer, demo().drive
    turned = core.primary_turns * core.core_area
    on = 0.5 / F - drive.dead_time
    # Faraday: B = V t/(N A) from zero. The leakage takes 8 uH of the loop's 444 uH, path and source
    # some volts of 325: 4 % together.
    assert full == pytest.approx(325.0 * on / turned, rel=0.05)
    # Halved: a quarter period less half a dead time, and from there on as settled.
    assert halved == pytest.approx(0.5 * full, rel=0.08)


def test_from_rest_nothing_flows_before() -> None:
    found = started("full")
    before = found.whole.waves.time < found.line.events[0].start - 1e-6
    assert abs(found.whole.waves.primary_current[before]).max() < 0.05
    assert abs(found.whole.waves.coil_current[before]).max() < 1.0


def test_well_above_resonance_a_start_draws_less() -> None:
    near, above = (value(started("full", f), "channel_current_peak") for f in (F, 125e3))
    assert above < 0.6 * near


@cache
def restarted(pause: float) -> Rehearsal:
    case = draft(
        demo(), "again", start={"frequency": F}, load="steel-full-power", tail=8e-5,
        events=[{"kind": "trip", "at": 0.0}, {"kind": "restart", "at": pause}],
    )  # fmt: skip
    return BENCH.rehearse(case.machine, case.scenario)


def test_a_restart_meets_a_ringing_tank_at_its_best_and_worst_phase() -> None:
    # The commands' clock goes on during the pause, the tank rings at its own frequency: what a
    # restart meets turns with the pause.
    period = 1.0 / F
    peaks = {}
    for k in range(4):
        found = restarted(2.25e-5 + 2.0 * k * period)
        late = found.whole.waves.time > found.line.events[1].start
        peaks[k] = abs(found.whole.waves.primary_current[late][:4000]).max()
    assert max(peaks.values()) > 1.1 * min(peaks.values())


def test_the_tank_rings_down_as_2l_over_r_while_the_gates_are_off() -> None:
    found = restarted(6e-5)
    waves, events = found.whole.waves, found.line.events
    load = demo().workpieces["steel-full-power"]
    time, current = waves.time, abs(waves.coil_current)

    def peak(begin: float) -> float:
        return float(current[(time > begin) & (time < begin + 1.0 / F)].max())

    first, last = events[0].start + 1.2e-5, events[0].start + 4.4e-5
    # The loop is open once the diodes have let go, but for the magnetising branch: the tank's own
    # resistances alone, 42 mohm and the bank's 0.4; a fifth for the diodes' share at the beginning.
    fade = exp(-(last - first) * load.resistance / (2.0 * load.inductance))
    assert 0.3 * fade < peak(last) / peak(first) < 1.2 * fade


@pytest.mark.parametrize(
    ("events", "told"),
    [
        ([{"kind": "restart", "at": 1e-5}], "restart comes after a trip"),
        ([{"kind": "start", "at": 0.0}, {"kind": "start", "at": 1e-3}], "start comes once"),
        ([{"kind": "trip", "at": 0.0, "first_half": "full"}], "does not belong"),
    ],
)
def test_what_cannot_be_is_refused(events: list[dict[str, Any]], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        draft(demo(), "x", events=events)

"""Which stretches of an event deserve a close-up by a circuit run, from the fast model's march.

Criteria, each on the march's cycles: largest bridge current, largest tank voltage, most negative
current at a turn-off and at the opposite turn-on (a body diode is then forced off), and largest
estimated switch current among those cycles. A close-up starts earlier by a run-in of a few memory
times of the tank (2L/R of the whole loop) so that what the fast model got wrong is forgotten.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.scout.envelope import Event
from simkit.scout.plant import Array

FAINT = 1e-9
"""Currents below this share of the event's peak count as no current at all."""


@dataclass(frozen=True)
class Window:
    """A stretch to run in full.

    Fields
    ------
    reasons : why it was chosen
    start : where the circuit run begins, in the quiet part of a half period [s]
    measure_from, measure_to : the part whose figures count [s]
    worst_times : start of the cycle in which each reason has its worst [s]
    """

    reasons: tuple[str, ...]
    start: float
    measure_from: float
    measure_to: float
    worst_times: tuple[float, ...]


def criteria(event: Event) -> dict[str, Array]:
    """How bad each cycle is by each criterion [A] or [V]; a criterion nothing meets is left out.

    Cycles that are not wholly between time zero and the event's stop count as nothing.
    """
    cycles = event.cycles
    ends = np.append(cycles.time[1:], event.starts[-1])
    whole = (cycles.time >= 0.0) & (ends <= event.conditions.stop)
    forced = np.maximum(-cycles.turn_on_current, 0.0)
    found = {
        "largest bridge current": cycles.primary_current_peak,
        "largest tank voltage": cycles.tank_voltage_peak,
        "most negative turn-off current": np.maximum(-cycles.turn_off_current, 0.0),
        "largest current forced out of a diode": forced,
        "largest switch current with forced recovery": np.where(
            forced > 0.0, cycles.switch_current_peak, 0.0
        ),
    }
    floor = FAINT * float(np.max(cycles.primary_current_peak))
    found = {name: np.where(whole, values, 0.0) for name, values in found.items()}
    return {name: values for name, values in found.items() if np.max(values) > floor}


def worst_windows(
    event: Event,
    *,
    memories: float = 3.0,
    cycles_around: int = 3,
    settle_cycles: int = 2,
    merge: bool = True,
) -> tuple[Window, ...]:
    """Windows around the worst cycle of each criterion, in order of time.

    Each measures `cycles_around` whole cycles [1] on either side of the worst one, and starts
    `memories` memory times [1] before that, or `settle_cycles` cycles [1] where these take longer
    (the first cycle of a seeded circuit run is to be discarded). Where the worst cycle is not
    sharp the first one counts, which is where trouble begins. Nothing before time zero or beyond
    the stop is measured. Windows that overlap become one.
    """
    windows = [
        _window(event, name, _first_worst(values), memories, cycles_around, settle_cycles)
        for name, values in criteria(event).items()
    ]
    windows.sort(key=lambda w: w.start)
    return _merged(windows) if merge else tuple(windows)


def _first_worst(values: Array) -> int:
    """First cycle that comes within a millionth of the worst (a plateau repeats to rounding)."""
    return int(np.argmax(values >= np.max(values) * (1.0 - 1e-6)))


def _window(
    event: Event, reason: str, worst: int, memories: float, around: int, settle: int
) -> Window:
    time = np.append(event.cycles.time, event.starts[-1])
    last = int(np.searchsorted(time, event.conditions.stop, side="right")) - 1
    period = float(time[worst + 1] - time[worst])
    measure_from = float(time[max(worst - around, int(np.searchsorted(time, 0.0)))])
    run_in = max(memories * float(event.memory[worst]), settle * period)
    return Window(
        reasons=(reason,),
        start=event.quiet_time(measure_from - run_in),
        measure_from=measure_from,
        measure_to=float(time[min(worst + around + 1, last)]),
        worst_times=(float(time[worst]),),
    )


def _merged(windows: list[Window]) -> tuple[Window, ...]:
    merged: list[Window] = []
    for window in windows:
        if merged and window.start <= merged[-1].measure_to:
            before = merged[-1]
            merged[-1] = replace(
                before,
                reasons=before.reasons + window.reasons,
                measure_from=min(before.measure_from, window.measure_from),
                measure_to=max(before.measure_to, window.measure_to),
                worst_times=before.worst_times + window.worst_times,
            )
        else:
            merged.append(window)
    return tuple(merged)

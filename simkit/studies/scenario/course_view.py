"""The event from start to end: what its figure shows, panel by panel.

Where the event was sampled, dots are the circuit's and the thin line between them is the fast
model's, scaled to what the samples showed.
"""

from collections.abc import Iterable, Iterator
from math import sqrt

import numpy as np

from simkit.measure.periodic import phase_lag
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.surrogate import Curve, scaled, whole_cycles_of, worst_of
from simkit.report import view as page


def courses(rehearsal: Rehearsal) -> Iterator[page.Course]:
    """What the timeline figure shows, panel by panel."""
    line, machine = rehearsal.line, rehearsal.machine
    limits = {row.quantity: row.limit for row in rehearsal.rows}
    times = np.linspace(0.0, line.stop, 241)
    drive = np.array([line.frequency.at(t) for t in times]) / 1e3
    tuned = np.array([machine.resonance(line.inductance.at(t)) for t in times]) / 1e3
    yield page.Course(
        "frequency", "kHz",
        (page.Curve("drive", times, drive), page.Curve("resonance of the load", times, tuned)),
        finding=_crossing(float(drive[0] / tuned[0]), float(drive[-1] / tuned[-1])),
    )  # fmt: skip
    yield from phase_course(rehearsal)
    some = not rehearsal.is_whole
    guides = {} if rehearsal.is_whole else rehearsal.scout.scaled(rehearsal.first_pass)
    channel = _largest(rehearsal.series, "channel_current_peak")
    diode = _largest(rehearsal.series, "diode_current_peak")
    yield page.Course(
        "switch current", "A",
        (page.Curve("channel, peak of each cycle", *channel, some,
                    guide_of(guides.get("channel_current_peak"))),
         page.Curve("body diode, peak of each cycle", *diode, some)),
        (page.Level(limits["channel_current_peak"], "limit, channel"),),
        f"Channel current peaks at {np.max(channel[1]):.3g} A.",
    )  # fmt: skip
    steep = _largest(rehearsal.series, "recovery_dv_dt")
    if np.max(steep[1]) > 0.0:
        yield page.Course(
            "recovery dv/dt", "V/ns",
            (page.Curve("largest of all switches", steep[0], steep[1] / 1e9, some,
                        guide_of(guides.get("recovery_dv_dt"), 1e-9)),),
            (page.Level(limits["recovery_dv_dt"] / 1e9, "limit"),),
            f"Body diodes are forced off at up to {np.max(steep[1]) / 1e9:.3g} V/ns.",
        )  # fmt: skip
    bank = _largest(rehearsal.series, "bank_voltage_peak")
    yield page.Course(
        "tank voltage", "V",
        (page.Curve("bank, peak of each cycle", *bank, some, bank_guide(rehearsal)),),
        (page.Level(sqrt(2.0) * limits["can_voltage_rms"], "limit (as the peak of a sine)"),),
        f"The bank reaches {np.max(bank[1]):.3g} V.",
    )  # fmt: skip


def guide_of(curve: Curve | None, scale: float = 1.0) -> tuple[Array, Array] | None:
    """The fast model's curve as samples of the circuit scaled it; None where there is none."""
    return None if curve is None else (curve.time, scale * curve.values)


def bank_guide(rehearsal: Rehearsal) -> tuple[Array, Array] | None:
    """The fast model's tank voltage, scaled to the bank's peaks in the samples."""
    if rehearsal.is_whole:
        return None
    event = rehearsal.scout.event
    keep = whole_cycles_of(event)
    peaks = [worst_of(s, "bank_voltage_peak") for s in rehearsal.first_pass]
    time, fast = event.cycles.time[keep], event.cycles.bank_voltage_peak[keep]
    return guide_of(scaled(time, fast, rehearsal.first_pass, peaks))


def phase_course(rehearsal: Rehearsal) -> Iterator[page.Course]:
    """Phase of the bridge's current where the circuit ran, and the drive's loop along it."""
    spans = [(s, c) for s in rehearsal.first_pass for c in s.cycles]
    if rehearsal.is_whole:
        spans = spans[:: max(len(spans) // 200, 1)]
    times = np.array([c.start for _, c in spans])
    lags = np.array([phase_lag(s.waves, c, 1.0 / c.length) for s, c in spans])
    known = np.isfinite(lags)
    if not known.any():
        return
    inside = rehearsal.line.oscillator
    path = None if inside is None else inside.path
    guide = None if path is None or rehearsal.is_whole else (path.times, path.angle)
    curves = [page.Curve("current behind voltage", times[known], lags[known],
                         not rehearsal.is_whole, guide)]  # fmt: skip
    finding = f"The current lags by {lags[known][-1]:.3g} degrees in the end."
    if path is not None:
        curves.append(page.Curve("error of the loop", path.times, path.error))
        finding += f" The loop's error reaches {np.max(np.abs(path.error)):.2g} degrees."
        if path.blind:
            finding += " Its detector is blind for a part of the event."
        if path.limited:
            finding += " It is held by a limit of frequency for a part of the event."
    yield page.Course("phase", "deg", tuple(curves), finding=finding)


def _crossing(first: float, last: float) -> str:
    side = ["below", "above"]
    if (first > 1.0) == (last > 1.0):
        return f"The drive stays {side[last > 1.0]} the resonance of the load."
    return f"The drive starts {side[first > 1.0]} the load's resonance and ends {side[last > 1.0]}."


def _largest(series: Iterable[Series], quantity: str) -> tuple[Array, Array]:
    """Largest value over all parts, cycle by cycle or transition by transition."""
    mine = [s for s in series if s.quantity == quantity]
    times = np.unique(np.concatenate([s.times for s in mine]))
    values = np.full(len(times), -np.inf)
    for s in mine:
        where = np.searchsorted(times, s.times)
        np.maximum.at(values, where, s.values)
    return times, values

"""The core's flux in samples, without the offset that a sample's own start leaves in it.

A short run behind a gate transformer begins with empty gates, which takes an uncertain area from
the bridge voltage; what the seed adds in return (start_flux.py) makes up for a part of it. With
gates that start charged a small offset is left by the edges of the first cycle. Either hardly
fades while a sample lasts and says nothing of the machine, so the flux counts as half of its
swing. Half of the offset goes into the error, for what the event itself pushes the flux aside is
taken out with it; all of it where the peak with its offset comes near saturation, for there the
offset changes the swing.
"""

from collections.abc import Sequence
from dataclasses import replace

from simkit.parameters.machine import Machine
from simkit.rehearsal.stretches import Stretch

UNSURE = 0.5
"""Share of a taken-out offset that counts as error where the core is linear [1]: whole runs through
an event keep up to that much of it (docs/numerics.md holds the result to it)."""
UNSEEN = 2.0
"""On the offset seen before an event where it swings to and fro with a capacitor in series [1]: it
may be near its zero in so few cycles. A drop-in on a random half bridge had 1.6 times the seen."""
NEAR = 0.8
"""Share of the saturation flux from which on a core is not taken as linear [1]."""


def flux_offset(machine: Machine, stretch: Stretch) -> float:
    """Mean of the highest and lowest flux over a stretch's measured cycles [T]."""
    part = stretch.waves.between(stretch.cycles[0].start, stretch.cycles[-1].end)
    linked = machine.transformer.primary_turns * machine.transformer.core_area
    return 0.5 * float(part.linkage.max() + part.linkage.min()) / linked


def without_offset(machine: Machine, stretches: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """The same stretches, their flux peaks taken as half of the swing."""
    return tuple(_evened(machine, stretch) for stretch in stretches)


def _evened(machine: Machine, stretch: Stretch) -> Stretch:
    offset = abs(flux_offset(machine, stretch))
    series = tuple(
        replace(s, values=s.values - offset) if s.quantity == "flux_peak" else s
        for s in stretch.series
    )
    return replace(stretch, series=series)


def offset_error(machine: Machine, stretches: Sequence[Stretch]) -> float:
    """What the offsets taken out may have hidden of the flux [T]."""
    worst = max((abs(flux_offset(machine, s)) for s in stretches), default=0.0)
    peaks = [s.worst[0] for x in stretches for s in x.series if s.quantity == "flux_peak"]
    linear = max(peaks, default=0.0) + worst < NEAR * machine.transformer.saturation_flux
    return worst * (UNSURE if linear else 1.0)


def start_offset(machine: Machine, whole: Stretch, settled: float) -> float:
    """Largest offset that a whole run's own start left in the flux [T].

    Read from each cycle up to `settled` [s], in which nothing pushes the flux aside. With a
    blocking capacitor, or a midpoint of two, it swings to and fro, and on through the event, where
    it cannot be told from what the event does.
    """
    calm = tuple(c for c in whole.cycles if c.end <= settled + 1e-9) or whole.cycles[:1]
    seen = max(abs(flux_offset(machine, replace(whole, cycles=(cycle,)))) for cycle in calm)
    return seen * (UNSEEN if _in_series(machine) else 1.0)


def _in_series(machine: Machine) -> bool:
    blocked = machine.transformer.blocking_capacitance is not None
    return blocked or machine.bridge.form.far_end == "midpoint"


def offset_current(machine: Machine, offset: float) -> float:
    """What an offset of the flux [T] adds to the primary current [A]: times N A over the
    magnetising inductance.

    Source: Faraday's law. Range: a core below its knee; beyond it the flux itself has no figure.
    """
    wound = machine.transformer
    return offset * wound.primary_turns * wound.core_area / wound.magnetising_inductance

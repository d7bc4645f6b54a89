"""The link's crest under load: by how much figures are told too large.

A rehearsal's link stands where the mains' peak would hold it without load, which is where it is
when the heater is switched on and after its load has gone. Line, diodes and the short time in which
they conduct keep the crest of a machine at work below it: what follows the link's voltage is then
told too large, never too small. That is no doubt of the upper end, so that it moves no figure
nearer to its limit; it stands beside the numerical error as the error downward.
"""

from dataclasses import replace

from simkit.figures.table import figures
from simkit.judge.verdict import Judged
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.mains_limits import mains_states
from simkit.rehearsal.ripple import moved
from simkit.rehearsal.sensitivity import gain

EXPONENTS = {"W": 2.0, "J": 2.0, "degC": 2.0, "W/m^3": 3.0}
"""Of the link's voltage in what a unit measures [1]: heat goes with its square, a core's loss with
a flux's 2.5th to 3rd power (common for power ferrites)."""
APART = frozenset((
    "mains_current_rms", "rectifier_current", "link_ripple_current", "rectifier_surge",
    "inrush_melting", "precharge_energy", "bleeder_power", "link_voltage_peak",
    "film_voltage_peak", "gate_voltage_peak", "driver_power", "driver_current_peak",
    "gate_volt_seconds",
))  # fmt: skip
"""What has its own march of the mains, is worst without load, or does not follow the link."""


def crest_share(rehearsal: Rehearsal) -> float:
    """By how much the link's crest under load lies below the rehearsal's, as a share of it [1].

    The lower one of the states before and after the events; 0 without a rectifier, where the
    scenario itself moves the supply, and where a march does not come to rest.
    """
    machine, rectifier = rehearsal.machine, rehearsal.machine.supply.rectifier
    if rectifier is None or moved(rehearsal):
        return 0.0
    found = (mains_states(rehearsal) or {}).values()
    crests = [d.highest for d in found if d is not None and d.settled]
    return max(1.0 - min(crests) / machine.supply.voltage, 0.0) if crests else 0.0


def with_crest(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal, its figures with the error downward that the unloaded crest brings."""
    share = crest_share(rehearsal)
    if share <= 0.0:
        return rehearsal
    return replace(rehearsal, rows=tuple(lowered(rehearsal, row, share) for row in rehearsal.rows))


def lowered(rehearsal: Rehearsal, row: Judged, share: float) -> Judged:
    """A row with its error downward; `share` by which the crest is told too high [1]."""
    kept = figures()[row.quantity].remembers == "gate" or row.quantity in APART
    if kept or row.value is None or row.error is None:
        return row
    follows = EXPONENTS.get(row.unit)
    if follows is None:
        follows = gain(row.quantity, rehearsal.scout.event, row.time_s or 0.0)
    zero = rehearsal.machine.cooling.ambient if row.unit == "degC" else 0.0
    return replace(row, error_below=row.error + follows * share * max(row.value - zero, 0.0))

"""The mains' side of a rehearsal for its result document."""

from simkit.parts.mains import Drawn
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.mains_limits import mains_states
from simkit.result.mains import Mains, MainsState


def mains_document(rehearsal: Rehearsal) -> Mains | None:
    """Current, power factor and the link's ripple in either state; None without a rectifier."""
    states = mains_states(rehearsal)
    if states is None:
        return None
    return Mains(_state(states["before"]), _state(states["after"]))


def _state(found: Drawn | None) -> MainsState | None:
    if found is None:
        return None
    return MainsState(
        current_rms_a=found.rms,
        current_peak_a=found.peak,
        power_w=found.power,
        power_factor=found.power_factor,
        link_mean_v=found.mean,
        link_highest_v=found.highest,
        link_lowest_v=found.lowest,
        link_ripple_v=found.ripple,
        settled=found.settled,
    )

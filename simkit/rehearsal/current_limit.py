"""A drive that limits its current, in samples: how near the limit the fast model's frequency holds.

Samples run at the frequency of the fast model, whose level is the fundamental's peak; the circuit's
is the mean of the rectified current, harmonics and all. Against a loop inside the deck the currents
came out 3.4 % low while the frequency was still on its way up. So near a limit samples say nothing.
"""

from dataclasses import replace

from simkit.rehearsal.findings import Rehearsal

NEAR = 0.92
"""Share of a limit from which on such samples are no verdict [1]: 4 % of a current, squared."""


def with_current_limit(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal, without a verdict where samples of such a drive come too near a limit."""
    loop = rehearsal.machine.drive.loop
    if loop is None or loop.current_limit is None or rehearsal.is_whole:
        return rehearsal
    closest = max((row.ratio or 0.0 for row in rehearsal.rows), default=0.0)
    found = rehearsal.verdict
    if found.outcome != "within_limits" or closest < NEAR:
        return rehearsal
    said = (
        f"{found.reason} The drive limits its current, which samples follow to 4 %: that is too "
        "near to say."
    )
    return replace(rehearsal, verdict=replace(found, outcome="no_verdict", reason=said))

"""Events that the run did not see to their end, because the scenario says when it `ends`.

A limit that holds in the first fifth of an event says nothing of the rest. So such a run is no
"within the limits checked"; what went over a limit before the end stays over.
"""

from dataclasses import replace

from simkit.circuit.timeline import NamedEvent, Timeline
from simkit.judge.verdict import Verdict
from simkit.rehearsal.findings import Rehearsal
from simkit.units import format_quantity

UNDRIVEN = frozenset({"pull-out", "drop-in", "becomes", "coil", "shorted-turn", "clamp-resistance",
                      "frequency"})  # fmt: skip
"""Events that do nothing any more once the gates are off and the tank has rung out."""


def with_cut(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal, its verdict telling of events that were cut; the same when none was."""
    if not rehearsal.line.cut or undriven(rehearsal):
        return rehearsal
    return replace(rehearsal, verdict=told(rehearsal.verdict, rehearsal.line))


def undriven(rehearsal: Rehearsal) -> bool:
    """Whether the drive was off for good before the cut, and all that goes on needs its power."""
    off = bool(rehearsal.tripped) and rehearsal.tripped[-1].again is None
    told = [f.kind for f in rehearsal.line.faults if f.kind in ("trip", "restart", "start")]
    off = off or (not rehearsal.tripped and told[-1:] == ["trip"])
    return off and all(e.name in UNDRIVEN for e in rehearsal.line.cut)


def told(found: Verdict, line: Timeline) -> Verdict:
    """A verdict that says which events the run did not see to their end."""
    said = f"{_sentence(line)} {found.reason}"
    if found.outcome == "over_limit":
        said = f"{found.reason} {_sentence(line)}"
    outcome = "no_verdict" if found.outcome == "within_limits" else found.outcome
    return replace(found, outcome=outcome, reason=said)


def _sentence(line: Timeline) -> str:
    names = " and ".join(f"{e.name} ({_share(e, line):.0%} of it done)" for e in line.cut)
    end = format_quantity(line.end, "s", 3)
    return f"The run ends at {end}, in the midst of {names}; what comes then was not rehearsed."


def _share(event: NamedEvent, line: Timeline) -> float:
    return (line.end - event.start) / (event.end - event.start)

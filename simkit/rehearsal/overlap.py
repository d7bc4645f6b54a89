"""Gates that leave nothing of the dead time: shoot-through, a finding whatever the ratings say.

How large the current through both switches of a leg gets is the circuit's to tell, and may stay
below every rating. That both are on at once is seen from the commands and the gates' own delays,
before and after every event that changes them.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from simkit.circuit.timeline import Timeline
from simkit.judge.verdict import Judged, verdict
from simkit.parameters.machine import Machine
from simkit.rehearsal.findings import Rehearsal, context_of
from simkit.scout.drive import LEAST, gate_delays

SOURCE = "drive.dead_time, or what an event makes of it"


@dataclass(frozen=True)
class Taken:
    """What the gates take of a dead time from some moment on.

    Fields: time [s]; taken: the turn-off's delay less the turn-on's, and the driver's edge [s];
    dead_time that is commanded [s].
    """

    time: float
    taken: float
    dead_time: float

    @property
    def too_much(self) -> bool:
        """Whether both switches of a leg are on at once."""
        return self.taken > self.dead_time


def courses(machine: Machine, line: Timeline) -> Iterator[Taken]:
    """What the gates take from the start on, and after every event on gates or dead time."""
    delays, drive = gate_delays(machine), machine.drive
    taken = delays.off - delays.on + drive.edge_time + (drive.delay_spread or 0.0)
    dead, late = drive.dead_time, 0.0
    yield Taken(0.0, taken, dead)
    for fault in sorted(line.faults, key=lambda f: f.start):
        if fault.kind == "dead-time":
            dead = float(fault.event.dead_time or 0.0)
        elif fault.kind == "turn-off-delay":
            late = float(fault.event.delay or 0.0)
        else:
            continue
        yield Taken(fault.start, taken + late, dead)


def with_overlap(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal, over where gates overlap; the same where they do not."""
    found = [t for t in courses(rehearsal.machine, rehearsal.line) if t.too_much]
    if not found:
        return rehearsal
    rows, line = (*rehearsal.rows, row(found)), rehearsal.line
    first = min((e.start for e in line.events), default=None)
    said = verdict(rows, first, context_of(rows, rehearsal.modes, line), 1.0 / line.frequency.first)
    return replace(rehearsal, rows=rows, verdict=said)


def row(found: list[Taken]) -> Judged:
    """The worst of them as a judged figure; it is worked out, so that its error is none."""
    worst = max(found, key=lambda t: t.taken - t.dead_time)
    limit = max(worst.dead_time, LEAST)
    return Judged(
        part="bridge", quantity="gate_overlap", unit="s", value=worst.taken, error=0.0,
        limit=limit, ratio=worst.taken / limit, time_s=worst.time, first_over_s=found[0].time,
        status="over", source=SOURCE,
    )  # fmt: skip

"""Judged figures of drawn machines: the circuit's figure of the file's own machine, times what the
fast model makes of another one.

The fast model's figure is calibrated on the one machine that the circuit ran. Where it has no
figure, or where its settled answer does not show what the march of the event shows, or where a
diode is forced off that none is forced off in the circuit's run, nothing is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simkit.figures.record import Fast, FastEvent
from simkit.figures.switch_temperature import settled
from simkit.figures.table import figures
from simkit.judge.verdict import Judged
from simkit.parameters.machine import Machine
from simkit.scout.draws import Drawn
from simkit.studies.maps.space import Array
from simkit.studies.tolerance.parts import ALONG, RISES

EVENTFUL = 0.25
"""What the settled answer's largest value may be off the march's [1]: beyond it the event is too
quick for one that is settled at each moment."""
NO_GUESS = ("gate_voltage_peak", "gate_lift")
"""Figures that the fast model only points at: what an edge pushes into a gate is little known."""


ADDED_TO = ("channel_current_peak", "drain_current_rms", "junction_peak", "junction_held")
"""What a diode's recovery adds to: its current through the switch that forces it, and its heat."""
MODE = 0.05
"""Share of the primary current within which the fast model may be wrong about a diode [1]."""


@dataclass(frozen=True)
class Followed:
    """A judged row and its value for each draw, the file's own machine first; nan: not known.

    `least`: where the value is one, as a diode is forced off there and what that adds is not known.
    """

    row: Judged
    values: Array
    least: NDArray[np.bool_]

    @property
    def told(self) -> Array:
        """The values that are more than a least."""
        return np.where(self.least, np.nan, self.values)


def event_of(machine: Machine, one: Drawn) -> FastEvent:
    """A drawn machine's moments as the fast model's event."""
    return FastEvent(machine, one.cycles, one.link, one.source)


def follow(
    rows: Sequence[Judged], march: FastEvent, machines: Sequence[Machine], drawn: Sequence[Drawn]
) -> list[Followed]:
    """Rows that the fast model follows; the others are left out."""
    events = [event_of(m, d) for m, d in zip(machines, drawn, strict=True)]
    known = np.array([d.known for d in drawn])
    newly, none = newly_forced(events), np.zeros(len(events), dtype=bool)
    found = []
    for row in rows:
        if row.value is None or row.ratio is None:
            continue
        if row.quantity in JUNCTIONS:
            values = _junction(row, events)
        elif row.quantity in RISES:
            values = _rise(row, march, events)
        else:
            values = _figure(row, march, events)
        if values is not None and np.isfinite(values[0]):
            least = newly if row.quantity in ADDED_TO else none
            found.append(Followed(row, np.where(known, values, np.nan), least))
    return found


def newly_forced(events: Sequence[FastEvent]) -> NDArray[np.bool_]:
    """Draws in which a diode may be forced off, where none is on the file's own machine."""
    shares = np.array([forced_share(e) for e in events])
    found = (shares > -MODE) & (shares[0] <= MODE)
    found[0] = False
    return np.asarray(found)


def _figure(row: Judged, march: FastEvent, events: Sequence[FastEvent]) -> Array | None:
    fast = figures()[row.quantity].fast
    if row.quantity in ALONG:
        fast = Fast(course=ALONG[row.quantity])
    if fast.course is None or row.value is None or row.quantity in NO_GUESS:
        return None
    own, seen = _top(fast, events[0]), _top(fast, march)
    if fast.only_forced:
        return _forced(fast, row, own, seen, events)
    if own <= 0.0 or abs(own - seen) > EVENTFUL * seen:
        return None
    base = _known(fast, events[0])
    scale = max(row.value - float(np.max(base)), 0.0) / own
    values = np.array([_value(fast, e, scale) for e in events])
    if fast.above is None or forced_share(events[0]) > MODE:
        return values
    # what a forced diode breaks off comes on top of what turn-offs showed: not known
    return np.where([forced_share(e) > -MODE for e in events], np.nan, values)


def _rise(row: Judged, march: FastEvent, events: Sequence[FastEvent]) -> Array | None:
    """A part's temperature: its rise goes with its loss, the way of its heat kept."""
    course, begins = RISES[row.quantity]
    own, seen = float(np.max(course(events[0]))), float(np.max(course(march)))
    if row.value is None or own <= 0.0 or abs(own - seen) > EVENTFUL * seen:
        return None
    rise = (row.value - begins(events[0].machine)) / own
    return np.array([begins(e.machine) + rise * float(np.max(course(e))) for e in events])


def _forced(fast: Fast, row: Judged, own: float, seen: float, events: Sequence[FastEvent]) -> Array:
    """A recovery's figure: scaled where the circuit's run had one too; where clearly none is forced
    off no more than the circuit's, which tells nothing once that is over; else not known."""
    assert row.value is not None
    shares = np.array([forced_share(e) for e in events])
    if shares[0] > MODE and own > 0.0 and abs(own - seen) <= EVENTFUL * seen:
        return np.array([row.value / own * _top(fast, e) for e in events])
    most = row.value if row.value < row.limit else np.nan
    found = np.where(shares < -MODE, most, np.nan)
    found[0] = row.value
    return found


def forced_share(event: FastEvent) -> float:
    """Largest current forced out of a diode, over the primary's [1]; negative while none is."""
    cycles = event.cycles
    return float(np.max(-cycles.turn_on_current / cycles.primary_current_peak))


def _known(fast: Fast, event: FastEvent) -> Array:
    return np.zeros_like(event.link) if fast.above is None else fast.above(event)


def _top(fast: Fast, event: FastEvent) -> float:
    assert fast.course is not None
    return float(np.max(fast.course(event)))


def _value(fast: Fast, event: FastEvent, scale: float) -> float:
    assert fast.course is not None
    return float(np.max(_known(fast, event) + scale * fast.course(event)))


JUNCTIONS = ("junction_peak", "junction_held")
"""Figures that follow from the switches' loss."""


def _junction(row: Judged, events: Sequence[FastEvent]) -> Array | None:
    """Rise above the ambient: what the settled part makes of it goes with that loss, the rest with
    the largest loss of the event, or with the last; a last state that loses no more than the
    settled part is hottest where it begins."""
    machine, value = events[0].machine, row.value
    losses = np.array([_losses(e) for e in events])
    first, held = losses[0], row.quantity == "junction_held"
    if value is None or not np.isfinite(first).all() or np.min(first) <= 0.0:
        return None
    ambient = machine.cooling.ambient
    base = min(settled(machine, float(first[0])) - ambient, value - ambient)
    rest = value - ambient - base
    if held and first[2] <= first[0]:
        rises = (base + rest) * np.maximum(losses[:, 0], losses[:, 2]) / first[0]
    else:
        which = 2 if held else 1
        rises = base * losses[:, 0] / first[0] + rest * losses[:, which] / first[which]
    own = _resistance(machine)
    paths = np.array([_resistance(e.machine) / own for e in events])
    ambients = np.array([e.machine.cooling.ambient for e in events])
    return np.asarray(ambients + rises * paths)


def _losses(event: FastEvent) -> tuple[float, float, float]:
    loss = event.cycles.bridge_loss
    return float(loss[0]), float(np.max(loss)), float(loss[-1])


def _resistance(machine: Machine) -> float:
    """Rise of a junction above the ambient for a watt of loss [K/W]."""
    return settled(machine, 1.0) - machine.cooling.ambient

"""Switched faults of a timeline: contacts that open or close, as conductances over time.

A fault element of the deck carries i = v exp(g(t)), g the logarithm of its conductance, so that a
contact goes from closed to open (or back) along a smooth curve through all decades at an even
pace, and never below or above finite values.
"""

from dataclasses import dataclass
from math import log

from simkit.circuit.profile import Change, Profile
from simkit.parameters.events import EDGE, Event

CLOSED = 1e3
"""Conductance of a closed contact [S]: 1 milliohm, less than any contact in the circuit."""
OPEN = 1e-9
"""Conductance of an open gate lead [S]: far below its bleed resistor's and any leakage."""
APART = 1e-5
"""Conductance of an open contact of the power circuit [S]: milliamperes at link voltage."""
RESTING = 0.1
"""Conductance towards its voltage at rest of a node before a start [S]: 10 ohm take the charge of
its switches within tens of nanoseconds, and leave no ring with the transformer."""
CORNERS = 10
"""Straight pieces along which a contact opens or closes [1]."""


@dataclass(frozen=True)
class Fault:
    """An event that changes the circuit or its gates, with its times [s]."""

    event: Event
    start: float
    end: float

    @property
    def kind(self) -> str:
        """Kind of its event."""
        return self.event.kind

    def hits(self, switch: int) -> bool:
        """Whether it happens to a switch."""
        return switch in (self.event.switches or ())


def opening(fault: Fault) -> Profile:
    """Logarithm of the conductance of a contact that opens [ln S]."""
    return _from_to(fault, CLOSED, OPEN if fault.kind == "gate-open" else APART)


def fading(fault: Fault) -> Profile:
    """Logarithm of the share of its conductance that a driver has left without supply [1]."""
    return _from_to(fault, 1.0, OPEN)


def closing(fault: Fault, resistance: float) -> Profile:
    """Logarithm of the conductance of a contact that closes to a resistance [ohm] [ln S]."""
    return _from_to(fault, APART, 1.0 / resistance)


def resting(fault: Fault) -> Profile:
    """Logarithm of the conductance that holds a node at rest until a start [ln S]."""
    change = Change(fault.start - EDGE, fault.start, log(RESTING), log(OPEN))
    return Profile(log(RESTING), (change,), CORNERS)


def _from_to(fault: Fault, before: float, after: float) -> Profile:
    end = max(fault.end, fault.start + EDGE)
    change = Change(fault.start, end, log(before), log(after))
    return Profile(log(before), (change,), CORNERS)


def driver_level(faults: tuple[Fault, ...], on: float, time: float) -> float:
    """Drivers' supply at a time [V]: it falls, or rises, along a straight line."""
    level = on
    for fault in faults:
        if fault.kind == "driver-supply" and time > fault.start:
            share = min((time - fault.start) / max(fault.end - fault.start, EDGE), 1.0)
            level += share * (float(fault.event.voltage or 0.0) - level)
    return level


def locked_out(faults: tuple[Fault, ...], on: float, least: float | None) -> float | None:
    """When the drivers' supply has fallen to a level [s]; None where it never does."""
    level = on
    for fault in faults:
        if fault.kind != "driver-supply" or least is None:
            continue
        target = float(fault.event.voltage or 0.0)
        if target < least <= level:
            share = (level - least) / (level - target)
            return fault.start + share * max(fault.end - fault.start, EDGE)
        level = target
    return None


def of_kind(faults: tuple[Fault, ...], kind: str) -> Fault | None:
    """The first fault of a kind, None when there is none."""
    return next((f for f in faults if f.kind == kind), None)

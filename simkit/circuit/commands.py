"""Gate commands: what each driver is told, as a source of the deck.

At constant frequency with nothing wrong a command is a PULSE source. Otherwise it is a list of
toggles (time, on or off), made from the drive's half periods and then changed by what goes wrong,
and laid out as break points with the driver's edges.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import ceil

from simkit.circuit.faults import Fault, driver_level, locked_out
from simkit.circuit.timeline import Timeline
from simkit.parameters.machine import Drive

LEGS = {1: "a", 2: "a", 3: "b", 4: "b"}


@dataclass(frozen=True)
class Toggles:
    """On or off over time: the state before the first time, and the times at which it turns [s]."""

    first: bool
    times: tuple[float, ...]

    def at(self, time: float) -> bool:
        """State at a time [s]."""
        return self.first ^ (bisect_right(self.times, time) % 2 == 1)

    def within(self, start: float, end: float, other: "Toggles") -> "Toggles":
        """The same, but like another one from start to end [s]."""
        times = [t for t in self.times if not start <= t < end]
        times += [t for t in other.times if start < t < end]
        if self.at(start) != other.at(start) or start in self.times:
            times.append(start)
        if end != float("inf") and self.at(end) != other.at(end):
            times.append(end)
        return _clean(self.first, sorted(times), self, start, end, other)


def _clean(
    first: bool, times: list[float], one: Toggles, start: float, end: float, other: Toggles
) -> Toggles:
    """Only the times at which the state really turns."""
    state, kept = first, []
    for time in times:
        now = other.at(time) if start <= time < end else one.at(time)
        if now != state:
            kept.append(time)
            state = now
    return Toggles(first, tuple(kept))


ON = Toggles(True, ())
OFF = Toggles(False, ())


def command(
    line: Timeline,
    drive: Drive,
    switch: int,
    first: bool,
    on: float,
    off: float,
    opposite: bool = False,
) -> str:
    """Source of one gate command, from off to on in its half period.

    `opposite`: the command of the other half period, which a gate transformer's driver puts on
    the primary the other way round.
    """
    late = spread_of(drive, switch)
    if line.frequency.constant and not any(told_otherwise(f) for f in line.faults):
        return pulse_command(line, drive, first, on, off, late)
    told = told_to(line, drive, switch, first, opposite)

    def level(is_on: bool, time: float) -> float:
        return driver_level(line.faults, on, time) if is_on else off

    points = [(0.0, level(told.at(line.begin), line.begin))]
    for time in told.times:
        if line.begin < time < line.stop:
            middle, half = time - line.begin, 0.5 * drive.edge_time
            points += [(middle - half, level(not told.at(time), time - half))]
            points += [(middle + half, level(told.at(time), time + half))]
    return "pwl(" + " ".join(f"{t:.12g} {v:.12g}" for t, v in _rising(points)) + ")"


def _rising(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points without those that do not come later than the one before."""
    kept = points[:1]
    for time, value in points[1:]:
        if time > kept[-1][0] + 1e-11:
            kept.append((time, value))
    return kept


def told_otherwise(fault: Fault) -> bool:
    """Whether a fault changes what the drivers are told or put out."""
    return fault.event.about.changes == "gates" or fault.kind == "driver-supply"


def spread_of(drive: Drive, switch: int) -> float:
    """By how much a switch's channel is later than the others [s]."""
    return (drive.delay_spread or 0.0) if switch == 1 else 0.0


def told_to(
    line: Timeline, drive: Drive, switch: int, first: bool, opposite: bool = False
) -> Toggles:
    """What a driver is told once everything that went wrong is in it."""
    own, other = (_pattern(line, drive, switch, x) for x in (first, not first))
    for fault in line.faults:
        if fault.kind == "gate-reversed" and fault.hits(switch):
            own, other = (
                own.within(fault.start, float("inf"), other),
                other.within(fault.start, float("inf"), own),
            )
    for fault in line.faults:
        if fault.kind == "gates-together" and LEGS[switch] == fault.event.leg:
            end = fault.end if fault.event.duration is not None else float("inf")
            own = own.within(fault.start, end, OFF if opposite else ON)
        if fault.kind == "start":
            own = own.within(float("-inf"), on_from(line, fault), OFF)
        if fault.kind == "trip":
            own = own.within(fault.start, _until(line, fault), OFF)
    gone = locked_out(line.faults, drive.voltage_on, drive.lock_out)
    return own if gone is None else own.within(gone, float("inf"), OFF)


def on_from(line: Timeline, fault: Fault) -> float:
    """When the gates of a start come on [s]: with the next half period, or in its middle."""
    late = 0.25 if fault.event.first_half == "halved" else 0.0
    boundary = 0.5 * ceil(2.0 * line.phase(fault.start) - 1e-9)
    return line.time_of(boundary + late)


def _until(line: Timeline, trip: Fault) -> float:
    """When the gates come on again after a trip [s]; infinity where they never do."""
    later = [f for f in line.faults if f.kind == "restart" and f.start >= trip.start]
    return on_from(line, later[0]) if later else float("inf")


def _pattern(line: Timeline, drive: Drive, switch: int, first: bool) -> Toggles:
    """Toggles of a switch that is on in the half period holding time zero, or in the other one."""
    shift = line.phase(line.begin)
    state = is_on = first == (int(shift // 0.5) % 2 == 0)
    times = []
    for boundary in line.boundaries(line.begin, line.stop).tolist():
        dead = dead_time_at(line, drive, boundary)
        late = spread_of(drive, switch)
        late += _delay(line.faults, switch, boundary) if is_on else 0.0
        times.append(boundary + (-0.5 if is_on else 0.5) * dead + late)
        is_on = not is_on
    return Toggles(state, tuple(times))


def dead_time_at(line: Timeline, drive: Drive, time: float) -> float:
    """Dead time at a boundary [s]: the drive's, or what a fault has made of it."""
    late = [f for f in line.faults if f.kind == "dead-time" and f.start <= time]
    return float(late[-1].event.dead_time or 0.0) if late else drive.dead_time


def _delay(faults: tuple[Fault, ...], switch: int, time: float) -> float:
    late = [f for f in faults if f.kind == "turn-off-delay" and f.hits(switch) and f.start <= time]
    return float(late[-1].event.delay or 0.0) if late else 0.0


def pulse_command(
    line: Timeline, drive: Drive, first: bool, on: float, off: float, late: float = 0.0
) -> str:
    """PULSE source of one gate at constant frequency; edges are counted at half height.

    `late`: by how much its channel is later than the others [s].
    """
    period = 1.0 / line.frequency.first
    edge, dead = drive.edge_time, drive.dead_time
    on_width = 0.5 * period - dead - edge
    shift = line.phase(line.begin)
    to_boundary = (0.5 - (shift % 0.5)) * period + late
    starts_on = first == (int(shift // 0.5) % 2 == 0)
    if starts_on:
        numbers = (on, off, to_boundary - 0.5 * (dead + edge), edge, edge)
        width = period - on_width - 2.0 * edge
    else:
        numbers = (off, on, to_boundary + 0.5 * (dead - edge), edge, edge)
        width = on_width
    return "pulse(" + " ".join(f"{x:.12g}" for x in (*numbers, width, period)) + ")"

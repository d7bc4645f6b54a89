"""A charge on its way to its temperature, where the piece in the coil is known by ruler.

The circuit ran at one temperature; the minutes that follow go through all of them. At each the
piece is worked out anew (`parts.heated`) and the fast model says what the drive then does: power,
mode, every judged figure. Where the resonance comes to meet a drive that stays at its frequency, or
a figure comes to its limit, no circuit has run: such a scenario is never within the limits checked.
"""

from dataclasses import dataclass, replace
from math import inf, isfinite, pi

from simkit.circuit.timeline import by_hand
from simkit.errors import Unworkable
from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.parameters.aftermath import Charge
from simkit.parameters.coil import PieceGeometry
from simkit.parameters.machine import Machine
from simkit.parts import heating
from simkit.parts.heated import Hot, crossing, heated, temperatures
from simkit.parts.materials import material
from simkit.rehearsal.aftermath import TIME_TO_TARGET, moisture_in
from simkit.rehearsal.findings import Rehearsal, SlowFact
from simkit.rehearsal.mains_limits import over_the_mains
from simkit.scout.operating import Case, OperatingPoint, operating_cases
from simkit.units import format_quantity

FAST = 0.04
"""By how much the fast model's figures may be off [1] (docs, numerics)."""
MEETS = "resonance meets the drive"
"""Name of the fact that the report tells on its first screen."""
HOW = "the fast model at each temperature, no circuit run"


@dataclass(frozen=True)
class Course:
    """A piece on its way from start to target: temperatures, and the drive's point at each."""

    name: str
    hot: tuple[Hot, ...]
    points: tuple[OperatingPoint, ...]
    margin: float
    """Least, of the drive over the resonance, doubts taken off [1]."""
    crosses: float | None
    """Where the resonance meets the drive first [degC]."""


def with_heating_course(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal with its charge's course; "no verdict" where that leaves what was rehearsed."""
    found = course_of(rehearsal)
    if found is None:
        return rehearsal
    facts = _facts(rehearsal, found)
    kept = [f for f in rehearsal.slow if f.name not in {new.name for new in facts}]
    rehearsal = replace(rehearsal, slow=(*kept, *facts))
    verdict, said = rehearsal.verdict, _unrehearsed(rehearsal, found)
    if verdict.outcome != "within_limits" or not said:
        return rehearsal
    reason = f"{verdict.reason} But {said}"
    return replace(rehearsal, verdict=replace(verdict, outcome="no_verdict", reason=reason))


def last_load(rehearsal: Rehearsal) -> str:
    """Name of what is in the coil when the events are over."""
    events = sorted(rehearsal.scenario.events, key=lambda event: event.at)
    names = [str(event.load) for event in events if event.load is not None]
    return names[-1] if names else rehearsal.scenario.start.load


def course_of(rehearsal: Rehearsal) -> Course | None:
    """The course of a scenario's charge; None where it has none, or its piece is not known so."""
    after, machine = rehearsal.scenario.aftermath, rehearsal.machine
    piece = machine.workpieces.get(last_load(rehearsal))
    if after is None or after.charge is None or piece is None or piece.geometry is None:
        return None
    charge = after.charge
    if charge.material not in _materials(piece.geometry) or charge.target <= charge.start:
        return None
    line, name, kept = rehearsal.line, last_load(rehearsal), followed(rehearsal)
    if not line.voltage.last > 0.0 or any(trip.again is None for trip in rehearsal.tripped):
        return None  # nothing heats on
    frequency = None if kept is not None else line.frequency.last
    celsius = temperatures(piece.geometry, charge.start, charge.target)
    hot = heated(machine, name, celsius, frequency, kept or 0.0, line.voltage.last)
    cases = [Case(h.load, h.frequency, None, line.voltage.last) for h in hot]
    try:
        points = operating_cases(machine, cases)
    except Unworkable:
        points = ()
    return Course(name, hot, points, *crossing(hot, machine.resonance))


def followed(rehearsal: Rehearsal) -> float | None:
    """Margin over the resonance that the drive is taken to keep [1]; None where it stays.

    A loop that holds an angle or a lead time, or oscillates by itself, follows too: as if it kept
    the margin it has in the last state.
    """
    machine, scenario, line = rehearsal.machine, rehearsal.scenario, rehearsal.line
    loop = machine.drive.loop
    holds = loop is not None and loop.holds != "none" and not by_hand(scenario)
    if scenario.start.tracks or holds:
        return line.frequency.last / machine.resonance(line.inductance.last) - 1.0
    return None


def _materials(geometry: PieceGeometry) -> set[str]:
    return {part.material for part in (geometry, geometry.charge) if part is not None}


def crucible_of(geometry: PieceGeometry, charge: Charge) -> tuple[heating.Body, ...]:
    """The wall around a charge, heated along with it: volume times density [kg]; () for none."""
    if geometry.charge is None or geometry.wall is None or charge.material == geometry.material:
        return ()
    made = material(geometry.material)
    section = pi * geometry.wall * (geometry.diameter - geometry.wall)
    mass = section * geometry.length * made.density.values[0]
    return (heating.body_of(made, mass, melts=False),)


def _facts(rehearsal: Rehearsal, course: Course) -> list[SlowFact]:
    after, machine = rehearsal.scenario.aftermath, rehearsal.machine
    assert after is not None
    assert after.charge is not None
    resonances = [machine.resonance(hot.load.inductance) for hot in course.hot]
    low, high = min(resonances), max(resonances)

    def when(value: float) -> str:
        return f"at {course.hot[resonances.index(value)].celsius:.0f} degC; {HOW}"

    met = "doubt of L taken off; " + HOW
    return [
        *_times(rehearsal, course, after.charge),
        SlowFact("resonance while it heats, lowest", low, "Hz", when(low)),
        SlowFact("resonance while it heats, highest", high, "Hz", when(high)),
        SlowFact("drive over the resonance, least", course.margin, "1", met),
        SlowFact(MEETS, course.crosses, "degC", met),
    ]


def _times(rehearsal: Rehearsal, course: Course, charge: Charge) -> list[SlowFact]:
    """Power and time to the target; none where the fast model gave no power."""
    share = over_the_mains(rehearsal)
    rows = [
        (hot.celsius, point.coil_current_rms**2 * hot.load.resistance * hot.share * share)
        for hot, point in zip(course.hot, course.points, strict=False)
        if point.converged
    ]
    if len(rows) < len(course.hot):
        return []
    piece = rehearsal.machine.workpieces[course.name].geometry
    assert piece is not None
    walls = crucible_of(piece, charge)
    body = heating.body_of(material(charge.material), charge.mass)
    bodies = (body, *walls, *moisture_in(charge))
    losses = heating.Losses(
        charge.radiating_area, charge.emissivity, charge.insulation,
        rehearsal.machine.cooling.ambient,
    )  # fmt: skip
    took, note = inf, "the losses eat the power at the start"
    try:
        found = heating.heat_through(bodies, losses, rows)
        took, note = found.time_at(charge.target), f"to {charge.target:g} degC, power as it goes"
        if found.stalled is not None:
            note = f"the losses eat the power at {found.stalled:.0f} degC"
    except ValueError:
        pass
    least, most = min(rows, key=lambda row: row[1]), max(rows, key=lambda row: row[1])
    needed = sum(heating.heat_content(b, charge.start, charge.target).value for b in bodies)
    with_wall = f"to {charge.target:g} degC" + (", crucible with it" if walls else "")
    return [
        SlowFact("heat the charge needs", needed, "J", with_wall),
        SlowFact("power into the piece, least", least[1], "W", f"at {least[0]:.0f} degC; {HOW}"),
        SlowFact("power into the piece, most", most[1], "W", f"at {most[0]:.0f} degC; {HOW}"),
        SlowFact(TIME_TO_TARGET, took if took < inf else None, "s", note),
    ]


def _unrehearsed(rehearsal: Rehearsal, course: Course) -> str:
    """What the minutes bring that no circuit ran; empty where the run stands for them."""
    machine, where = rehearsal.machine, course.crosses
    if where is not None:
        return (
            f"while {course.name} heats its resonance meets the drive, at {where:.0f} degC: below "
            f"resonance from there on. {_rehearse(course.name, where, course.hot[0].frequency)}"
        )
    highest = max(hot.frequency for hot in course.hot)
    lowest = min(hot.frequency for hot in course.hot)
    if highest > machine.drive.frequency_max or lowest < machine.drive.frequency_min:
        return (
            f"while {course.name} heats the drive would have to follow its resonance from "
            f"{format_quantity(lowest, 'Hz')} to {format_quantity(highest, 'Hz')}, beyond "
            "drive.frequency_min or drive.frequency_max."
        )
    if len(course.points) < len(course.hot) or not all(p.converged for p in course.points):
        return f"the fast model gives no point on the way of {course.name} to its temperature."
    return _over(machine, course)


def _over(machine: Machine, course: Course) -> str:
    """The figure that comes nearest to its limit on the way, where it comes to it."""
    bounds = {limit.quantity: limit.bound for limit in machine_limits(machine)}
    worst, title, hot = 0.0, "", course.hot[0]
    for name, figure in figures().items():
        bound = bounds.get(name)
        if figure.fast.point is None or bound is None:
            continue
        shares = [figure.fast.point(machine, point) / bound for point in course.points]
        if not all(isfinite(share) for share in shares):
            continue
        most = max(shares)
        # What the run itself was near to is the run's to judge.
        if most > max(worst, shares[0] + FAST):
            worst, title, hot = most, figure.full_name, course.hot[shares.index(most)]
    if worst <= 1.0 - FAST:
        return ""
    return (
        f"while {course.name} heats, {title} comes to {worst:.0%} of its limit at "
        f"{hot.celsius:.0f} degC, by the fast model. "
        f"{_rehearse(course.name, hot.celsius, hot.frequency)}"
    )


def _rehearse(name: str, celsius: float, frequency: float) -> str:
    key = f"workpieces.{name}.geometry.temperature"
    return (
        f"Rehearse that: start.frequency {frequency / 1e3:.4g} kHz and "
        f'--set {key}="{celsius:.0f} degC".'
    )

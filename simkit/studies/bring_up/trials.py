"""Each powered stage rehearsed at its own setting: kept there, warmed through, lifted, dropped in.

A stage is a step of the sheet when what cannot be avoided there (running, and with a piece in the
coil its warming through) is within the limits checked. What may be avoided (a lift, a drop-in) is
forbidden where its rehearsal is over a limit or has no verdict, and the lowest tried frequency at
which both are within the limits checked is where to retreat to first.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from simkit.parameters.machine import Machine
from simkit.run.backend import Budget
from simkit.run.cache import Store
from simkit.run.cached import identity_of
from simkit.run.engines import engine
from simkit.run.pool import Executor, collected
from simkit.scout.bench import Setting, resonance, settled
from simkit.studies.all_faults.study import kept_as, rehearse_case
from simkit.studies.scenario.job import job_of
from simkit.studies.situations.base import HAND, Case, NotHere, draft, main_load
from simkit.studies.situations.operating import hot_piece

ENGINE = "ngspice"
KEPT, WARMED, LIFTED, DROPPED = "kept", "warm-through", "lift", "drop-in"
COLD_SET = "set-by-the-cold-piece"
"""Warmed through at the working margin above the cold resonance: what a sheet must not ask for."""
NEEDED = (KEPT, WARMED)
"""What a stage cannot avoid."""
WARMING = 4e-3
"""What takes minutes, shown in milliseconds: long against the tank's memory [s]."""
TAIL = 3e-4
"""What is shown after it [s]."""
WIDER = (1.0, 1.04, 1.08, 1.15)
"""Factors on a usual stage's frequency that are tried until it is a step [1]."""
RETREATS = (1.06, 1.12, 1.2)
"""Retreats tried, over the highest resonance on the way [1]; after them the drive's end."""


@dataclass(frozen=True)
class Trial:
    """One rehearsal.

    Fields: kind; frequency [Hz]; verdict; part, quantity and ratio [1] of the first limit to go or
    the nearest one; reason in words.
    """

    kind: str
    frequency: float
    verdict: str
    part: str | None
    quantity: str | None
    ratio: float | None
    reason: str

    @property
    def within(self) -> bool:
        """Whether it is within the limits checked: no verdict is not."""
        return self.verdict == "within_limits"


@dataclass(frozen=True)
class Course:
    """Resonances at a stage's voltage [Hz]; None where the machine file names no such load."""

    cold: float
    hot: float | None
    hot_load: str | None
    empty: float

    @property
    def highest(self) -> float:
        """Of all that can come while the drive stays [Hz]."""
        return max(self.cold, self.hot or 0.0, self.empty)


@dataclass(frozen=True)
class Trials:
    """What a stage came to in rehearsal."""

    frequency: float
    """Of the stage [Hz]."""
    course: Course
    here: tuple[Trial, ...]
    """At the stage's own frequency."""
    retreat: float | None
    """Lowest tried frequency at which lift and drop-in are within the limits checked [Hz]; the
    stage's own where both are so there; None when none is, or nothing can be lifted."""
    elsewhere: tuple[Trial, ...]
    """Rehearsals at frequencies tried as a retreat, and at the one the cold piece suggests."""

    @property
    def step(self) -> bool:
        """Whether the stage may stand on the sheet as a step."""
        return all(t.within for t in self.here if t.kind in NEEDED)

    @property
    def forbidden(self) -> tuple[Trial, ...]:
        """What may not be done at this setting."""
        seen = (*self.here, *(t for t in self.elsewhere if t.kind == COLD_SET))
        return tuple(t for t in seen if t.kind not in NEEDED and not t.within)


@dataclass(frozen=True)
class Rehearsals:
    """Where the rehearsals of a sheet run, and what is kept of them."""

    store: Store | None = None
    executor: Executor | None = None
    budget: Budget = field(default_factory=Budget)

    def run(self, cases: Mapping[Any, Case]) -> dict[Any, Trial]:
        """Every case by its key.

        Errors: EngineMissing when the engine is not there.
        """
        identity = identity_of(engine(ENGINE))
        jobs = {k: job_of(c.machine, c.scenario, ENGINE, self.budget) for k, c in cases.items()}
        keys = {k: kept_as(j, identity) for k, j in jobs.items()}
        work = {keys[k]: job for k, job in jobs.items()}
        found = collected(work, rehearse_case, self.store, self.executor,
                          keep=lambda r: not r["timed_out"])  # fmt: skip
        return {k: _trial(c, found[keys[k]]) for k, c in cases.items()}


def _trial(case: Case, found: Mapping[str, Any]) -> Trial:
    told = {name: found.get(name) for name in ("part", "quantity", "ratio")}
    start = case.scenario.start
    return Trial(case.scenario.name, float(start.frequency or 0.0), found["verdict"],
                 reason=found["reason"], **told)  # fmt: skip


def hot_load(machine: Machine, load: str) -> str | None:
    """The piece that a load becomes when it is warmed through, if the file names one."""
    if load == "empty":
        return None
    try:
        found = hot_piece(machine).get("load")
    except NotHere:
        return None
    return found if found != load else None


def course_of(machine: Machine, setting: Setting) -> Course:
    """How the resonance may wander at a setting's voltage."""
    volts = setting.supply_voltage

    def at(load: str) -> float:
        return resonance(machine, Setting(load, volts))

    hot = hot_load(machine, setting.load)
    return Course(at(setting.load), at(hot) if hot else None, hot, at("empty"))


def clear_of(machine: Machine, load: str, voltage: float, margin: float) -> float:
    """Margin above the cold resonance that leaves `margin` above the warm one too [1]."""
    course = course_of(machine, Setting(load, voltage))
    warm = max(course.cold, course.hot or 0.0)
    return float(f"{(1.0 + margin) * warm / course.cold - 1.0:.3g}")


def cases_at(machine: Machine, setting: Setting, frequency: float) -> dict[str, Case]:
    """What is rehearsed of a stage at a frequency [Hz]; what cannot happen there is left out."""
    volts = setting.supply_voltage
    if not setting.at_source:  # what the rails are to have is lifted by the drop before them
        there = replace(setting, frequency=frequency, margin=None)
        volts += machine.supply.source_resistance * settled(machine, there).supply_current
    return cases_for(machine, setting.load, {"frequency": frequency, "supply_voltage": volts})


def cases_for(machine: Machine, load: str, start: Mapping[str, Any]) -> dict[str, Case]:
    """What may happen to a load from a start, by kind; what cannot happen there is left out."""

    def case(kind: str, there: str, *events: Mapping[str, Any]) -> Case:
        return draft(machine, kind, load=there, events=events, start=start, tail=TAIL)

    out = {KEPT: case(KEPT, load)}
    if load != "empty":
        warming = _warming(machine, load)
        if warming is not None:
            out[WARMED] = case(WARMED, load, warming)
        out[LIFTED] = case(LIFTED, load, {"kind": "pull-out", "at": 0.0, "speed": HAND})
    try:
        piece = load if load != "empty" else main_load(machine)
    except NotHere:
        return out
    drop = {"kind": "drop-in", "load": piece, "at": 0.0, "speed": HAND}
    out[DROPPED] = case(DROPPED, "empty", drop)
    return out


def _warming(machine: Machine, load: str) -> dict[str, Any] | None:
    """The event that warms a load through: into the file's hot piece, or R alone; None for none."""
    try:
        step = dict(hot_piece(machine))
    except NotHere:
        return None
    return None if step.get("load") == load else step | {"duration": WARMING}


def needed(cases: Mapping[str, Case]) -> dict[str, Case]:
    """The cases less what another of them begins with: a warm-through runs as set before it."""
    return {k: c for k, c in cases.items() if k != KEPT or WARMED not in cases}


def rehearsed(
    machine: Machine, settings: Sequence[Setting], fixed: bool, where: Rehearsals,
    say: Callable[[float], None] | None = None,
) -> tuple[Trials, ...]:  # fmt: skip
    """Every powered stage; one that is no step is tried further above resonance unless `fixed`."""
    courses = [course_of(machine, s) for s in settings]
    usual = [s.drive(machine) for s in settings]
    found: dict[int, tuple[float, list[Trial]]] = {}
    for number, factor in enumerate(WIDER):
        left = [k for k in range(len(settings))
                if k not in found or (not fixed and not _step(found[k][1]))]  # fmt: skip
        at = {k: _reach(machine, usual[k] * factor) for k in left}
        cases = {k: needed(cases_at(machine, settings[k], at[k])) for k in left}
        trials = where.run({(k, kind): c for k in left for kind, c in cases[k].items()})
        for k in left:
            here = [t for key, t in trials.items() if key[0] == k]
            # The last frequency tried is not kept where none made it a step: the usual one is.
            if k not in found or _step(here):
                found[k] = (at[k], here)
        if say:
            say((number + 1.0) / (len(WIDER) + len(RETREATS) + 1.0))
    done = [_with_retreat(machine, s, courses[k], *found[k], where)
            for k, s in enumerate(settings)]  # fmt: skip
    if done and settings[-1].at_source:
        cold = _set_by_cold(machine, settings[-1], done[-1], where)
        done[-1] = replace(done[-1], elsewhere=(*done[-1].elsewhere, *cold))
    return tuple(done)


def _set_by_cold(
    machine: Machine, setting: Setting, trials: Trials, where: Rehearsals
) -> tuple[Trial, ...]:
    """The last stage warmed through from where the cold piece alone would have set it."""
    frequency = _reach(machine, (1.0 + machine.drive.working_margin) * trials.course.cold)
    rises = (trials.course.hot or 0.0) > trials.course.cold
    if not rises or frequency >= trials.frequency or frequency < machine.drive.frequency_min:
        return ()
    case = cases_at(machine, setting, frequency)[WARMED]
    found = where.run({COLD_SET: case})[COLD_SET]
    return (replace(found, kind=COLD_SET),)


def _step(trials: Sequence[Trial]) -> bool:
    return all(t.within for t in trials if t.kind in NEEDED)


def _reach(machine: Machine, frequency: float) -> float:
    return float(f"{min(frequency, machine.drive.frequency_max):.6g}")


def _with_retreat(
    machine: Machine, setting: Setting, course: Course, frequency: float,
    here: Sequence[Trial], where: Rehearsals,
) -> Trials:  # fmt: skip
    """The stage with the lowest frequency at which a piece may be lifted or dropped in."""
    moved = [t.kind for t in here if t.kind not in NEEDED]
    if not moved or all(t.within for t in here if t.kind in moved):
        return Trials(frequency, course, tuple(here), frequency if moved else None, ())
    tried: list[Trial] = []
    ends = [_reach(machine, course.highest * f) for f in RETREATS] + [machine.drive.frequency_max]
    for retreat in (f for f in dict.fromkeys(ends) if f > frequency):
        cases = cases_at(machine, setting, retreat)
        found = where.run({kind: cases[kind] for kind in moved})
        tried += found.values()
        if all(t.within for t in found.values()):
            return Trials(frequency, course, tuple(here), retreat, tuple(tried))
    return Trials(frequency, course, tuple(here), None, tuple(tried))

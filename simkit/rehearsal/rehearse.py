"""A rehearsal of one scenario: settle, let the events happen, measure, judge.

As a rule the event is sampled by close-ups (see closeup.py); with `whole` the circuit runs through
the whole event. Either way the stretches that decide run again with finer steps, started from the
first run's slow states; the finer figures count, and the difference between the two, with what
the start from the fast model may have left, is the stated numerical error. Where that is too
large to judge a figure, it is computed again (see refining.py). Where a figure still rises at the
end, the run is carried on until it has settled or gone over its limit (see rising.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from simkit.circuit.timeline import Timeline
from simkit.errors import EngineError
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal import closeup
from simkit.rehearsal import rising as onward
from simkit.rehearsal.aftermath import with_aftermath
from simkit.rehearsal.closeup import SHORT
from simkit.rehearsal.comparators import watches
from simkit.rehearsal.crest import with_crest
from simkit.rehearsal.current_limit import with_current_limit
from simkit.rehearsal.cut_events import with_cut
from simkit.rehearsal.discretisation import SAME
from simkit.rehearsal.driving import (
    Offset,
    driven_line,
    followed,
    lengthened,
    look_times,
    offsets,
)
from simkit.rehearsal.error_budget import Findings, SecondRuns, assessed
from simkit.rehearsal.findings import Rehearsal, findings
from simkit.rehearsal.heating_course import with_heating_course
from simkit.rehearsal.job import Counter, DoorRunner, Job
from simkit.rehearsal.loop_doubt import with_loop_doubt
from simkit.rehearsal.onset import narrow
from simkit.rehearsal.overlap import with_overlap
from simkit.rehearsal.part_limits import with_parts
from simkit.rehearsal.refining import ROUNDS, Passes, refine_round
from simkit.rehearsal.ripple import with_trough
from simkit.rehearsal.scouting import Scouted, scouted
from simkit.rehearsal.settings import Settings
from simkit.rehearsal.settled_state import Begun
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.tripping import Running, protected
from simkit.rehearsal.warming import Warmed, expected, warmed
from simkit.run.backend import Progress
from simkit.scout.drive import dead_time_left

STEP = 2.0
"""Cycles within which any change is a step that the fast model's averages blur [1]."""


def rehearse(
    machine: Machine,
    scenario: Scenario,
    runner: DoorRunner,
    progress: Progress | None = None,
    settings: Settings = Settings(),  # noqa: B008 - frozen
    second: DoorRunner | None = None,
) -> Rehearsal:
    """Run, measure and judge one scenario; `second` runs the deciding decks on another engine.

    With a rectified supply whose ripple changes the commutation, once more at the link's trough.
    Errors: EngineError when the engine gives no whole answer even on the last rung of the ladder.
    """

    def once(trial: Machine) -> Rehearsal:
        def begin(case: Scenario, opens: float, like: Running | None) -> Running:
            run = _run_of(trial, case, runner, progress, settings, second)
            run.open_at(opens, like)
            run.settle()
            run.first_pass()
            return run

        return protected(trial, scenario, begin, settings.whole)

    found = with_overlap(with_current_limit(with_crest(with_trough(once(machine), once))))
    return with_cut(with_loop_doubt(with_heating_course(found)))


def planned(machine: Machine, scenario: Scenario, runner: DoorRunner) -> tuple[Job, Warmed | None]:
    """The runs of a rehearsal of the whole event before any but those that find the switches'
    temperature and where it settles, and what that came to. Errors: EngineError.
    """
    run = _run_of(machine, scenario, runner, None, Settings(whole=True))
    run.settle()
    return run.job, run.warm


def _run_of(
    machine: Machine,
    scenario: Scenario,
    runner: DoorRunner,
    progress: Progress | None,
    settings: Settings,
    second: DoorRunner | None = None,
) -> "_Run":
    line = driven_line(machine, scenario)
    end = line.end
    if scenario.ends is None:
        line = lengthened(machine, line, onward.seen_after(line))
    return _Run(machine, scenario, line, runner, settings, Counter(progress), end, second)


def why_whole(scout: Scouted, settings: Settings) -> str:
    """Why the circuit has to run through the whole event; empty where samples will do."""
    line = scout.line
    if settings.whole:
        return "it was asked for"
    if line.cycles < SHORT and watches(scout.machine):
        return "the drive may trip"
    if line.faults:  # nothing may be sampled by a model that does not follow it
        kinds = dict.fromkeys(f.kind for f in line.faults)
        return f"the fast model does not know {', '.join(kinds)}"
    if dead_time_left(scout.machine) <= 0.0:
        return "the gates leave nothing of the dead time, which the fast model does not know"
    if abrupt(scout):
        names = ", ".join(dict.fromkeys(e.name for e in line.events))
        memory = scout.memory(line.events[0].start) * line.frequency.first
        return f"{names} is too quick for samples of a tank that remembers {memory:.2g} cycles"
    if closeup.sampling_costs_more(scout):
        return "that costs no more than samples of so short an event"
    return ""


def abrupt(scout: Scouted) -> bool:
    """Whether something changes so quickly that its worst may lie between samples, in an event
    short enough to run whole."""
    line = scout.line
    steps = [e for e in line.events if (e.end - e.start) * line.frequency.at(e.start) < STEP]
    return (bool(steps) or closeup.quick(line, scout)) and line.end * line.frequency.first < SHORT


@dataclass
class _Run:
    """One rehearsal on its way."""

    machine: Machine
    scenario: Scenario
    line: Timeline
    runner: DoorRunner
    settings: Settings
    counter: Counter
    planned: float
    """End that the scenario asks for [s]."""
    second: DoorRunner | None = None
    retries: list[str] = field(default_factory=list)
    passes: Passes = field(default_factory=lambda: Passes([], [], {}))
    calm: list[Stretch] = field(default_factory=list)
    """The sample of the settled part."""
    why_whole: str = ""
    warm: Warmed | None = None
    first: Job | None = None
    """Of the run of the settled part."""
    begun: Begun | None = None
    """Where a whole run starts from, once there is to be one."""
    residue: float | None = None
    offset: Offset | None = None
    """What the circuit's detector sees beyond the fast model's."""
    rises: Mapping[str, onward.Rising] = field(default_factory=dict)
    """What still rises at the end."""

    def __post_init__(self) -> None:
        self.settled = closeup.settled_until(self.line)
        self.longest = onward.longest_of(self.line)
        self.limits = {limit.quantity: limit for limit in machine_limits(self.machine)}

    @property
    def whole(self) -> bool:
        """Whether the circuit runs through the whole event."""
        return self.settings.whole

    @property
    def seen(self) -> list[Stretch]:
        """The first pass."""
        return self.passes.stretches

    def done(self) -> Rehearsal:
        """What it comes to, once refined."""
        if self.settings.refine:
            self.refine()
        if self.settings.onsets and not self.settings.whole and self.line.events:
            self._narrow_onsets()
        asked = self.job.second_runs(self.passes.fine, self.second) if self.second else None
        self.counter.finish()
        return with_aftermath(with_parts(findings(self.found(asked))))

    def open_at(self, opens: float, like: Running | None) -> None:
        """Run whole from a time on [s], the drive's loop following the circuit as another run's."""
        if opens <= 0.0:
            return
        if self.line.oscillator is not None and isinstance(like, _Run):
            self.line = followed(self.machine, self.line, like.offset).line
        self.line = replace(self.line, opens=opens)

    def settle(self) -> None:
        """The switches at the temperature they work at, and the fast model of that machine."""
        jobs: list[Job] = []

        def settled_run(trial: Machine) -> Stretch:
            jobs.append(self._job(trial, scouted(trial, self.line)))
            return jobs[-1].calm(self.settled)

        if self.machine.switch.warming is not None:
            begin = expected(self.machine, self.line)
            self.machine, self.warm, last = warmed(self.machine, settled_run, begin)
        else:
            last = settled_run(self.machine)
        self.calm = [last]
        self.first = jobs[-1]
        self._set_out(jobs[-1].scout)
        self.why_whole = why_whole(self.scout, self.settings)
        if self.why_whole:
            self._whole_from_now()
        elif self.line.oscillator is not None:
            self._follow()

    def _follow(self) -> None:
        """The drive's loop again, by the angles that the circuit's current has."""
        loop = followed(self.machine, self.line).loop
        assert loop is not None
        looks = self.job.gather([
            partial(self.job.look, self.scout, t, closeup.LEDGER, 0.0)
            for t in look_times(self.line)
        ])  # fmt: skip
        self.offset = offsets(self.raw, loop, looks)
        self.line = followed(self.machine, self.line, self.offset).line
        self._set_out(scouted(self.machine, self.line), again=True)

    def _set_out(self, scout: Scouted, again: bool = False) -> None:
        """From now on by this fast model, its seeds corrected by the settled part's run, which is
        run again where the drive starts at another frequency."""
        self.raw = scout
        if again:
            self.calm = [self._job(self.machine, scout).calm(self.settled)]
        self.scout = scout.corrected(self.calm)
        self.job = self._job(self.machine, self.scout)

    def _whole_from_now(self) -> None:
        """The circuit runs through the whole event, from where its settled part would go on."""
        self.settings = replace(self.settings, whole=True)
        if self.first is not None and self.begun is None:
            self.begun = self.first.settled_start(self.scout, self.calm[-1])
        self.job = self._job(self.machine, self.scout)

    def _job(self, machine: Machine, scout: Scouted) -> Job:
        return Job(machine, scout, self.runner, self.settings, self.counter, self.retries,
                   self.begun)  # fmt: skip

    def first_pass(self) -> None:
        """The whole event, or samples of it, carried on while a figure still rises at the end."""
        self._run_through()
        for _ in range(onward.ROUNDS):
            if not self._carried(self._rises()):
                break
            self._run_through()
        else:
            self.rises = self._rises()
        self._settled()

    def _run_through(self) -> None:
        if self.settings.whole:
            self.passes.stretches = [self.job.whole()]
            self.scout, self.line = self.job.scout, self.job.scout.line
            return
        self.passes.stretches, self.passes.residues = closeup.sample(
            self.scout, self.settled, self.job.look, self.job.gather,
            self.passes.stretches or self.calm, self._spent,
        )  # fmt: skip
        if self._spent():
            self._turn_whole("samples had cost as much already")

    def _spent(self) -> bool:
        """Whether samples have cost as much as the whole event would, counted in time points."""
        calm = self.calm[-1].waves
        rate = len(calm.time) / (calm.time[-1] - calm.time[0])
        return self._short() and self.counter.points > rate * self.line.end

    def _short(self) -> bool:
        """Whether the whole event could be run."""
        return self.line.cycles < SHORT

    def _turn_whole(self, why: str) -> None:
        """The whole event after all."""
        self.why_whole = why
        self._whole_from_now()
        self.passes = Passes([self.job.whole()], [], {})

    def _rises(self) -> dict[str, onward.Rising]:
        series = [s for stretch in self.passes.stretches for s in stretch.series]
        if not self.line.events or onward.is_over(series, self.limits):
            return {}
        if not self.settings.whole:
            return self.scout.rises(self.limits, self.passes.stretches)
        wanted = closeup.wanted_quantities(self.machine)
        courses = onward.courses_of(series, wanted)
        return onward.rises(courses, self.limits, max(e.end for e in self.line.events))

    def _carried(self, rises: Mapping[str, onward.Rising]) -> bool:
        """Whether what still rises made the event longer, as it may."""
        self.rises = rises
        if not rises or self.scenario.ends is not None:  # whose run is to end there, ends there
            return False
        longer = onward.carried_on(self.line, rises, self.limits, self.longest)
        if longer is None:
            return False
        self.line = longer = lengthened(self.machine, longer, longer, self.offset)
        self._set_out(scouted(self.machine, longer))
        return True

    def _settled(self) -> None:
        """How far the settled part is from where it would end; in a whole run all that its start
        has left."""
        calm = [s for s in self.passes.stretches if s.cycles[0].end <= self.settled + SAME]
        if not calm:
            return
        last = calm[-1]
        remains = self.raw.remains(last, min(self.settled, float(last.waves.time[-1])))
        self.residue = remains.share
        self.passes.residues[last.cycles[0].start] = remains

    def refine(self) -> None:
        """What decides again on finer steps; what is too inexact then, again: a figure that samples
        leave too near its limit by the whole event, where that is short."""
        self.passes.fine = self.job.finer(self.passes.stretches)
        self._refine_rounds()
        if self.settings.whole or not self._short():
            return
        have = assessed(self.found())
        decided = have.is_over(self.machine) and not self.settings.every_figure
        if have.refused(self.machine) and not decided:
            self._whole_instead()

    def _whole_instead(self) -> None:
        """The whole event in place of samples; where the engine stops in it they count again."""
        kept = self.passes, self.settings, self.job, self.why_whole, self.scout, self.line
        residue = self.residue
        try:
            self._turn_whole("samples left a figure too near its limit")
            self.passes.fine = self.job.finer(self.passes.stretches)
        except EngineError as error:
            self.retries.append(f"whole event: {error.reason}")
            self.passes, self.settings, self.job, self.why_whole, self.scout, self.line = kept
            self.residue = residue
            return
        self._settled()
        self._refine_rounds()

    def _narrow_onsets(self) -> None:
        try:
            narrow(self.job, self.scout, self.passes, self.limits)
        except EngineError as error:  # the gap stays as wide as it is, and is told
            self.retries.append(f"onset: {error.reason}")

    def _refine_rounds(self) -> None:
        for number in range(ROUNDS):
            inexact = assessed(self.found()).inexact(self.machine)
            if inexact and not self.settings.whole and self._spent():
                self._turn_whole("samples had cost as much already")
                self.passes.fine = self.job.finer(self.passes.stretches)
                self._settled()
                continue
            kept = self.passes.copy()
            try:
                if not inexact or not refine_round(
                    self.job, self.scout, self.passes, inexact, number, self.settings.whole
                ):
                    break
            except EngineError as error:  # what it was to make exact stays as it is
                self.retries.append(f"refinement: {error.reason}")
                self.passes = kept
                break
            self._settled()

    def found(self, second: SecondRuns | None = None) -> Findings:
        """What the runs have left so far."""
        return Findings(
            self.machine, self.scenario, self.line, self.scout, tuple(self.passes.stretches),
            tuple(self.passes.fine), self.passes.residues, tuple(sorted(self.retries)),
            self.settings.whole, self.warm, self.residue, second, self.why_whole, self.rises,
            self.line.end - self.planned,
        )  # fmt: skip

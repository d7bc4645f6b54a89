"""Every situation of the registry on one machine: its weak spots on one page, worst first.

Each situation is a case of its own: it may run on any worker, what it came to is kept, and a run
that was cut short carries on where it stopped.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from simkit.figures.table import figures
from simkit.judge.cautions import CAUTIONS
from simkit.judge.verdict import Judged
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.rehearsal.findings import Rehearsal
from simkit.result.plain import plain
from simkit.run.backend import Budget
from simkit.run.cache import Store, code_digest, digest_of
from simkit.run.cached import identity_of
from simkit.run.engines import engine
from simkit.run.pool import Executor, collect
from simkit.studies.scenario.job import job_of, worked
from simkit.studies.scenario.result import why_whole
from simkit.studies.situations import SITUATIONS, Case, NotHere, Situation, cases

SCHEMA = "simkit.all-faults/1"
LAST = {"over_limit": 0, "no_verdict": 1, "within_limits": 2, "not_here": 3}
"""Order of the outcomes, worst first."""


@dataclass(frozen=True)
class Row:
    """What one situation came to on the machine."""

    name: str
    family: str
    title: str
    expects: str
    verdict: str
    """As a rehearsal's, or "not_here" for what cannot happen on the machine."""
    reason: str
    part: str | None = None
    """Of the first limit to go, or the closest one."""
    quantity: str | None = None
    unit: str | None = None
    value: float | None = None
    """Largest value of that quantity, in `unit`."""
    limit: float | None = None
    """In `unit`."""
    ratio: float | None = None
    """That value over that limit [1]."""
    worst_ratio: float | None = None
    """Worst value over its limit of all quantities judged [1]."""
    time_s: float | None = None
    """From the first event until the first limit went [s]; 0: in its first cycle, negative: before
    it, None: none went."""
    margin: float | None = None
    """One less the worst ratio: room that is left, negative when a limit is exceeded [1]."""
    method: str = ""
    slow: tuple[Mapping[str, Any], ...] = ()
    """Figures of what goes on for minutes."""
    engine_cpu_seconds: float | None = None
    """[s]"""

    @property
    def limit_words(self) -> str:
        """The limit's name in words."""
        if self.quantity is None:
            return ""
        return f"{self.part}: {figures()[self.quantity].words.title}"


def table(
    machine: Loaded[Machine],
    *,
    engine_name: str,
    budget: Budget,
    store: Store | None,
    executor: Executor | None,
    heard: Callable[[Row, float], None] | None = None,
) -> list[Row]:
    """Every situation on a machine, worst first.

    `heard` is told each row as it is ready, with the share of the work that is done.
    Errors: EngineMissing when the engine is not there.
    """
    known = {s.name: s for s in SITUATIONS}
    built = cases(machine.model)
    rows = [_not_here(known[n], c) for n, c in built.items() if isinstance(c, NotHere)]
    jobs = {n: job_of(c.machine, c.scenario, engine_name, budget)
            for n, c in built.items() if isinstance(c, Case)}  # fmt: skip
    identity = identity_of(engine(engine_name))
    keys = {kept_as(job, identity): name for name, job in jobs.items()}
    work = {key: jobs[name] for key, name in keys.items()}
    found = collect(work, rehearse_case, store, executor, keep=lambda r: not r["timed_out"])
    for done, (key, result) in enumerate(found, start=1):
        row = _row(known[keys[key]], result)
        rows.append(row)
        if heard:
            heard(row, done / len(work))
    return sorted(rows, key=_gravity)


def kept_as(job: Mapping[str, Any], identity: str) -> str:
    """Key of a case; a machine's title is no part of it, since it changes no figure."""
    machine = {key: value for key, value in job["machine"].items() if key != "title"}
    return digest_of("situation", {**job, "machine": machine}, identity, code_digest())


def _gravity(row: Row) -> tuple[float, float, str]:
    return LAST[row.verdict], -(row.worst_ratio or row.ratio or 0.0), row.name


def _not_here(situation: Situation, why: NotHere) -> Row:
    said = str(why)
    return Row(
        situation.name, situation.family, situation.title, situation.expects, "not_here",
        f"Cannot happen here: {said}.",
    )  # fmt: skip


def rehearse_case(job: Mapping[str, Any]) -> dict[str, Any]:
    """One case, plain data in and out; runs in a worker."""
    return worked(job, _told)


def _told(rehearsal: Rehearsal) -> dict[str, Any]:
    """What the table needs of a rehearsal."""
    verdict = rehearsal.verdict
    shown = verdict.first_over or closest(rehearsal.rows)
    rated = [r.ratio for r in rehearsal.rows if r.ratio is not None]
    events = rehearsal.line.events
    begin = events[0].start if events else 0.0
    first = verdict.first_over.first_over_s if verdict.first_over else None
    return {
        "verdict": verdict.outcome,
        "reason": verdict.reason,
        "part": shown.part if shown else None,
        "quantity": shown.quantity if shown else None,
        "unit": shown.unit if shown else None,
        "value": shown.value if shown else None,
        "limit": shown.limit if shown else None,
        "ratio": shown.ratio if shown else None,
        "worst_ratio": max(rated, default=None),
        "time_s": None if first is None else _since(first, begin, rehearsal),
        "method": method_words(rehearsal),
        "slow": [asdict(fact) for fact in rehearsal.slow],
        "engine_cpu_seconds": sum(s.run.cpu_seconds for s in rehearsal.stretches),
    }


def _since(first: float, begin: float, rehearsal: Rehearsal) -> float:
    """Time from the event to a limit [s]; a cycle's value has the time of its middle, which in the
    cycle the event begins in may be earlier: nothing then."""
    half = 0.5 / rehearsal.line.frequency.first
    return 0.0 if begin - half <= first < begin else first - begin


def method_words(rehearsal: Rehearsal) -> str:
    """How the row was found."""
    sampled = "whole" if rehearsal.is_whole else "sampled where it decides"
    said = [why_whole(rehearsal).removeprefix(" | ") or f"circuit, {sampled}"]
    if rehearsal.slow:
        said.append("minutes: a thermal march from the run's losses")
    return "; ".join(said)


def closest(rows: tuple[Judged, ...]) -> Judged | None:
    """The row nearest to its limit, None when nothing was evaluated."""
    rated = [row for row in rows if row.ratio is not None]
    return max(rated, key=lambda row: row.ratio or 0.0, default=None)


def _row(situation: Situation, result: Mapping[str, Any]) -> Row:
    told = {k: v for k, v in result.items() if k != "timed_out"}
    told["slow"] = tuple(told.get("slow", ()))
    row = Row(situation.name, situation.family, situation.title, situation.expects, **told)
    return row if row.worst_ratio is None else replace(row, margin=1.0 - row.worst_ratio)


def document(machine: Loaded[Machine], rows: list[Row], seconds: float) -> dict[str, Any]:
    """The table as data, SI units."""
    return {
        "schema": SCHEMA,
        "cautions": list(CAUTIONS),
        "machine": {
            "name": machine.model.name, "file": str(machine.file), "digest": machine.digest,
        },
        "verdict": worst_verdict(rows),
        "situations": [plain(asdict(row)) for row in rows],
        "total_seconds": seconds,
    }  # fmt: skip


def worst_verdict(rows: list[Row]) -> str:
    """No verdict outweighs over a limit, which outweighs within the limits checked."""
    found = {row.verdict for row in rows}
    order = ("no_verdict", "over_limit", "within_limits")
    return next((verdict for verdict in order if verdict in found), "no_verdict")


def scenario_files(machine: Loaded[Machine], machine_path: str) -> Iterator[tuple[str, str]]:
    """Name and text of every situation's scenario on a machine, for `simkit run`."""
    from simkit.studies.situations.write import scenario_file

    built = cases(machine.model)
    for situation in SITUATIONS:
        case = built[situation.name]
        if isinstance(case, Case):
            yield situation.name, scenario_file(situation, case.scenario, machine_path)

"""One scenario to its report folder: found in the cache, or run, measured, judged and written."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simkit.errors import EngineError, NotWritten
from simkit.parameters.reading import Opened, unchanged
from simkit.rehearsal.settings import Settings
from simkit.run.backend import Budget, Engine, Progress
from simkit.run.cache import default_store
from simkit.run.engines import engine, other
from simkit.studies.scenario.result_cache import asked_key, inputs_of, keep, restore, result_key

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.rehearsal.findings import Rehearsal


@dataclass(frozen=True)
class Order:
    """How a scenario is to be rehearsed and what is to be left."""

    settings: Settings = field(default_factory=Settings)
    budget: Budget = field(default_factory=Budget)
    """What one engine run may use."""
    engine: str = "ngspice"
    second_opinion: bool = False
    """Repeat what decides on another engine."""
    cache: bool = True
    csv: bool = False
    """Leave waveforms.csv too."""
    tolerance: bool = True
    """Tell what the files' tolerances make of the verdict."""
    advice: bool = False
    """Where a limit is passed, search for what to change and try it."""


@dataclass(frozen=True)
class Answer:
    """What became of an order."""

    result: dict[str, Any]
    folder: Path | None
    """The report folder; where the engine gave no whole answer, the one that says so."""

    @property
    def cached(self) -> bool:
        """Whether it was found, not run."""
        return self.result.get("cache") is not None


def rehearsed(
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
    folder: Path,
    order: Order,
    progress: Progress | None = None,
) -> Answer:
    """Rehearse one scenario, or find it rehearsed; leaves its folder where there is an answer."""
    started = time.perf_counter()
    chosen = engine(order.engine)
    second = engine(other(order.engine)) if order.second_opinion else None
    store, key = None, ""
    try:
        if order.cache:
            store = default_store("results")
            key = _key(inputs_of(scenario, machine), order)
        found = restore(store, key, folder) if store else None
        if found is not None:
            forget_failure(folder)
            return Answer(found, folder.absolute())
        answer = _fresh(scenario, machine, folder, order, chosen, second, progress, started)
    except EngineError as error:
        from simkit.studies.output.failed_folder import write_failure
        from simkit.studies.scenario.no_verdict import no_answer

        result = no_answer(scenario, machine, error, time.perf_counter() - started)
        return Answer(result.as_json(), write_failure(folder, result, error, scenario, machine))
    if store and answer.folder:
        keep(store, key, answer.folder)
    forget_failure(folder)
    return answer


def recalled(
    path: Path, overrides: Mapping[str, str], out: Path | None, order: Order
) -> tuple[str, Answer] | None:
    """Name and answer of a scenario whose files are, byte for byte, those of an earlier run.

    Every file that was opened then counts, part files too. None when nothing of the kind is kept:
    then the files must be loaded. Errors: InputError for a folder that holds something else.
    """
    entry = default_store("cases").get(asked_key(path, overrides)) if order.cache else None
    if entry is None or not unchanged([Opened(*row) for row in entry.facts["opened"]]):
        return None
    from simkit.studies.output.report_place import check_target

    name = str(entry.facts["name"])
    folder = out or Path("reports") / name
    check_target(folder)
    try:
        key = _key(entry.facts["inputs"], order)
        found = restore(default_store("results"), key, folder)
    except EngineError:
        return None  # the long way says what is missing
    if found is None:
        return None
    forget_failure(folder)
    return name, Answer(found, folder.absolute())


def remember(
    path: Path,
    overrides: Mapping[str, str],
    opened: Sequence[Opened],
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
) -> None:
    """Keep what a scenario and the files opened for it amount to, for `recalled`."""
    facts = {
        "name": scenario.model.name,
        "inputs": inputs_of(scenario, machine),
        "opened": [[o.path, o.size, o.digest] for o in opened],
    }
    default_store("cases").put(asked_key(path, overrides), facts)


def _key(inputs: list[Any], order: Order) -> str:
    names = (order.engine, *([other(order.engine)] if order.second_opinion else []))
    engines = [engine(name) for name in names]
    left = {"csv": order.csv, "tolerance": order.tolerance, "advice": order.advice}
    return result_key(inputs, engines, order.settings, left)


def forget_failure(folder: Path) -> None:
    """Take away the page of an earlier failed run, now that one came to its end."""
    from simkit.studies.output.report_place import failure_folder

    target = failure_folder(folder)
    if target.is_dir():
        from simkit.studies.output.failed_folder import forget

        forget(target)


def _fresh(
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
    folder: Path,
    order: Order,
    chosen: Engine,
    second: Engine | None,
    progress: Progress | None,
    started: float,
) -> Answer:
    # What runs circuits and draws pages takes long to import: not when the answer is kept.
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.report.html import write_report
    from simkit.studies.scenario.result import result_of, write_folder
    from simkit.studies.scenario.view import report_view

    rehearser = Rehearser(chosen, order.budget, order.settings, second)
    began = time.perf_counter()
    rehearsal = rehearser.rehearse(machine.model, scenario.model, progress)
    seconds = time.perf_counter() - began
    result = result_of(rehearsal, machine, scenario, time.perf_counter() - started)
    if machine.model.fit is not None:
        from simkit.studies.scenario.fitted_intervals import with_intervals

        def again(moved: Machine) -> Rehearsal:
            return rehearser.rehearse(moved, scenario.model)

        result = with_intervals(result, machine, scenario.model, again)

    if order.tolerance:
        from simkit.studies.tolerance.study import with_tolerance

        result = with_tolerance(result, rehearsal, machine, scenario)
    if order.advice and result.verdict == "over_limit":
        from simkit.studies.scenario.advised import with_advice

        result = with_advice(result, rehearsal, scenario, machine, rehearser, seconds, progress)

    def report(fresh: Path) -> None:
        write_report(fresh, report_view(rehearsal, result, machine))

    try:
        return Answer(result.as_json(), write_folder(folder, rehearsal, result, report, order.csv))
    except NotWritten as error:
        said = f"{error} It would have said: {result.verdict}. {result.reason}"
        raise NotWritten(said) from error

"""The folder of a run that came to no end: beside the report's, so that no older report suffers.

`reports/pull-out/` stays as it is; `reports/pull-out-no-verdict/` says what happened. The next
whole run of the scenario takes that folder away again.
"""

import json
import shutil
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from simkit.errors import EngineError, EngineMissing, EngineTimeout
from simkit.figures.table import full_name
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.reading import file_text
from simkit.parameters.scenario import Scenario
from simkit.report.failure import FailureView, OpenLimit, failure_page
from simkit.result.document import Result
from simkit.studies.output.folder import dumped, whole_folder
from simkit.studies.output.report_place import check_target, failure_folder
from simkit.studies.scenario.figures_in_words import command, provenance_facts

SHOWN = 40
"""Lines of the engine's log on the page."""


def write_failure(
    folder: Path,
    result: Result,
    error: EngineError,
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
) -> Path:
    """Write the page, the result, the log and the provenance; the folder, whole or not at all."""
    target = failure_folder(folder)
    check_target(target)
    older = f"../{folder.name}/index.html" if (folder / "index.html").is_file() else None
    view = failure_view(result, error, scenario.model, machine.model, older)
    told = {
        "index.html": failure_page(view),
        "result.json": dumped(result.as_json()),
        "engine.log": "\n".join(error.log),
        "provenance.json": dumped({**asdict(result.provenance), "command": sys.argv[1:]}),
    }

    def fill(fresh: Path) -> None:
        for name, text in told.items():
            (fresh / name).write_text(text, encoding="utf-8")

    return whole_folder(target, fill)


def forget(target: Path) -> None:
    """Remove a folder that holds the result of a failed run; anything else of that name stays."""
    try:
        found = json.loads(file_text(target / "result.json"))
        ours = found["verdict"] == "no_verdict" and found["schema"].startswith("simkit.result/")
    except (ValueError, KeyError, TypeError, AttributeError):
        return
    if ours and not target.is_symlink():
        shutil.rmtree(target, ignore_errors=True)


def failure_view(
    result: Result,
    error: EngineError,
    scenario: Scenario,
    machine: Machine,
    older: str | None,
) -> FailureView:
    """Everything the page of a failed run shows."""
    return FailureView(
        title=scenario.title,
        machine=machine.title,
        reason=result.reason,
        older=older,
        steps=tuple(steps(error)),
        limits=tuple(
            OpenLimit(full_name(r.quantity), r.limit, r.unit, r.source) for r in result.limits
        ),
        log=tuple(error.log[-SHOWN:]),
        provenance=tuple(f for f in provenance_facts(result) if f.value != "None"),
        command=command(result),
    )


def steps(error: EngineError) -> Iterator[str]:
    """What a person can do about an error of the engine, the most promising first."""
    if isinstance(error, EngineMissing):
        yield "Install the engine as the reason above says, then run `simkit doctor`."
        yield "Run the rehearsal again; nothing of the input was at fault."
        return
    if isinstance(error, EngineTimeout):
        yield "Give each engine run more time: `--time-limit SECONDS`."
        yield "Let fewer runs share the processor: `--jobs 1`."
    else:
        yield "Run it once more: a process ended from outside (memory, a signal) leaves no trace."
    yield (
        "Look for a value that is far from what can be built: `simkit check` on the machine file "
        "notes values outside their usual range."
    )
    yield "Ask the second engine where it is installed: `simkit run --engine neospice`."
    yield "Do not read this as good news: a run that does not converge says nothing about a limit."

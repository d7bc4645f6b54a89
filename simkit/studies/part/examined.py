"""A part file of either kind through its virtual tests, its model file's own failings named."""

from dataclasses import replace
from typing import Any

from simkit.parameters.load import Loaded
from simkit.parameters.part_igbt import Igbt
from simkit.parts.modelled import with_model
from simkit.parts.mosfet_fit import COLD
from simkit.parts.switches import switch_of
from simkit.run.backend import Progress
from simkit.run.process import NgspiceEngine
from simkit.studies.part.igbt import examine_igbt
from simkit.studies.part.model_file import notes_on
from simkit.studies.part.study import PartReport, examine
from simkit.studies.part.sturdy import BUDGET, SturdyRunner
from simkit.studies.part.trial import Trial, tried


def examined(part: Loaded[Any], progress: Progress | None = None) -> PartReport:
    """Every virtual test of a part, with notes on its model file where it has one.

    Errors: ValueError when the part's figures allow no fit; EngineError when the engine gives up on
    our own switch.
    """
    engine = NgspiceEngine()
    test = examine_igbt if isinstance(part.model, Igbt) else examine
    if part.model.model is None:
        return test(part.model, lambda d: engine.run(d.text, d.saved, d.stop), progress)
    run = SturdyRunner(lambda d: engine.run(d.text, d.saved, d.stop, BUDGET))
    report = test(
        part.model, run, progress, lambda switch, celsius: with_model(part, switch, celsius)
    )
    notes = notes_on(part, report, trial_of(part, run), run.loosened)
    # What is said of our own switch holds of a file only where it stands for the diode alone.
    ours = report.notes if part.model.model.diode_alone else ()
    return replace(report, notes=(*notes, *ours))


def trial_of(part: Loaded[Any], run: SturdyRunner | None = None) -> Trial:
    """A part's model file beside our own switch, at 25 degC. Errors: as `examined`."""
    engine = NgspiceEngine()
    run = run or SturdyRunner(lambda d: engine.run(d.text, d.saved, d.stop, BUDGET))
    ours = switch_of(part.model, COLD)
    return tried(part.model, ours, with_model(part, ours, COLD), run)

"""What a rehearsal came to, as a reader at a keyboard wants it."""

from __future__ import annotations

import time
from functools import cached_property
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.rehearsal.findings import Rehearsal
    from simkit.result.document import Result
    from simkit.run.backend import Progress

TALL = (1.6, 1.3)
"""Heights of a probe's panel: the first, and every further one [inch]."""


class Outcome:
    """Verdict, limits, waveforms and figures of one rehearsal."""

    def __init__(self, rehearsal: Rehearsal, machine: Loaded[Machine], result: Result) -> None:
        """Hold what was found; frames and figures are made when they are asked for."""
        self.rehearsal = rehearsal
        self.result = result
        """What it came to, typed; `docs/result.md` says what each key is."""
        self._machine = machine

    @cached_property
    def document(self) -> dict[str, Any]:
        """What `result.json` would hold, SI units."""
        return self.result.as_json()

    @property
    def verdict(self) -> str:
        """within_limits, over_limit or no_verdict."""
        return self.result.verdict

    @property
    def reason(self) -> str:
        """One sentence on why."""
        return self.result.reason

    @cached_property
    def limits(self) -> pandas.DataFrame:
        """Every judged figure beside its limit, worst share first.

        Columns part, quantity, value, error, unit, limit, ratio [1], time_s [s], status, source.
        """
        from simkit.python.tables import limit_table

        return limit_table(self.document["limits"])

    @cached_property
    def mode(self) -> pandas.DataFrame:
        """Inductive, resonant or capacitive, from and to when [s]."""
        from simkit.python.tables import mode_table

        return mode_table(self.rehearsal.modes)

    @cached_property
    def waveforms(self) -> pandas.DataFrame:
        """The first pass as a bench would show it, by time [s]; a column's name ends in its unit.

        Where the event was sampled there are gaps in time.
        """
        from simkit.python.tables import waveform_table
        from simkit.studies.scenario.result import probes

        return waveform_table(probes(self.rehearsal.whole.waves))

    def figure(self, *columns: str, start: float | None = None, end: float | None = None) -> Figure:
        """Waveforms by name, one above another, between two times [s].

        Without names: bridge voltage, primary current, coil voltage; without times the drive
        periods about the moment of the figure with the largest share of its limit.
        Errors: KeyError naming the known columns.
        """
        from matplotlib.figure import Figure

        names = columns or ("bridge_voltage_v", "primary_current_a", "coil_voltage_v")
        unknown = [n for n in names if n not in self.waveforms]
        if unknown:
            raise KeyError(
                f"no waveform {unknown[0]!r}; known: {', '.join(map(str, self.waveforms.columns))}"
            )
        first, last = self._about_the_worst()
        shown = self.waveforms.loc[first if start is None else start : last if end is None else end]
        height = TALL[0] + TALL[1] * len(names)
        figure = Figure(figsize=(8.0, height), layout="constrained")
        panels = figure.subplots(len(names), 1, sharex=True, squeeze=False)[:, 0]
        for panel, name in zip(panels, names, strict=True):
            unit = self.waveforms.attrs["units"][name]
            panel.plot(1e3 * shown.index.to_numpy(), shown[name].to_numpy(), linewidth=0.9)
            panel.set_ylabel(f"{name.rpartition('_')[0].replace('_', ' ')} [{unit}]")
            panel.grid(alpha=0.3)
        panels[-1].set_xlabel("time since the settled part began [ms]")
        return figure

    def _about_the_worst(self) -> tuple[float, float]:
        """Two drive periods on each side of the figure with the largest share of its limit [s]."""
        line = self.rehearsal.line
        timed = self.limits.dropna(subset=["ratio", "time_s"])
        when = float(timed["time_s"].iloc[0]) if len(timed) else line.begin
        around = 2.0 / line.frequency.at(when)
        return when - around, when + around

    def save(self, folder: Path | str, csv: bool = False) -> Path:
        """The report folder that `simkit run` would leave; its path.

        Errors: NotWritten; InputError for a folder that holds something else.
        """
        from simkit.report.html import write_report
        from simkit.studies.output.report_place import check_target
        from simkit.studies.scenario.result import write_folder
        from simkit.studies.scenario.view import report_view

        place = Path(folder)
        check_target(place)

        def report(fresh: Path) -> None:
            write_report(fresh, report_view(self.rehearsal, self.result, self._machine))

        return write_folder(place, self.rehearsal, self.result, report, csv)

    def __repr__(self) -> str:
        """The verdict in words."""
        return f"<simkit: {self._words()}. {self.reason}>"

    def _repr_html_(self) -> str:
        """For notebooks: the verdict, and the limits worst first."""
        head = f"<p><strong>{escape(self._words())}.</strong> {escape(self.reason)}</p>"
        caution = escape(self.result.cautions[-1])
        return f"{head}{self.limits.to_html(index=False)}<p><small>{caution}</small></p>"

    def _words(self) -> str:
        from simkit.judge.words import WORDS

        return str(WORDS[self.verdict])


def rehearsed(
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
    whole: bool,
    jobs: int | None,
    progress: Progress | None,
) -> Outcome:
    """Rehearse a scenario on a machine. Errors: EngineError."""
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.rehearsal.settings import Settings
    from simkit.studies.scenario.result import result_of
    from simkit.verbs.common import cores

    started = time.perf_counter()
    settings = Settings(whole=whole, jobs=jobs or cores())
    found = Rehearser(settings=settings).rehearse(machine.model, scenario.model, progress)
    result = result_of(found, machine, scenario, time.perf_counter() - started)
    return Outcome(found, machine, result)

"""Machines and scenarios as values: read or built, changed with units, checked, rehearsed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from simkit.errors import InputError, Problem
from simkit.parameters.load import load_file, load_text
from simkit.parameters.scenario import Scenario as ScenarioModel
from simkit.parameters.written import MachineFile

if TYPE_CHECKING:
    import pandas
    from pydantic import BaseModel

    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine as MachineModel
    from simkit.python.outcome import Outcome
    from simkit.run.backend import Progress

IN_PYTHON = "from Python"
"""What stands for the file of something that was never in one."""
M = TypeVar("M", bound="BaseModel")


@dataclass(frozen=True)
class Source:
    """Where a file's text comes from, and what of it is replaced, by dotted key."""

    path: Path
    text: str | None
    """None where it is read from `path` [TOML]."""
    changes: Mapping[str, str]

    def load(self, model: type[M]) -> Loaded[M]:
        """The text, read into a model. Errors: InputError."""
        if self.text is None:
            return load_file(self.path, model, self.changes)
        return load_text(self.text, str(self.path), model, self.changes)

    def changed(self, values: Mapping[str, Any]) -> Source:
        """The same with more replaced."""
        more = {key: written(value) for key, value in values.items()}
        return Source(self.path, self.text, {**self.changes, **more})


def written(value: Any) -> str:
    """A value as it would be written after `--set KEY=`: a quantity with its unit stays text."""
    import tomlkit

    return value if isinstance(value, str) else tomlkit.item(value).as_string()


def source_of(values: Mapping[str, Any], folder: Path | str | None, name: str) -> Source:
    """A mapping of tables as a file would hold it; `folder` is where files that it names lie."""
    import tomlkit

    place = Path(folder) if folder is not None else Path()
    return Source(place / f"{name} {IN_PYTHON}", tomlkit.dumps(dict(values)), {})


class Machine:
    """One heater. Made by `simkit.load_machine` or `simkit.machine`; never changed in place."""

    def __init__(self, source: Source) -> None:
        """Read and hold against its own rules at once. Errors: InputError with every problem."""
        from simkit.parts.build import build

        self._source = source
        self.loaded: Loaded[MachineModel] = build(source.load(MachineFile))

    @property
    def name(self) -> str:
        """Name in the file."""
        return self.loaded.model.name

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was noticed on reading."""
        return self.loaded.warnings

    def change(self, values: Mapping[str, Any]) -> Machine:
        """The same machine with values replaced: `{"drive.dead_time": "0.4 us"}`.

        Keys as in the file, dotted; a number without unit is in the key's SI unit.
        Errors: InputError for a key or a value that the machine cannot have.
        """
        return Machine(self._source.changed(values))

    def value(self, key: str) -> Any:
        """A value by its dotted key, in SI units, after everything that follows from parts and
        geometry is worked out. Errors: InputError naming the nearest key.
        """
        return value_at(self.loaded.model.model_dump(), key, str(self._source.path))

    def check(self) -> pandas.DataFrame:
        """First-order figures beside their limits, by the fast model: no verdict.

        Columns load, quantity, value, unit, limit, status, source; values in SI units.
        """
        from simkit.python.tables import check_table
        from simkit.studies.check.study import check_machine

        return check_table(check_machine(self.loaded.model))

    def __repr__(self) -> str:
        """Name and file."""
        return f"<simkit machine {self.name!r}, {self._source.path}>"


class Scenario:
    """What happens to a machine. Made by `simkit.load_scenario` or `simkit.scenario`."""

    def __init__(self, source: Source, machine: Machine | None = None) -> None:
        """Read, with the machine that the file names where none is given. Errors: InputError."""
        from simkit.studies.inputs.loading import machine_file, misfits, with_instead

        self._source = source
        self.loaded: Loaded[ScenarioModel] = source.load(ScenarioModel)
        if machine is None:
            machine = load_machine(machine_file(source.path, self.loaded))
        self.machine = machine
        self._built: Loaded[MachineModel] = with_instead(self.loaded, machine.loaded)
        problems = list(misfits(self.loaded, self._built.model))
        if problems:
            raise InputError(problems)

    @property
    def name(self) -> str:
        """Name in the file."""
        return self.loaded.model.name

    def change(self, values: Mapping[str, Any]) -> Scenario:
        """The same scenario with its machine's values replaced, as `Machine.change`."""
        return Scenario(self._source, self.machine.change(values))

    def restage(self, values: Mapping[str, Any]) -> Scenario:
        """The same machine with the scenario's own values replaced: `{"start.margin": "5 %"}`."""
        return Scenario(self._source.changed(values), self.machine)

    def rehearse(
        self, *, whole: bool = False, jobs: int | None = None, progress: Progress | None = None
    ) -> Outcome:
        """Simulate, measure, judge. The engine runs in processes of its own.

        `whole`: the circuit runs through the whole event; `jobs`: circuit runs at a time;
        `progress`: called with the share done, 0 to 1.
        Errors: EngineError when the engine gives no whole answer: that is no verdict.
        """
        from simkit.python.outcome import rehearsed

        return rehearsed(self.loaded, self._built, whole, jobs, progress)

    def map(
        self,
        *vary: str,
        cases: int = 128,
        sample: str | None = None,
        jobs: int | None = None,
    ) -> pandas.DataFrame:
        """Many cases, a row each: over the file's tolerances and [map], or over `vary` alone.

        `vary` as on the command line: `"drive.dead_time=0.4 us..1 us/9"`; columns: what was varied,
        verdict, method, worst_share [1], and each quantity's share of its limit [1].
        Errors: InputError.
        """
        from simkit.python.sampling import mapped

        return mapped(self.loaded, self._built, vary, cases, sample, jobs)

    def deck(self) -> str:
        """The netlist that the engine is handed, which runs in plain `ngspice -b`.

        Errors: EngineError; where there is no engine, the fast model says how warm switches are.
        """
        from simkit.verbs.deck import netlist

        return netlist(self._built.model, self.loaded.model).deck.text

    def __repr__(self) -> str:
        """Name, file and machine."""
        return f"<simkit scenario {self.name!r}, {self._source.path}, on {self.machine.name!r}>"


def load_machine(path: Path | str) -> Machine:
    """The machine of a file. Errors: InputError with every problem found."""
    return Machine(Source(Path(path), None, {}))


def load_scenario(path: Path | str) -> Scenario:
    """The scenario of a file, with the machine it names. Errors: InputError."""
    return Scenario(Source(Path(path), None, {}))


def machine(values: Mapping[str, Any], folder: Path | str | None = None) -> Machine:
    """A machine from tables as its file would hold them; `folder`: where part files lie."""
    return Machine(source_of(values, folder, "machine"))


def scenario(values: Mapping[str, Any], machine: Machine) -> Scenario:
    """A scenario from tables as its file would hold them, for a machine."""
    tables = {"machine": "machine.toml", **values}  # a file must name one; it is not read here
    return Scenario(source_of(tables, None, "scenario"), machine)


def value_at(tree: Any, key: str, file: str) -> Any:
    """What stands at a dotted key. Errors: InputError naming the nearest key."""
    import difflib

    at = tree
    for part in key.split("."):
        known = list(at) if isinstance(at, dict) else []
        if part not in known:
            near = difflib.get_close_matches(part, known, 1)
            hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
            raise InputError([Problem(file, None, key, "", "there is no such key", hint)])
        at = at[part]
    return at

"""The table of verbs on shipped machines: one question, every verb that answers it, one answer.

One steady scenario a machine, its circuit run once: what hands decks to the engine remembers them,
so that `run`, `compare` and `protect` each ask for themselves and get the same waveforms. Beside
them `check`, the local page, `deck`, `bring-up`, `explain`, the model that `fit` goes through, the
sheet that `part` fits, and where `run --all-faults` begins. `new` asks nothing of a shipped
machine. What verbs say without a circuit is held on every shipped scenario by
tests/unit/test_verbs_agree.py. Nothing outside to compare with: it is the tool against itself.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import isclose
from pathlib import Path
from typing import Any

import pytest

from simkit import cli
from simkit.circuit.timeline import start_frequency
from simkit.judge.limits import machine_limits
from simkit.live.answers import Question, answered
from simkit.parameters.change import load_changes
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.switches import load_part
from simkit.rehearsal.rehearser import Rehearser
from simkit.run.backend import EngineRun
from simkit.run.process import NgspiceEngine
from simkit.scout.bench import Setting, fast_readings
from simkit.studies.bring_up.study import usual_stages
from simkit.studies.check.study import NAMES, check_machine
from simkit.studies.compare.changing import variants
from simkit.studies.compare.study import rehearsals
from simkit.studies.explain.study import explained
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.protect.study import Searcher
from simkit.studies.scenario.result import result_of
from simkit.studies.situations import NotHere, cases
from tests.machines import ROOT

FILES = sorted((ROOT / "scenarios").glob("*/machine.toml"))
SAME, FAST, WARM = 1e-9, 0.03, 0.05
"""What answers may differ by [1]: by nothing where both come of the same circuit or file; a settled
circuit from the fast model's periodic one, and a junction's temperature there, as in
tests/engine/test_one_point.py, and what a first pass leaves to a finer one."""
SCENARIO = """
name = "steady"
title = "Heating, nothing happens"
machine = "machine.toml"
tail = "0.1 ms"

[start]
load = "{piece}"
settled = "0.2 ms"
"""
CHANGE = """
[changes.more-current-allowed]
machine.limits.supply_current = "{current:.6g} A"
"""


@dataclass(frozen=True)
class Said:
    """What a verb answers to a question; `room`: what it may be off another's answer [1]."""

    question: str
    verb: str
    value: float | str
    room: float = SAME


def contradictions(table: Iterable[Said]) -> list[tuple[Said, Said]]:
    """Each answer that is not the first one's to the same question, beside it."""
    first: dict[str, Said] = {}
    found = []
    for said in table:
        other = first.setdefault(said.question, said)
        if not _agree(said, other):
            found.append((other, said))
    return found


def _agree(one: Said, two: Said) -> bool:
    if isinstance(one.value, str) or isinstance(two.value, str):
        return one.value == two.value
    return isclose(one.value, two.value, rel_tol=max(one.room, two.room), abs_tol=1e-12)


def test_a_contradiction_is_found() -> None:
    run, check = Said("limit", "run", 10.0), Said("limit", "check", 10.001)
    assert contradictions([run, check]) == [(run, check)]
    assert contradictions([run, Said("limit", "check", 10.1, FAST)]) == []
    assert contradictions([Said("verdict", "run", "a"), Said("verdict", "map", "b")])


@pytest.fixture
def once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same deck is run once."""
    real, known = NgspiceEngine.run, dict[str, EngineRun]()

    def run(self: NgspiceEngine, text: str, saved: Any, stop: float, *more: Any) -> EngineRun:
        key = f"{stop!r} {tuple(saved)!r} {text}"
        if key not in known:
            known[key] = real(self, text, saved, stop, *more)
        return known[key]

    monkeypatch.setattr(NgspiceEngine, "run", run)


@pytest.mark.slow
@pytest.mark.usefixtures("once")
@pytest.mark.parametrize("file", FILES, ids=lambda p: p.parent.name)
def test_verbs_do_not_contradict_each_other(file: Path, tmp_path: Path) -> None:
    bench = Bench.of(file, tmp_path)
    table = [*bench.run(), *bench.check(), *bench.page(), *bench.deck(), *bench.compare(),
             *bench.protect(), *bench.words(), *bench.bring_up(), *bench.fit(), *bench.part(),
             *bench.all_faults()]  # fmt: skip
    verbs = {s.verb for s in table}
    assert verbs - {"part"} == {"run", "check", "bench", "deck", "compare", "protect", "explain",
                                "bring-up", "fit", "all-faults"}  # fmt: skip
    assert ("part" in verbs) == bool(bench.part_files())
    asked = {s.question for s in table}
    several = {q for q in asked if len({s.verb for s in table if s.question == q}) > 1}
    # Every limit, the judged figures that the fast model has, frequency, verdict and power.
    assert len(several) > 2 * len(NAMES) + 3
    assert contradictions(table) == []


@dataclass
class Bench:
    """A copy of a shipped machine, the steady scenario beside it, and what its verbs answer."""

    place: Path
    scenario: Loaded[Scenario]
    machine: Loaded[Machine]
    piece: str
    frequency: float = 0.0
    """What `run` heats at [Hz]."""

    @classmethod
    def of(cls, file: Path, folder: Path) -> Bench:
        """Files as a person would write them."""
        shutil.copytree(ROOT / "scenarios" / "parts", folder / "parts")
        place = folder / file.parent.name
        place.mkdir()
        shutil.copy(file, place)
        machine = load_machine(file).model
        piece = next(iter(machine.workpieces))
        more = 1.5 * machine.limits.supply_current
        (place / "steady.toml").write_text(SCENARIO.format(piece=piece))
        (place / "change.toml").write_text(CHANGE.format(current=more))
        return cls(place, *load_scenario(place / "steady.toml"), piece)

    def run(self) -> Iterator[Said]:
        rehearsal = Rehearser().rehearse(self.machine.model, self.scenario.model)
        found = result_of(rehearsal, self.machine, self.scenario, 1.0).as_json()
        yield Said("verdict", "run", found["verdict"])
        before = found["operating_point"]["before"]
        yield Said("frequency", "run", before["frequency_hz"])
        yield Said("power", "run", before["workpiece_power_w"])
        yield Said("current of the supply", "run", before["supply_current_a"])
        self.frequency = before["frequency_hz"]
        for row in found["limits"]:
            yield Said(f"limit of {row['quantity']}", "run", row["limit"])
            if row["value"] is not None:
                yield Said(row["quantity"], "run", row["value"])
                yield Said(f"share of {row['quantity']}", "run", row["ratio"])

    def check(self) -> Iterator[Said]:
        rows = {r.quantity: r for r in check_machine(self.machine.model) if r.load == self.piece}
        yield Said("frequency", "check", rows["working frequency"].value, FAST)
        for quantity, title in NAMES.items():
            row, room = rows[title], WARM if quantity == "junction_peak" else FAST
            assert row.limit is not None
            yield Said(quantity, "check", row.value, room)
            yield Said(f"limit of {quantity}", "check", row.limit)

    def page(self) -> Iterator[Said]:
        found = answered(self.place / "machine.toml", Question({}, self.piece, None))
        yield Said("frequency", "bench", found["frequency"], FAST)
        for row in found["limits"]:
            if (quantity := row["quantity"]) in NAMES:
                room = WARM if quantity == "junction_peak" else FAST
                yield Said(f"share of {quantity}", "bench", row["ratio"], room)

    def deck(self) -> Iterator[Said]:
        out = self.place / "steady.cir"
        words = ["deck", str(self.place / "steady.toml"), "--no-engine", "-o", str(out), "--quiet"]
        assert cli.run(words) == 0
        source = re.search(r"^vsup sup 0 ([0-9.e+]+)$", out.read_text(), re.M)
        assert source is not None
        yield Said("voltage", "deck", float(source[1]))

    def bring_up(self) -> Iterator[Said]:
        last = usual_stages(self.machine.model)[-1]
        assert last.supply_voltage is not None
        yield Said("voltage", "bring-up", last.supply_voltage)

    def compare(self) -> Iterator[Said]:
        made, _ = variants(self.machine.file, load_changes(self.place / "change.toml"), {})
        (held,) = rehearsals(self.machine, made[:1], [self.scenario], Rehearser())
        yield Said("verdict", "compare", held.before.outcome)
        readings = {r.quantity: r.before.value for r in held.readings}
        for question, key in (("frequency", "frequency_hz"), ("power", "workpiece_power_w")):
            value = readings[key]
            assert value is not None
            yield Said(question, "compare", value)
        for told in held.limits:
            if told.before.limit is not None:
                yield Said(f"limit of {told.quantity}", "compare", told.before.limit)
            if told.before.value is not None:
                yield Said(told.quantity, "compare", told.before.value)

    def protect(self) -> Iterator[Said]:
        base = Searcher().protect(self.machine.model, self.scenario.model).base
        yield Said("verdict", "protect", base["outcome"])
        yield Said("power", "protect", base["power"])
        for quantity, row in base["limits"].items():
            if row["ratio"] is not None:
                yield Said(f"share of {quantity}", "protect", row["ratio"])

    def fit(self) -> Iterator[Said]:
        """What instruments show at the setting of the run, by the model that a fit goes through."""
        machine = self.machine.model
        shown = fast_readings(machine, Setting(self.piece, machine.supply.voltage, self.frequency))
        yield Said("current of the supply", "fit", shown["supply_current"], FAST)

    def part_files(self) -> list[str]:
        """Data sheets that the machine file names for its switches."""
        text = (self.place / "machine.toml").read_text("utf-8")
        return re.findall(r'^part = "(.+)"', text, re.M)

    def part(self) -> Iterator[Said]:
        """Ratings of the sheet that `part` fits, against the machine's own limits."""
        limits = self.machine.model.limits.derating
        for name in self.part_files():
            ratings = load_part(self.place / name).model.ratings
            volts = getattr(ratings, "drain_voltage", None) or ratings.collector_voltage
            rated = volts * limits.drain_voltage
            yield Said("limit of drain_voltage_peak", "part", rated)

    def all_faults(self) -> Iterator[Said]:
        """Where each situation of the machine as it is begins; their circuits are not run here."""
        for case in cases(self.machine.model).values():
            if isinstance(case, NotHere) or case.machine != self.machine.model:
                continue
            start = case.scenario.start
            working = start.margin == self.machine.model.drive.working_margin
            # A supply turned down has another current, and steel another inductance at it.
            if start.load == self.piece and working and start.supply_voltage is None:
                first = start_frequency(case.machine, case.scenario)
                yield Said("frequency", "all-faults", first)

    def words(self) -> Iterator[Said]:
        for limit in machine_limits(self.machine.model):
            yield Said(f"limit of {limit.quantity}", "explain", limit.bound)
            assert explained(limit.quantity).kind == "quantity"

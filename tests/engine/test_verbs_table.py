"""The table of verbs on shipped machines: one question, every verb that answers it, one answer.

One steady scenario a machine, rehearsed once: `run` fills the cache from which `compare` and
`protect` take the same circuit. Beside them `check`, the local page, `deck`, `bring-up` and
`explain`. What verbs say without a circuit is held on every shipped scenario by
tests/unit/test_verbs_agree.py. Nothing outside to compare with: it is the tool against itself.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import isclose
from pathlib import Path
from typing import Any

import pytest

from simkit import cli
from simkit.judge.limits import machine_limits
from simkit.live.answers import Question, answered
from simkit.studies.bring_up.study import usual_stages
from simkit.studies.check.study import NAMES
from simkit.studies.explain.study import explained
from simkit.studies.inputs.loading import load_machine
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
settled = "0.25 ms"
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


@pytest.mark.slow
@pytest.mark.parametrize("file", FILES, ids=lambda p: p.parent.name)
def test_verbs_do_not_contradict_each_other(
    file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench.of(file, tmp_path, capsys)
    table = [*bench.run(), *bench.check(), *bench.page(), *bench.deck(), *bench.compare(),
             *bench.protect(), *bench.words(), *bench.bring_up()]  # fmt: skip
    verbs = {s.verb for s in table}
    assert verbs == {"run", "check", "bench", "deck", "compare", "protect", "explain", "bring-up"}
    asked = {s.question for s in table}
    several = {q for q in asked if len({s.verb for s in table if s.question == q}) > 1}
    # Every limit, the judged figures that the fast model has, frequency, verdict and power.
    assert len(several) > 2 * len(NAMES) + 3
    assert contradictions(table) == []


@dataclass
class Bench:
    """A copy of a shipped machine, the steady scenario beside it, and how its verbs are asked."""

    place: Path
    piece: str
    capsys: pytest.CaptureFixture[str]

    @classmethod
    def of(cls, file: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> Bench:
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
        return cls(place, piece, capsys)

    def asked(self, verb: str, *words: str) -> dict[str, Any]:
        """What a verb prints as JSON."""
        paths = [str(self.place / w) if w.endswith(".toml") else w for w in words]
        self.capsys.readouterr()
        status = cli.run([verb, *paths, "--json", "--quiet"])
        assert status in (0, 1, 3), (verb, status)  # 3: a verdict too, too close to call
        found: dict[str, Any] = json.loads(self.capsys.readouterr().out)
        return found

    def out(self, verb: str) -> tuple[str, str]:
        return "--out", str(self.place / "reports" / verb)

    def run(self) -> Iterator[Said]:
        found = self.asked("run", "steady.toml", "--no-advice", *self.out("run"))
        yield Said("verdict", "run", found["verdict"])
        before = found["operating_point"]["before"]
        yield Said("frequency", "run", before["frequency_hz"])
        yield Said("power", "run", before["workpiece_power_w"])
        for row in found["limits"]:
            yield Said(f"limit of {row['quantity']}", "run", row["limit"])
            if row["value"] is not None:
                yield Said(f"{row['quantity']}", "run", row["value"])
                yield Said(f"share of {row['quantity']}", "run", row["ratio"])

    def check(self) -> Iterator[Said]:
        found = self.asked("check", "machine.toml")
        rows = {r["quantity"]: r for r in found["rows"] if r["load"] == self.piece}
        yield Said("frequency", "check", rows["working frequency"]["value"], FAST)
        for quantity, title in NAMES.items():
            room = WARM if quantity == "junction_peak" else FAST
            yield Said(quantity, "check", rows[title]["value"], room)
            yield Said(f"limit of {quantity}", "check", rows[title]["limit"])

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
        last = usual_stages(load_machine(self.place / "machine.toml").model)[-1]
        assert last.supply_voltage is not None
        yield Said("voltage", "bring-up", last.supply_voltage)

    def compare(self) -> Iterator[Said]:
        found = self.asked("compare", "machine.toml", "change.toml", "--scenario", "steady.toml",
                           *self.out("compare"))  # fmt: skip
        (row,) = found["results"]
        yield Said("verdict", "compare", row["before"]["verdict"])
        readings = {r["quantity"]: r["before"]["value"] for r in row["readings"]}
        yield Said("frequency", "compare", readings["frequency_hz"])
        yield Said("power", "compare", readings["workpiece_power_w"])
        for told in row["limits"]:
            yield Said(f"limit of {told['quantity']}", "compare", told["before"]["limit"])
            if told["before"]["value"] is not None:
                yield Said(told["quantity"], "compare", told["before"]["value"])

    def protect(self) -> Iterator[Said]:
        found = self.asked("protect", "steady.toml", *self.out("protect"))
        base = found["without"]
        yield Said("verdict", "protect", base["verdict"])
        yield Said("power", "protect", base["power_w"])
        for quantity, row in base["limits"].items():
            if row["ratio"] is not None:
                yield Said(f"share of {quantity}", "protect", row["ratio"])

    def words(self) -> Iterator[Said]:
        machine = load_machine(self.place / "machine.toml").model
        for limit in machine_limits(machine):
            yield Said(f"limit of {limit.quantity}", "explain", limit.bound)
            assert explained(limit.quantity).kind == "quantity"

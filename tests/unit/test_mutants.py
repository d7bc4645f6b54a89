"""The record of mutants, its reasons and its page; and that the mutations are small changes."""

import tomllib

from benchmarks.mutants import (
    GOAL,
    PAGE,
    REASONS,
    ROOT,
    asked_of,
    modules,
    page,
    reasons,
    recorded,
    survivors,
)
from benchmarks.mutations import mutants


def test_every_reason_belongs_to_a_survivor_and_to_one_only_once() -> None:
    told = tomllib.loads(REASONS.read_text())["explained"]
    listed = [s for entry in told for s in entry["survivors"]]
    assert sorted(set(listed)) == sorted(listed)
    assert set(listed) <= set(survivors())
    for entry in told:
        assert set(entry) == {"reason", "survivors"}
        assert entry["reason"].endswith(".")
        assert entry["survivors"]
    assert set(reasons()) == set(listed)


def test_the_page_is_of_the_record() -> None:
    assert page() == PAGE.read_text(), "run python -m benchmarks.mutants --page"


def test_the_goal_is_reached() -> None:
    counts = [record.counts for record in recorded().values()]
    dead = sum(c["killed"] + c["timeout"] for c in counts)
    assert dead / sum(c.total() for c in counts) >= GOAL


def test_a_mutant_is_one_small_change() -> None:
    text = '''
"""Words."""
from typing import Literal
Mark = Literal["a", "b"]
def f(x: float) -> bool:
    """Words."""
    return x > 2.5
'''
    assert [m.shown.removeprefix("f: return x > 2.5 -> ") for m in mutants(text)] == [
        "return None", "return x >= 2.5", "return x < 2.5", "return x > 3.5", "return x > -2.5",
    ]  # fmt: skip
    assert len({m.key for m in mutants(text)}) == 5


def test_every_module_has_its_tests_and_its_record() -> None:
    for path in modules():
        assert all((ROOT / test).is_file() for test in asked_of(path))
    known = {str(path.relative_to(ROOT)) for path in modules()}
    assert known == set(recorded()), "run python -m benchmarks.mutants"

"""Changed and random bytes into everything that reads: a value or a refusal in words.

A small part of the long run (benchmarks/fuzz.py, whose figures are in docs/fuzzing.md), plus
every input that once was a finding (tests/robust/corpus/).
"""

import random
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.robust.mutate import mutated
from tests.robust.targets import TARGETS, UNIT_LIST, quantity, seeds

CORPUS = Path(__file__).parent / "corpus"
FOUND = sorted(p for p in CORPUS.glob("*/*") if p.is_file())
LONGEST = 5.0
"""No input may keep a loader busy for longer [s]."""
INPUTS = {"machine-built": 5}
"""Inputs per target where it is slow; otherwise `MANY`."""
MANY = 60


@pytest.mark.parametrize("path", FOUND, ids=lambda p: f"{p.parent.name}-{p.name}")
def test_what_was_found_once_is_not_found_again(path: Path) -> None:
    started = time.monotonic()
    TARGETS[path.parent.name](path.read_bytes())
    assert time.monotonic() - started < LONGEST


@pytest.mark.parametrize("name", TARGETS)
def test_changed_files_end_as_documented(name: str) -> None:
    rng = random.Random(20)
    whole = seeds(name)
    for _ in range(INPUTS.get(name, MANY)):
        TARGETS[name](mutated(rng.choice(whole), rng))


@given(st.sampled_from(range(len(UNIT_LIST))), st.text(max_size=20))
@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.too_slow])
def test_any_text_is_a_quantity_or_refused(unit: int, text: str) -> None:
    quantity(bytes([unit]) + text.encode("utf-8", "replace"))


@pytest.mark.parametrize("name", TARGETS)
def test_whole_examples_are_read(name: str) -> None:
    # So that the fuzzing begins at files that reach the end of their loader.
    for content in seeds(name):
        TARGETS[name](content)

"""Every element of every deck has a limit, a printed figure, or a reason why not.

The house's own rule; the decks are the golden ones and the templates themselves, faults included.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from simkit.figures.table import figures
from simkit.judge.elements import ELEMENTS, limits_of
from simkit.judge.limits import machine_limits
from tests.machines import ROOT, demo

GOLDEN = Path(__file__).parent / "golden"
TEMPLATES = [p for p in (ROOT / "netlists").glob("*.j2") if not p.name.startswith("test_")]


def elements(text: str) -> set[str]:
    """Names of the elements of a deck or template, loop variables standing for 1."""
    names = set()
    for line in text.splitlines():
        plain = re.sub(r"{{[^}]*}}", "1", line).strip()
        found = re.match(r"([bcdgklmrvx]\w*)\s+\S+\s", plain)
        if found and not plain.startswith((".", "*", "+", "{")):
            names.add(found[1].lower())
    return names


@pytest.mark.parametrize(
    "path", [*sorted(GOLDEN.glob("*.cir")), *sorted(TEMPLATES)], ids=lambda p: p.name
)
def test_no_element_without_a_limit_or_a_reason(path: Path) -> None:
    for name in elements(path.read_text(encoding="utf-8")):
        quantities, reason = limits_of(name)
        assert quantities or len(reason) > 20, name


def test_the_walk_sees_elements_and_refuses_what_nobody_thought_of() -> None:
    seen = {n for p in GOLDEN.glob("*.cir") for n in elements(p.read_text(encoding="utf-8"))}
    assert {"xq1", "m1", "cfilm", "ctank", "cblk", "csph", "lmat", "kgt1", "lmag"} <= seen
    with pytest.raises(LookupError, match="cnew"):
        limits_of("cnew")


def test_the_quantities_exist() -> None:
    judged = {limit.quantity for limit in machine_limits(demo())}
    for _, quantities, _ in ELEMENTS:
        assert set(quantities) <= set(figures())
    limited = {q for _, quantities, _ in ELEMENTS for q in quantities}
    assert judged <= limited | {"junction_peak"}

"""What a comparison amounts to, in sentences."""

from collections.abc import Sequence
from typing import Any

from simkit.figures.table import figures
from simkit.judge.difference import Difference
from simkit.judge.words import WORDS
from simkit.studies.compare.study import Held

NAMED = 2
"""Quantities a sentence names for each direction [1]."""


def sentences(held: Sequence[Held]) -> dict[str, Any]:
    """One sentence for all, and one for each change in each scenario."""
    return {"conclusion": conclusion(held), "held": [sentence(h) for h in held]}


def sentence(held: Held) -> str:
    """What one change did in one scenario."""
    text = _verdicts(held.before.outcome, held.after.outcome)
    if not held.limits:
        return f"{text}: {held.after.reason if not held.after.rehearsal else held.before.reason}"
    better = [d for d in held.limits if d.mark == "better"]
    worse = [d for d in held.limits if d.mark == "worse"]
    if not better and not worse:
        return f"{text}; no limit's share differs by more than both numerical errors."
    said = [
        f"{_count(found)} {word}, {'most ' if len(found) > NAMED else ''}"
        + " and ".join(_moved(d) for d in _largest(found))
        for word, found in (("better", better), ("worse", worse))
        if found
    ]
    return f"{text}; {'; '.join(said)}."


def _verdicts(before: str, after: str) -> str:
    if before == after:
        return f"Still {WORDS[after]}"
    return f"From {WORDS[before]} to {WORDS[after]}"


def _count(found: Sequence[Difference]) -> str:
    return f"{len(found)} {'limit' if len(found) == 1 else 'limits'}"


def _largest(found: Sequence[Difference]) -> list[Difference]:
    return sorted(found, key=lambda d: -abs(d.step))[:NAMED]


def _moved(found: Difference) -> str:
    title = f"{found.part}: {figures()[found.quantity].words.title}"
    a, b = found.before.ratio or 0.0, found.after.ratio or 0.0
    return f"{title} ({a:.2f} to {b:.2f} times its limit)"


def conclusion(held: Sequence[Held]) -> str:
    """One sentence for the whole table."""
    names = list(dict.fromkeys(h.variant.name for h in held))
    cured, broke, unsure = [], [], []
    for name in names:
        mine = [h for h in held if h.variant.name == name]
        if all(h.after.outcome == "within_limits" for h in mine):
            cured.append(name)
        if any(h.before.outcome == "within_limits" != h.after.outcome for h in mine):
            broke.append(name)
        if any(h.after.outcome == "no_verdict" for h in mine):
            unsure.append(name)
    if cured:
        text = f"Within the limits checked in every scenario: {', '.join(cured)}"
    else:
        text = "No change is within the limits checked in every scenario"
    if broke:
        text += f"; a scenario that was within them no longer is: {', '.join(broke)}"
    if unsure:
        text += f"; no verdict for {', '.join(unsure)}"
    best = _best(held, names)
    return f"{text}; {best}." if best else f"{text}."


def _best(held: Sequence[Held], names: Sequence[str]) -> str:
    """The change that leaves the least of the worst ratio over all scenarios."""
    worst: dict[str, float] = {}
    for name in names:
        ratios = [
            d.after.ratio
            for h in held
            if h.variant.name == name
            for d in h.limits
            if d.after.ratio is not None
        ]
        if ratios:
            worst[name] = max(ratios)
    before = [d.before.ratio for h in held for d in h.limits if d.before.ratio is not None]
    if not worst or not before or len(names) < 2:
        return ""
    name = min(worst, key=lambda n: worst[n])
    return (
        f"the worst share of any limit, {max(before):.2f} times before, is lowest with {name}: "
        f"{worst[name]:.2f} times"
    )

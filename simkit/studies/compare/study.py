"""The same rehearsals before and after changes to the machine.

Every rehearsal is a full one; what is compared is each quantity's share of its limit, and what the
instruments would show. Only what differs by more than both numerical errors is called a
difference (see judge/difference.py).
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from typing import Any

from simkit.errors import EngineError, InputError, Problem
from simkit.judge.cautions import CAUTIONS
from simkit.judge.difference import Difference, Reading, compare, of_limits
from simkit.judge.verdict import Outcome
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.run.backend import Progress
from simkit.studies.compare.changing import Variant
from simkit.studies.inputs.loading import misfits, with_instead

READINGS = (
    ("frequency_hz", "Hz"),
    ("input_power_w", "W"),
    ("workpiece_power_w", "W"),
    ("bridge_loss_w", "W"),
    ("supply_current_a", "A"),
    ("tank_voltage_peak_v", "V"),
    ("coil_current_rms_a", "A"),
    ("primary_current_peak_a", "A"),
    ("turn_off_current_a", "A"),
)
"""What the instruments show in the settled state before the event, with units."""


@dataclass(frozen=True)
class Result:
    """One scenario on one machine; without a rehearsal the engine gave no whole answer."""

    scenario: str
    outcome: Outcome
    reason: str
    rehearsal: Rehearsal | None


@dataclass(frozen=True)
class Held:
    """One scenario before and after one change."""

    scenario: Scenario
    variant: Variant
    before: Result
    after: Result
    limits: tuple[Difference, ...]
    readings: tuple[Difference, ...]


@dataclass(frozen=True)
class Comparison:
    """Every change in every scenario."""

    held: tuple[Held, ...]
    note: str
    """What is to be said about changes that were not made together."""


def fitting(
    scenarios: Sequence[Loaded[Scenario]],
    machine: Loaded[Machine],
    variants: Sequence[Variant],
) -> None:
    """Refuse scenarios that the machine, before or after a change, cannot do.

    Errors: InputError, each problem with the name of the change.
    """
    found: list[Problem] = []
    for scenario in scenarios:
        found += misfits(scenario, with_instead(scenario, machine).model)
        for variant in variants:
            found += [
                Problem(p.file, p.line, p.field, p.value, f"with {variant.name}: {p.rule}", p.hint)
                for p in misfits(scenario, with_instead(scenario, variant.machine).model)
            ]
    if found:
        raise InputError(found)


def rehearsals(
    machine: Loaded[Machine],
    variants: Sequence[Variant],
    scenarios: Sequence[Loaded[Scenario]],
    bench: Rehearser,
    jobs: int = 1,
    progress: Progress | None = None,
) -> tuple[Held, ...]:
    """Run every scenario on the machine and on every variant, some at a time."""
    machines = [machine, *(variant.machine for variant in variants)]
    cases = [(m, s) for s in scenarios for m in machines]
    done: list[Result] = []

    def one(case: tuple[Loaded[Machine], Loaded[Scenario]]) -> Result:
        return rehearsed(bench, with_instead(case[1], case[0]).model, case[1].model)

    with ThreadPoolExecutor(jobs) as pool:
        for result in pool.map(one, cases):
            done.append(result)
            if progress:
                progress(len(done) / len(cases))
    held = []
    width = len(machines)
    for k, scenario in enumerate(scenarios):
        before, *after = done[k * width : (k + 1) * width]
        held += [_held(scenario.model, v, before, a) for v, a in zip(variants, after, strict=True)]
    return tuple(held)


def rehearsed(bench: Rehearser, machine: Machine, scenario: Scenario) -> Result:
    """One rehearsal; an engine that gives no whole answer leaves no verdict."""
    try:
        found = bench.rehearse(machine, scenario)
    except EngineError as error:
        return Result(scenario.name, "no_verdict", error.reason, None)
    return Result(scenario.name, found.verdict.outcome, found.verdict.reason, found)


def _held(scenario: Scenario, variant: Variant, before: Result, after: Result) -> Held:
    a, b = before.rehearsal, after.rehearsal
    limits = of_limits(a.rows, b.rows) if a and b else ()
    shown = readings(a, b) if a and b else ()
    return Held(scenario, variant, before, after, limits, shown)


def readings(before: Rehearsal, after: Rehearsal) -> tuple[Difference, ...]:
    """What the instruments show before the event, on both machines.

    No finer run covers every settled cycle: the error taken is the largest relative error of any
    judged quantity of that rehearsal, which is on the careful side.
    """
    shares = largest_error(before), largest_error(after)
    out = []
    for key, unit in READINGS:
        a, b = (
            _reading(getattr(found.before, key), share)
            for found, share in zip((before, after), shares, strict=True)
        )
        mark = compare(a.value, a.error, b.value, b.error)
        out.append(Difference(key, "machine", unit, a, b, mark))
    return tuple(out)


def _reading(value: float, share: float | None) -> Reading:
    error = None if share is None else share * abs(value)
    return Reading(value, error, None, "ok")


def largest_error(found: Rehearsal) -> float | None:
    """Largest numerical error of a judged quantity, as a share of the larger of value and limit."""
    shares = [
        r.error / max(abs(r.value), abs(r.limit))
        for r in found.rows
        if r.error is not None and r.value is not None
    ]
    return max(shares, default=None)


def outcome(held: Sequence[Held]) -> Outcome:
    """What all states after the changes amount to: no verdict outweighs over, over within.

    Nothing held is no verdict.
    """
    found = {h.after.outcome for h in held}
    if not found or "no_verdict" in found:
        return "no_verdict"
    return "over_limit" if "over_limit" in found else "within_limits"


def document(
    comparison: Comparison, machine: Loaded[Machine], changes: Any, sentences: Mapping[str, Any]
) -> dict[str, Any]:
    """The comparison as data; numbers in SI units."""
    from simkit.result.plain import plain

    result: dict[str, Any] = plain(
        {
            "schema": "simkit.compare/1",
            "cautions": list(CAUTIONS),
            "machine": _file(machine),
            "change": {"title": changes.model.title, "file": str(changes.file),
                       "digest": changes.digest},
            "verdict": outcome(comparison.held),
            "reason": sentences["conclusion"],
            "note": comparison.note,
            "results": [_row(h, sentences["held"][k]) for k, h in enumerate(comparison.held)],
        }
    )  # fmt: skip
    return result


def _file(loaded: Loaded[Machine]) -> dict[str, str]:
    return {"name": loaded.model.name, "file": str(loaded.file), "digest": loaded.digest}


def _row(held: Held, sentence: str) -> dict[str, Any]:
    return {
        "change": held.variant.name,
        "title": held.variant.title,
        "overlay": dict(held.variant.values),
        "machine_digest": held.variant.machine.digest,
        "scenario": held.scenario.name,
        "before": {"verdict": held.before.outcome, "reason": held.before.reason},
        "after": {"verdict": held.after.outcome, "reason": held.after.reason},
        "conclusion": sentence,
        "limits": [_difference(d) for d in held.limits],
        "readings": [_difference(d) for d in held.readings],
    }


def _difference(found: Difference) -> dict[str, Any]:
    sides = {
        side: asdict(reading) | {"ratio": reading.ratio}
        for side, reading in (("before", found.before), ("after", found.after))
    }
    return {
        "quantity": found.quantity, "part": found.part, "unit": found.unit, **sides,
        "mark": found.mark,
    }  # fmt: skip

"""What the tolerances of the files do to a run's figures and verdict.

A few hundred machines within them, by the fast model in one batch, calibrated on the circuit's run
of the file's own machine; no circuit runs beside that. What the fast model does not follow gets no
interval and says so. The drive is tuned on each machine: a margin follows its resonance, a
frequency that is written stays.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from simkit.errors import InputError
from simkit.figures.table import full_name
from simkit.judge.verdict import Judged
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.result.document import Result
from simkit.result.tolerance import Driver, PartFigure, Tolerance
from simkit.scout.draws import drawn
from simkit.studies.inputs.loading import load_machine, with_instead
from simkit.studies.maps.space import Array, Rebuilt, Space
from simkit.studies.tolerance.figures import Followed, follow
from simkit.studies.tolerance.machines import DRAWS, Sample, sample, space_for
from simkit.studies.tolerance.warm import warmed
from simkit.studies.tolerance.words import sentence

ENDS = (2.5, 97.5)
"""Ends of the interval [%]."""
MISSING = 0.02
"""Share of draws without a figure from which on it gets no interval [1]."""
MOST_DRIVERS = 5
LEAST_SHARE = 0.01
"""Driver that is told, and share of machines from which on a verdict counts as turning [1]."""


def with_tolerance(
    result: Result, rehearsal: Rehearsal, machine: Loaded[Machine], scenario: Loaded[Scenario]
) -> Result:
    """The result with what the tolerances make of it, and its sentence with that too."""
    try:
        space = space_for(machine, scenario)
    except InputError as error:
        return replace(result, tolerance=_nothing(f"nothing to draw: {error.problems[0].rule}"))
    why = _out_of_reach(rehearsal)
    if why:
        return replace(result, tolerance=_nothing(why))
    try:
        taken, followed = told(rehearsal, space, rebuilder(machine, scenario))
    except (InputError, ValueError, ArithmeticError, np.linalg.LinAlgError) as error:
        return replace(result, tolerance=_nothing(f"the fast model has no answer: {error}"))
    return _amounts_to(result, rehearsal.rows, taken, followed)


def told(
    rehearsal: Rehearsal, space: Space, rebuilt: Rebuilt, draws: int = DRAWS
) -> tuple[Sample, list[Followed]]:
    """The machines drawn, and every row that the fast model follows on them.

    Errors: ValueError where the fast model has no answer.
    """
    taken = sample(space, rehearsal.line, rebuilt, draws)
    if rehearsal.warming is None:
        machines, found = taken.machines, drawn(taken.machines, taken.ways)
    else:
        machines, found = warmed(taken, rehearsal.warming.switch_at_c)
    return taken, follow(rehearsal.rows, rehearsal.scout.fast, machines, found)


def _out_of_reach(rehearsal: Rehearsal) -> str:
    if rehearsal.line.faults:
        return "the fast model knows nothing of what happens to the circuit or its gates"
    if rehearsal.line.oscillator is not None:
        return "the drive's loop sets the frequency, which the fast model's batch does not follow"
    return ""


def rebuilder(machine: Loaded[Machine], scenario: Loaded[Scenario]) -> Rebuilt:
    """What builds the machine anew from its file, with values replaced."""

    def again(more: Mapping[str, str]) -> Machine:
        return with_instead(
            scenario, load_machine(machine.file, {**machine.overridden, **more})
        ).model

    return again


def _nothing(note: str) -> Tolerance:
    return Tolerance(None, None, None, 0, 0, None, (), False, False, (), note)


def _amounts_to(
    result: Result, rows: Sequence[Judged], taken: Sample, followed: Sequence[Followed]
) -> Result:
    """Shares, intervals and drivers in the result's own terms."""
    left = tuple(PartFigure(r.part, r.quantity) for r in rows
                 if all(f.row.quantity != r.quantity for f in followed))  # fmt: skip
    if not followed:
        none = replace(_nothing("the fast model follows none of the figures"), not_followed=left)
        return replace(result, tolerance=none)
    known = {f.row.quantity: interval(f.told[1:]) for f in followed}
    limits = tuple(replace(r, tolerance=known.get(r.quantity)) for r in result.limits)
    ratios = np.array([f.values[1:] / f.row.limit for f in followed])
    over = (ratios > 1.0).any(axis=0)
    beyond = [r for r in rows if r.status == "over" and r.quantity not in known]
    # Where every machine drawn is over a limit that is followed, no other can make it less.
    if beyond and not over.all():
        names = ", ".join(full_name(r.quantity) for r in beyond)
        none = replace(_nothing(f"the fast model does not follow what is over: {names}"),
                       not_followed=left)  # fmt: skip
        return replace(result, limits=limits, tolerance=none)
    unknown = ~over & np.isnan([f.told[1:] for f in followed]).any(axis=0)
    worst = most_over(ratios)
    count, share = ratios.shape[1], float(over.mean())
    found = Tolerance(
        share_over=share,
        share_unknown=float(unknown.mean()),
        error=half_width(int(over.sum()), count),
        draws=count,
        followed=len(followed),
        worst=PartFigure(followed[worst].row.part, followed[worst].row.quantity),
        drivers=drivers([a.name for a in taken.axes], taken.units, ratios[worst]),
        assumed=taken.assumed,
        turns=turns(result.verdict, share, float(unknown.mean())),
        not_followed=left,
        note="",
    )
    said = result.reason if result.verdict == "no_verdict" else _said(result, found)
    return replace(result, limits=limits, tolerance=found, reason=said)


def _said(result: Result, found: Tolerance) -> str:
    return f"{result.reason.removesuffix('.')}; {sentence(result.verdict, found)}."


def most_over(ratios: Array) -> int:
    """The figure that is over most often; of those alike, the one that comes nearest."""
    known = [r[np.isfinite(r)] for r in ratios]
    often = [int(np.sum(r > 1.0)) for r in known]
    high = [float(np.percentile(r, ENDS[1])) if len(r) else 0.0 for r in known]
    return max(range(len(known)), key=lambda k: (often[k], high[k]))


def turns(verdict: str, share: float, unknown: float = 0.0) -> bool:
    """Whether machines within the tolerances come to another verdict than the file's own."""
    other = share if verdict == "within_limits" else 1.0 - share - unknown
    return verdict != "no_verdict" and other >= LEAST_SHARE


def interval(values: Array) -> tuple[float, float] | None:
    """95 % of the draws' figures; None where too many have none."""
    known = values[np.isfinite(values)]
    if len(known) < (1.0 - MISSING) * len(values):
        return None
    low, high = np.percentile(known, ENDS)
    return float(low), float(high)


def half_width(over: int, count: int) -> float:
    """Half of the 95 % interval of a share [1] (E. B. Wilson, 1927, recalled from memory)."""
    z, share = 1.959964, over / count
    root = np.sqrt(share * (1.0 - share) / count + (z / (2.0 * count)) ** 2)
    return float(z * root / (1.0 + z * z / count))


def drivers(names: Sequence[str], units: Array, ratios: Array) -> tuple[Driver, ...]:
    """Shares of what moves a figure: squares of Spearman's rank correlations, over their sum."""
    known = np.isfinite(ratios)
    ranks = ratios[known].argsort().argsort()
    if len(ranks) < 3 or np.ptp(ratios[known]) == 0.0:
        return ()
    squares = np.array([
        np.corrcoef(units[known, k].argsort().argsort(), ranks)[0, 1] ** 2
        for k in range(len(names))
    ])  # fmt: skip
    shares = squares / squares.sum()
    order = np.argsort(-shares, kind="stable")[:MOST_DRIVERS]
    return tuple(Driver(names[k], float(shares[k])) for k in order if shares[k] >= LEAST_SHARE)

"""What a model file of a switch lacks, as its virtual tests show it: in a maker's words."""

from collections.abc import Iterator, Mapping
from math import isnan
from typing import Any

from simkit.parameters.load import Loaded
from simkit.parts.modelled import flat_model
from simkit.studies.part.study import PartReport, Row
from simkit.studies.part.trial import DEARER, Trial

COLD = 25.0
"""Junction temperature at which the file is read for what it leaves out [degC]."""
FOLLOWS = 0.4
"""Share of the sheet's rise with temperature below which a file counts as not knowing any [1]."""
CONSTANT = 0.1
"""Change of the output capacitance below which it counts as constant [1]."""
LITTLE = 0.2
"""Share of the sheet's recovery charge below which the diode counts as one that hardly recovers."""
FAR = 1.3
"""Avalanche voltage over the sheet's from which on the file counts as having none [1]."""


def notes_on(
    part: Loaded[Any], report: PartReport, trial: Trial | None = None,
    loosened: Mapping[str, str] | None = None,
) -> tuple[str, ...]:  # fmt: skip
    """Sentences on what the file is silent of and where it breaks off, with the figures they come
    from; `loosened` names the tests that ran at looser options only, and at which."""
    asked = part.model.model
    flat = flat_model(part, asked, COLD)
    which = "as its diode" if asked.diode_alone else "seen from its leads"
    found = [f"{asked.file} stands in every circuit of these tests, {which}."]
    found += flat.warnings
    if asked.junction or asked.case:
        found.append(
            "Its temperature pins are held at each test's junction temperature, in a rehearsal "
            "at the junction's; heat capacities between them are left out."
        )
    found += _temperature(report)
    found += _capacitance(report)
    found += _recovery(report)
    if not asked.diode_alone:
        found += _breakdown(report)
    found += _gave_up(report)
    found += [
        f"In the test {test} the engine's steps collapse at the usual options; it ran with {rung}."
        for test, rung in (loosened or {}).items()
    ]
    if trial is not None:
        found += on_trial(trial)
    return tuple(found)


def on_trial(trial: Trial) -> Iterator[str]:
    """What the double pulse and the capacitance sweep showed."""
    if trial.snaps and trial.theirs is not None:
        its, ours = trial.theirs, trial.ours
        yield (
            f"The diode snaps off: its recovery current of {its.peak:.3g} A falls {its.ratio:.2g} "
            f"times as steeply as it rose (a soft one of the same sheet {ours.ratio:.2g} times), "
            f"and the node climbs by {its.climb / 1e9:.3g} V/ns ({ours.climb / 1e9:.3g}). Peaks "
            "and slopes below resonance then follow the engine's steps as much as the circuit: a "
            "rehearsal gives them a wide error or none."
        )
    for jump in trial.jumps:
        yield (
            f"{jump.which} jumps at {jump.voltage:.3g} V, from {jump.before * 1e12:.3g} to "
            f"{jump.after * 1e12:.3g} pF: no real capacitance does. Edges get a kink there, the "
            "engine's steps collapse, and slopes are not to be trusted."
        )
    if trial.theirs is None:
        yield f"The double pulse did not reach its end: {trial.reason}. A rehearsal hardly will."
    else:
        yield costs(trial)


def costs(trial: Trial) -> str:
    """What a rehearsal with the file costs, as a sentence."""
    said = (
        f"A rehearsal with it costs about {trial.cost:.2g} times the CPU of one with our own "
        f"switch (measured on the double pulse, in {trial.steps:.2g} times its steps)."
    )
    if trial.steps > DEARER:
        return f"{said} Its steps collapse: look for jumps in its laws."
    return said


def _gave_up(report: PartReport) -> Iterator[str]:
    for test in report.gave_up:
        yield f"The engine gives up in the test {test}; what it would have shown is missing here."


def _rows(report: PartReport, *quantities: str) -> list[Row]:
    return [r for r in report.rows if r.quantity in quantities and not isnan(r.obtained)]


def _temperature(report: PartReport) -> Iterator[str]:
    rows = [r for r in _rows(report, "R_DS(on)", "V_CE(sat)") if r.given]
    hot = rows[-1] if rows else None
    cold = next((r for r in rows if hot and _current(r) == _current(hot)), None)
    if hot is None or cold is None or cold is hot:
        return
    assert cold.given
    assert hot.given
    wanted, got = hot.given / cold.given - 1.0, hot.obtained / cold.obtained - 1.0
    if wanted > 0.0 and got < FOLLOWS * wanted:
        yield (
            f"Between the sheet's temperatures {cold.quantity} changes by {100.0 * got:.2g} % in "
            f"the file and by {100.0 * wanted:.3g} % in the sheet: it hardly knows temperature, so "
            "that conduction loss is that of one, whatever the junction's."
        )


def _current(row: Row) -> str:
    """The gate voltage and current of a row's conditions, without its temperature."""
    return ", ".join(row.condition.split(", ")[:2])


def _capacitance(report: PartReport) -> Iterator[str]:
    got = [r.obtained for r in _rows(report, "C_oss", "C_oes")]
    if len(got) > 1 and max(got) < (1.0 + CONSTANT) * min(got):
        yield (
            f"The output capacitance is constant, {got[0] * 1e12:.3g} pF: a real one is many times "
            "larger at a low voltage, so dead time and switching loss come out wrong."
        )


def _recovery(report: PartReport) -> Iterator[str]:
    for row in _rows(report, "Q_rr"):
        if row.test == "recovery" and row.given and abs(row.obtained) < LITTLE * row.given:
            yield (
                f"The diode stores {row.obtained * 1e6:.2g} uC of the sheet's "
                f"{row.given * 1e6:.2g} uC: it hardly recovers, and a rehearsal below resonance "
                "would show none of the spikes that destroy."
            )
            return


def _breakdown(report: PartReport) -> Iterator[str]:
    lost = any(test.startswith("unclamped") for test in report.gave_up)
    rows = [r for r in report.rows if r.quantity == "V_AV"]
    if lost and not rows:
        yield "The file has no breakdown: the unclamped test runs away with its voltage."
    for row in rows:
        if isnan(row.obtained) or (row.given and row.obtained > FAR * row.given):
            yield "The file has no breakdown: a spike may go on to any voltage in a rehearsal."

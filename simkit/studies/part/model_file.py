"""What a model file of a switch lacks, as its virtual tests show it: in a maker's words."""

from collections.abc import Iterator
from math import isnan
from typing import Any

from simkit.parameters.load import Loaded
from simkit.parts.modelled import flat_model
from simkit.studies.part.study import PartReport, Row

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


def notes_on(part: Loaded[Any], report: PartReport) -> tuple[str, ...]:
    """Sentences on what the file is silent of, with the figures they come from."""
    asked = part.model.model
    flat = flat_model(part, asked, COLD)
    found = [f"{asked.file} stands in every circuit of these tests, seen from its leads."]
    found += flat.warnings
    found += _temperature(report)
    found += _capacitance(report)
    found += _recovery(report)
    found += _breakdown(report)
    return tuple(found)


def _rows(report: PartReport, *quantities: str) -> list[Row]:
    return [r for r in report.rows if r.quantity in quantities and not isnan(r.obtained)]


def _temperature(report: PartReport) -> Iterator[str]:
    rows = [r for r in _rows(report, "R_DS(on)", "V_CE(sat)") if r.given]
    if len(rows) < 2:
        return
    cold, hot = rows[0], rows[-1]
    assert cold.given
    assert hot.given
    wanted, got = hot.given / cold.given - 1.0, hot.obtained / cold.obtained - 1.0
    if wanted > 0.0 and got < FOLLOWS * wanted:
        yield (
            f"Between the sheet's temperatures {cold.quantity} changes by {100.0 * got:.2g} % in "
            f"the file and by {100.0 * wanted:.3g} % in the sheet: it hardly knows temperature, so "
            "that conduction loss is that of one, whatever the junction's."
        )


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
    for row in (r for r in report.rows if r.quantity == "V_AV"):
        if isnan(row.obtained) or (row.given and row.obtained > FAR * row.given):
            yield "The file has no breakdown: a spike may go on to any voltage in a rehearsal."

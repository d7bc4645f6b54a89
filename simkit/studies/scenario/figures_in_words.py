"""Figures of a result as named facts in words, for the report."""

import shlex
from collections.abc import Iterator
from dataclasses import asdict

from simkit.report import view as page
from simkit.result.document import Commutation, Numerics, RecoveryFound, Result, SecondOpinion
from simkit.units import format_quantity


def _shown(value: float | None, unit: str) -> str:
    return "none" if value is None else format_quantity(value, unit, 3)


def commutation_facts(found: Commutation | None) -> Iterator[page.Fact]:
    """How the bridge commutated: dead time, what was needed, hard transitions."""
    if found is None:
        return
    yield page.Fact("dead time", _shown(found.dead_time_s, "s"))
    yield page.Fact("time needed, settled", _shown(found.needed_s, "s"),
                    "off command until the node has covered 90 % of its way")  # fmt: skip
    yield page.Fact("time available, settled", _shown(found.available_s, "s"),
                    "off command until the incoming gate crosses threshold")  # fmt: skip
    yield page.Fact(
        "turned on against voltage",
        f"{found.hard_transitions} of {found.transitions} transitions",
    )
    if found.first_hard_s is not None:
        yield page.Fact("the first of them", _shown(found.first_hard_s, "s"), "run time")
    if found.reversed_turn_ons is not None:
        yield page.Fact(
            "turned on with the current reversed",
            f"{found.reversed_turn_ons} of {found.change_overs} change-overs, give or take "
            f"{found.reversed_error}",
            "in the whole event; a diode is forced off where the nodes do not take it",
        )
    yield page.Fact("shoot-through charge, largest", _charge(found.shoot_through_c))


def recovery_facts(found: RecoveryFound | None) -> Iterator[page.Fact]:
    """The worst forced recovery of a body diode."""
    if found is None:
        return
    yield page.Fact("forced recoveries", str(found.count), "in what the circuit ran")
    if not found.count:
        return
    yield page.Fact("peak reverse current", _shown(found.peak_current_a, "A"), found.switch or "")
    yield page.Fact("forward current before", _shown(found.forward_current_a, "A"))
    yield page.Fact("charge", _shown(found.charge_c, "C"))
    yield page.Fact("di/dt, largest", _shown(found.di_dt_a_per_s, "A/s"))
    yield page.Fact("dv/dt, largest", _shown(found.dv_dt_v_per_s, "V/s"))
    yield page.Fact("voltage above the link", _shown(found.overshoot_v, "V"))


def numerics_facts(found: Numerics) -> Iterator[page.Fact]:
    """How the figures were computed and how far they can be trusted."""
    error, residual = found.refinement_error, found.energy_residual
    if error is not None:
        cause = found.refinement_cause
        note = "largest of a judged value, as a share of it or of its limit"
        yield page.Fact("numerical error", f"{error:.2%}",
                        f"{note}; mostly from {cause}" if cause else note)  # fmt: skip
    if residual is not None:
        yield page.Fact("energy residual", f"{residual:.3%}", "what does not add up")
    yield page.Fact("time points", f"{found.steps:,}".replace(",", " "))
    yield page.Fact("cycles", str(found.cycles))
    yield page.Fact("engine time", _shown(found.engine_seconds, "s"))
    yield page.Fact("integration", _methods(str(found.method)))
    retries = found.retries or ("none needed",)
    yield page.Fact("other options tried", "; ".join(retries))


def second_facts(found: SecondOpinion | None) -> Iterator[page.Fact]:
    """What another engine makes of the figures."""
    if found is None:
        return
    if found.largest_difference is None:
        yield page.Fact("second opinion", "none", "; ".join(found.missed))
        return
    yield page.Fact("second opinion", f"{found.engine}, {found.runs} runs")
    yield page.Fact("largest difference", f"{found.largest_difference:.2%}",
                    "of the value or its limit, between the engines")  # fmt: skip


def _charge(coulombs: float | None) -> str:
    # Below a picocoulomb lies nothing but rounding.
    return "none" if coulombs is not None and coulombs < 1e-12 else _shown(coulombs, "C")


def _methods(text: str) -> str:
    """The method of every run in few words: "20 runs with ..., 3 runs with ..."."""
    counts: dict[str, int] = {}
    text, bar, why = text.partition(" | ")
    for part in text.split("; "):
        label = part.rpartition(": ")[2]
        counts[label] = counts.get(label, 0) + 1
    said = [f"{n} {'run' if n == 1 else 'runs'} with {x}" for x, n in counts.items()]
    return "; ".join([*said, *([why] if bar else [])])


def provenance_facts(result: Result) -> Iterator[page.Fact]:
    """Which files and versions the figures come from."""
    for kind, told in (("scenario", result.scenario), ("machine", result.machine)):
        yield page.Fact(f"{kind} file", told.file, f"sha256 {told.digest[:16]}")
    for key, value in asdict(result.provenance).items():
        if value is None:  # no second engine was asked
            continue
        text = str(value)[:16] if key.endswith("digest") else str(value)
        yield page.Fact(key.replace("_", " "), text)


def command(result: Result) -> str:
    """The line that runs the same rehearsal again."""
    words = ["simkit", "run", result.scenario.file]
    for key, text in result.overridden.items():
        words += ["--set", f"{key}={text.strip(chr(34))}"]
    return shlex.join(words)

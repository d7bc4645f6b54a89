"""The bring-up as a sheet on paper, as one JSON document, and as a readings file to fill in."""

import math
from dataclasses import asdict
from typing import Any

import simkit
from simkit.judge.cautions import CAUTIONS
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parts.supply import TOUCH, TOUCH_CHARGE, TOUCH_TIME
from simkit.report.text import typeset
from simkit.studies.bring_up.charge import stored
from simkit.studies.bring_up.low_voltage_limits import not_told
from simkit.studies.bring_up.page_view import Charge, Row, SheetView, Sign, StageView
from simkit.studies.bring_up.screens import screens
from simkit.studies.bring_up.signs import GENERAL, SHORT, SHOWN, Signature, low_stage, signatures
from simkit.studies.bring_up.study import BringUpResult, Expected, StageResult
from simkit.units import format_quantity

SCHEMA = "simkit.bring-up/1"
TWINS = {"tank_voltage": "tank_scope", "primary_current": "current_scope"}
"""Amplitudes and the same as the scope shows them, which is what the sheet has a line for."""
FIRST = (
    "Before every touch: supply off, unplugged, link and tank discharged through a resistor, then "
    "measured with a meter that was tried on a known voltage just before. Nobody works alone. The "
    "bench may always show something else than this sheet expects."
)


def show(value: float, unit: str, digits: int = 3) -> str:
    """A value with its unit, ready to print."""
    return typeset(format_quantity(value, unit, digits))


def sheet(result: BringUpResult, machine: Loaded[Machine]) -> SheetView:
    """The whole sheet."""
    model = result.machine
    signs = signatures(result)
    low = low_stage(result)
    left = TWINS if model.probes is not None else ()
    columns = tuple(n for n in SHOWN if signs and n in signs[0].ratio and n not in left)
    return SheetView(
        title=model.title,
        machine=model.name,
        digest=machine.digest[:12],
        first=FIRST,
        stages=tuple(_stage(n, s, result) for n, s in enumerate(result.stages, 1)),
        charges=tuple(_charges(model)),
        charge_note=charge_note(model),
        sign_columns=tuple(SHORT[name] for name in columns),
        signs=tuple(_sign(s, columns) for s in signs),
        sign_note=_sign_note(low),
        general=GENERAL,
        not_told=tuple(typeset(text) for text in not_told(result)),
        assumed=tuple(_assumed(result)),
        version=simkit.__version__,
        notes=_notes(model),
    )


def _stage(number: int, stage: StageResult, result: BringUpResult) -> StageView:
    from simkit.studies.bring_up import trial_words
    from simkit.studies.bring_up.words import before, lead, notes, settings, stop

    machine, trials = result.machine, stage.trials

    return StageView(
        number=number,
        title=stage.stage.title,
        lead=lead(stage),
        before=before(number, stage, machine),
        settings=settings(stage, machine),
        rows=tuple(
            _row(e, stage) for e in stage.expected if not (machine.probes and e.name in TWINS)
        ),
        stop=stop(stage, machine),
        notes=notes(stage),
        screens=screens(stage, machine.probes),
        trials=trial_words.rows(trials) if trials else (),
        forbidden=trial_words.forbidden(trials) if trials else (),
        retreat=trial_words.retreat(trials) if trials else "",
        wander=trial_words.wander(stage, machine),
        after=trial_words.after(stage, machine),
        why_no_step=trial_words.why_no_step(number, result),
    )


def _row(one: Expected, stage: StageResult) -> Row:
    title = one.title
    for plain, scope in TWINS.items():
        if one.name == scope:
            true = next(e for e in stage.expected if e.name == plain)
            title = f"{true.title}, on the scope; there it is {show(true.value, true.unit)}"
    return Row(
        title=title,
        expected=show(one.value, one.unit),
        low=show(one.low, one.unit),
        high=show(one.high, one.unit),
        method=one.method,
    )


def _charges(machine: Machine) -> list[Charge]:
    out = []
    for one in stored(machine):
        time = "not known" if one.time is None else show(one.time, "s", 2)
        if not one.matters:
            time = "below 60 V or 60 µC"
        out.append(Charge(one.part, show(one.capacitance, "F"), show(one.voltage, "V"),
                          show(one.charge, "C"), show(one.energy, "J"), time))  # fmt: skip
    return out


def charge_note(machine: Machine) -> str:
    """What the charge amounts to, against IEC 60204-1, 6.2.4."""
    rule = (f"Live parts are to fall to {TOUCH:g} V within {TOUCH_TIME:g} s of switching off, "
            f"unless they hold {TOUCH_CHARGE * 1e6:g} µC or less "
            "(IEC 60204-1, 6.2.4).")  # fmt: skip
    link = stored(machine)[0]
    if not link.matters:
        return rule
    if link.time is None:
        return (f"{rule} The machine file names neither bring_up.discharge_resistor nor a bleeder: "
                "nothing is known to empty the link, and it must be taken as charged until a "
                "meter says otherwise. Fit a resistor across it, and name it.")  # fmt: skip
    word = "meets" if link.time <= TOUCH_TIME else "does not meet"
    return (f"{rule} Through the resistor named in the file the link needs "
            f"{format_quantity(link.time, 's', 2)}, which {word} this. Measure all the same: a "
            "resistor that has gone open looks like one that works.")  # fmt: skip


def _sign(one: Signature, columns: tuple[str, ...]) -> Sign:
    cells = []
    for name in columns:
        value = one.ratio[name]
        out = name in one.out
        if value is None:
            cells.append(("none", True))
        elif name == "phase":
            degrees = round(value)
            cells.append((f"{degrees:+d}°".replace("-", "\u2212") if degrees else "0°", out))
        else:
            cells.append((f"\u00d7 {value:.2f}", out))
    scale = f" ({one.severity:g} {one.fault.scale})" if one.fault.scale else ""
    return Sign(one.fault.title[0].upper() + one.fault.title[1:] + scale, one.fault.look,
                tuple(cells))  # fmt: skip


def _sign_note(low: StageResult | None) -> str:
    if low is None or low.setting is None or low.frequency is None:
        return "No stage at a low voltage: no signatures."
    return (
        f"Readings with the fault over readings without, at {low.setting.supply_voltage:g} V with "
        f"{low.setting.load}, drive left at {low.frequency / 1e3:.4g} kHz (phase: difference). "
        "Framed: outside what the tolerances allow. Fast model, harmonics of a linear network. To "
        "have your readings weighed: simkit fit MACHINE READINGS --faults."
    )


def _assumed(result: BringUpResult) -> list[str]:
    """Tolerances that no file states."""
    groups: dict[tuple[str, float], list[str]] = {}
    for one in result.uncertain:
        if not one.stated:
            groups.setdefault((one.source, one.tolerance), []).append(one.title)
    return [f"\u00b1 {share:.0%} for {', '.join(names)} (source: {source})"
            for (source, share), names in groups.items()]  # fmt: skip


def _notes(machine: Machine) -> tuple[str, ...]:
    if machine.probes is not None:
        return ()
    return ("The machine file has no [probes]: readings are given without the instruments' own "
            "tolerances, and no scope screens are drawn.",)  # fmt: skip


def document(result: BringUpResult, machine: Loaded[Machine], seconds: float) -> dict[str, Any]:
    """The whole bring-up as one JSON document; SI units, keys end in the unit."""
    view = sheet(result, machine)
    return {
        "schema": SCHEMA,
        "machine": {"name": machine.model.name, "file": str(machine.file),
                    "digest": machine.digest},
        "stages": [_stage_json(stage, shown) for stage, shown in
                   zip(result.stages, view.stages, strict=True)],
        "stored_charge": [
            {"part": s.part, "capacitance_f": s.capacitance, "voltage_v": s.voltage,
             "charge_c": s.charge, "energy_j": s.energy, "time_to_60_v_s": s.time}
            for s in stored(machine.model)
        ],
        "signatures": [
            {"fault": s.fault.name, "title": s.fault.title, "severity": s.severity,
             "ratio": s.ratio, "outside": sorted(s.out), "method": "fast model"}
            for s in signatures(result)
        ],
        "not_told_at_low_voltage": list(view.not_told),
        "assumed_tolerances": list(view.assumed),
        "notes": list(view.notes),
        "cautions": list(CAUTIONS),
        "total_seconds": seconds,
        "provenance": {"simkit": simkit.__version__},
    }  # fmt: skip


def _stage_json(stage: StageResult, shown: StageView) -> dict[str, Any]:
    trials = stage.trials
    return {
        "name": stage.stage.name,
        "title": stage.stage.title,
        "supply_voltage_v": stage.stage.supply_voltage,
        "load": stage.stage.load,
        "margin": stage.stage.margin,
        "frequency_hz": stage.frequency if stage.setting else None,
        "current_limit_a": stage.stage.current_limit,
        "soak_s": stage.stage.soak,
        "before": list(shown.before),
        "settings": list(shown.settings),
        "expected": [_expected_json(e) for e in stage.expected],
        "stop": list(shown.stop),
        "is_step": not shown.why_no_step,
        "why_no_step": shown.why_no_step,
        "rehearsed": None if trials is None else [asdict(t) for t in trials.here],
        "rehearsed_elsewhere": None if trials is None else [asdict(t) for t in trials.elsewhere],
        "forbidden": list(shown.forbidden),
        "retreat_frequency_hz": trials.retreat if trials else None,
        "resonances_hz": asdict(trials.course) if trials else None,
        "after": list(shown.after),
    }


def _expected_json(one: Expected) -> dict[str, Any]:
    def number(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        "reading": one.name, "title": one.title, "unit": one.unit, "value": number(one.value),
        "interval": [number(one.low), number(one.high)], "instrument": number(one.instrument),
        "method": one.method,
    }  # fmt: skip

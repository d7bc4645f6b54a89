"""Every kind of page, written into a folder: what the tests of their look open.

The report, the failure, the index and the table of situations come from the program's own ways.
Comparison, map, search, fit and sheet are made of views put together here: studies that take
minutes would show the same page. Their figures mean nothing; their texts are as long as real ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from simkit.errors import EngineTimeout
from simkit.figures.table import titles
from simkit.measure.gate_edge import UNITS
from simkit.report.html import write_report
from simkit.report.index import write_index
from simkit.report.view import Fact, Fitted, ReportView
from simkit.run.backend import Budget
from simkit.studies.all_faults import study as all_faults
from simkit.studies.all_faults.page import write_table
from simkit.studies.bring_up.page import sheet_page
from simkit.studies.bring_up.page_view import (
    Charge,
    Screen,
    SheetView,
    Sign,
    StageView,
    Trace,
    TrialRow,
)
from simkit.studies.bring_up.page_view import Row as Reading
from simkit.studies.compare.page import (
    ChangeView,
    ComparisonView,
    Pair,
    Row,
    Side,
    write_comparison,
)
from simkit.studies.fit.page import fit_page
from simkit.studies.gate_resistor import study as gate_resistor
from simkit.studies.gate_resistor.page import write_sweep
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.maps.page import AxisView, Chance, MapView, Region, Weight, write_map
from simkit.studies.operating_map.study import figures_of, operating_view
from simkit.studies.output.failed_folder import write_failure
from simkit.studies.part.piece import examine_piece
from simkit.studies.part.piece_page import write_piece
from simkit.studies.part.piece_view import piece_view
from simkit.studies.protect.page import CureRow, DelayCurve, ProtectView, write_protection
from simkit.studies.scenario.no_verdict import no_answer
from simkit.studies.scenario.result import dumped
from tests.machines import DEMO, ROOT

KINDS = {
    "report": "over/index.html",
    "report-within": "within/index.html",
    "failure": "failed-no-verdict/index.html",
    "index": "index.html",
    "compare": ".studies/compare/index.html",
    "map": ".studies/map/index.html",
    "protect": ".studies/protect/index.html",
    "all-faults": ".studies/all-faults/index.html",
    "fit": ".studies/fit/index.html",
    "bring-up": ".studies/bring-up/index.html",
    "gate-resistor": ".studies/gate-resistor/index.html",
    "piece": ".studies/piece/index.html",
}
"""Every kind of page and its file."""


def write_all(folder: Path, view: ReportView, result: Mapping[str, Any]) -> None:
    """Write every kind of page beneath a folder."""
    _reports(folder, view, result)
    made = {"compare": _compare, "map": _map, "protect": _protect, "fit": _fit, "bring-up": _sheet,
            "gate-resistor": _gates, "piece": _piece}  # fmt: skip
    for name, write in made.items():
        (folder / ".studies" / name).mkdir(parents=True)
        write(folder / ".studies" / name, view)
    (folder / ".studies" / "all-faults").mkdir()
    _all_faults(folder / ".studies" / "all-faults")
    write_index(folder, titles())


def within(view: ReportView) -> ReportView:
    """The same page with every value at a third: nothing over, another verdict."""
    rows = tuple(
        replace(row, value=(row.value or 0.0) / 3.0, ratio=(row.ratio or 0.0) / 3.0, status="ok",
                first_over=None)
        for row in view.limits
    )  # fmt: skip
    return replace(view, outcome="within_limits", word="within the limits checked", limits=rows,
                   reason="No limit checked was exceeded.")  # fmt: skip


def _reports(folder: Path, view: ReportView, result: Mapping[str, Any]) -> None:
    machine = load_machine(DEMO / "machine.toml").model
    load = machine.load("cold-steel-weak-field")
    tuned = replace(within(view), operating=operating_view(machine, load, 73e3, 97e3, 100.0))
    rows = tuple(replace(r, interval=(0.9 * (r.value or 0.0), 1.1 * (r.value or 0.0)), chance=0.1)
                 for r in view.limits)  # fmt: skip
    value = Fitted("coil.inductance", "900 nH", "882 nH", "918 nH", "was 880 nH; readings.toml")
    fitted = replace(view, limits=rows, fitted=(value,), fit_method="one more rehearsal")
    for name, shown in (("over", fitted), ("within", tuned)):
        (folder / name).mkdir()
        write_report(folder / name, shown)
        (folder / name / "result.json").write_text(dumped(dict(result)), encoding="utf-8")
    scenario, loaded = load_scenario(DEMO / "drop-in.toml")
    error = EngineTimeout("the engine was ended after 600 s, the time limit of a run")
    write_failure(folder / "failed", no_answer(scenario, loaded, error, 600.0), error, scenario,
                  loaded)  # fmt: skip


def _compare(folder: Path, view: ReportView) -> None:
    side = Side("As it is", view.outcome, view.reason, view.courses, view.modes)
    after = replace(side, title="29 primary turns instead of 22", outcome="within_limits")
    marks = ("better", "worse", "no difference", "not evaluated", "higher", "lower")
    rows = tuple(
        Row(r.name, r.unit, r.value, r.error, r.ratio, r.status, r.value, r.error, r.ratio,
            r.status, marks[k % len(marks)])
        for k, r in enumerate(view.limits)
    )  # fmt: skip
    pair = Pair("pair-0", "more-turns", view.title, "Still over a limit; six limits better, most "
                "Q1: body-diode recovery di/dt (2.23 to 1.35 times its limit).",
                side, after, rows, rows, view.events, view.stop)  # fmt: skip
    turns = (("transformer.primary_turns", "29"), ("transformer.leakage_inductance", "13.9 uH"))
    change = ChangeView(
        "more-turns",
        "29 primary turns instead of 22",
        turns,
        (
            pair,
            replace(
                pair,
                key="pair-1",
                scenario="Shank dropped in, drive just above the coil's resonance",
            ),
        ),
    )
    page = ComparisonView(
        "Changes to the brazing heater", "Chisel brazing heater, 2 kW, full bridge", "over_limit",
        "No change is within the limits checked in every scenario.", "", (
            (view.title, "over_limit"), (pair.scenario, "within_limits")),
        (change,), "simkit compare machine.toml five.toml",
    )  # fmt: skip
    write_comparison(folder, page)


def _map(folder: Path, view: ReportView) -> None:
    rng = np.random.default_rng(2)
    values, worst = rng.random((60, 2)) * [0.9, 8.0] + [0.3, 4.0], 2.0 * rng.random(60)
    outcomes = np.where(worst > 1.0, "over_limit", "within_limits")
    outcomes[::13] = "no_verdict"
    names = ("drive.dead_time", "transformer.leakage_inductance")
    cells = ("within_limits", "boundary", "over_limit", "no_verdict")
    page = MapView(
        view.title, view.title, "Chisel brazing heater, 2 kW, full bridge", "over_limit",
        "27 of 60 cases are over a limit, 5 have no verdict.",
        tuple(AxisView(n, "us", 1e-6, "± 5%, normal", "--vary") for n in names),
        tuple(Chance(r.name, 0.1 * k, 0.07 * k, 0.12 * k, 6 * k, 1)
              for k, r in enumerate(view.limits[:6])),
        (Weight(names[0], 0.61, 0.72, -0.83), Weight(names[1], None, 0.2, None)),
        values, worst, tuple(outcomes), tuple(k % 3 == 0 for k in range(60)),
        tuple(Region(0.3 + 0.2 * k, 0.5 + 0.2 * k, 4.0, 12.0, cells[k]) for k in range(4)),
        (Fact("cases", "60", "20 by circuit runs, 40 by the fast model"),),
        "simkit map pull-out-cold.toml --vary drive.dead_time='0.3 us..1.2 us/7'",
    )  # fmt: skip
    write_map(folder, page)


def _protect(folder: Path, view: ReportView) -> None:
    cures = tuple(
        CureRow(title, amount, note, "6 %", outcome, kept, worst, "tank capacitor: current, rms",
                worst / 2.0, "Q2: body-diode recovery dv/dt", "−12 %", "+3 %", parts)
        for title, amount, note, outcome, kept, worst, parts in (
            ("More distance from resonance", "drive 12 % above it", "", "within_limits",
             "every limit", 0.79, "none"),
            ("Over-current trip", "at 18 A within 210 us", "its level lies above the settled peak",
             "over_limit", "what destroys within a cycle", 2.4, "comparator and latch"),
            ("Larger gate resistors", "33 ohm", "", "no_verdict", "not known", 1.2, "none"),
        )
    )  # fmt: skip
    page = ProtectView(
        view.title, "Chisel brazing heater, 2 kW, full bridge", "within_limits",
        "More distance from resonance keeps every limit.", view.reason, cures, 15.0,
        (DelayCurve("every limit", (18.0, 20.0, 24.0), (2e-4, 1.6e-4, 1e-4)),
         DelayCurve("what destroys within a cycle", (18.0, 20.0, 24.0), (6e-4, 5e-4, 4.2e-4))),
        ("The trip may take 210 us at 18 A.",), (Fact("settled peak", "15 A", "bridge current"),),
        "A clamp was not tried: no limit of voltage is exceeded.",
        "simkit protect pull-out-cold.toml",
    )  # fmt: skip
    write_protection(folder, page)


def _told(job: Mapping[str, Any]) -> dict[str, Any]:
    """What a worker would bring back; by the length of the name, so that every kind of row is."""
    ratio = (len(job["scenario"]["name"]) % 5) * 0.6
    verdict = "over_limit" if ratio > 1.0 else "within_limits" if ratio else "no_verdict"
    slow = [{"name": "time to the target", "value": None, "unit": "s", "note": "losses eat it"}]
    return {
        "verdict": verdict, "reason": "0.12 ms after it began Q2's channel current went over "
        "its limit and reached 341 A, 2.7 times the limit; also over: supply: current.",
        "part": "Q1", "quantity": "gate_lift", "unit": "V", "value": 3.5 * ratio, "limit": 3.5,
        "ratio": ratio or None, "worst_ratio": ratio or None,
        "time_s": 1.2e-4 if ratio > 1.0 else None,
        "method": "whole event" if ratio else "", "slow": slow if ratio == 0.6 else [],
        "engine_cpu_seconds": 0.1, "timed_out": False,
    }  # fmt: skip


def _all_faults(folder: Path) -> None:
    machine = load_machine(DEMO / "machine.toml")
    kept, all_faults.rehearse_case = all_faults.rehearse_case, _told
    try:
        rows = all_faults.table(machine, engine_name="ngspice", budget=Budget(), store=None,
                                executor=None)  # fmt: skip
    finally:
        all_faults.rehearse_case = kept
    write_table(
        folder, all_faults.document(machine, rows, 93.0), titles(), figures_of(machine.model)
    )


def _swept(job: Mapping[str, Any]) -> dict[str, Any]:
    """What a worker would bring back of one gate resistor: nothing, within, then over."""
    r = job["machine"]["drive"]["gate_resistor"]
    if r < 1.5:
        return {"verdict": "no_verdict", "reason": "it did not converge", "timed_out": False}
    limit = {"unit": "V", "value": 0.1 * r, "error": 0.01, "limit": 2.0, "status": "ok"}
    return {
        "verdict": "over_limit" if r > 20.0 else "within_limits", "reason": "the gate was lifted",
        "timed_out": False,
        "figures": {q: {"unit": u, "value": 1e-8 * r, "error": 1e-10} for q, u in UNITS.items()},
        "limits": dict.fromkeys(("gate_lift", "gate_voltage_peak", "junction_held"), limit),
        "part": "Q2", "quantity": "gate_lift", "ratio": 0.05 * r, "zero_voltage": True,
        "ring_frequency": None, "ring_damping": None,
    }  # fmt: skip


def _gates(folder: Path, _: ReportView) -> None:
    machine = load_machine(DEMO / "machine.toml")
    kept, gate_resistor.tried = gate_resistor.tried, _swept
    try:
        points = gate_resistor.sweep(machine.model)
    finally:
        gate_resistor.tried = kept
    write_sweep(folder, gate_resistor.document(machine, points, 3.0), titles())


def _piece(folder: Path, _: ReportView) -> None:
    machine = load_machine(ROOT / "scenarios" / "bar-heating" / "machine.toml")
    write_piece(folder, piece_view(examine_piece(machine, "cold-bar")))


def _fit(folder: Path, _: ReportView) -> None:
    keys = (("coil.inductance", "H", 9e-7), ("drive.dead_time", "s", 6e-7),
            ("transformer.leakage_inductance", "H", 8e-6))  # fmt: skip
    values = [
        {"key": key, "unit": unit, "before": was, "value": 1.03 * was,
         "interval": [1.01 * was, 1.05 * was], "left": 0.2 + 0.4 * k, "pinned_down": k == 0,
         "fitted": k < 2}
        for k, (key, unit, was) in enumerate(keys)
    ]  # fmt: skip
    compared = [
        {"reading": f"resonance with cold-steel-weak-field, sweep {k + 1}", "unit": "Hz",
         "read": 7.7e4, "before": 7.9e4, "after": 7.71e4, "misfit": k - 2.4, "outlier": k == 5}
        for k in range(6)
    ]  # fmt: skip
    suspects = [{"title": "Capacitor can open", "probability": 0.71, "method": "closed formula",
                 "explains": True, "look": "Each can with a bridge, out of the bank."}]  # fmt: skip
    asked = {"key": "coil.inductance", "reading": "resonance", "load": "empty",
             "frequency_hz": 8e4, "would_leave": 0.1}  # fmt: skip
    document = {
        "machine": {"name": "chisel-brazing"}, "readings": {"file": "readings.toml"},
        "outcome": "Two values pinned down, one moved along.", "method": "least squares",
        "chi_square": 5.2, "readings_count": 6, "probability": 0.4, "values": values,
        "compared": compared, "contradictions": ["Reading 6 contradicts the others."],
        "would_pin_down": [asked], "faults": {"words": "One fault fits.", "suspects": suspects},
        "overlays": [{"file": "scope.csv", "shows": "tank", "unit": "V", "difference": 0.021,
                      "time_s": list(np.linspace(0.0, 12e-6, 60)),
                      "read": list(3.1 * np.sin(np.linspace(0.0, 6.2, 60))),
                      "simulated": list(3.0 * np.sin(np.linspace(0.0, 6.28, 60)))}],
        "notes": ["Heating: at 30 V about 0.9% of the power of the working point is used."],
    }  # fmt: skip
    (folder / "index.html").write_text(fit_page(document), encoding="utf-8")


def _sheet(folder: Path, _: ReportView) -> None:
    time = np.linspace(0.0, 20e-6, 400)
    wave = np.sin(2e5 * np.pi * time)
    screen = Screen("Bridge current and tank", time, 2e-6, (
        Trace("current transformer", 0.1 * wave, 0.05, "too small to read at 200 mV/div: switch "
              "to this"), Trace("tank", 0.5 * np.cos(2e5 * np.pi * time), 0.2)))  # fmt: skip
    readings = (
        Reading("Peak voltage across the coil's ends, on the scope; there is 3.74 V", "374 mV",
                "362 mV", "385 mV", "circuit run"),
        Reading("Tank ringing by itself, secondary bridged (loop) or off (shunt)", "80 kHz",
                "77.6 kHz", "82.3 kHz", "closed formula"),
    )  # fmt: skip
    stage = StageView(
        1, "First power, empty coil", "12 V at the bridge, coil empty.",
        ("Bridge fed by a bench supply with a current limit, not from the mains.",),
        ("Oscillator to 130 kHz before supply is given.", "Supply 12 V at the bridge's rails."),
        readings, ("The supply goes into its limit.",), ("Ring-down: bridge off and unplugged.",),
        (screen, screen),
        (TrialRow("Run as set, then the piece warmed through, frequency left", "86.02 kHz",
                  "within_limits", "nearest limit Q2: gate voltage, 50 % of it"),
         TrialRow("Piece lifted out while running", "86.02 kHz", "over_limit",
                  "Q2: body-diode recovery dv/dt, 3.4 times its limit")),
        ("Do not lift the piece at this setting: over a limit in rehearsal (Q2: body-diode "
         "recovery dv/dt, 3.4 times its limit).",),
        "Before the piece is moved: up to 92.6 kHz, or take the supply away.",
        ("Resonance at this voltage: cold 77.31 kHz, warmed through 82.72 kHz.",),
        ("Switched off here: the link holds 325 V, 53 J.",),
    )  # fmt: skip
    failed = replace(stage, number=3, why_no_step="Its rehearsal does not allow it. Run as set: "
                     "over a limit (Q1: junction, 1.4 times its limit).")  # fmt: skip
    view = SheetView(
        "Chisel brazing heater, 2 kW, full bridge", "chisel-brazing", "23e8a804bd11",
        "Before every touch: supply off, unplugged, wait, then measure the link.",
        (stage, replace(stage, number=2), failed),
        (Charge("DC link with everything across it", "1 mF", "325 V", "327 mC", "53.1 J",
                "not known"),),
        "Live parts are to fall to 60 V within 5 s of switching off.",
        ("resonance", "supply current", "ring-down Q", "tank peak"),
        (Sign("Capacitor can open", "Each can, out of the bank.",
              (("+2.6 %", True), ("−1 %", False), ("+0.4 %", False), ("−12 %", True))),),
        "What leaves its interval is framed.",
        (("A spike on the gate while its switch is off", "Gate loop too long."),),
        ("Heating: about 0.9% of it is used at 30 V.",), ("± 20% for ESR of a can",), "0.1.0",
    )  # fmt: skip
    (folder / "index.html").write_text(sheet_page(view), encoding="utf-8")

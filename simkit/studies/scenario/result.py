"""A rehearsal as data: the document `result.json` holds, and the folder a run leaves.

`numerics.engine_seconds`, `numerics.total_seconds` and `cache` are all that may differ between
two runs of the same inputs.
"""

import platform
import sys
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

import simkit
from simkit.circuit.timeline import Timeline
from simkit.figures.terms import in_terms
from simkit.judge.cautions import CAUTIONS
from simkit.judge.verdict import Judged
from simkit.measure.waveforms import Waves
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.discretisation import CAUSES
from simkit.rehearsal.exported import measured
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.reversed_count import reversed_of
from simkit.result.document import (
    BeforeAfter,
    Commutation,
    ElectroThermal,
    EventSpan,
    FirstOver,
    LimitRow,
    Loss,
    ModeSpan,
    Numerics,
    Provenance,
    RecoveryFound,
    Result,
    RunFile,
    SecondOpinion,
    SlowFigure,
    Temperature,
    TransformerFigures,
    Unrated,
)
from simkit.result.trips import TripFound
from simkit.studies.output.folder import dumped, whole_folder
from simkit.studies.scenario.going_on import going_on
from simkit.studies.scenario.mains_document import mains_document

NOT_MODELLED = (
    "Heating of workpiece and coil during the run: L and R follow the event only.",
    "Spread between the switches and between the cans: all of a kind are alike.",
    "Parasitic capacitance between the transformer's windings, and common-mode currents.",
    "Ripple of the rectified mains: the supply is a constant behind a resistance.",
    "Noise in the control circuit, probes, and everything not in the machine file.",
)
HYSTERESIS = "Hysteresis and loss of the matching transformer's core: its current follows the flux."
NO_SATURATION = (
    "Saturation of the matching transformer's core: the flux is judged, its effect is not shown. "
    "With transformer.core_path the core saturates."
)
WARMING = (
    "Change of the switches during the event: R_DS(on) is that of the settled junction throughout; "
    "threshold, charges and body diode are as fitted."
)
NO_WARMING = (
    "Change of the switches with temperature: their values are the file's at any junction. "
    "With switch.warming, R_DS(on) is that of the junction its own loss makes."
)
LEVEL = (
    "Hysteresis of the steel in the coil; its L and R follow the coil's current as if that had "
    "settled, with the skin depth of the empty coil's resonance."
)


def result_of(
    rehearsal: Rehearsal,
    machine: Loaded[Machine],
    scenario: Loaded[Scenario],
    total_seconds: float,
) -> Result:
    """What a rehearsal came to; figures that are no finite number are None."""
    verdict = rehearsal.verdict
    return Result(
        scenario=run_file(rehearsal.scenario.name, scenario),
        machine=run_file(rehearsal.machine.name, machine),
        verdict=verdict.outcome,
        reason=in_terms(rehearsal.machine, verdict.reason),
        first_over_limit=_first(verdict.first_over),
        events=_events(rehearsal.line),
        tripped=tuple(
            TripFound(t.by, t.crossed, t.off, t.level, t.unit, t.again) for t in rehearsal.tripped
        ),
        mode=tuple(ModeSpan(m.start, m.end, m.mode) for m in rehearsal.modes),
        limits=tuple(LimitRow.of(row) for row in rehearsal.rows),
        unrated=tuple(Unrated(**asdict(part)) for part in rehearsal.unrated),
        mains=mains_document(rehearsal),
        operating_point=BeforeAfter(rehearsal.before, rehearsal.after),
        commutation=_commutation(rehearsal),
        recovery=_recovery(rehearsal),
        losses=_losses(rehearsal),
        transformer=_transformer(rehearsal),
        temperatures=_temperatures(rehearsal),
        electro_thermal=_electro_thermal(rehearsal),
        time_to_junction_limit_s=rehearsal.seconds_to_limit,
        if_it_went_on=going_on(rehearsal),
        energy=rehearsal.energy,
        aftermath=tuple(SlowFigure(**asdict(fact)) for fact in rehearsal.slow),
        numerics=_numerics(rehearsal, total_seconds),
        overridden=machine.overridden | scenario.overridden,
        warnings=(*machine.warnings, *scenario.warnings),
        not_modelled=tuple(not_modelled(rehearsal.machine)),
        cautions=tuple(CAUTIONS),
        second_opinion=_second(rehearsal),
        provenance=provenance(
            rehearsal.whole.run.engine,
            rehearsal.second.engine or None if rehearsal.second else None,
            rehearsal.whole.deck.digest,
        ),
    ).finite()


def provenance(
    engine: str | None = None, second: str | None = None, deck_digest: str | None = None
) -> Provenance:
    """What made a result."""
    return Provenance(
        simkit.__version__, platform.python_version(), platform.platform(),
        engine, second, deck_digest,
    )  # fmt: skip


def not_modelled(machine: Machine) -> list[str]:
    """What a run of this machine leaves out."""
    core = HYSTERESIS if machine.transformer.core_path is not None else NO_SATURATION
    heat = NO_WARMING if machine.switch.warming is None else WARMING
    steel = any(piece.levels is not None for piece in machine.workpieces.values())
    return [*NOT_MODELLED, core, heat, *([LEVEL] if steel else [])]


def without_timings(result: Mapping[str, Any]) -> dict[str, Any]:
    """The document without what the clock and the cache put into it: same inputs, same rest."""
    numerics = {
        key: value
        for key, value in result["numerics"].items()
        if key not in ("engine_seconds", "total_seconds")
    }
    return {k: v for k, v in result.items() if k != "cache"} | {"numerics": numerics}


def _events(line: Timeline) -> tuple[EventSpan, ...]:
    return tuple(
        EventSpan(e.name, e.start, e.end, line.end if e in line.cut else None) for e in line.events
    )


def run_file(name: str, loaded: Loaded[Any]) -> RunFile:
    """A file that was run."""
    return RunFile(name, str(loaded.file), loaded.digest)


def _first(row: Judged | None) -> FirstOver | None:
    if row is None:
        return None
    when = row.first_over_s if row.first_over_s is not None else row.time_s
    return FirstOver(row.part, row.quantity, when, row.ratio, row.first_over_error_s)


def _commutation(rehearsal: Rehearsal) -> Commutation:
    found = rehearsal.whole.transitions
    settled = rehearsal.line.events[0].start if rehearsal.line.events else rehearsal.line.stop
    calm = [t for t in found if t.time < settled] or list(found)
    hard = [t for t in found if not t.zero_voltage]
    back = reversed_of(rehearsal)
    return Commutation(
        dead_time_s=rehearsal.machine.drive.dead_time,
        needed_s=max((t.needed for t in calm), default=None),
        available_s=min((t.available for t in calm), default=None),
        zero_voltage=not hard,
        hard_transitions=len(hard),
        transitions=len(found),
        first_hard_s=hard[0].time if hard else None,
        shoot_through_c=max((t.shoot_through for t in found), default=None),
        reversed_turn_ons=None if back is None else back.count,
        reversed_error=None if back is None else back.error,
        change_overs=None if back is None else back.change_overs,
    )


def _worst(rehearsal: Rehearsal, quantity: str) -> float:
    """Largest value of a quantity, finer steps in place: what is judged."""
    return max(s.worst[0] for s in rehearsal.series if s.quantity == quantity)


def _recovery(rehearsal: Rehearsal) -> RecoveryFound:
    close = [r for s in rehearsal.stretches for r in s.recoveries]
    if not close:
        return RecoveryFound(0, 0.0, 0.0, 0.0, 0.0, 0.0)
    worst = max(close, key=lambda r: r.peak_current)
    return RecoveryFound(
        count=len(rehearsal.whole.recoveries),
        switch=f"Q{worst.switch}",
        time_s=worst.time,
        forward_current_a=worst.forward_current,
        peak_current_a=worst.peak_current,
        charge_c=worst.charge,
        di_dt_a_per_s=_worst(rehearsal, "recovery_di_dt"),
        dv_dt_v_per_s=_worst(rehearsal, "recovery_dv_dt"),
        overshoot_v=max(r.overshoot for r in close),
    )


def _losses(rehearsal: Rehearsal) -> tuple[Loss, ...]:
    whole = rehearsal.whole
    span = whole.cycles[-1].end - whole.cycles[0].start
    last = {
        s.part: float(np.mean(s.values[-12:])) for s in rehearsal.series if s.quantity == "loss"
    }
    return tuple(
        Loss(part, joules / span, last.get(part))
        for part, joules in rehearsal.energy.dissipated.items()
    )


def _transformer(rehearsal: Rehearsal) -> TransformerFigures:
    worst = {
        s.quantity: s.worst[0]
        for s in rehearsal.series
        if s.part == "matching transformer" and len(s.values)
    }
    return TransformerFigures(
        flux_peak_t=worst.get("flux_peak"),
        flux_drift_t=worst.get("flux_drift"),
        magnetising_current_peak_a=worst.get("magnetising_current_peak"),
        core_saturates_in_circuit=rehearsal.machine.transformer.core_path is not None,
    )


def _electro_thermal(rehearsal: Rehearsal) -> ElectroThermal | None:
    if rehearsal.warming is None:
        return None
    starts = [float(s.values[0]) for s in rehearsal.series if s.quantity == "junction_peak"]
    start = max(starts, default=None)
    return ElectroThermal(**asdict(rehearsal.warming), junction_at_start_c=start)


def _temperatures(rehearsal: Rehearsal) -> tuple[Temperature, ...]:
    bound = next(r.limit for r in rehearsal.rows if r.quantity == "junction_peak")
    return tuple(
        Temperature(s.part, s.quantity, s.worst[0], bound)
        for s in rehearsal.series
        if s.quantity in ("junction_peak", "junction_held")
    )


def _second(rehearsal: Rehearsal) -> SecondOpinion | None:
    """What another engine was asked; its figures stand beside ours in the limits."""
    second = rehearsal.second
    if second is None:
        return None
    differences = [
        abs(r.second_opinion.difference) / max(abs(r.value or 0.0), abs(r.limit))
        for r in rehearsal.rows
        if r.second_opinion is not None
    ]
    most = max(differences, default=None)
    return SecondOpinion(second.engine or None, len(second.pairs), most, tuple(second.missed))


def _numerics(rehearsal: Rehearsal, total_seconds: float) -> Numerics:
    # A value that is near zero by nature is held against its limit instead.
    relative = [
        r.error / max(abs(r.value), abs(r.limit))
        for r in rehearsal.rows
        if r.error is not None and r.value is not None
    ]
    stretches = rehearsal.stretches
    method = "; ".join(
        f"{s.deck.begin * 1e3:.4g} to {s.waves.time[-1] * 1e3:.4g} ms: {s.analysis.label}"
        for s in stretches
    )
    return Numerics(
        refinement_error=max(relative, default=None),
        refinement_cause=_leading_cause(rehearsal),
        energy_residual=rehearsal.energy.residual,
        steps=sum(len(s.waves.time) for s in stretches),
        cycles=len(rehearsal.whole.cycles),
        engine_seconds=sum(s.run.seconds for s in stretches),
        total_seconds=total_seconds,
        method=method + why_whole(rehearsal),
        whole=rehearsal.is_whole,
        whole_because=rehearsal.why_whole or None,
        carried_on_s=rehearsal.carried_on or None,
        seed_residue=rehearsal.seed_residue,
        periodicity_residue=rehearsal.settled_residue,
        retries=tuple(rehearsal.retries),
    )


def _leading_cause(rehearsal: Rehearsal) -> str | None:
    """Cause of most of the largest error, as `refinement_error` counts it."""
    rows = [r for r in rehearsal.rows if r.value is not None and r.error and r.error_parts]
    if not rows:
        return None
    worst = max(rows, key=lambda r: (r.error or 0.0) / max(abs(r.value or 0.0), abs(r.limit)))
    parts = worst.error_parts or {}
    return CAUSES[max(parts, key=lambda name: parts[name])]


def why_whole(rehearsal: Rehearsal) -> str:
    """Why the circuit ran through the whole event; nothing where it was sampled."""
    if not rehearsal.is_whole:
        return ""
    return f" | the circuit ran whole: {rehearsal.why_whole}"


def write_folder(
    folder: Path,
    rehearsal: Rehearsal,
    result: Result,
    report: Callable[[Path], None],
    csv: bool = False,
) -> Path:
    """Write everything a run leaves into a folder that appears whole or not at all."""

    def fill(fresh: Path) -> None:
        (fresh / "result.json").write_text(dumped(result.as_json()), encoding="utf-8")
        (fresh / "provenance.json").write_text(
            dumped({**asdict(result.provenance), "command": sys.argv[1:]}), encoding="utf-8"
        )
        (fresh / "deck.cir").write_text(measured(rehearsal.whole.deck.text), encoding="ascii")
        (fresh / "engine.log").write_text("\n".join(engine_log(rehearsal)), encoding="utf-8")
        save_waveforms(fresh, rehearsal, csv)
        report(fresh)

    return whole_folder(folder, fill)


def engine_log(rehearsal: Rehearsal) -> list[str]:
    """The engine's own lines, stretch by stretch."""
    lines = []
    for stretch in rehearsal.stretches:
        lines.append(f"== from {stretch.deck.begin:.6g} s, {stretch.analysis.label}")
        lines += stretch.run.log
    return lines


def save_waveforms(folder: Path, rehearsal: Rehearsal, csv: bool) -> None:
    """Waveforms as a person would probe them: the first pass, and the finer runs, in full.

    `waveforms.npz`: arrays `<run>:<name>`, runs `first` and `fine1`, `fine2` ...; time in seconds,
    the rest in volts and amperes with seven digits.
    """
    runs = {"first": rehearsal.whole} | {
        f"fine{k}": stretch for k, stretch in enumerate(rehearsal.close, start=1)
    }
    columns: dict[str, Any] = {}
    for run, stretch in runs.items():
        for name, values in probes(stretch.waves).items():
            kind = np.float64 if name == "time_s" else np.float32
            columns[f"{run}:{name}"] = values.astype(kind)
    np.savez_compressed(folder / "waveforms.npz", allow_pickle=False, **columns)
    if csv:
        import pandas

        first = {n.removeprefix("first:"): v for n, v in columns.items() if n.startswith("first:")}
        pandas.DataFrame(first).to_csv(folder / "waveforms.csv", index=False, float_format="%.9g")


def probes(waves: Waves) -> dict[str, Any]:
    """The waveforms a bench would show, by a name that ends in its unit."""
    out = {
        "time_s": waves.time,
        "bridge_voltage_v": waves.bridge_voltage,
        "primary_current_a": waves.primary_current,
        "coil_voltage_v": waves.coil_voltage,
        "coil_current_a": waves.coil_current,
        "link_voltage_v": waves.link_voltage,
        "supply_current_a": waves.supply_current,
    }
    for switch in waves.switches:
        name = f"q{switch.number}"
        out[f"{name}_drain_source_v"] = switch.drain_source
        out[f"{name}_gate_source_v"] = switch.gate_source
        out[f"{name}_drain_current_a"] = switch.drain_current
    return out

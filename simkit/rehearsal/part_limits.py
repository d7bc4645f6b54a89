"""Parts around the switches held against their ratings; where none is given, the figure alone.

What heats is taken from the settled state and from the last one, whichever is worse: these parts
need seconds or minutes to warm. What punctures is the largest of every circuit run. The mains side
is marched from the power of either state (`parts.mains`).
"""

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite, nan

import numpy as np

from simkit.judge.limits import Limit
from simkit.judge.limits import unrated as without_rating
from simkit.judge.verdict import Judged, Unrated, judged, verdict
from simkit.measure.part_loads import avalanche_energy, blocking_offset, peak_loads, steady_loads
from simkit.measure.periodic import LEAST_REST, Cycle, with_rest
from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.parts.coil_water import water_channel
from simkit.parts.gate_drive import GateLoop, drive_power, peak_driver_current
from simkit.parts.mosfet import carried, gate_charges
from simkit.parts.slow_heat import Body
from simkit.rehearsal.findings import Rehearsal, context_of
from simkit.rehearsal.heat import LEDGER
from simkit.rehearsal.mains_limits import mains_figures, switched_on
from simkit.rehearsal.part_figure import PartFigure, rating_of
from simkit.rehearsal.slow_parts import bodies, body_figures, core_densities
from simkit.rehearsal.stretches import Stretch

PARTS: dict[str, tuple[str, str, str, bool]] = {
    "film_current_rms": ("film capacitor", "A", "ratings.film.current", True),
    "film_voltage_peak": ("film capacitor", "V", "ratings.film.voltage", True),
    "link_voltage_peak": ("link capacitor", "V", "ratings.link.voltage", True),
    "split_current_rms": ("split capacitor", "A", "ratings.split.current", True),
    "split_voltage_peak": ("split capacitor", "V", "ratings.split.voltage", True),
    "blocking_current_rms": ("blocking capacitor", "A", "ratings.blocking.current", True),
    "blocking_voltage_peak": ("blocking capacitor", "V", "ratings.blocking.voltage", True),
    "blocking_dv_dt": ("blocking capacitor", "V/s", "ratings.blocking.dv_dt", True),
    "snubber_power": ("snubber resistor", "W", "ratings.snubber.power", False),
    "snubber_voltage_peak": ("snubber capacitor", "V", "ratings.snubber.voltage", True),
    "primary_current_rms": ("primary winding", "A", "ratings.primary_current", False),
    "secondary_current_rms": ("secondary winding", "A", "ratings.secondary_current", False),
    "matching_current_rms": ("matching inductor", "A", "ratings.matching_current", False),
    "coil_current_rms": ("coil", "A", "ratings.coil_current", False),
}
"""Measured figures: part, unit, key of the rating, whether the capacitors' derating goes on it."""


def with_parts(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal with the parts around the switches judged too."""
    figures = list(part_figures(rehearsal))
    rows = [*rehearsal.rows, *(_judged(f) for f in figures if f.rating is not None)]
    unrated = [
        Unrated(f.part, f.quantity, f.unit, f.value, f.error, f.key)
        for f in figures
        if f.rating is None and isfinite(f.value) and f.value > 0.0
    ]
    unrated += [*_without_bound(rehearsal), *_not_worked_out(rehearsal.machine)]
    first = min((e.start for e in rehearsal.line.events), default=None)
    cycle = 1.0 / rehearsal.line.frequency.first
    return replace(
        rehearsal,
        rows=tuple(rows),
        unrated=tuple(unrated),
        bodies=tuple(slow_bodies(rehearsal)),
        verdict=verdict(rows, first, context_of(rows, rehearsal.modes, rehearsal.line), cycle),
    )


def _without_bound(rehearsal: Rehearsal) -> list[Unrated]:
    """Figures whose own record finds no rating in the machine's file."""
    out = []
    for figure in without_rating(rehearsal.machine):
        found = [s for s in rehearsal.series if s.quantity == figure.name]
        worst = max(found, key=lambda s: s.worst[0], default=None)
        if worst is not None and isfinite(worst.worst[0]):
            needs = f"a rating: {figure.words.moved_by[0]}"
            out.append(Unrated(worst.part, figure.name, figure.unit, worst.worst[0], None, needs))
    return out


def _not_worked_out(machine: Machine) -> Iterator[Unrated]:
    """Heat that every machine has and this file gives too little to work out."""
    if machine.transformer.loss is None:
        needs = "its ferrite's constants: transformer.core_loss"
        yield Unrated("core", "core_loss_density", "W/m^3", None, None, needs)


def _judged(f: PartFigure) -> Judged:
    assert f.rating is not None
    used = f"{f.key}, {f.share:.0%} of it used" if f.share < 1.0 else f.key
    series = Series(f.part, f.quantity, f.unit, np.zeros(1), np.array([f.value]))
    return replace(
        judged(Limit(f.quantity, f.unit, f.share * f.rating, used), [(series, f.error)]),
        time_s=None,
        first_over_s=None,
        over_s=f.over,
        note=f.note,
        error_below=f.error + f.below if f.below > 0.0 else None,
    )


def part_figures(rehearsal: Rehearsal) -> Iterator[PartFigure]:
    """Every part's figure, rated or not."""
    share = numerical_share(rehearsal)
    yield from _measured(rehearsal, share)
    machine = rehearsal.machine
    yield from _transformer_figures(rehearsal, share)
    yield from _coil_figures(rehearsal, share)
    yield from body_figures(slow_bodies(rehearsal), machine)
    yield from _drive_figures(machine, rehearsal.after.frequency_hz)
    fast = max(s["link_current_rms"] for s in steady_states(rehearsal))
    yield from mains_figures(rehearsal, fast, share)


def numerical_share(rehearsal: Rehearsal) -> float:
    """Numerical error of the machine's currents, as a share: the tank's or the switches' [1]."""
    found = [
        row.error / row.value
        for row in rehearsal.rows
        if row.quantity in ("can_current_rms", "drain_current_rms") and row.value and row.error
    ]
    return max(found, default=nan)


def slow_bodies(rehearsal: Rehearsal) -> list[Body]:
    """What warms over minutes and has a way for its heat in the file."""
    return list(bodies(rehearsal, steady_states(rehearsal), numerical_share(rehearsal)))


def _span(stretch: Stretch, until: float | None = None) -> Cycle:
    cycles = [c for c in stretch.cycles if until is None or c.end <= until + 1e-9]
    cycles = (cycles or list(stretch.cycles[:1]))[-LEDGER:]
    return Cycle(cycles[0].start, cycles[-1].end)


def steady_states(rehearsal: Rehearsal) -> list[dict[str, float]]:
    """What heats, in the settled state and in the last."""
    return [steady_loads(s.waves, span) for s, span in _steady(rehearsal)]


def steady_spans(rehearsal: Rehearsal) -> list[tuple[float, float]]:
    """From when to when those states are averaged [s]."""
    return [(span.start, span.end) for _, span in _steady(rehearsal)]


def _steady(rehearsal: Rehearsal) -> list[tuple[Stretch, Cycle]]:
    runs = rehearsal.first_pass
    settled = rehearsal.line.events[0].start if rehearsal.line.events else rehearsal.line.end
    calm = [s for s in runs if s.cycles[0].end <= settled + 1e-9] or [runs[0]]
    return [(calm[-1], _span(calm[-1], settled)), (runs[-1], _span(runs[-1]))]


def _measured(rehearsal: Rehearsal, share: float) -> Iterator[PartFigure]:
    machine = rehearsal.machine
    steady, spans = steady_states(rehearsal), steady_spans(rehearsal)
    worse = {name: int(np.argmax([state[name] for state in steady])) for name in steady[0]}
    found = {name: steady[k][name] for name, k in worse.items()}
    aside = 0.0
    for stretch in rehearsal.stretches:
        whole = Cycle(stretch.cycles[0].start, float(stretch.waves.time[-1]) + LEAST_REST)
        for name, value in peak_loads(stretch.waves, whole).items():
            found[name] = max(found.get(name, 0.0), value)
        aside = max(aside, blocking_offset(stretch.waves, whole))
    for name in ("link_voltage_peak", "film_voltage_peak"):
        found[name] = max(found[name], switched_on(machine))
    clamped = max(
        avalanche_energy(s.waves, with_rest(s.cycles, float(s.waves.time[-1])))
        for s in rehearsal.stretches
    )
    allowed = machine.switch.ratings.avalanche_energy
    yield PartFigure(
        "switches", "avalanche_energy", "J", clamped, share * clamped,
        "switch.ratings.avalanche_energy", allowed, machine.limits.derating.drain_voltage,
    )  # fmt: skip
    derating = machine.limits.derating.capacitor
    # A sample begins with the capacitor a little beside where the bridge's mean voltage has it;
    # where that is none, whatever lies to one side may be that.
    balanced = machine.bridge.form.rest_share == 0.0 and not rehearsal.is_whole
    more = {"blocking_voltage_peak": aside if balanced else 0.0}
    for name, (part, unit, key, capacitor) in PARTS.items():
        if name in found:
            used = derating if capacitor else 1.0
            yield PartFigure(
                part, name, unit, found[name], share * found[name] + more.get(name, 0.0), key,
                rating_of(machine.ratings, key), used,
                spans[worse[name]] if name in worse else None,
            )  # fmt: skip


def _transformer_figures(rehearsal: Rehearsal, share: float) -> Iterator[PartFigure]:
    machine, transformer = rehearsal.machine, rehearsal.machine.transformer
    steady = steady_states(rehearsal)
    densities = {"primary": "primary_current_density", "secondary": "secondary_current_density"}
    for side, name in densities.items():
        winding = getattr(transformer, side)
        if winding is not None:
            density = max(s[f"{side}_current_rms"] for s in steady) / winding.section
            yield PartFigure(
                f"{side} winding", name, "A/m^2", density, share * density,
                f"transformer.{side}.current_density", winding.current_density,
            )  # fmt: skip
    density = float(np.max(core_densities(rehearsal)))
    if transformer.loss is None:
        return
    yield PartFigure(
        "core", "core_loss_density", "W/m^3", density, transformer.loss.beta * share * density,
        "ratings.core.loss_density", rating_of(machine.ratings, "ratings.core.loss_density"),
    )  # fmt: skip


def _coil_figures(rehearsal: Rehearsal, share: float) -> Iterator[PartFigure]:
    """The copper's heat where nobody told of its water."""
    machine = rehearsal.machine
    if water_channel(machine) is None:
        current = max(s["coil_current_rms"] for s in steady_states(rehearsal))
        loss = machine.coil.resistance * current**2
        yield PartFigure("coil", "coil_loss", "W", loss, 2.0 * share * loss, "cooling.water", None)


def _drive_figures(machine: Machine, frequency: float) -> Iterator[PartFigure]:
    drive, channel = machine.drive, machine.switch.channel
    swing, gate = drive.voltage_on - drive.voltage_off, drive.transformer
    loop = GateLoop(
        inductance=drive.loop_inductance + (gate.leakage_inductance if gate else 0.0),
        input_capacitance=channel.gate_source_capacitance + channel.gate_drain_capacitance_max,
        driver_resistance=min(drive.source_resistance, drive.sink_resistance),
        internal_resistance=channel.gate_resistance,
        resistor=min(drive.gate_resistor, drive.turn_off_resistor or drive.gate_resistor),
    )
    # A driver's supply that has sunk may not carry the rated current: then what it does carry.
    rated = carried(channel, drive.voltage_on, machine.switch.ratings.drain_current)
    charge = gate_charges(channel, machine.supply.voltage, rated, drive.voltage_on)["total"]
    # A negative off level moves the gate-source capacitance's charge as well.
    charge -= channel.gate_source_capacitance * drive.voltage_off
    found = (
        ("driver_power", "W", drive_power(charge, swing, frequency), "power"),
        ("driver_current_peak", "A", peak_driver_current(loop, swing), "current"),
    )
    for name, unit, value, field in found:
        key = f"ratings.driver.{field}"
        yield PartFigure(
            "gate driver", name, unit, value, 0.0, key, rating_of(machine.ratings, key)
        )
    if gate is not None:
        key = "ratings.driver.volt_seconds"
        lowest = min(frequency, drive.frequency_min)
        yield PartFigure(
            "gate transformer", "gate_volt_seconds", "V*s", 0.5 * swing / lowest, 0.0, key,
            rating_of(machine.ratings, key),
        )  # fmt: skip

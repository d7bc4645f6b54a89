"""Minutes before and after a rehearsal, marched at their own time scale and judged with the rest.

Losses, powers and currents come from the circuit run; what follows from them over minutes comes
from formulae of parts/: the way of the heat to the air (heat.py), water in the coil, a charge at
one temperature, a link charging through resistor or lamp. The losses stand still meanwhile: a
warmer switch loses more than it did in the run.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt

import numpy as np

from simkit.figures.record import Limit
from simkit.figures.switch_temperature import capacity_note
from simkit.judge.limits import machine_limits
from simkit.judge.verdict import Judged, judged, verdict
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.parameters.aftermath import Aftermath, Charge, Precharge, Water
from simkit.parameters.machine import Machine
from simkit.parts import cooling, heating
from simkit.parts import precharge as charging
from simkit.parts.materials import materials
from simkit.parts.supply import Mains
from simkit.rehearsal.findings import Rehearsal, SlowFact, context_of
from simkit.rehearsal.mains_limits import over_the_mains

COPPER = 385.0
"""Heat capacity of copper [J/(kg K)]; CRC Handbook (recalled from memory)."""
POINTS = 400
"""Points of a march [1]."""
LAST = 12
"""Cycles over which the last state is averaged [1]."""
BEYOND = 2.0
"""A march of the water ends so far above its boiling point [K]: what follows is steam."""
MARCH_ERROR = 0.01
"""Share of a charging current by which the march may be off [1]: its step is 1/200 of the mains
period, a tenth of that changes the current by less than this."""


TIME_TO_TARGET = "time to the target"
"""Name of the fact that the report tells on its first screen."""


@dataclass(frozen=True)
class _Found:
    """Rows, curves and facts of one part of the aftermath."""

    rows: tuple[Judged, ...] = ()
    series: tuple[Series, ...] = ()
    facts: tuple[SlowFact, ...] = ()


def with_aftermath(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal with its slow part judged too; the same when its scenario has none."""
    scenario = rehearsal.scenario
    parts = []
    if scenario.precharge is not None:
        parts.append(_precharged(rehearsal.machine, scenario.precharge))
    if scenario.aftermath is not None:
        parts += _after(rehearsal, scenario.aftermath)
    if not parts:
        return rehearsal
    rows = (*rehearsal.rows, *(row for part in parts for row in part.rows))
    first = min((e.start for e in rehearsal.line.events), default=rehearsal.line.end)
    return replace(
        rehearsal,
        rows=rows,
        series=(*rehearsal.series, *(s for part in parts for s in part.series)),
        slow=tuple(f for part in parts for f in part.facts),
        verdict=verdict(
            rows,
            first,
            context_of(rows, rehearsal.modes, rehearsal.line),
            1.0 / rehearsal.line.frequency.first,
        ),
    )


def _after(rehearsal: Rehearsal, after: Aftermath) -> list[_Found]:
    found = [_heatsink(rehearsal, after)]
    if after.water is not None:
        found.append(_water(rehearsal, after, after.water))
    if after.charge is not None:
        found.append(_charge(rehearsal, after.charge))
    return found


def last_of(series: Sequence[Series], quantity: str) -> list[float]:
    """Mean of a quantity over the last cycles, for each part that has it."""
    return [float(np.mean(s.values[-LAST:])) for s in series if s.quantity == quantity]


def relaxing(start: float, end: float, tau: float, time: Array) -> Array:
    """A first-order approach from start to end: end + (start - end) exp(-t/tau)."""
    return end + (start - end) * np.exp(-time / tau)


def _heatsink(rehearsal: Rehearsal, after: Aftermath) -> _Found:
    """Heatsink and hottest junction while the last state goes on; their courses are heat's."""
    losses = last_of(rehearsal.series, "loss")
    cooling = rehearsal.machine.cooling
    outward = after.heatsink_resistance or cooling.heatsink_resistance
    junction, sink = (
        next(s for s in rehearsal.series if s.quantity == quantity)
        for quantity in ("junction_later", "heatsink_later")
    )
    limit = _junction_limit(rehearsal.machine, after)
    end = cooling.ambient + sum(losses) * outward
    facts = (
        SlowFact("heatsink at the end", float(sink.values[-1]), "degC", f"after {after.time:g} s"),
        SlowFact("heatsink if it went on for ever", end, "degC", "losses standing still"),
        SlowFact("loss of all switches", sum(losses), "W", "from the circuit run"),
    )
    return _Found((judged(limit, [(junction, rehearsal.later_error)]),), facts=facts)


def _junction_limit(machine: Machine, after: Aftermath) -> Limit:
    held = next(x for x in machine_limits(machine) if x.quantity == "junction_peak")
    said = f"as junction_peak, last state going on for {after.time:g} s"
    said += capacity_note(machine, after.heatsink_heat_capacity is not None)
    return Limit("junction_later", "degC", held.bound, said)


def coil_loss(rehearsal: Rehearsal) -> float:
    """Heat in the coil's own copper in the last state, I^2 R of the empty coil, I rms [W].

    Not half the squared peak: the third harmonic flattens the current's top.
    """
    return float(rehearsal.after.coil_current_rms_a**2 * rehearsal.machine.coil.resistance)


def water_march(
    water: Water, power: float, start: float, boiling: float, time: float
) -> tuple[Array, Array]:
    """Temperature of the water in the coil [degC] over time [s], at `power` [W], until it boils.

    C dT/dt = P - rho c q (T - T_in), C of water and copper together, evenly warm; without flow a
    straight line: t = C (T_boil - T)/P. Source: heat balance. Range: liquid.
    """
    heat = cooling.water_density(water.inlet).value * cooling.water_heat_capacity(water.inlet).value
    capacity = heat * water.volume + COPPER * water.copper
    grid = np.concatenate(([0.0], np.geomspace(1e-3, time, POINTS)))
    if water.flow is None:
        course = start + power * grid / capacity
    else:
        end = water.inlet + power / (heat * water.flow)
        course = relaxing(start, end, capacity / (heat * water.flow), grid)
    if course[-1] > boiling:
        reached = float(np.interp(boiling, course, grid)) if course[0] < boiling else 0.0
        grid = np.union1d(grid[grid < reached], [reached, reached * 1.001 + 1e-6])
        course = np.interp(grid, [0.0, reached, grid[-1]], [start, boiling, boiling + BEYOND])
    return grid, course


def _water(rehearsal: Rehearsal, after: Aftermath, water: Water) -> _Found:
    """Water in the coil while the last state goes on."""
    power = coil_loss(rehearsal)
    boiling = cooling.boiling_point(cooling.ATMOSPHERE).value
    time, course = water_march(water, power, water.inlet, boiling, after.time)
    series = Series("coil", "water_temperature", "degC", rehearsal.line.end + time, course)
    said = "boiling point at atmospheric pressure; thermal march"
    # The current's own error is far below what evenly warm water leaves out: 2 % of the rise.
    error = 0.02 * float(course[-1] - course[0])
    row = judged(Limit("water_temperature", "degC", boiling, said), [(series, min(error, 1.0))])
    over = series.first_above(boiling)
    note = "standing water" if water.flow is None else "at the flow that is left"
    facts = (
        SlowFact("loss in the coil's copper", power, "W", "coil current of the circuit run"),
        SlowFact("time until the water boils",
                 None if over is None else over - rehearsal.line.end, "s", note),
    )  # fmt: skip
    return _Found((row,), (series,), facts)


def _charge(rehearsal: Rehearsal, charge: Charge) -> _Found:
    """How long the charge takes to its target at the power of the last state."""
    # What R takes, less what of it is the coil's own copper: the water has that. The run stands at
    # the link's crest; over the mains' period the piece gets less.
    power = float(rehearsal.after.workpiece_power_w) - coil_loss(rehearsal)
    power *= over_the_mains(rehearsal)
    bodies = heating.body_of(materials()[charge.material], charge.mass), *moisture_in(charge)
    losses = heating.Losses(
        charge.radiating_area, charge.emissivity, charge.insulation,
        rehearsal.machine.cooling.ambient,
    )  # fmt: skip
    needed = sum(heating.heat_content(b, charge.start, charge.target).value for b in bodies)
    took, stalled = inf, None
    if power > 0.0 and heating.heat_lost(losses, charge.start) < power:
        course = heating.heat_up(bodies, losses, power, charge.start, charge.target)
        took, stalled = course.time_at(charge.target), course.stalled
    note = "" if stalled is None else f"the losses eat the power at {stalled:.0f} degC"
    facts = (
        SlowFact(
            "power into the piece",
            power,
            "W",
            "from the circuit run, over the mains' period, standing still",
        ),
        SlowFact("heat the charge needs", needed, "J", f"to {charge.target:g} degC"),
        SlowFact(
            TIME_TO_TARGET,
            took if took < inf else None,
            "s",
            note or f"to {charge.target:g} degC, power and resonance standing still",
        ),
    )
    return _Found(facts=facts)


def moisture_in(charge: Charge) -> tuple[heating.Body, ...]:
    """What has to dry out before the charge passes the boiling point; () for nothing."""
    wet = charge.moisture is not None and charge.start < heating.BOILING < charge.target
    return (heating.moisture_of(charge.moisture),) if wet and charge.moisture else ()


def mains_of(machine: Machine, told: Precharge) -> Mains:
    """The mains behind the link's voltage."""
    return Mains(
        machine.supply.voltage / sqrt(2.0),
        told.mains_frequency,
        machine.supply.source_resistance,
        told.diode_drop,
    )


def _precharged(machine: Machine, told: Precharge) -> _Found:
    """The link charging through resistor or lamp, before anything switches."""
    limiter: charging.Lamp | float
    if told.lamp_voltage is not None and told.lamp_power is not None:
        limiter = charging.lamp_from_rating(told.lamp_voltage, told.lamp_power)
    else:
        limiter = float(told.resistor or 0.0)
    course = charging.precharge(mains_of(machine, told), machine.supply.link.capacitance, limiter)
    done = course.close_time
    series = [half_period_means(course, told.mains_frequency)]
    rows = [
        judged(
            Limit("charging_current", "A", machine.limits.supply_current,
                  "limits.supply_current; march of the charging link"),
            [(series[0], MARCH_ERROR * course.peak_current)],
        )
    ]  # fmt: skip
    surge = machine.supply.rectifier.surge_current if machine.supply.rectifier else None
    if surge is not None:
        peak = Series(
            "supply", "charging_peak", "A", np.array([-course.times[-1]]),
            np.array([course.peak_current]),
        )  # fmt: skip
        limit = Limit("charging_peak", "A", surge, "supply.rectifier.surge_current; march")
        rows.append(judged(limit, [(peak, MARCH_ERROR * course.peak_current)]))
        series.append(peak)
    facts = (
        SlowFact("largest charging current", course.peak_current, "A", "at the mains' peak"),
        SlowFact("time to 95 % of the peak", done if done < inf else None, "s", ""),
        SlowFact("heat in resistor or lamp", course.energy, "J", "until then"),
    )
    return _Found(tuple(rows), tuple(series), facts)


def half_period_means(course: charging.Precharge, frequency: float) -> Series:
    """Mean charging current of each half period of the mains [A]; times before zero [s]."""
    time, current = np.array(course.times), np.array(course.currents)
    half = 0.5 / frequency
    count = max(int(time[-1] / half), 1)
    edges = np.linspace(0.0, count * half, count + 1)
    area = np.concatenate(([0.0], np.cumsum(0.5 * (current[1:] + current[:-1]) * np.diff(time))))
    means = np.diff(np.interp(edges, time, area)) / half
    return Series("supply", "charging_current", "A", edges[:-1] - time[-1], means)

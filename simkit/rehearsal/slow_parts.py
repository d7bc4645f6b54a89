"""Cans, core, windings and coil while the last state goes on: temperatures, limits, time to them.

Each is one body from its loss in the settled state to that in the last (`parts.slow_heat`); a body
without a heat capacity in the machine's file is as hot at once as it gets in the end. The water's
wall is taken so too: its water is through the tube within seconds.
"""

from collections.abc import Iterator
from math import inf, isfinite, nan

from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.parts.build import can_of
from simkit.parts.capacitor import Bank, bus_sharing, can_loss
from simkit.parts.coil_water import water_channel
from simkit.parts.cooling import ATMOSPHERE, water_side
from simkit.parts.core import Steinmetz, square_loss
from simkit.parts.slow_heat import Body
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.part_figure import PartFigure, rating_of

Loads = list[dict[str, float]]
LAST = 3
"""Cycles at the end that count as the last state [1]."""


def bodies(rehearsal: Rehearsal, loads: Loads, share: float) -> Iterator[Body]:
    """What has a path for its heat and a limit; `loads`: what heats, settled and last.

    `share`: numerical error of the machine's currents, as a share [1].
    """
    machine = rehearsal.machine
    electric = (_can(rehearsal, loads, share), _core(rehearsal, share))
    for found in (*electric, _winding(machine, loads, share), _wall(machine, loads, share)):
        if found is not None and isfinite(found.last):
            yield found


def _can(rehearsal: Rehearsal, loads: Loads, share: float) -> Body | None:
    """The most loaded can's hot spot."""
    machine, given = rehearsal.machine, rehearsal.machine.tank.can
    if given is None:
        return None
    tank, can = machine.tank, can_of(machine.tank)
    points = (rehearsal.before, rehearsal.after)
    rises = []
    for state, point in zip(loads, points, strict=True):
        worst = 1.0
        if tank.bus is not None:
            ends = tank.bus.feed == "opposite-ends"
            bank = Bank(can, tank.cans)
            worst = bus_sharing(
                bank, point.frequency_hz, tank.bus.inductance, opposite_ends=ends
            ).worst
        each = state["can_current_rms"] * worst
        rises.append(can_loss(can, point.frequency_hz, each) * can.thermal_resistance)
    around, (before, last) = machine.cooling.ambient, rises
    time = _time(given.thermal_resistance, given.heat_capacity)
    limit = around + given.allowed_rise
    return Body("tank capacitor", around, before, last, time, limit, 2.0 * share * last)


def _winding(machine: Machine, loads: Loads, share: float) -> Body | None:
    """Both windings together: they lie over one another."""
    given = machine.ratings.winding if machine.ratings else None
    if given is None:
        return None
    transformer = machine.transformer
    before, last = (
        given.thermal_resistance
        * (
            transformer.primary_resistance * s["primary_current_rms"] ** 2
            + transformer.secondary_resistance * s["secondary_current_rms"] ** 2
        )
        for s in loads
    )
    time, around = _time(given.thermal_resistance, given.heat_capacity), machine.cooling.ambient
    error = 2.0 * share * last
    return Body("windings", around, before, last, time, given.temperature, error)


def _wall(machine: Machine, loads: Loads, share: float) -> Body | None:
    """The wall of the coil's tube at the water's outlet."""
    water, channel = machine.cooling.water, water_channel(machine)
    if water is None or channel is None:
        return None
    sides = [
        water_side(
            channel, machine.coil.resistance * s["coil_current_rms"] ** 2, water.flow, water.inlet,
            water.outlet_pressure or ATMOSPHERE,
        )
        for s in loads
    ]  # fmt: skip
    before, last = (side.wall - water.inlet for side in sides)
    error, boiling = 2.0 * share * last, sides[1].boiling_point
    return Body("coil's wall", water.inlet, before, last, None, boiling, error)


def core_densities(rehearsal: Rehearsal) -> tuple[float, float]:
    """Loss density of the core in the settled state and in the last one [W/m3]; nan without its
    constants."""
    begin = min((e.start for e in rehearsal.line.events), default=inf)
    points = (rehearsal.before.frequency_hz, rehearsal.after.frequency_hz)
    return lasting_densities(rehearsal.machine, rehearsal.series, points, begin)


def lasting_densities(
    machine: Machine, series: tuple[Series, ...], frequencies: tuple[float, float], begin: float
) -> tuple[float, float]:
    """The same at the flux that lasts, before the events begin [s] and at the end."""
    before, last = lasting_flux(series, begin)
    return density_at(machine, before, frequencies[0]), density_at(machine, last, frequencies[1])


def lasting_flux(series: tuple[Series, ...], begin: float) -> tuple[float, float]:
    """Largest flux of the cycles before the events begin [s] and of the last ones [T].

    What lies between is gone before a core grows warm: gates that go off leave the flux of one
    cycle, which for a quarter of an hour would be another machine.
    """
    mine = [s for s in series if s.quantity == "flux_peak" and len(s.values)]
    last = max((float(s.values[-LAST:].max()) for s in mine), default=nan)
    calm = [float(s.values[s.times < begin].max()) for s in mine if (s.times < begin).any()]
    return max(calm, default=last), last


def density_at(machine: Machine, flux: float, frequency: float) -> float:
    """Loss density of the core at a flux [W/m3]; nan without its constants."""
    given = machine.transformer.loss
    if given is None or not isfinite(flux):
        return nan
    constants = Steinmetz(
        given.k, given.alpha, given.beta, given.frequency_min, given.frequency_max,
        "transformer.core_loss",
    )  # fmt: skip
    return square_loss(constants, frequency, flux).value


def _core(rehearsal: Rehearsal, share: float) -> Body | None:
    """The core's hot spot, at the flux of the settled state and at that of the last."""
    machine, wound = rehearsal.machine, rehearsal.machine.transformer
    given = machine.ratings.core if machine.ratings else None
    if given is None or given.thermal_resistance is None:
        return None
    if wound.loss is None or wound.core_volume is None:
        return None
    before, last = (
        density * wound.core_volume * given.thermal_resistance
        for density in core_densities(rehearsal)
    )
    around = machine.cooling.ambient
    limit = nan if given.temperature is None else given.temperature
    error = wound.loss.beta * share * max(before, last)
    return Body("core", around, before, last, None, limit, error)


def _time(resistance: float, capacity: float | None) -> float | None:
    return None if capacity is None else resistance * capacity


def body_figures(found: list[Body], machine: Machine) -> Iterator[PartFigure]:
    """The bodies as figures beside their limits, for good."""
    names = {
        "tank capacitor": ("can_temperature", "tank.can.allowed_rise"),
        "windings": ("winding_temperature", "ratings.winding.temperature"),
        "coil's wall": ("coil_wall_temperature", "boiling point at cooling.water's pressure"),
        "core": ("core_temperature", "ratings.core.temperature"),
    }
    for body in found:
        quantity, key = names[body.part]
        hottest = body.around + max(body.before, body.last)
        rated = body.limit if isfinite(body.limit) else rating_of(machine.ratings, key)
        part = "coil" if body.part == "coil's wall" else body.part
        yield PartFigure(part, quantity, "degC", hottest, body.error, key, rated)

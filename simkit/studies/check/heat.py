"""Rows of `simkit check` on heat: coil and its water, capacitors, core, junctions, melting."""

from collections.abc import Iterator

from simkit.parameters.machine import Machine
from simkit.parts.build import can_of
from simkit.parts.capacitor import Bank, bus_sharing, can_stress
from simkit.parts.coil_water import water_channel
from simkit.parts.cooling import ATMOSPHERE, water_side
from simkit.parts.core import Steinmetz, square_loss
from simkit.parts.materials import material
from simkit.parts.switches import stack_of
from simkit.scout.operating import OperatingPoint
from simkit.studies.check.row import CheckRow, Rows


def coil_rows(rows: Rows, machine: Machine, current: float) -> Iterator[CheckRow]:
    """The copper's loss at a coil current [A rms], and what its water makes of it.

    With a piece by geometry the copper's part of the loaded resistance is known: a close-fitting
    piece crowds the current. A measured piece does not tell, and the empty coil's is taken.
    """
    piece = machine.workpieces.get(rows.load)
    ohms, told = machine.coil.resistance, "coil.resistance times current squared"
    if piece is not None and piece.piece_resistance is not None:
        ohms = piece.resistance - piece.piece_resistance
        told = "the copper's part of R with the piece in it, times current squared"
    loss = ohms * current**2
    yield rows.plain("coil copper loss", "W", loss, told)
    if piece is not None and piece.piece_resistance is not None:
        share = piece.piece_resistance / piece.resistance
        told = "heat in the piece over all that goes into the coil, by the rings"
        yield rows.plain("coil efficiency", "1", share, told)
    water = machine.cooling.water
    channel = water_channel(machine)
    if water is None or channel is None:
        return
    pressure = water.outlet_pressure or ATMOSPHERE
    side = water_side(channel, loss, water.flow, water.inlet, pressure)
    boiling = side.boiling_point - water.inlet
    told = "heat balance of cooling.water.flow; it boils at the limit"
    yield rows.most("cooling water temperature rise", "K", side.rise, boiling, told)
    told = "tube's wall at the outlet; at the limit the water boils there"
    yield rows.most("hottest wall of the tube", "degC", side.wall, side.boiling_point, told)
    told = _with(side.outside, "cooling.water.flow through a straight tube")
    yield rows.plain("pressure the tube takes", "Pa", side.pressure_drop, told)


def can_rows(rows: Rows, machine: Machine, frequency: float, current: float) -> Iterator[CheckRow]:
    """What one can loses at a bank current [A rms], and its limits at the frequency [Hz]."""
    tank = machine.tank
    if tank.can is None:
        loss = (current / tank.cans) ** 2 * tank.can_esr
        yield rows.plain("dissipation per can", "W", loss, "tank.can_esr times current squared")
        return
    bank = Bank(can_of(tank), tank.cans)
    worst = 1.0
    if tank.bus is not None:
        ends = tank.bus.feed == "opposite-ends"
        worst = bus_sharing(bank, frequency, tank.bus.inductance, opposite_ends=ends).worst
    stress = can_stress(bank, frequency, current, worst)
    part = machine.limits.derating.capacitor
    used = f"{part:.0%} of it used"
    told = f"tank.can at this frequency: {stress.limit.bound}, {used}"
    told = _with(stress.limit.outside, told)
    yield rows.most(
        "voltage of the most loaded can, rms", "V", stress.voltage, part * stress.limit.voltage,
        told,
    )  # fmt: skip
    told = f"tank.can_current, {used}; uneven sharing by tank.bus"
    yield rows.most(
        "current of the most loaded can, rms", "A", stress.current, part * tank.can_current, told
    )
    allowed = tank.can.allowed_rise / tank.can.thermal_resistance
    told = "tank.can.allowed_rise over thermal_resistance"
    yield rows.most("dissipation per can", "W", stress.loss, allowed, told)


def core_rows(rows: Rows, machine: Machine, frequency: float, flux: float) -> Iterator[CheckRow]:
    """What the transformer's core loses at a peak flux density [T]."""
    given, volume = machine.transformer.loss, machine.transformer.core_volume
    if given is None or volume is None:
        return
    constants = Steinmetz(
        given.k, given.alpha, given.beta, given.frequency_min, given.frequency_max,
        "transformer.core_loss",
    )  # fmt: skip
    density = square_loss(constants, frequency, flux)
    told = _with(density.outside, "transformer.core_loss, square voltage (improved generalised)")
    yield rows.plain("core loss", "W", density.value * volume, told)


def loss_rows(rows: Rows, machine: Machine, point: OperatingPoint) -> Iterator[CheckRow]:
    """Loss of one switch; where its junction settles is a figure of its own."""
    each = point.bridge_loss / stack_of(machine).switches
    yield rows.plain("loss of one switch", "W", each, "fast map: conduction, diode, edges")


def melting_rows(rows: Rows, machine: Machine) -> Iterator[CheckRow]:
    """Where what lies in the coil melts, for pieces whose material is known."""
    piece = machine.workpieces[rows.load].geometry
    if piece is None:
        return
    for shape in (piece, piece.charge):
        if shape is None:
            continue
        of = material(shape.material)
        celsius = of.solidus.at(20.0, of.name)
        told = f"materials: {of.solidus.source}"
        yield rows.plain(f"{of.name} begins to melt", "degC", celsius.value, told)


def _with(notes: tuple[str, ...], told: str) -> str:
    # Two formulae may have left their ranges in the same quantity: said once.
    once = {note.split(", valid for")[0]: note for note in notes}
    return "; ".join((told, *once.values()))

"""Stored charge: what stays on which part, how long, and what is said about touching."""

from dataclasses import dataclass

from simkit.parameters.machine import Machine
from simkit.parts.supply import TOUCH, TOUCH_CHARGE, residual_voltage, stored_energy


@dataclass(frozen=True)
class Stored:
    """One part that keeps charge.

    Fields: part; capacitance [F]; voltage at most [V]; time to fall to `TOUCH` [s], None when
    nothing in the machine file discharges it.
    """

    part: str
    capacitance: float
    voltage: float
    time: float | None

    @property
    def charge(self) -> float:
        """C V [C]."""
        return self.capacitance * self.voltage

    @property
    def energy(self) -> float:
        """C V^2/2 [J]."""
        return stored_energy(self.capacitance, self.voltage)

    @property
    def matters(self) -> bool:
        """Whether the rule applies to it: above 60 V and above 60 uC."""
        return self.voltage > TOUCH and self.charge > TOUCH_CHARGE


def discharge_time(resistance: float, capacitance: float, voltage: float) -> float:
    """Time for a capacitor to fall to `TOUCH` through a resistor [s]."""
    return residual_voltage(voltage, capacitance, resistance).time


def _across_link(machine: Machine) -> float | None:
    """What discharges the link [ohm]: the resistor applied by hand and the bleeder beside it."""
    rectifier = machine.supply.rectifier
    found = [machine.bring_up.discharge_resistor if machine.bring_up else None,
             rectifier.bleeder if rectifier else None]  # fmt: skip
    conductance = sum(1.0 / r for r in found if r is not None)
    return 1.0 / conductance if conductance else None


def stored(machine: Machine) -> tuple[Stored, ...]:
    """Parts that keep charge when the machine is switched off; parallel ones together."""
    voltage, supply = machine.supply.voltage, machine.supply
    resistor = _across_link(machine)
    link = supply.link.capacitance + supply.film.capacitance
    split = machine.bridge.split_capacitance
    if split is not None:
        link += 0.5 * split  # two in series lie across the link
    time = discharge_time(resistor, link, voltage) if resistor is not None else None
    out = [Stored("DC link with everything across it", link, voltage, time)]
    blocking = machine.transformer.blocking_capacitance
    if blocking is not None:
        rest = machine.bridge.form.rest_share * voltage
        out.append(Stored("blocking capacitor", blocking, rest, None))
    # The bank discharges through the coil in milliseconds; it keeps nothing.
    return tuple(out)

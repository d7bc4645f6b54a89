"""Stored charge: what stays on which part, how long, and what is said about touching."""

from dataclasses import dataclass
from math import floor, log, log10, sqrt

from simkit.parameters.machine import Machine
from simkit.parts.supply import TOUCH, TOUCH_CHARGE, residual_voltage, stored_energy

HOLD = 10.0
"""How long a person holds the resistor at most [s]; common practice, no source."""
EMPTY = 5.0
"""What a capacitor is to fall to [V]; a design choice well below any touch limit."""
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""IEC 60063, recalled from memory."""


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


@dataclass(frozen=True)
class Tool:
    """A resistor to discharge a capacitor with, held by insulated leads.

    Fields: resistance [ohm]; voltage it must stand [V]; current and power at first [A] [W]; energy
    it takes up [J]; time for the capacitor to fall to `EMPTY` [s].
    """

    resistance: float
    voltage: float
    current: float
    power: float
    energy: float
    time: float


def discharge_tool(capacitance: float, voltage: float) -> Tool:
    """The largest resistor of the series E12 that empties a capacitor within `HOLD`.

    R <= t/(C ln(V/V_end)); `capacitance` [F], `voltage` [V]. The law of an RC circuit; that a
    person holds a resistor for ten seconds is common practice, no source.
    """
    most = HOLD / (capacitance * log(max(voltage / EMPTY, 1.01)))
    decade = 10.0 ** floor(log10(most))
    value = max((e * decade for e in E12 if e * decade <= most), default=decade)
    return Tool(value, voltage, voltage / value, voltage**2 / value,
                stored_energy(capacitance, voltage),
                value * capacitance * log(max(voltage / EMPTY, 1.01)))  # fmt: skip


def bleeder(machine: Machine) -> float | None:
    """The resistor that the file leaves across the link for good [ohm]; None for none.

    `bring_up.discharge_resistor` and `supply.rectifier.bleeder` may both be there: in parallel.
    """
    rectifier = machine.supply.rectifier
    named = (machine.bring_up.discharge_resistor if machine.bring_up else None,
             rectifier.bleeder if rectifier else None)  # fmt: skip
    found = [1.0 / r for r in named if r is not None]
    return 1.0 / sum(found) if found else None


def link_capacitance(machine: Machine) -> float:
    """All that lies across the link [F]."""
    link = machine.supply.link.capacitance + machine.supply.film.capacitance
    split = machine.bridge.split_capacitance
    return link + (0.5 * split if split is not None else 0.0)  # two in series lie across it


def stored(
    machine: Machine, voltage: float | None = None, tank_peak: float | None = None
) -> tuple[Stored, ...]:
    """Parts that keep charge when the machine is switched off at a link voltage [V].

    At their worst: a leg that has failed charges the blocking capacitor to as much as the link,
    and a joint of the coil that opens leaves the bank at the tank's peak [V], its can's rating
    where none is given. Both are nothing in a machine that works, which nobody knows of one that
    has just stopped.
    """
    volts = machine.supply.voltage if voltage is None else voltage
    resistor = bleeder(machine)
    link = link_capacitance(machine)
    time = discharge_time(resistor, link, volts) if resistor is not None else None
    out = [Stored("DC link with everything across it", link, volts, time)]
    blocking = machine.transformer.blocking_capacitance
    if blocking is not None:
        out.append(Stored("blocking capacitor, after a leg has failed", blocking, volts, None))
    tank = machine.tank
    peak = tank_peak if tank_peak is not None else sqrt(2.0) * tank.can_voltage
    bank = tank.cans * tank.can_capacitance
    out.append(Stored("tank bank, where a joint of the coil has opened", bank, peak, None))
    return tuple(out)

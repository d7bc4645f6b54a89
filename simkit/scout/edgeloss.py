"""What a machine's switching edges take out of the link beside the linear plant, per half period,
and how a forced diode's recovery adds to the switch's current.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simkit.parts.igbt import conducting_resistance
from simkit.scout.forced import Forcing, Takeover, forcing, stored_charge, topping_charge
from simkit.scout.plant import Array
from simkit.scout.turnoff import TurnOff, turn_off

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine


@dataclass(frozen=True)
class EdgeLosses:
    """Edges of a machine.

    Fields: machine; dead_time as the switches see it [s]; forcing; table of turn-offs.
    """

    machine: Machine
    dead_time: float
    forcing: Forcing
    table: TurnOff

    @classmethod
    def of(cls, machine: Machine, dead_time: float) -> EdgeLosses:
        """Of a machine at its own supply voltage."""
        return cls(machine, dead_time, forcing(machine), turn_off(machine, machine.supply.voltage))

    @property
    def legs(self) -> int:
        """Legs of the bridge [1]."""
        return self.machine.bridge.legs

    @property
    def on_resistance(self) -> float:
        """Of the channels in the primary current's path [ohm]."""
        drive = self.machine.drive
        return self.legs * conducting_resistance(self.machine.switch, drive.voltage_on)

    def takeover(self, off: Array, on: Array) -> Takeover:
        """Hard turn-ons, from the bridge currents at turn-off and turn-on [A]; see `forced`."""
        stored = stored_charge(self.machine, self.dead_time, off, on)
        return self.forcing.takeover(np.maximum(-on, 0.0), stored)

    def energy(self, off: Array, on: Array, missing: Array, link: Array) -> Array:
        """Energy a half period's edges take [J].

        Currents at turn-off and turn-on [A], voltage that the swing left across the switch that
        turns on [V], link voltage [V]; by `Forcing.takeover`, `topping_charge` and the table.
        """
        drawn = np.where(on < 0.0, self.takeover(off, on).charge, 0.0)
        drawn = drawn + topping_charge(self.machine, link, missing)
        return np.asarray(self.legs * (link * drawn + self.table.energy_at(off)))

    def slope(self, on: Array) -> Array:
        """Slope of a forced diode's current through zero [A/s]; nothing where none is forced."""
        forced = np.maximum(-on, 0.0)
        return np.where(forced > 0.0, self.forcing.slope(np.maximum(forced, 1e-3)), 0.0)

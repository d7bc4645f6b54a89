"""A switch at another junction temperature than that of its values."""

from __future__ import annotations

import math

from simkit.parameters.machine import Machine
from simkit.parts.thermal import KELVIN


def warmed_machine(machine: Machine, celsius: float) -> Machine:
    """The machine with its switches at a junction temperature [degC].

    R_DS(on) = channel + drift region goes as R_0 (T/T_0)^n, T in kelvin, n and T_0 those of
    `switch.warming`; the channel's part 1/(KP (V_on - V_TO)) [ohm] stays, the drift region takes
    the change. Threshold, charges and the body diode stay as they are. ValueError for a switch
    without `warming`, or a drift region that would vanish. Source: as for `thermal.on_resistance`.
    Range: as there, -55 to 175 degC.
    """
    switch, channel = machine.switch, machine.switch.channel
    if switch.warming is None:
        raise ValueError("the switch does not say how its resistance goes with temperature")
    overdrive = machine.drive.voltage_on - channel.threshold
    fixed = 1.0 / (channel.transconductance * overdrive) if overdrive > 0.0 else 0.0
    ratio = (celsius + KELVIN) / (switch.warming.junction_temperature + KELVIN)
    whole = (channel.drain_resistance + fixed) * math.pow(ratio, switch.warming.resistance_exponent)
    if whole <= fixed:
        raise ValueError(f"nothing of the drift region is left at {celsius:g} degC")
    warm = switch.model_copy(
        update={
            "channel": channel.model_copy(update={"drain_resistance": whole - fixed}),
            "warming": switch.warming.model_copy(update={"junction_temperature": celsius}),
        }
    )
    return machine.model_copy(update={"switch": warm})

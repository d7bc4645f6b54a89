"""How much later than its command a bridge really switches."""

from math import log

from simkit.parameters.machine import Machine


def turn_off_delay(machine: Machine) -> float:
    """From the middle of the off command until the channel lets go [s].

    The gate falls exponentially from the on level to the threshold through driver, gate resistor
    and chip resistor: t = R (C_gs + C_gd) ln((V_on - V_off)/(V_th - V_off)), C_gd at low drain
    voltage (first-order RC; the plateau at the threshold is short where the load current swings
    the node). A fast model's figure: it places seeds, it judges nothing.
    """
    drive, channel = machine.drive, machine.switch.channel
    resistor = drive.gate_resistor
    if drive.turn_off_resistor is not None:
        resistor = 1.0 / (1.0 / resistor + 1.0 / drive.turn_off_resistor)
    resistance = drive.sink_resistance + resistor + channel.gate_resistance
    capacitance = channel.gate_source_capacitance + channel.gate_drain_capacitance_max
    off = 0.0 if drive.isolation == "transformer" else drive.voltage_off
    if channel.threshold >= drive.voltage_on:
        return 0.0
    return resistance * capacitance * log((drive.voltage_on - off) / (channel.threshold - off))

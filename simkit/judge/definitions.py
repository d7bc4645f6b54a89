"""What each judged quantity is, its formula, where it is computed, what in the file moves it.

The words that a report needs stand in `quantities.py`; these complete them for `simkit explain`.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Definition:
    """One judged quantity: the thing itself, and how its figure comes about."""

    what: str
    """What it is, on the bench."""
    formula: str
    """In the symbols of the trade."""
    place: str
    """Module of simkit that computes it."""
    fields: tuple[str, ...]
    """Keys of the machine file that move it most."""


PART_OF = {
    "can_voltage_rms": "tank capacitor", "can_current_rms": "tank capacitor",
    "flux_peak": "matching transformer", "supply_current": "supply",
}  # fmt: skip
"""Part that a quantity belongs to where it is not a switch's; part and title make its name."""


def full_name(quantity: str, title: str) -> str:
    """A quantity's name where no single part is meant: "tank capacitor: current, rms"."""
    return f"{PART_OF.get(quantity, 'switch')}: {title}"


SWITCH = "simkit/measure/switch.py"
TANK = "simkit/measure/tank.py"
RECOVERY = "simkit/measure/recovery.py"
THERMAL = "simkit/rehearsal/heat.py"

DEFINITIONS: dict[str, Definition] = {
    "drain_voltage_peak": Definition(
        "The highest voltage a switch sees: the link voltage, plus what the stray inductance of "
        "the loop adds when its current is cut.",
        "max over a cycle of v_DS at the chip; overshoot about L_loop x di/dt",
        SWITCH,
        ("bridge.loop_inductance", "drive.gate_resistor", "supply.voltage"),
    ),
    "channel_current_peak": Definition(
        "The highest current through the silicon channel of a switch, body diode left out.",
        "max over a cycle of i_channel",
        SWITCH,
        ("transformer.primary_turns", "drive.working_margin", "supply.voltage"),
    ),
    "drain_current_rms": Definition(
        "The heating value of the current through the drain lead.",
        "sqrt(mean over a cycle of i_D^2)",
        SWITCH,
        ("transformer.primary_turns", "drive.working_margin"),
    ),
    "gate_voltage_peak": Definition(
        "The highest voltage across the gate oxide, ringing of the gate loop included.",
        "max over a cycle of |v_GS| at the chip",
        SWITCH,
        ("drive.voltage_on", "drive.loop_inductance", "drive.gate_resistor"),
    ),
    "gate_lift": Definition(
        "How far the gate of a switch that should be off is pushed up while its partner turns on.",
        "max of v_GS at the chip from the partner's command to 1 us after; the push is "
        "C_GD x dv/dt through the gate's resistors",
        "simkit/measure/gate.py",
        ("drive.gate_resistor", "drive.turn_off_resistor", "drive.voltage_off"),
    ),
    "recovery_di_dt": Definition(
        "How fast the current of a conducting body diode is driven to zero by the other switch.",
        "slope of i_diode from half its forward value to zero (as IEC 60747-8 has it)",
        RECOVERY,
        ("drive.gate_resistor", "bridge.loop_inductance", "drive.dead_time"),
    ),
    "recovery_dv_dt": Definition(
        "How fast the voltage climbs across a body diode that is still clearing its charge.",
        "steepest mean slope of v_DS over a fifth of the link voltage, between 10 and 90 % of it",
        RECOVERY,
        ("drive.gate_resistor", "drive.working_margin", "drive.dead_time"),
    ),
    "junction_peak": Definition(
        "The hottest the chip gets while the event lasts.",
        "T_J(t) = T_J(0) + sum of dP_k x Z_th(t - t_k), dP_k the change of loss at cycle k; "
        "Z_th the data sheet's curve, case, pad and heatsink",
        THERMAL,
        ("cooling.heatsink_resistance", "cooling.pad_resistance", "cooling.ambient"),
    ),
    "junction_held": Definition(
        "How hot the chip gets when nobody reacts and the last state goes on.",
        "the course of the event going on with P_last: the hottest within the hold time",
        THERMAL,
        ("limits.hold_time", "cooling.heatsink_resistance", "cooling.pad_resistance"),
    ),
    "can_voltage_rms": Definition(
        "The alternating voltage every capacitor can of the tank has to bear.",
        "sqrt(mean over a cycle of v_bank^2); all cans share it",
        TANK,
        ("tank.can_voltage", "drive.working_margin", "transformer.primary_turns"),
    ),
    "can_current_rms": Definition(
        "The alternating current through one capacitor can.",
        "sqrt(mean over a cycle of i_bank^2) / number of cans",
        TANK,
        ("tank.cans", "tank.can_current", "drive.working_margin"),
    ),
    "flux_peak": Definition(
        "The highest flux density in the core of the matching transformer.",
        "B = L_m x i_m / (N_1 x A_core); for a square wave about V/(4 f N_1 A_core)",
        TANK,
        ("transformer.primary_turns", "transformer.core_area", "drive.frequency_min"),
    ),
    "supply_current": Definition(
        "The current drawn from the rectifier or bench supply, averaged over a cycle.",
        "mean over a cycle of i_supply",
        TANK,
        ("limits.supply_current", "transformer.primary_turns", "drive.working_margin"),
    ),
    "junction_later": Definition(
        "How warm the hottest chip gets when the last state goes on for minutes.",
        "as junction_held, to the aftermath's time; in the end T_a + (sum of P) R_sa + P (R_jc + "
        "R_pad)",
        THERMAL,
        ("cooling.heatsink_resistance", "cooling.pad_resistance", "cooling.ambient"),
    ),
    "water_temperature": Definition(
        "How warm the water in the coil gets when the last state goes on.",
        "C dT/dt = P_coil - rho c q (T - T_in)",
        "simkit/rehearsal/aftermath.py",
        ("coil.resistance", "tank.cans", "drive.working_margin"),
    ),
    "charging_current": Definition(
        "What the mains supplies in a half period while the link charges.",
        "mean over half a mains period of (|V sin wt| - 2 V_d - v)/(R_line + R)",
        "simkit/rehearsal/aftermath.py",
        ("supply.link.capacitance", "supply.source_resistance", "limits.supply_current"),
    ),
    "charging_peak": Definition(
        "The largest current of the first surge into the empty link.",
        "max of (|V sin wt| - 2 V_d - v)/(R_line + R)",
        "simkit/rehearsal/aftermath.py",
        ("supply.link.capacitance", "supply.source_resistance", "supply.voltage"),
    ),
}

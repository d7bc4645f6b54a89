"""Limits as pure data: number, derating and where it comes from.

A newcomer adds a limit by one entry in `machine_limits` and one in `quantities.QUANTITIES`.
"""

from dataclasses import dataclass

from simkit.parameters.machine import Machine

SUDDEN = frozenset(
    {
        "drain_voltage_peak", "channel_current_peak", "gate_voltage_peak", "gate_lift",
        "recovery_di_dt", "recovery_dv_dt",
    }
)  # fmt: skip
"""Quantities that destroy within one cycle; the others destroy by heat, which takes time."""


@dataclass(frozen=True)
class Limit:
    """Largest value allowed for a quantity, after derating."""

    quantity: str
    unit: str
    bound: float
    source: str


def capacity_note(machine: Machine, sink_known: bool = False) -> str:
    """Which heat capacities nobody gave, and what is taken for them; empty with both."""
    cooling = machine.cooling
    missing = [
        f"cooling.{name}_heat_capacity"
        for name, known in (
            ("case", cooling.case_heat_capacity is not None),
            ("heatsink", sink_known or cooling.heatsink_heat_capacity is not None),
        )
        if not known
    ]
    if not missing:
        return ""
    return f"; no {' and no '.join(missing)} given: the hotter of none and endless is taken"


def machine_limits(machine: Machine) -> tuple[Limit, ...]:
    """Every limit judged on a machine, from its ratings and deratings."""
    ratings, derating = machine.switch.ratings, machine.limits.derating
    rise = ratings.junction_temperature - machine.cooling.ambient
    junction = machine.cooling.ambient + derating.junction_rise * rise

    def share(quantity: str, unit: str, rating: float, part: float, key: str) -> Limit:
        return Limit(quantity, unit, rating * part, f"{key}, {part:.0%} of it used")

    tank, unknown = machine.tank, capacity_note(machine)
    return (
        share(
            "drain_voltage_peak",
            "V",
            ratings.drain_voltage,
            derating.drain_voltage,
            "switch.ratings.drain_voltage",
        ),
        share(
            "channel_current_peak",
            "A",
            ratings.pulsed_current,
            derating.current,
            "switch.ratings.pulsed_current",
        ),
        share(
            "drain_current_rms",
            "A",
            ratings.drain_current,
            derating.current,
            "switch.ratings.drain_current",
        ),
        share(
            "gate_voltage_peak",
            "V",
            ratings.gate_voltage,
            derating.gate_voltage,
            "switch.ratings.gate_voltage",
        ),
        Limit(
            "gate_lift",
            "V",
            machine.switch.channel.threshold - machine.limits.threshold_margin,
            "switch.channel.threshold less limits.threshold_margin",
        ),
        share(
            "recovery_di_dt",
            "A/s",
            ratings.recovery_di_dt,
            derating.recovery,
            "switch.ratings.recovery_di_dt",
        ),
        share(
            "recovery_dv_dt",
            "V/s",
            ratings.recovery_dv_dt,
            derating.recovery,
            "switch.ratings.recovery_dv_dt",
        ),
        Limit(
            "junction_peak",
            "degC",
            junction,
            f"cooling.ambient plus {derating.junction_rise:.0%} of the rise to "
            f"switch.ratings.junction_temperature{unknown}",
        ),
        Limit(
            "junction_held",
            "degC",
            junction,
            f"as junction_peak, last state held for {machine.limits.hold_time:g} s{unknown}",
        ),
        share("can_voltage_rms", "V", tank.can_voltage, derating.capacitor, "tank.can_voltage"),
        share("can_current_rms", "A", tank.can_current, derating.capacitor, "tank.can_current"),
        share(
            "flux_peak",
            "T",
            machine.transformer.saturation_flux,
            derating.flux,
            "transformer.saturation_flux",
        ),
        Limit("supply_current", "A", machine.limits.supply_current, "limits.supply_current"),
    )

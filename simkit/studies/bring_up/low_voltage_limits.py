"""What a low voltage cannot tell, with the figures of the machine at hand."""

from collections.abc import Iterator
from math import isfinite

from simkit.parameters.machine import Machine
from simkit.parts.working import load_at_margin
from simkit.scout.plant import output_charge
from simkit.studies.bring_up.signs import low_stage
from simkit.studies.bring_up.study import BringUpResult, StageResult
from simkit.units import format_quantity


def not_told(result: BringUpResult) -> tuple[str, ...]:
    """Sentences, each with its figures, on what does not carry over to full voltage."""
    low, full = low_stage(result), result.stages[-1]
    out = [*steel(result.machine), *heat(full)]
    if low is not None and low.point is not None and full.point is not None:
        out += [*swing(result.machine, low), *recovery(low, full)]
    return tuple(out)


def steel(machine: Machine) -> Iterator[str]:
    """L and R of every piece with a known course over current; and what of the others."""
    low, full, margin = 30.0, machine.supply.voltage, machine.drive.working_margin
    plain = []
    for name, piece in machine.workpieces.items():
        if piece.levels is None:
            plain.append(name)
            continue
        ends = [load_at_margin(machine, name, margin, volts) for volts in (low, full)]
        shift = machine.resonance(ends[1].inductance) / machine.resonance(ends[0].inductance) - 1.0
        turns = (ends[0].inductance - machine.coil.inductance) * (
            ends[1].inductance - machine.coil.inductance
        )
        yield (
            f"{name}: its permeability falls as the field rises. By the part model L goes from "
            f"{format_quantity(ends[0].inductance, 'H', 3)} at 30 V to "
            f"{format_quantity(ends[1].inductance, 'H', 3)} at full voltage, R from "
            f"{format_quantity(ends[0].resistance, 'ohm', 3)} to "
            f"{format_quantity(ends[1].resistance, 'ohm', 3)}, the resonance by {shift:+.1%}"
            + ("; the piece then lowers L where it raised it." if turns < 0.0 else ".")
        )
    if plain:
        yield (
            f"{', '.join(plain)}: the file gives L and R as plain numbers, so the same are used at "
            "every level. Of steel that is not so: it loses permeability as the field rises and "
            "above the Curie point, L and resonance move, and the change may have the other sign. "
            "Give the piece its geometry to have it worked out."
        )


def heat(full: StageResult) -> Iterator[str]:
    """Temperatures."""
    point = full.point.point if full.point else None
    if point is None or not isfinite(point.bridge_loss_w):
        return
    lost = format_quantity(point.bridge_loss_w, "W", 2)
    taken = format_quantity(point.workpiece_power_w, "W", 2)
    share = (30.0 / point.supply_voltage_v) ** 2
    yield (
        f"Heating: at working power the bridge loses {lost} and the coil with its load takes "
        f"{taken}; at 30 V about {share:.1%} of it. Bad joints and hot cans show at full power "
        "only: look for them with a thermometer, never fingers."
    )


def swing(machine: Machine, low: StageResult) -> Iterator[str]:
    """The node's swing: the charge does not fall in proportion with the voltage."""
    assert low.setting is not None
    volts, full = low.setting.supply_voltage, machine.supply.voltage
    channel = machine.switch.channel
    ratio = output_charge(channel, volts) / volts / (output_charge(channel, full) / full)
    yield (
        f"Node edges: the switches' capacitance is larger at a low voltage; at {volts:g} V the "
        f"node takes {ratio:.2g} times as long to swing as at {full:g} V at the same frequency. "
        "Slow or unfinished edges here need not mean the same there."
    )


def recovery(low: StageResult, full: StageResult) -> Iterator[str]:
    """Recovery and currents at turn-off."""
    assert low.point is not None
    assert full.point is not None
    ends = [p.point.turn_off_current_a for p in (low.point, full.point)]
    yield (
        f"Recovery: a body diode's charge grows with the current it carried "
        f"({format_quantity(ends[0], 'A', 2)} at turn-off here, {format_quantity(ends[1], 'A', 2)} "
        "at working power), and the voltage that forces it off grows too. A clean screen at 30 V "
        "says nothing of a capacitive slip at full voltage: rehearse that with simkit run."
    )

"""What a wrong reading most likely means: the signature of each fault at the low-voltage stage."""

from dataclasses import dataclass

from simkit.parameters.machine import Machine
from simkit.scout.bench import fast_readings
from simkit.studies.bring_up.study import BringUpResult, Expected, StageResult
from simkit.studies.low_voltage.fault_signs import FAULTS, Fault

MIDDLE = 1
SHOWN = ("resonance", "supply_current", "tank_scope", "tank_voltage", "current_scope",
         "primary_current", "phase")  # fmt: skip
SHORT = {
    "resonance": "resonance", "supply_current": "supply current", "tank_scope": "tank",
    "tank_voltage": "tank", "current_scope": "bridge current", "primary_current":
    "bridge current", "phase": "phase",
}  # fmt: skip
GENERAL = (
    ("Supply in its limit, no voltage at the bridge",
     "Both switches of a leg conduct: swapped gate pair, a shorted switch, or no dead time. Stop; "
     "look at both gates of each leg on one screen with the bridge unpowered."),
    ("Supply current almost nothing, node swings as it should",
     "No path for the current: an open joint in the tank or primary, or both legs driven in phase "
     "so that no voltage is left between them."),
    ("Node does not reach both rails", "One gate dead or its switch open: compare all gates."),
    ("A spike on the gate while its switch is off",
     "Gate loop too long, or its ground lead is the probe's: measure with the shortest lead."),
    ("Readings drift within minutes",
     "Something heats: unplug, discharge, measure, then look with a thermometer, not fingers."),
)  # fmt: skip
"""Signs that no single figure holds; common practice, no source."""


@dataclass(frozen=True)
class Signature:
    """One fault at a typical severity.

    Fields: fault; severity; readings by name: value with the fault over the value without, or
    for a phase the difference in degrees; None where it has none; out: names of readings that
    leave their interval.
    """

    fault: Fault
    severity: float
    ratio: dict[str, float | None]
    out: frozenset[str]


def low_stage(result: BringUpResult) -> StageResult | None:
    """The last stage at a low voltage with a piece in the coil, or without when there is none."""
    full = result.machine.supply.voltage
    low = [s for s in result.stages
           if s.setting is not None and s.setting.supply_voltage < 0.3 * full]  # fmt: skip
    return low[-1] if low else None


def signatures(result: BringUpResult) -> tuple[Signature, ...]:
    """Signature of every fault the machine can have, at the frequency that was set for it."""
    stage = low_stage(result)
    if stage is None or stage.setting is None:
        return ()
    from dataclasses import replace

    setting = replace(stage.setting, frequency=stage.frequency, margin=None)
    bounds = {e.name: e for e in stage.expected}
    base = fast_readings(result.machine, setting)
    out = []
    for fault in FAULTS:
        found = list(fault.machines(result.machine))
        if found:
            severity, changed = found[min(MIDDLE, len(found) - 1)]
            out.append(_signature(fault, severity, changed, base, bounds, setting))
    return tuple(out)


def _signature(
    fault: Fault, severity: float, changed: Machine, base: dict[str, float],
    bounds: dict[str, Expected], setting: object,
) -> Signature:  # fmt: skip
    from simkit.scout.bench import Setting

    assert isinstance(setting, Setting)
    there = fast_readings(changed, setting)
    ratio: dict[str, float | None] = {}
    leaves = set()
    for name in SHOWN:
        if name not in base:
            continue
        value = there.get(name)
        if value is None:
            ratio[name] = None
            continue
        ratio[name] = value - base[name] if name == "phase" else value / base[name]
        bound = bounds.get(name)
        if bound is not None:
            half = bound.high - bound.value
            if abs(value - base[name]) > half:
                leaves.add(name)
        elif name == "resonance" and abs(value / base[name] - 1.0) > 0.02:
            leaves.add(name)
    return Signature(fault, severity, ratio, frozenset(leaves))

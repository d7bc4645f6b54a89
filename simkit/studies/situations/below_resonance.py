"""The drive below resonance: capacitive mode, by a step or by drift."""

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import (
    Case,
    NotHere,
    Situation,
    draft,
    main_load,
    reachable,
    rounded,
)

BELOW = 0.97
"""Drive over resonance in capacitive mode [1]."""


def _below(machine: Machine, name: str, title: str, duration: float) -> Case:
    load = main_load(machine)
    target = BELOW * machine.resonance(machine.load(load).inductance)
    if reachable(machine, target) != target:
        raise NotHere("the oscillator does not reach below resonance (drive.frequency_min)")
    step = {"kind": "frequency", "frequency": rounded(target), "at": 0.0}
    events = [step | {"duration": duration}]
    return draft(machine, name, title=title, events=events, tail=4e-4)


def stepped(machine: Machine) -> Case:
    """Within a few cycles, as by a loop that lost its lock."""
    return _below(machine, "step-below", "Frequency steps below resonance", 5e-5)


def drifted(machine: Machine) -> Case:
    """Slowly, as by an oscillator that drifts with temperature."""
    return _below(machine, "drift-below", "Frequency drifts below resonance", 4e-3)


FAMILY = "below resonance"
BELOW_RESONANCE = (
    Situation(
        "step-below",
        FAMILY,
        "Step into capacitive mode",
        "Each turn-on forces a conducting body diode off: recovery spike, overshoot, added loss.",
        stepped,
    ),
    Situation(
        "drift-below",
        FAMILY,
        "Drift into capacitive mode",
        "The same end, reached through resonance, where current and tank voltage are largest.",
        drifted,
    ),
)

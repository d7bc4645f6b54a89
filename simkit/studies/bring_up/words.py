"""Sentences of a stage: what to have done before, what to set, when to stop."""

from simkit.parameters.machine import Machine
from simkit.report.text import typeset
from simkit.studies.bring_up.study import Expected, StageResult
from simkit.studies.bring_up.trial_words import at_load
from simkit.units import format_quantity


def _say(value: float, unit: str, digits: int = 3) -> str:
    return typeset(format_quantity(value, unit, digits))


def lead(stage: StageResult) -> str:
    """One line under the heading."""
    if stage.setting is None:
        return "Only the control board has supply. The bridge has none, and its link is empty."
    load = "coil empty" if stage.setting.load == "empty" else f"{stage.setting.load} in the coil"
    return f"{_say(stage.setting.supply_voltage, 'V')} at the bridge, {load}."


def before(number: int, stage: StageResult, machine: Machine) -> tuple[str, ...]:
    """What must be so before this stage begins."""
    if stage.setting is None:
        return (
            "Mains unplugged; a meter shows less than 1 V across the link.",
            "Insulation between mains side and control side looked at and measured.",
        )
    out = [f"Stage {number - 1} done, every reading inside its interval or explained."]
    if stage.setting.supply_voltage < 60.0:
        out.append("Bridge fed by a bench supply with a current limit, not from the mains.")
        out.append("Scope ground on the negative rail only; the bench supply floats.")
    else:
        out.append(
            "Fuse of the right size in; a current limit or lamp in series where you have one."
        )
        out.append(
            "The rails are on the mains: a differential probe, or the machine behind an isolating "
            "transformer; the scope stays earthed."
        )
    if not _shunt(machine) or stage.setting.load == "empty":
        out.append("Cooling water runs before the tank is driven.")
    return tuple(out)


def _shunt(machine: Machine) -> bool:
    return machine.tank.feed == "shunt"


def settings(stage: StageResult, machine: Machine) -> tuple[str, ...]:
    """What to set, in order."""
    if stage.setting is None or stage.frequency is None:
        low, high = machine.drive.frequency_min, machine.drive.frequency_max
        return (f"Oscillator to {_say(low, 'Hz', 4)}, then to {_say(high, 'Hz', 4)}.",)
    out = [f"Oscillator to {_say(machine.drive.frequency_max, 'Hz', 4)} before supply is given."]
    if stage.stage.current_limit is not None:
        out.append(f"Supply limit {_say(stage.stage.current_limit, 'A', 2)}.")
    out.append(f"Supply {_say(stage.setting.supply_voltage, 'V')} at the bridge's rails.")
    margin = stage.stage.margin or 0.0
    clear = ""
    if stage.trials is not None and stage.trials.course.hot is not None:
        clear = (
            f", {100.0 * (stage.frequency / stage.trials.course.hot - 1.0):.3g} % above the warm"
        )
        clear += " piece's"
    out.append(
        f"Come down in frequency to {100.0 * margin:.3g} % above the resonance you found with this "
        f"load cold; for the machine as described that is {_say(stage.frequency, 'Hz', 4)}{clear}. "
        "Never below resonance, and no lower as the piece warms."
    )
    if stage.stage.soak:
        out.append(
            f"Stay for {_say(stage.stage.soak / 60.0, '1', 2)} min; thermometer, no fingers."
        )
    return tuple(out)


def stop(stage: StageResult, machine: Machine) -> tuple[str, ...]:
    """When to switch off at once."""
    if stage.setting is None:
        dead = _say(0.5 * machine.drive.dead_time, "s", 2)
        return (
            f"The dead time between the gates is below {dead}, or there is none at some frequency.",
            "Any gate stands still, or both gates of a leg are high at once.",
            "The dead time changes with frequency by more than its interval.",
        )
    warm = at_load(stage, machine, stage.trials.course.hot_load if stage.trials else None)
    out = [f"{e.title} above {_say(bound(e, warm.get(e.name)), e.unit)}." for e in stage.expected
           if e.name in ("supply_current", "tank_voltage")]  # fmt: skip
    out.append(
        "The supply goes into its limit, or its current jumps while the frequency is turned."
    )
    least = [e.value for e in stage.expected if e.name == "phase"]
    least += [warm["phase"]] if "phase" in warm else []
    if least:
        out.append(
            f"The phase falls below {_say(0.5 * max(min(least), 0.0), 'deg', 2)}, or changes sign: "
            "current ahead of voltage means below resonance. Frequency up, then off."
        )
    ambient = machine.cooling.ambient
    hot = next((e for e in stage.expected if e.name == "heatsink"), None)
    if hot is not None:
        out.append(f"Heatsink above {_say(max(hot.high, ambient + 5.0), 'degC')}; any smell, hiss "
                   "or hot joint.")  # fmt: skip
    return tuple(out)


def bound(one: Expected, warm: float | None) -> float:
    """Where to stop, in the reading's unit: its interval doubled, around the larger of the cold
    piece's value and the warm one's."""
    share = 2.0 * one.high / one.value - 1.0 if one.value > 0.0 else 1.0
    return max(one.value, warm or 0.0) * share


def notes(stage: StageResult) -> tuple[str, ...]:
    """What else belongs to the stage."""
    out = []
    ringing = any(e.name.startswith("ring_down") for e in stage.expected)
    if ringing:
        out.append("Ring-down: bridge off and unplugged, secondary bridged by a strap (loop-fed) "
                   "or taken off (shunt-fed); tap the tank with a charged capacitor or a "
                   "generator's step and save the scope's trace.")  # fmt: skip
    if stage.setting is not None:
        expected: list[Expected] = [e for e in stage.expected if e.name == "phase"]
        if expected and expected[0].value > 60.0:
            out.append("The current lags far behind here: supply current is small and its reading "
                       "tells little; the phase and amplitudes tell more.")  # fmt: skip
    return tuple(out)

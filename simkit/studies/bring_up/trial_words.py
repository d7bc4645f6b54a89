"""Sentences on what a stage's rehearsals came to: what may not be done, where to retreat to."""

from dataclasses import replace

from simkit.figures.table import titles
from simkit.judge.words import WORDS
from simkit.parameters.machine import Machine
from simkit.report.text import typeset
from simkit.scout.bench import Setting, fast_readings
from simkit.studies.bring_up.charge import Stored, bleeder, discharge_tool, stored
from simkit.studies.bring_up.page_view import TrialRow
from simkit.studies.bring_up.study import BringUpResult, StageResult
from simkit.studies.bring_up.trials import COLD_SET, DROPPED, KEPT, LIFTED, WARMED, Trial, Trials
from simkit.units import format_quantity

WHAT = {
    KEPT: "Left running as set",
    WARMED: "Run as set, then the piece warmed through, frequency left",
    LIFTED: "Piece lifted out while running",
    DROPPED: "Piece dropped in while running",
    COLD_SET: "Set by the cold piece's resonance alone, then warmed through",
}
FORBIDDEN = {
    LIFTED: "Do not lift the piece at this setting",
    DROPPED: "Drop no piece in at this setting",
    COLD_SET: "Do not set the frequency by the cold piece alone",
}
SHOWN = ("supply_current", "phase", "tank_voltage")


def say(value: float, unit: str, digits: int = 3) -> str:
    """A value with its unit, ready to print."""
    return typeset(format_quantity(value, unit, digits))


def came_to(trial: Trial) -> str:
    """The limit that went, or the nearest one, in words."""
    if trial.verdict == "no_verdict" or trial.quantity is None or trial.ratio is None:
        return typeset(trial.reason)
    title = f"{trial.part}: {titles()[trial.quantity]}"
    if trial.within:
        return f"nearest limit {title}, {100.0 * trial.ratio:.0f} % of it"
    return f"{title}, {trial.ratio:.2g} times its limit"


def rows(trials: Trials) -> tuple[TrialRow, ...]:
    """Every rehearsal of a stage, at its setting and at the retreat."""
    return tuple(
        TrialRow(WHAT[t.kind], say(t.frequency, "Hz", 4), t.verdict, came_to(t))
        for t in (*trials.here, *trials.elsewhere)
    )


def forbidden(trials: Trials) -> tuple[str, ...]:
    """What may not be done at this setting, each with why."""
    return tuple(
        f"{FORBIDDEN[t.kind]}: at {say(t.frequency, 'Hz', 4)} {WORDS[t.verdict]} in rehearsal "
        f"({came_to(t)})."
        for t in trials.forbidden
    )


def retreat(trials: Trials) -> str:
    """Where to go before a piece is lifted or dropped in."""
    if not any(t.kind in FORBIDDEN for t in trials.here):
        return ""
    if trials.retreat is None:
        return ("No frequency of the drive was found at which a lift and a drop-in are within the "
                "limits checked: take the supply away and discharge before the piece is "
                "moved.")  # fmt: skip
    if trials.retreat == trials.frequency:
        return ("Lift and drop-in were within the limits checked at this setting; take the supply "
                "away first where you can.")  # fmt: skip
    return (f"Before the piece is moved: up to {say(trials.retreat, 'Hz', 4)}, where lift and "
            "drop-in were within the limits checked, or take the supply away.")  # fmt: skip


def wander(stage: StageResult, machine: Machine) -> tuple[str, ...]:
    """How the resonance moves at this stage, and what the instruments then show."""
    trials, setting = stage.trials, stage.setting
    if trials is None or setting is None or setting.load == "empty":
        return ()
    course = trials.course
    ends = [f"cold {say(course.cold, 'Hz', 4)}"]
    if course.hot is not None:
        ends.append(f"warmed through {say(course.hot, 'Hz', 4)}")
    ends.append(f"coil empty {say(course.empty, 'Hz', 4)}")
    out = [f"Resonance at this voltage: {', '.join(ends)}; the drive stays at "
           f"{say(trials.frequency, 'Hz', 4)}."]  # fmt: skip
    if course.hot is None:
        out.append("The file names no warm piece: its resistance was taken a third higher, its "
                   "inductance as it is.")  # fmt: skip
        return tuple(out)
    warm = at_load(stage, machine, course.hot_load)
    towards = (
        "climbs towards the drive" if course.hot > course.cold else "falls away from the drive"
    )
    shown = ", ".join(f"{_NAME[n]} {say(warm[n], u)}" for n, u in _UNITS if n in warm)
    out.append(f"As the piece warms its resonance {towards}; then expect {shown} (fast model).")
    return tuple(out)


_NAME = {"supply_current": "supply current", "phase": "phase", "tank_voltage": "tank peak"}
_UNITS = (("supply_current", "A"), ("phase", "deg"), ("tank_voltage", "V"))


def at_load(stage: StageResult, machine: Machine, load: str | None) -> dict[str, float]:
    """Readings of the fast model at a stage's frequency with another load in the coil."""
    if stage.setting is None or stage.trials is None or load is None:
        return {}
    there: Setting = replace(stage.setting, load=load, frequency=stage.trials.frequency,
                             margin=None)  # fmt: skip
    return fast_readings(machine, there, frozenset(SHOWN))


def why_no_step(number: int, result: BringUpResult) -> str:
    """Why stage `number`, from 1, is no step; empty when it is one."""
    if number <= result.steps:
        return ""
    stage = result.stages[number - 1]
    if stage.trials is None or stage.step:
        return f"The sheet ends at stage {result.steps + 1}, which is no step."
    failed = [t for t in stage.trials.here if t.kind in (KEPT, WARMED) and not t.within]
    said = "; ".join(f"{WHAT[t.kind].lower()}: {WORDS[t.verdict]} ({came_to(t)})" for t in failed)
    return f"Its rehearsal does not allow it. {said[0].upper()}{said[1:]}."


def after(stage: StageResult, machine: Machine) -> tuple[str, ...]:
    """What is charged after this stage, and after a fault at it; how it is emptied."""
    if stage.setting is None:
        return ()
    volts = stage.setting.supply_voltage
    peak = max((e.high for e in stage.expected if e.name == "tank_voltage"), default=None)
    link, *rest = stored(machine, volts, peak)
    return (f"Switched off here: {_link(link, machine)}",
            "After a fault here (trip, fuse, a leg or joint that failed), measure each: "
            + "; ".join(_kept(one) for one in (link, *rest)) + ".")  # fmt: skip


def _kept(one: Stored) -> str:
    return f"{one.part} {say(one.voltage, 'V')}, {say(one.energy, 'J', 2)}"


def _link(link: Stored, machine: Machine) -> str:
    held = f"the link holds {say(link.voltage, 'V')}, {say(link.energy, 'J', 2)}"
    if not link.matters:
        return f"{held}, below 60 V; empty it all the same before a wire is changed."
    own = bleeder(machine)
    by = (f"the file's own {say(own, 'ohm')} needs {say(link.time, 's', 2)} to 60 V"
          if own is not None and link.time is not None
          else "nothing in the file empties it")  # fmt: skip
    tool = discharge_tool(link.capacitance, link.voltage)
    return (f"{held}; {by}. Discharge: a wire-wound {say(tool.resistance, 'ohm')} that stands "
            f"{say(tool.voltage, 'V')} and takes {say(tool.energy, 'J', 2)} at "
            f"{say(tool.power, 'W', 2)} to begin with, on insulated leads, held for "
            f"{say(tool.time, 's', 2)}; then measure.")  # fmt: skip

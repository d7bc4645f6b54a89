"""Expected scope pictures at the person's own settings, from a stage's circuit run."""

from math import floor, log10

import numpy as np

from simkit.measure.waveforms import Array, Waves
from simkit.parameters.probes import Probes
from simkit.studies.bring_up.page_view import Screen, Trace
from simkit.studies.bring_up.study import StageResult
from simkit.units import format_quantity

ACROSS, HALF = 10, 4
"""Divisions of a screen across, and from its middle up [1]."""
FEWEST = 0.6
"""Divisions below which a trace cannot be read, and a finer setting is named [1]."""
POINTS = 700


def screens(stage: StageResult, probes: Probes | None) -> tuple[Screen, ...]:
    """Two pictures of a powered stage, one of the control board; none without `[probes]`."""
    if probes is None or stage.point is None:
        return ()
    waves = stage.point.stretch.waves
    start = stage.point.stretch.cycles[-2].start
    time = window(waves, start, probes.seconds_per_division)
    scale = probes.volts_per_division

    def trace(name: str, values: Array, own: float) -> Trace:
        return channel(name, np.interp(time, waves.time, values), own)

    lower = waves.switches[1].gate_source / probes.gate_divider
    gate = trace("gate of Q2", lower, scale.gate)
    shown = time - time[0]
    if stage.setting is None:
        upper = waves.switches[0].gate_source / probes.gate_divider
        pair = (trace("gate of Q1", upper, scale.gate), gate)
        return (Screen("Both gates of leg a", shown, probes.seconds_per_division, pair),)
    node = trace("bridge node a", waves.node("a") / probes.node_divider, scale.node)
    ampere = probes.current_transformer.volts_per_ampere
    current = trace("current transformer", waves.primary_current * ampere, scale.current)
    tank = trace("tank", waves.coil_voltage / probes.tank_divider, scale.tank)
    return (
        Screen("Gate and bridge node", shown, probes.seconds_per_division, (gate, node)),
        Screen("Bridge current and tank", shown, probes.seconds_per_division, (current, tank)),
    )


def window(waves: Waves, start: float, per_division: float) -> Array:
    """Times of one screen [s], as much of it as the run holds from a cycle's start on."""
    length = ACROSS * per_division
    first = max(min(start, float(waves.time[-1]) - length), float(waves.time[0]))
    return np.linspace(first, min(first + length, float(waves.time[-1])), POINTS)


def channel(name: str, volts: Array, own: float) -> Trace:
    """A trace at the person's setting, or at the nearest usual one at which it can be read."""
    peak = float(np.abs(volts).max())
    if FEWEST * own <= peak <= HALF * own:
        return Trace(name, volts, own)
    better = usual_setting(peak / (HALF - 0.5))
    why = "too large for" if peak > HALF * own else "too small to read at"
    return Trace(name, volts, better, f"{why} {format_quantity(own, 'V', 2)}/div: switch to this")


def usual_setting(volts: float) -> float:
    """The next setting of the series 1, 2, 5 from a value up [V]; common practice, no source."""
    if volts <= 0.0:
        return 1.0
    decade = 10.0 ** floor(log10(volts))
    step = next(s for s in (1.0, 2.0, 5.0, 10.0) if s * decade >= volts * (1.0 - 1e-9))
    return float(f"{step * decade:.3g}")

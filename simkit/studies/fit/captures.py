"""Scope captures as observations, and laid over the circuit's own trace of the same setting."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot, log10

import numpy as np

from simkit.errors import InputError, Problem
from simkit.measure.capture import NoReading, Wave, clipped, frequency_of, lag, rises, wave_of
from simkit.parameters.capture import Columns, read_columns
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.readings import Capture, Channel, Readings
from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.bench import Setting, fast_readings
from simkit.studies.fit.readings import own_deviation
from simkit.studies.fit.solve import Observation
from simkit.studies.inputs.uncertain_values import COVERAGE, Array
from simkit.studies.low_voltage.bench_point import bench_point

SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
UNITS = {"V": 1.0, "mV": 1e-3, "A": 1.0, "mA": 1e-3}
READ = {"tank": "tank_voltage", "current": "primary_current"}
FAR = 8.0
"""How many times off a reading points at a unit or a divider rather than at a part [1]."""
DRIFT = 0.03
"""Share by which the file's frequency may differ from what was said [1]."""
SHOWN = 300
"""Points of a drawn trace [1]."""


@dataclass(frozen=True)
class Seen:
    """One channel as it was read: values in SI at the machine, times in s, skew taken out."""

    channel: Channel
    time: Array
    values: Array
    wave: Wave


@dataclass(frozen=True)
class Captured:
    """One capture: its entry, setting, channels, and the time at which the node rises [s]."""

    number: int
    entry: Capture
    setting: Setting
    channels: tuple[Seen, ...]
    edge: float

    def of(self, shows: str) -> Seen | None:
        """The channel that shows something."""
        return next((s for s in self.channels if s.channel.shows == shows), None)


@dataclass(frozen=True)
class Overlay:
    """A channel over the circuit's trace.

    Fields: file; shows; unit; time from the node's rise [s]; read and simulated, offset taken out
    [unit]; rms of their difference over the simulated peak [1].
    """

    file: str
    shows: str
    unit: str
    time: Array
    read: Array
    simulated: Array
    difference: float


def captures_of(readings: Loaded[Readings], machine: Machine) -> tuple[Captured, ...]:
    """Every capture of a readings file, read and looked at.

    Errors: InputError for a file that cannot be read, a trace that is clipped or too short, and one
    whose unit cannot be what was said.
    """
    out = []
    for number, entry in enumerate(readings.model.captures):
        columns = read_columns(readings.file.parent / entry.file)
        try:
            found = _captured(number, entry, columns, machine)
        except NoReading as error:
            raise _wrong(readings, number, "file", entry.file, str(error)) from None
        problem = next(_misread(readings, found, machine), None)
        if problem is not None:
            raise problem
        out.append(found)
    return tuple(out)


def _captured(number: int, entry: Capture, columns: Columns, machine: Machine) -> Captured:
    if entry.load not in ("empty", *machine.workpieces):
        raise NoReading(f"the machine has no workpiece {entry.load}")
    missing = [c.column for c in entry.channels if c.column > len(columns.channels)]
    if missing:
        raise NoReading(f"has {len(columns.channels)} channels; column {missing[0]} is not there")
    time = columns.time * SECONDS[entry.time_unit]
    first = columns.channels[entry.channels[0].column - 1]
    frequency = frequency_of(time, first)
    channels = []
    for channel in entry.channels:
        values = columns.channels[channel.column - 1] * UNITS[channel.unit] * channel.factor
        if channel.shows != "node" and clipped(values):
            raise NoReading(f"column {channel.column} ({channel.shows}) is clipped: many samples "
                            "stand at the end of its range; more volts a division")  # fmt: skip
        late = time - channel.skew
        channels.append(Seen(channel, late, values, wave_of(late, values, frequency)))
    setting = Setting(entry.load, entry.supply_voltage, entry.frequency or frequency)
    edge = _aligning(channels)
    return Captured(number, entry, setting, tuple(channels),
                    float(rises(edge.time, edge.values)[0]))  # fmt: skip


def _aligning(channels: Sequence[Seen]) -> Seen:
    """The channel whose rise aligns a picture: the node, else the tank; a current's sign is not
    known, since its transformer may be turned round."""
    order = ("node", "tank", "current")
    return min(channels, key=lambda s: order.index(s.channel.shows))


def _misread(readings: Loaded[Readings], found: Captured, machine: Machine) -> Iterator[InputError]:
    """A unit that cannot be what was said: far off what the machine as described would show."""
    frequency, said = found.channels[0].wave.frequency, found.entry.frequency
    low, high = machine.drive.frequency_min, machine.drive.frequency_max
    off = frequency / said if said else frequency / min(max(frequency, low), high)
    if abs(off - 1.0) > DRIFT:
        rule = (f"the trace repeats at {frequency:.4g} Hz, {off:.3g} times what was set: is the "
                f"unit of time {found.entry.time_unit}?")  # fmt: skip
        yield _wrong(readings, found.number, "time_unit", found.entry.time_unit, rule)
    expected = fast_readings(machine, found.setting) | {"node": 0.5 * found.entry.supply_voltage}
    for seen in found.channels:
        shows = seen.channel.shows
        ratio = seen.wave.peak / expected[READ.get(shows, shows)]
        if not 1.0 / FAR < ratio < FAR:
            tens = f"{10.0 ** round(log10(ratio)):g}"
            rule = (f"column {seen.channel.column} ({shows}) reads {ratio:.2g} times what the "
                    f"machine as described shows: is the unit {seen.channel.unit}, and is a "
                    f"divider of {tens} left out or counted twice?")  # fmt: skip
            yield _wrong(readings, found.number, "channels", seen.channel.unit, rule)


def _wrong(
    readings: Loaded[Readings], number: int, key: str, value: str, rule: str
) -> InputError:  # fmt: skip
    where = f"captures.{number}.{key}"
    return InputError([Problem(str(readings.file), readings.line_of(where), where, value, rule)])


def read_off(captured: Sequence[Captured], machine: Machine) -> tuple[Observation, ...]:
    """Readings of captures, by the measures that the circuit's are taken by."""
    return tuple(one for c in captured for one in _read_off(c, machine))


def _read_off(found: Captured, machine: Machine) -> Iterator[Observation]:
    def observed(name: str, value: float, wide: float) -> Observation:
        own = own_deviation(name, value, machine, found.setting)
        key = f"captures.{found.number}.{name}"
        return Observation(key, name, value, hypot(wide / COVERAGE, own), found.setting)

    share = found.entry.amplitude_uncertainty
    for shows, name in READ.items():
        seen = found.of(shows)
        if seen is not None:
            yield observed(name, seen.wave.peak, share * seen.wave.peak)
    node, current = found.of("node"), found.of("current")
    if node is not None and current is not None:
        # A current transformer turned round shows the current half a turn off.
        degrees = (lag(node.wave, current.wave) + 90.0) % 180.0 - 90.0
        yield observed("phase", degrees, found.entry.phase_uncertainty)


def overlays(
    captured: Sequence[Captured], machine: Machine, rehearser: Rehearser
) -> tuple[Overlay, ...]:
    """Every channel over the circuit's trace at its setting, aligned by the node's rise.

    Errors: EngineError when a circuit run gives no whole answer.
    """
    return tuple(one for c in captured for one in _overlaid(c, machine, rehearser))


def _overlaid(found: Captured, machine: Machine, rehearser: Rehearser) -> Iterator[Overlay]:
    point = bench_point(rehearser, machine, found.setting)
    waves, cycle = point.stretch.waves, point.stretch.cycles[-2]
    traces = {"node": waves.node("a"), "current": waves.primary_current,
              "tank": waves.coil_voltage}  # fmt: skip
    late = waves.time >= cycle.start
    align = _aligning(found.channels).channel.shows
    edge = float(rises(waves.time[late], traces[align][late])[0])
    time = np.linspace(0.0, 1.0 / found.setting.drive(machine), SHOWN, endpoint=False)
    for seen in found.channels:
        shows = seen.channel.shows
        read = np.interp(found.edge + time, seen.time, seen.values)
        # The circuit's cycle goes on where the run ends: it is periodic.
        there = cycle.start + np.mod(edge + time - cycle.start, cycle.length)
        simulated = np.interp(there, waves.time, traces[shows])
        read, simulated = read - read.mean(), simulated - simulated.mean()
        if shows == "current" and float(read @ simulated) < 0.0:
            read = -read
        rms = float(np.sqrt(np.mean((read - simulated) ** 2)))
        yield Overlay(found.entry.file, shows, "A" if shows == "current" else "V", time, read,
                      simulated, rms / float(np.abs(simulated).max()))  # fmt: skip

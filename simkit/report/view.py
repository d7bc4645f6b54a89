"""What a report page is made from: arrays and texts, gathered elsewhere, only formatted here."""

from collections.abc import Mapping
from dataclasses import dataclass

from simkit.measure.commutation import Transition
from simkit.measure.point import OperatingPoint
from simkit.measure.recovery import Recovery
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine


@dataclass(frozen=True)
class LimitRow:
    """One quantity against its limit; value, error and limit in `unit`."""

    part: str
    quantity: str
    title: str
    unit: str
    value: float | None
    error: float | None
    limit: float
    ratio: float | None
    """Value over limit [1]."""
    time: float | None
    """When the value came [s]."""
    first_over: float | None
    """When the limit was first exceeded [s]."""
    status: str
    """ok, near, over or not_evaluated."""
    source: str
    why: str
    how: str
    scope: str
    change: str
    interval: tuple[float, float] | None = None
    """95 % of what the fit of the machine's values left open; None without a fit."""
    chance: float | None = None
    """Of being over the limit, by that and the numerical error [1]."""
    error_parts: Mapping[str, float] | None = None
    error_below: float | None = None
    """Downward, where it is larger."""
    """The error by its causes; None where it is not made of several."""
    tolerance: tuple[float, float] | None = None
    """95 % of what the machine's tolerances make of it; None where nothing tells."""
    over: tuple[float, float] | None = None
    """From when to when a mean or an rms was taken [s]; None for peaks."""

    @property
    def name(self) -> str:
        """Part and quantity in words."""
        return f"{self.part}: {self.title}"


@dataclass(frozen=True)
class Within:
    """What the machine's tolerances make of the verdict."""

    share_over: float | None
    """Of machines drawn, those over a limit [1]; None where nothing tells."""
    share_unknown: float
    """Of machines drawn, those of which the fast model cannot tell [1]."""
    turns: bool
    """Whether some come to another verdict."""
    drivers: tuple[tuple[str, float], ...]
    """Keys and their shares of the worst figure's spread [1]."""
    note: str
    """Why there is none."""


@dataclass(frozen=True)
class Span:
    """A named stretch of time [s]."""

    start: float
    end: float
    name: str


@dataclass(frozen=True)
class Level:
    """A line to hold a curve against, in the curve's unit."""

    value: float
    text: str


@dataclass(frozen=True)
class Curve:
    """One line of a figure."""

    name: str
    times: Array
    """[s]"""
    values: Array
    sampled: bool = False
    """Known at its points only, straight lines between them."""
    guide: tuple[Array, Array] | None = None
    """Times [s] and values of the fast model between the points: a thin line instead."""


@dataclass(frozen=True)
class Course:
    """Curves over the whole event that share an axis."""

    title: str
    unit: str
    curves: tuple[Curve, ...]
    levels: tuple[Level, ...] = ()
    finding: str = ""


@dataclass(frozen=True)
class SwitchCurves:
    """One switch around a transition."""

    name: str
    drain_source: Array
    """[V]"""
    gate_source: Array
    """[V]"""
    channel_current: Array
    """[A]"""
    diode_current: Array
    """Forward positive [A]."""


@dataclass(frozen=True)
class CloseUp:
    """One transition of one leg, with the physics to annotate."""

    title: str
    finding: str
    time: Array
    """[s]"""
    outgoing: SwitchCurves
    incoming: SwitchCurves
    bridge_current: Array
    """Primary current, positive where it swings the node by itself [A]."""
    transition: Transition
    recovery: Recovery | None
    recovery_end: float | None
    """Where the counted reverse charge ends [s]."""
    dead_time: float
    """[s]"""
    threshold: float
    """[V]"""
    link: float
    """[V]"""
    drain_limit: float
    """[V]"""

    @property
    def off(self) -> float:
        """Off command of the outgoing switch [s]."""
        return self.transition.time - 0.5 * self.dead_time

    @property
    def on(self) -> float:
        """On command of the incoming switch [s]."""
        return self.transition.time + 0.5 * self.dead_time


@dataclass(frozen=True)
class Panel:
    """One strip of the waveform viewer."""

    title: str
    unit: str
    levels: tuple[Level, ...] = ()


@dataclass(frozen=True)
class Trace:
    """One waveform of the viewer."""

    title: str
    panel: int
    """Number of its panel."""
    values: Array
    """In the panel's unit."""


@dataclass(frozen=True)
class Record:
    """A stretch of waveforms at full rate; the traces are the same in every record."""

    title: str
    time: Array
    """[s]"""
    traces: tuple[Trace, ...]


@dataclass(frozen=True)
class Fact:
    """A named value in words."""

    name: str
    value: str
    note: str = ""


@dataclass(frozen=True)
class Parameter:
    """One value of the machine file."""

    section: str
    key: str
    meaning: str
    value: str
    source: str
    tolerance: str
    note: str
    line: int | None


@dataclass(frozen=True)
class Fitted:
    """A value of the machine that a fit to readings found; texts with units."""

    key: str
    value: str
    low: str
    high: str
    """Ends of its 95 % interval."""
    note: str
    """What stood there before, and the readings it was fitted to."""


@dataclass(frozen=True)
class Energy:
    """Where the energy went over the measured part [J]."""

    supplied: float
    stored: float
    work: float
    """Taken out of the field by the moving piece."""
    lost: tuple[tuple[str, float], ...]
    residual: float
    """What does not add up, as a share [1]."""


@dataclass(frozen=True)
class Temperature:
    """A junction against its limit [degC]."""

    part: str
    title: str
    celsius: float | None
    limit: float


@dataclass(frozen=True)
class OperatingMap:
    """Settled operation over drive frequency, from the fast model."""

    frequency: tuple[float, ...]
    """Rising [Hz]."""
    curves: Mapping[str, tuple[float, ...]]
    """By key of `bench_maps.PANELS`, in the panel's unit; nan where the model has no solution."""
    modes: tuple[str, ...]
    """Of the bridge at each frequency."""
    resonance: float
    """[Hz]"""
    band: tuple[float, float]
    """The working band [Hz]."""
    supply_voltage: float
    """Of the source, without load [V]."""


@dataclass(frozen=True)
class Stay:
    """Temperatures while the last state goes on.

    Fields: time since the end of the run [s]; curves by name [degC]; limit [degC]; left, until a
    junction is there, inf for never [s]; hold, the machine's hold time [s]; parts: name, where it
    settles [degC], its limit [degC] and the time until it is there [s], the soonest first.
    """

    time: tuple[float, ...]
    curves: tuple[tuple[str, tuple[float, ...]], ...]
    limit: float
    left: float
    hold: float
    parts: tuple[tuple[str, float, float | None, float | None], ...] = ()


@dataclass(frozen=True)
class AdviceRow:
    """A change that was rehearsed; shares of limits [1]."""

    said: str
    outcome: str
    worst: float | None
    worst_name: str
    shares: tuple[tuple[str, float | None, float | None], ...]
    """Name, before and after, of what was over or became worse."""
    power: str
    worse: tuple[str, ...]
    command: str
    """How to run it."""


@dataclass(frozen=True)
class ReportView:
    """Everything a page shows."""

    scenario: str
    title: str
    description: str
    machine: Machine
    outcome: str
    """within_limits, over_limit or no_verdict."""
    word: str
    reason: str
    limits: tuple[LimitRow, ...]
    stop: float
    """End of the run [s]."""
    events: tuple[Span, ...]
    modes: tuple[Span, ...]
    courses: tuple[Course, ...]
    worst: CloseUp | None
    healthy: CloseUp | None
    panels: tuple[Panel, ...]
    whole: Record
    windows: tuple[Record, ...]
    """Stretches kept at full rate that do not overlap, the most important first."""
    views: tuple[Span, ...]
    """Moments to jump to; the first is the whole event."""
    sampled: tuple[Span, ...]
    """Where the circuit ran, when it did not run through the whole event."""
    energy: Energy
    temperatures: tuple[Temperature, ...]
    before: OperatingPoint
    after: OperatingPoint
    commutation: tuple[Fact, ...]
    recovery: tuple[Fact, ...]
    numerics: tuple[Fact, ...]
    parameters: tuple[Parameter, ...]
    assumptions: tuple[str, ...]
    not_modelled: tuple[str, ...]
    warnings: tuple[str, ...]
    overridden: tuple[Fact, ...]
    provenance: tuple[Fact, ...]
    command: str
    """How to run it again."""
    netlist: str
    operating: OperatingMap | None = None
    """Where the drive is tuned: the fast model's map of it."""
    fitted: tuple[Fitted, ...] = ()
    stay: Stay | None = None
    """The last state going on, from a millisecond to more than a day."""
    slow: tuple[Fact, ...] = ()
    """What goes on for minutes, marched and not run."""
    heating: str = ""
    """How long the charge takes to its temperature; empty where nobody asked."""
    unrated: tuple[Fact, ...] = ()
    """Figures of parts without a rating; the note is the key that would give it."""
    advice: tuple[AdviceRow, ...] = ()
    """What was tried, the one to take first."""
    advice_note: str = ""
    """The advice in a sentence; empty where nobody asked for it."""
    fit_method: str = ""
    """How intervals of judged figures follow from those of the fitted values."""
    within: Within | None = None
    """None where nobody asked."""

"""What the bring-up sheet and the fit's page are made of: plain data, handed over whole."""

from dataclasses import dataclass, field

from simkit.measure.waveforms import Array


@dataclass(frozen=True)
class Trace:
    """One channel of a screen: name, volts at the scope's input, and its setting."""

    name: str
    volts: Array
    per_division: float
    """[V]"""
    note: str = ""
    """Where the setting differs from the person's own, and what is shown."""


@dataclass(frozen=True)
class Screen:
    """An expected scope picture."""

    title: str
    time: Array
    """From the left edge [s]."""
    seconds_per_division: float
    traces: tuple[Trace, ...]


@dataclass(frozen=True)
class Row:
    """One reading to expect; texts with units, ready to print."""

    title: str
    expected: str
    low: str
    high: str
    method: str


@dataclass(frozen=True)
class TrialRow:
    """A rehearsal at a stage's setting: what happens, its verdict as a key, and what came of it."""

    what: str
    frequency: str
    verdict: str
    found: str


@dataclass(frozen=True)
class StageView:
    """One stage on paper."""

    number: int
    title: str
    lead: str
    before: tuple[str, ...]
    settings: tuple[str, ...]
    rows: tuple[Row, ...]
    stop: tuple[str, ...]
    notes: tuple[str, ...]
    screens: tuple[Screen, ...]
    trials: tuple[TrialRow, ...] = ()
    forbidden: tuple[str, ...] = ()
    retreat: str = ""
    wander: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    why_no_step: str = ""
    """Why it is no step of the sheet; empty when it is one."""


@dataclass(frozen=True)
class Charge:
    """A part that keeps charge: texts with units."""

    part: str
    capacitance: str
    voltage: str
    charge: str
    energy: str
    time: str


@dataclass(frozen=True)
class Sign:
    """A fault and what it does to each reading of the low-voltage stage."""

    title: str
    look: str
    cells: tuple[tuple[str, bool], ...]
    """Text of each reading, and whether it leaves its interval."""


@dataclass(frozen=True)
class SheetView:
    """The whole sheet."""

    title: str
    machine: str
    digest: str
    first: str
    stages: tuple[StageView, ...]
    charges: tuple[Charge, ...]
    charge_note: str
    sign_columns: tuple[str, ...]
    signs: tuple[Sign, ...]
    sign_note: str
    general: tuple[tuple[str, str], ...]
    not_told: tuple[str, ...]
    assumed: tuple[str, ...]
    version: str
    notes: tuple[str, ...] = field(default=())
    """What the machine file left open."""

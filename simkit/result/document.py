"""The result of a run, key by key as `result.json` has them; SI units throughout.

One type for every run: of one that came to no answer the figures are None. The words behind each
field are the description that `simkit schema result` and docs/result.md give.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any, Literal, cast

from simkit.judge.verdict import Judged, Opinion, Outcome, Status
from simkit.measure.commutation import Mode
from simkit.measure.energy import EnergyBalance
from simkit.measure.point import OperatingPoint
from simkit.result.advice import Advice
from simkit.result.mains import Mains
from simkit.result.plain import finite, plain
from simkit.result.tolerance import Tolerance
from simkit.result.trips import TripFound

SCHEMA = "simkit.result/1"


@dataclass(frozen=True)
class RunFile:
    """A file that was run."""

    name: str
    file: str
    digest: str
    """Of all its values."""


@dataclass(frozen=True)
class FirstOver:
    """The limit that went first."""

    part: str
    quantity: str
    time_s: float | None
    ratio: float | None
    time_error_s: float | None = None
    """How far `time_s` may be off: of a sampled event the gap between its samples; null where that
    is not known."""


@dataclass(frozen=True)
class EventSpan:
    """An event of the run."""

    name: str
    start_s: float
    end_s: float | None
    cut_s: float | None
    """Where the run ended in its midst, null where it saw it through."""


@dataclass(frozen=True)
class ModeSpan:
    """A span of one mode."""

    from_s: float
    to_s: float
    mode: Mode


@dataclass(frozen=True)
class LimitRow:
    """A figure beside its limit; value, error and limit in `unit`."""

    part: str
    quantity: str
    unit: str
    value: float | None
    error: float | None
    """Estimated numerical error."""
    limit: float
    ratio: float | None
    """Value over limit."""
    time_s: float | None
    """When the value came."""
    first_over_s: float | None
    """When the limit was first exceeded."""
    status: Status
    source: str
    """Where the limit comes from."""
    note: str = ""
    """Why there is no verdict on a figure that was computed."""
    second_opinion: Opinion | None = None
    """Another engine's value, and its difference to ours."""
    error_parts: Mapping[str, float] | None = None
    """The error by its causes."""
    over_s: tuple[float, float] | None = None
    """From and to when a mean or an rms was taken; null for peaks, which miss no sample."""
    error_below: float | None = None
    """The error downward where it is larger: the rehearsal's link stands at its crest without load,
    so that a machine at work has less; null where both are alike."""
    first_over_error_s: float | None = None
    """How far `first_over_s` may be off; null where that is not known."""
    tolerance: tuple[float, float] | None = None
    """95 % interval from the file's tolerances."""
    interval: tuple[float, float] | None = None
    """95 % interval from the fit's own uncertainty."""
    probability_over: float | None = None
    """Chance that it is above its limit, by the fit's uncertainty."""

    @classmethod
    def of(cls, row: Judged) -> "LimitRow":
        """A judged row as it is written."""
        known = {f.name for f in fields(cls)}
        return cls(**{f.name: getattr(row, f.name) for f in fields(row) if f.name in known})


@dataclass(frozen=True)
class BeforeAfter:
    """The settled machine before the first event and after the last."""

    before: OperatingPoint | None = None
    after: OperatingPoint | None = None


@dataclass(frozen=True)
class Commutation:
    """The bridge's transitions."""

    dead_time_s: float
    """Commanded."""
    needed_s: float | None
    """What the node needed at most, settled."""
    available_s: float | None
    """What it had at least, settled."""
    zero_voltage: bool
    hard_transitions: int
    transitions: int
    first_hard_s: float | None
    shoot_through_c: float | None
    """Largest charge through both switches of a leg."""
    reversed_turn_ons: int | None = None
    """How often in the whole event the current had reversed when the opposite pair turned on."""
    reversed_error: int | None = None
    change_overs: int | None = None
    """Of so many change-overs of the drive."""


@dataclass(frozen=True)
class RecoveryFound:
    """The worst forced recovery of a body diode."""

    count: int
    peak_current_a: float
    charge_c: float
    di_dt_a_per_s: float
    dv_dt_v_per_s: float
    overshoot_v: float
    switch: str | None = None
    time_s: float | None = None
    forward_current_a: float | None = None


@dataclass(frozen=True)
class Loss:
    """Mean loss of a part."""

    part: str
    watts: float
    watts_at_end: float | None = None


@dataclass(frozen=True)
class TransformerFigures:
    """The matching transformer."""

    flux_peak_t: float | None
    flux_drift_t: float | None
    magnetising_current_peak_a: float | None
    core_saturates_in_circuit: bool


@dataclass(frozen=True)
class Temperature:
    """A temperature beside its limit."""

    part: str
    quantity: str
    celsius: float
    limit: float


@dataclass(frozen=True)
class ElectroThermal:
    """Junction and on-resistance brought into agreement with the switch's own loss."""

    switch_at_c: float
    settled_junction_c: float
    rounds: int
    balanced: bool
    junction_at_start_c: float | None


@dataclass(frozen=True)
class SlowFigure:
    """A figure of what goes on for minutes, in `unit`."""

    name: str
    value: float | None
    unit: str
    note: str


@dataclass(frozen=True)
class Numerics:
    """How the figures came about, and how far they can be trusted."""

    total_seconds: float
    refinement_error: float | None = None
    """Largest error of a judged figure, as a share of it or of its limit."""
    refinement_cause: str | None = None
    """What most of that error comes from."""
    energy_residual: float | None = None
    steps: int | None = None
    cycles: int | None = None
    engine_seconds: float | None = None
    method: str | None = None
    whole: bool | None = None
    """Whether the circuit ran through the whole event."""
    whole_because: str | None = None
    carried_on_s: float | None = None
    seed_residue: float | None = None
    periodicity_residue: float | None = None
    retries: tuple[str, ...] = ()
    engine_log: tuple[str, ...] = ()
    """Last lines of an engine that gave no answer."""


@dataclass(frozen=True)
class SecondOpinion:
    """What another engine was asked; its figures stand beside ours in the limits."""

    engine: str | None
    runs: int
    largest_difference: float | None
    missed: tuple[str, ...]


@dataclass(frozen=True)
class FitUncertainty:
    """How the intervals of a fitted machine came about."""

    method: str
    rehearsals: int


@dataclass(frozen=True)
class Unrated:
    """A figure of a part that has no rating; value and error in `unit`, null where the machine
    file gives too little to work it out."""

    part: str
    quantity: str
    unit: str
    value: float | None
    error: float | None
    needs: str
    """Key of the machine file that would judge it."""


@dataclass(frozen=True)
class GoingOn:
    """A part while the last state goes on."""

    part: str
    settles_at_degc: float
    limit_degc: float | None
    time_to_limit_s: float | None
    """Until it is there; null for never, or where nobody gave a limit."""


@dataclass(frozen=True)
class Provenance:
    """What made it."""

    simkit: str
    python: str
    platform: str
    engine: str | None = None
    second_engine: str | None = None
    deck_digest: str | None = None


@dataclass(frozen=True, kw_only=True)
class Result:
    """One run."""

    schema: Literal["simkit.result/1"] = "simkit.result/1"
    """`simkit.result/1`"""
    scenario: RunFile
    """name, file and digest of what happened"""
    machine: RunFile
    """name, file and digest of what it happened to"""
    verdict: Outcome
    """`within_limits`, `over_limit` or `no_verdict`"""
    reason: str
    """one sentence"""
    first_over_limit: FirstOver | None
    """part, quantity, time and ratio of the limit that went first, or `null`"""
    events: tuple[EventSpan, ...] = ()
    """name, start and end of each event; `cut_s`, where the run ended in its midst"""
    tripped: tuple[TripFound, ...] = ()
    """what the drive's protection did: by what, when, at which level"""
    mode: tuple[ModeSpan, ...] = ()
    """spans of inductive, resonant and capacitive operation"""
    limits: tuple[LimitRow, ...]
    """one row a limit: part, quantity, unit, value, its numerical error, that error by \
its causes (`error_parts`: steps, start, between_samples, link, periodicity, load; \
`error_below`: downward, where it is larger), limit, \
ratio, \
time, status, source"""
    unrated: tuple[Unrated, ...] | None = None
    """figures of parts that have no rating in the file: no verdict is said of them"""
    operating_point: BeforeAfter = field(default_factory=BeforeAfter)
    """the settled machine before and after the event: frequencies, phase, currents, powers"""
    mains: Mains | None = None
    """with a rectifier: the mains current before and after, power factor, ripple of the link"""
    commutation: Commutation | None = None
    """dead time, what the node needed, what was available, whether at zero voltage"""
    recovery: RecoveryFound | None = None
    """worst forced recovery: peak current, charge, di/dt, overshoot"""
    losses: tuple[Loss, ...] = ()
    """watts, part by part"""
    transformer: TransformerFigures | None = None
    """flux of the matching transformer"""
    temperatures: tuple[Temperature, ...] = ()
    """part, degrees Celsius, limit"""
    electro_thermal: ElectroThermal | None = None
    """junction and on-resistance brought into agreement with the switch's own loss"""
    time_to_junction_limit_s: float | None = None
    """how long the last state may go on until a junction is at its limit"""
    if_it_went_on: tuple[GoingOn, ...] = ()
    """what warms while the last state goes on, soonest at its limit first"""
    energy: EnergyBalance | None = None
    """energy balance of the run"""
    aftermath: tuple[SlowFigure, ...] = ()
    """what goes on slowly after the event"""
    tolerance: Tolerance | None = None
    """what the file's tolerances make of the verdict: share of machines over a limit, the figure, \
what moves it; `null` with `--no-tolerance`, and from Python"""
    advice: tuple[Advice, ...] | None = None
    """changes of values that were rehearsed by circuit and what they came to, the one to take \
first; `null` where nothing was tried"""
    advice_note: str | None = None
    """the advice in a sentence: the first, or that nothing tried helps, or why nothing was tried"""
    parameter_uncertainty: FitUncertainty | None = None
    """of a fitted machine: how the limits' intervals came about"""
    numerics: Numerics
    """largest error and its leading cause (`refinement_cause`), why the circuit ran whole \
(`whole_because`), by how much the run was carried on because a figure still rose \
(`carried_on_s`), residual of the energy balance, steps, cycles, seconds, method"""
    overridden: Mapping[str, str]
    """values set by `--set`"""
    warnings: tuple[str, ...]
    """values outside what is usual"""
    not_modelled: tuple[str, ...]
    """what this run leaves out"""
    cautions: tuple[str, ...]
    """what no simulation takes from you: the same block in every verb's document; notes on a \
model stand under `notes`"""
    second_opinion: SecondOpinion | None = None
    """with `--second-opinion`: the other engine, its version and what it missed; \
otherwise `null`"""
    cache: Mapping[str, str] | None = None
    """whether the answer was kept from an earlier run"""
    provenance: Provenance
    """versions, platform, digest of the deck"""

    def finite(self) -> "Result":
        """The same with None for every figure that is no finite number."""
        return cast("Result", finite(self))

    def as_json(self) -> dict[str, Any]:
        """The document: every key, None for what could not be had."""
        found: dict[str, Any] = plain(asdict(self))
        return found

"""The mains in the result of a run."""

from dataclasses import dataclass


@dataclass(frozen=True)
class MainsState:
    """What the mains gives to a rectifier in one state."""

    current_rms_a: float
    """In a conductor of the line."""
    current_peak_a: float
    power_w: float
    """Into the link."""
    power_factor: float
    link_mean_v: float
    link_highest_v: float
    link_lowest_v: float
    link_ripple_v: float
    """Peak to peak."""
    settled: bool


@dataclass(frozen=True)
class Mains:
    """The mains before the first event and after the last; null where nothing is drawn."""

    before: MainsState | None
    after: MainsState | None

"""What the drive's protection did, as `result.json` has it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class TripFound:
    """The drive took its gates off by itself."""

    by: str
    """What told it to."""
    crossed_s: float
    """When that passed its level."""
    off_s: float
    """When the gates went off."""
    level: float
    """In `unit`."""
    unit: str
    again_s: float | None
    """When they come on again, null where the trip latches."""

"""How a rehearsal is run."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Settings:
    """How a rehearsal is run."""

    whole: bool = False
    """Run the circuit through the whole event instead of sampling it."""
    jobs: int = 1
    """Circuit runs at a time; changes no figure."""
    onsets: bool = True
    """Sampled events are looked at more closely where the first limits went."""
    every_figure: bool = True
    """A figure that samples cannot judge has a short event run whole even where another figure is
    over its limit anyway; many cases, of which the verdict is asked, do without."""
    refine: bool = True
    """Internal switch for tests: without the finer runs no error is known, so no verdict."""

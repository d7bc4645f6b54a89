"""The page of a run that came to no end: what happened, what to try, what was left alone."""

from dataclasses import dataclass

from simkit.report.html import rendered
from simkit.report.view import Fact


@dataclass(frozen=True)
class OpenLimit:
    """A limit nothing was held against; the limit is in `unit`."""

    title: str
    limit: float
    unit: str
    source: str


@dataclass(frozen=True)
class FailureView:
    """Everything the page of a failed run shows."""

    title: str
    machine: str
    reason: str
    older: str | None
    """Address of an older report beside this page, relative to it."""
    steps: tuple[str, ...]
    """What to do, in order."""
    limits: tuple[OpenLimit, ...]
    log: tuple[str, ...]
    provenance: tuple[Fact, ...]
    command: str


def failure_page(view: FailureView) -> str:
    """The page as HTML text: one file, no request to anywhere."""
    return rendered("failure.html.j2", None, view=view)

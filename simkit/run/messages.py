"""What the engine says, and what it means.

Engines of several versions print harmless notes on the error stream; only some lines are
failures. Lines are kept as they came; this module says which of them count.
"""

from typing import Literal

Kind = Literal["failure", "warning", "note"]

FAILURES = (
    "error",
    "fatal",
    "timestep too small",
    "aborted",
    "singular matrix",
    "unknown subckt",
    "could not find a valid modelname",
    "unable to find definition of model",
    "no such vector",
    "there aren't any circuits",
)
"""Parts of lines (lower case) that mean the run is lost, whatever stream they came on."""
HARMLESS = (
    "can't find the initialization file",
    "can't find init file",
    "starting dynamic gmin stepping",
    "starting true gmin stepping",
    "starting source stepping",
    "gmin stepping completed",
    "source stepping completed",
    "using sparse",
    "using klu",
    "no compatibility mode selected",
    "doanalyses: tran: ",
    "trying gmin",
    "error tolerance",
)
"""Parts of lines that sound like trouble and are none; looked up first."""


def classify(line: str) -> Kind:
    """Kind of one line of the engine's output (with or without its stream name in front)."""
    text = line.lower().removeprefix("stderr ").removeprefix("stdout ").strip()
    # Both arrive around words that are harmless elsewhere, such as "doAnalyses: TRAN:".
    if text.startswith(("error:", "error on")) or "too small" in text or "aborted" in text:
        return "failure"
    if any(part in text for part in HARMLESS):
        return "note"
    if any(part in text for part in FAILURES):
        return "failure"
    return "warning" if text.startswith("warning") else "note"


def first_failure(lines: tuple[str, ...]) -> str | None:
    """The engine's first line that means failure, without its stream name."""
    for line in lines:
        if classify(line) == "failure":
            return line.removeprefix("stderr ").removeprefix("stdout ").strip()
    return None

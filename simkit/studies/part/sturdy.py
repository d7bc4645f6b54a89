"""Virtual tests of a model file: retried where the engine stops, told where it gives up.

A sheet's test is run at tight options first. A file with jumps in it makes the engine's steps
collapse there; looser ones then still give a figure, and what they cost is told.
"""

import re
from collections.abc import Callable

from simkit.circuit.netlist import Deck
from simkit.errors import EngineError, EngineTimeout
from simkit.run.backend import Budget, EngineRun

BUDGET = Budget(wall=20.0, cpu=20.0)
"""Of one virtual test of a model file: a hundred times what our own switch takes."""

RUNGS: tuple[tuple[str, Callable[[str], str]], ...] = (
    ("as for our own switch", lambda options: options),
    ("reltol 1e-4, abstol 1e-6", lambda options: _with(options, reltol="1e-4", abstol="1e-6",
                                                       vntol="1e-4", chgtol="1e-12")),
    ("abstol 1e-5, trtol 3", lambda options: _with(options, reltol="1e-4", abstol="1e-5",
                                                   vntol="1e-4", chgtol="1e-12", trtol="3")),
    ("gear, reltol 5e-4", lambda options: _with(options, method="gear", reltol="5e-4",
                                                abstol="1e-5", vntol="1e-4", chgtol="1e-12",
                                                trtol="1")),
)  # fmt: skip
"""What is tried, in order; the engine's options of the deck into others."""


def _with(options: str, **values: str) -> str:
    for name, value in values.items():
        options = re.sub(rf"\b{name}=\S+", f"{name}={value}", options)
    return options


def _optioned(text: str, change: Callable[[str], str]) -> str:
    """A deck's text with its line of options changed."""
    line = re.search(r"^\.options .*$", text, re.MULTILINE)
    return text.replace(line[0], change(line[0]), 1) if line else text


def test_of(deck: Deck) -> str:
    """What a bench deck calls its test, from its first line."""
    found = re.match(r"\* virtual test circuit: ([\w -]+)", deck.text)
    return found[1].strip() if found else "a test"


class SturdyRunner:
    """Runs decks of a model file down the rungs.

    Fields
    ------
    loosened : test and rung, where the first did not do
    """

    def __init__(self, run: Callable[[Deck], EngineRun]) -> None:
        self._run = run
        self.loosened: dict[str, str] = {}

    def __call__(self, deck: Deck) -> EngineRun:
        """The first rung's run that reaches its end. Errors: EngineError of the last."""
        last: EngineError | None = None
        for number, (name, change) in enumerate(RUNGS):
            text = _optioned(deck.text, change)
            try:
                found = self._run(Deck(text=text, saved=deck.saved, stop=deck.stop))
            except EngineError as error:
                if not error.retry and not isinstance(error, EngineTimeout):
                    raise
                last = error
                continue
            if number:
                self.loosened[test_of(deck)] = name
            return found
        assert last is not None
        raise last

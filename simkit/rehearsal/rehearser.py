"""Where rehearsals run: an engine, what one run may use, and how many run at a time.

Every study that rehearses (compare, map, protect, bring-up, fit) takes a rehearser, so that
engine, limits and parallel runs are chosen once, by whoever calls.
"""

from dataclasses import dataclass, field

from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.job import DoorRunner
from simkit.rehearsal.rehearse import rehearse
from simkit.rehearsal.settings import Settings
from simkit.run.backend import Budget, Engine, Progress
from simkit.run.process import NgspiceEngine


@dataclass(frozen=True)
class Rehearser:
    """An engine and how it is used."""

    engine: Engine = field(default_factory=NgspiceEngine)
    budget: Budget = field(default_factory=Budget)
    """What one engine run may use."""
    settings: Settings = field(default_factory=Settings)
    second: Engine | None = None
    """Another engine that the stretches that decide are repeated on."""

    def rehearse(
        self, machine: Machine, scenario: Scenario, progress: Progress | None = None
    ) -> Rehearsal:
        """Run, measure and judge one scenario.

        Errors: EngineError when the engine gives no whole answer.
        """
        second = self.second
        return rehearse(
            machine,
            scenario,
            self._door(self.engine),
            progress,
            self.settings,
            self._door(second) if second else None,
        )

    @property
    def door(self) -> DoorRunner:
        """What hands a deck to the engine."""
        return self._door(self.engine)

    def _door(self, engine: Engine) -> DoorRunner:
        return lambda deck, report: engine.run(
            deck.text, deck.saved, deck.stop, self.budget, report
        )

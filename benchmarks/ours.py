"""Our side of the ratios: engine runs through the door, with what all processes spend."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchmarks.cost import spent
from simkit.circuit.netlist import Deck
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearse import rehearse
from simkit.run.backend import Budget, EngineRun, Progress
from simkit.run.process import NgspiceEngine


@dataclass
class Counted:
    """The engine's door, with the CPU of all its workers [s] and the number of runs."""

    cpu: float = 0.0
    runs: int = 0
    inside: float = 0.0
    """CPU in the engine alone [s]: at most a run's wall time there, and its worker's CPU."""
    engine: NgspiceEngine = field(default_factory=NgspiceEngine)

    def run(self, deck: Deck, progress: Progress | None = None) -> EngineRun:
        """Run a deck and count it."""
        done = self.engine.run(deck.text, deck.saved, deck.stop, Budget(), progress)
        self.cpu, self.runs = self.cpu + done.cpu_seconds, self.runs + 1
        self.inside += min(done.seconds, done.cpu_seconds)
        return done


def rehearsal_cost(machine: Machine, scenario: Scenario) -> tuple[Rehearsal, float, Counted]:
    """A rehearsal from a warm parent, its CPU with all workers [s], and the counted door."""
    door = Counted()
    door.engine.version()
    with spent() as told:
        found = rehearse(machine, scenario, door.run)
    return found, told.cpu + door.cpu, door

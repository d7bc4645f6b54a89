"""Fault finder: which fault explains low-voltage readings that do not match, and how well.

Every fault is a changed machine; so is none at all. For each, tolerances are given their say by
the same least squares as the fit's, and the chance of the readings under it is taken from the
misfit and from how much freedom the tolerances had (Laplace's approximation of the evidence;
MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28, recalled from
memory). Severities of a fault count as equally likely, faults too, and the healthy machine as
likely as all faults together. The fast model is corrected by circuit runs of the healthy machine,
and for the leading faults by circuit runs of their own.
"""

from dataclasses import dataclass, replace

import numpy as np

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.fit.readings import circuit_of
from simkit.studies.fit.solve import Observation, Problem, Solution, influential, solve
from simkit.studies.fit.study import Say, chance_of
from simkit.studies.inputs.uncertain_values import Uncertain, scaled, uncertain
from simkit.studies.low_voltage.fault_signs import FAULTS, Fault

LEADING = 3
"""Most hypotheses that get circuit runs of their own [1]."""
SERIOUS = 0.02
"""Least probability at which a fault gets them [1]."""
CLEAR, PLAIN = 0.99, 0.02
"""A first place beyond this probability, with a misfit no rarer than this, needs no more runs."""
STEPS = 10
"""Most evaluations of a hypothesis' least squares [1]."""
HEALTHY = 0.5
"""Probability of no fault before anything was read [1]."""
HOPELESS = 1e-4
"""Chance of the misfit below which a hypothesis does not explain the readings [1]."""
NONE = "none of these"


@dataclass(frozen=True)
class Hypothesis:
    """One fault at one severity, or none, against the readings."""

    fault: Fault | None
    severity: float
    machine: Machine
    evidence: float
    """Natural logarithm of the readings' likelihood under it, a constant left out [1]."""
    chi_square: float
    chance: float
    """Of so large a misfit under it [1]."""
    by_circuit: bool
    """Whether circuit runs of its own stand behind it; else the fast model, corrected."""


@dataclass(frozen=True)
class Suspect:
    """One fault with all its severities."""

    name: str
    title: str
    probability: float
    best: Hypothesis
    look: str

    @property
    def explains(self) -> bool:
        """Whether the readings are likely enough under it."""
        return self.best.chance >= HOPELESS


@dataclass(frozen=True)
class Diagnosis:
    """Faults by how well they explain the readings."""

    suspects: tuple[Suspect, ...]
    """Likeliest first; the healthy machine is among them as "none of these"."""
    count: int
    """Readings weighed [1]."""

    @property
    def healthy(self) -> Suspect:
        """The healthy machine's place."""
        return next(s for s in self.suspects if s.name == NONE)

    @property
    def faults(self) -> tuple[Suspect, ...]:
        """Faults alone, likeliest first."""
        return tuple(s for s in self.suspects if s.name != NONE)

    @property
    def none_of_these(self) -> bool:
        """No fault is called: the healthy machine leads, or nothing explains the readings."""
        return self.suspects[0].name == NONE or not any(s.explains for s in self.suspects)

    @property
    def words(self) -> str:
        """One sentence."""
        first = self.suspects[0]
        if not any(s.explains for s in self.suspects):
            return ("None of these: no fault looked at explains the readings, and neither does "
                    "the machine as described.")  # fmt: skip
        if first.name == NONE:
            return "None of these: the readings agree with the machine as described."
        return (
            f"Likeliest: {first.title} (probability {first.probability:.0%} among those weighed)."
        )


def diagnose(
    machine: Loaded[Machine],
    seen: tuple[Observation, ...],
    rehearser: Rehearser,
    say: Say | None = None,
) -> Diagnosis:
    """Weigh every fault against observations.

    Errors: EngineError when a circuit run of the healthy machine gives no whole answer.
    """
    model = machine.model
    chosen = uncertain(machine, [o.setting.load for o in seen])
    chosen = influential(Problem(model, chosen, seen))
    healthy = Problem(model, chosen, seen)
    circuit = circuit_of(rehearser, model, seen)
    known = healthy.corrected(circuit, np.zeros(len(chosen)))
    found = [weighed(None, 0.0, replace(known, corrections=known.corrections))]
    for fault in FAULTS:
        for severity, changed in fault.machines(model):
            found.append(weighed(fault, severity, _about(known, changed)))
    if say:
        say(0.5)
    ranked = _ranked(found)
    serious = [s for s in ranked if s.name != NONE and s.probability >= SERIOUS]
    clear = ranked[0].probability > CLEAR and ranked[0].best.chance > PLAIN
    if clear:  # the corrected fast model is as good as its own correction where it fits at all
        return Diagnosis(ranked, len(seen))
    better = [_by_circuit(s.best, chosen, seen, rehearser) for s in serious[:LEADING]]
    names = {(h.fault, h.severity) for h in better}
    found = [h for h in found if (h.fault, h.severity) not in names] + better
    return Diagnosis(_ranked(found), len(seen))


def _about(problem: Problem, machine: Machine) -> Problem:
    """The same readings and corrections about another machine."""
    from simkit.studies.inputs.uncertain_values import value_at

    chosen = tuple(
        replace(u, value=float(value))
        for u in problem.chosen
        if (value := value_at(machine, u.key)) is not None
    )
    return replace(problem, machine=machine, chosen=chosen)


def weighed(fault: Fault | None, severity: float, problem: Problem) -> Hypothesis:
    """Evidence of one hypothesis: -1/2 (misfit and priors at the best + ln det(1 + J'J))."""
    told = np.isfinite(problem.model(np.zeros(len(problem.chosen))))
    lost = {k for k, ok in enumerate(told) if not ok}
    # A reading the faulty machine cannot show (a ringing that is gone) speaks against it.
    solution = solve(problem.without(lost), starts=0, steps=STEPS)
    chi = solution.chi_square + 30.0 * len(lost)
    return Hypothesis(
        fault=fault,
        severity=severity,
        machine=problem.machine,
        evidence=-0.5 * (chi + _freedom(solution)),
        chi_square=chi,
        chance=chance_of(chi, len(problem.observations)),
        by_circuit=False,
    )


def _freedom(solution: Solution) -> float:
    slope = solution.jacobian
    return float(np.linalg.slogdet(np.eye(slope.shape[1]) + slope.T @ slope)[1])


def _by_circuit(
    best: Hypothesis, chosen: tuple[Uncertain, ...], seen: tuple[Observation, ...],
    rehearser: Rehearser,
) -> Hypothesis:  # fmt: skip
    """A hypothesis weighed again, corrected by circuit runs at its own best values."""
    from simkit.errors import EngineError

    plain = _about(Problem(best.machine, chosen, seen), best.machine)
    try:
        rough = solve(plain, starts=0, steps=STEPS)
        there = scaled(plain.machine, plain.chosen, rough.logs)
        circuit = circuit_of(rehearser, there, seen)
    except EngineError:  # a fault the engine cannot run keeps the fast model's word
        return best
    known = plain.corrected(circuit, rough.logs)
    if not np.isfinite(known.corrections).all():
        return best
    return replace(weighed(best.fault, best.severity, known), by_circuit=True)


def _ranked(found: list[Hypothesis]) -> tuple[Suspect, ...]:
    """Faults by probability, severities of each averaged."""
    groups: dict[str, list[Hypothesis]] = {}
    for one in found:
        groups.setdefault(one.fault.name if one.fault else NONE, []).append(one)
    prior = (1.0 - HEALTHY) / max(len(groups) - 1, 1)
    top = max(h.evidence for h in found)
    weights = {
        name: (HEALTHY if name == NONE else prior)
        * float(np.mean([np.exp(h.evidence - top) for h in many]))
        for name, many in groups.items()
    }
    total = sum(weights.values())
    order = sorted(groups, key=lambda n: (-weights[n], -max(h.evidence for h in groups[n])))
    return tuple(_suspect(name, groups[name], weights[name] / total) for name in order)


def _suspect(name: str, many: list[Hypothesis], probability: float) -> Suspect:
    best = max(many, key=lambda h: h.evidence)
    fault = best.fault
    return Suspect(
        name=name,
        title=fault.title if fault else "the machine as described, within its tolerances",
        probability=probability,
        best=best,
        look=fault.look if fault else "",
    )

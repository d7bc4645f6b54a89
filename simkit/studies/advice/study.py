"""Advice: what to change, searched by the fast model, then tried by circuit.

The fast model looks at some steps of every lever, their effects are put together (superposed.py),
the best combinations (search.py) are looked at as they are, and the first few are rehearsed by
circuit runs. Where none of these is within the limits, the search goes on with what they showed,
as long as there is time. What is told is the rehearsals and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.backend import Budget, Progress
from simkit.run.cache import Store
from simkit.run.pool import Executor, collected
from simkit.studies.advice import looking
from simkit.studies.advice.attempts import Advised, Row
from simkit.studies.advice.hunt import Hunt
from simkit.studies.advice.levers import Step, ladders, taken
from simkit.studies.advice.search import ROOM, Option
from simkit.studies.advice.superposed import Base

LOOKS = {"margin": 6, "turns": 2, "cans": 2, "dead time": 2, "gate": 2, "turn-off": 2,
         "supply": 1, "link": 1, "tracking": 1}  # fmt: skip
"""Steps of each lever that the fast model looks at [1]; the ends always."""
AT_EDGES = ("snubber", "loop", "held off")
"""Levers of which the fast model knows nothing but what they make of edges: not looked at."""
OF_EDGES = ("gate", "turn-off", "dead time", *AT_EDGES)
AT_SWITCHES = ("recovery", "gate", "junction", "drain_voltage", "channel", "avalanche")
AT_LINK = ("link", "film", "drain_voltage", "supply")
"""How figures begin about which gates, and the link's capacitance, can do something."""
TIMING = ("dead time", "gate", "turn-off")
"""Levers that end an overlap of the gates."""
TOLD = 3
"""Changes that a run tells [1]."""

Rebuilt = Callable[[Mapping[str, str]], tuple[Machine, Scenario]]
"""Machine and scenario from their files with values replaced, as a person would replace them."""


@dataclass
class Adviser:
    """Where advice is looked for and how long.

    Fields: rebuilt: None where there are no files; written: keys that stand in the machine file;
    most: rehearsals [1]; progress: told the share of them that is done.
    """

    executor: Executor | None = None
    store: Store | None = None
    engine: str = "ngspice"
    whole: bool = False
    budget: Budget = field(default_factory=Budget)
    rebuilt: Rebuilt | None = None
    written: frozenset[str] | None = None
    most: int = 4
    progress: Progress | None = None
    looked: int = 0
    tried: int = 0

    def advise(self, machine: Machine, scenario: Scenario, full: Row) -> Advised:
        """Search and try, for a rehearsal that is over a limit.

        `full`: what that rehearsal found, as `maps.cases.row_of` has it.
        """
        if why := not_followed(scenario, full):
            return Advised((), 0, scenario.goal, why)
        known = ladders(machine, scenario)
        steps = {n: known[n] for n in known if matters(n, full)}
        found = self.first_looks(machine, scenario, steps)
        base = Base.of(machine, full, found.pop(None))
        hunt = Hunt(self, machine, scenario, base, steps, found, full)
        if not base.fast["limits"]:
            hunt.why_not = f"the fast model has no answer to search by: {base.fast['said']}"
            hunt.attempt(self.answered(machine, scenario, known), 1)
            hunt = self._from_there(hunt)
        while hunt.base.fast["limits"] and not hunt.done and len(hunt.attempts) < self.most:
            if not hunt.round():
                break
        ranked = tuple(sorted(hunt.attempts, key=lambda a: a.rank))
        return Advised(ranked, self.looked, scenario.goal, "" if ranked else hunt.why_not)

    def first_looks(
        self, machine: Machine, scenario: Scenario, known: Mapping[str, Sequence[Step]]
    ) -> dict[Step | None, Row]:
        """The machine as it is (None), and chosen steps of every lever."""
        alike = [s for name in AT_EDGES for s in known.get(name, ())]
        steps = [s for name, ladder in known.items() if name not in AT_EDGES
                 for s in chosen(name, ladder)]  # fmt: skip
        made: list[tuple[Step | None, Machine, Scenario]] = [(None, machine, scenario)]
        for step in steps:
            if (changed := taken(machine, scenario, (step,))) is not None:
                made.append((step, changed.machine, changed.scenario))
        rows = self.looks([(m, s) for _, m, s in made])
        found = {step: row for (step, _, _), row in zip(made, rows, strict=True)}
        for step in alike:
            if (changed := taken(machine, scenario, (step,))) is not None:
                found[step] = looking.with_edges(changed.machine, found[None])
        return found

    def answered(
        self, machine: Machine, scenario: Scenario, known: Mapping[str, Sequence[Step]]
    ) -> list[Option]:
        """Where the fast model has no answer for the machine as it is, as with gates that overlap:
        single steps of the gates' timing for which it has one, the least change first.

        A dead time must leave twice what the least that has an answer adds: there the gates only
        just cease to overlap.
        """
        steps = [s for name in TIMING for s in known.get(name, ())]
        made = [(s, c) for s in steps if (c := taken(machine, scenario, (s,))) is not None]
        rows = self.looks([(c.machine, c.scenario) for _, c in made])
        found = [
            Option((s,), s.cost, sum(max(r - ROOM, 0.0) for r in row["limits"].values()), 1.0,
                   row["limits"])
            for (s, _), row in zip(made, rows, strict=True) if row["limits"]
        ]  # fmt: skip
        ranked = sorted(found, key=lambda o: o.plain)
        longer = [o for o in ranked if o.levers == {"dead time"}]
        return [*longer[1:2], *(o for o in ranked if o not in longer[1:2])]

    def _from_there(self, hunt: Hunt) -> Hunt:
        """The hunt going on from what was tried, where that brought the machine to an answer but
        not within its limits."""
        if hunt.done or not hunt.attempts or not hunt.attempts[-1].row["limits"]:
            return hunt
        last = hunt.attempts[-1]
        begun = taken(hunt.machine, hunt.scenario, last.option.steps)
        assert begun is not None
        left = {n: ladder for n, ladder in ladders(begun.machine, begun.scenario).items()
                if n not in last.option.levers and matters(n, last.row)}  # fmt: skip
        found = self.first_looks(begun.machine, begun.scenario, left)
        base = Base.of(begun.machine, last.row, found.pop(None))
        # What was learned of the machine before says nothing of this one.
        return replace(hunt, base=base, begun=begun, ladders=left, seen=found, first=last.option,
                       off={}, room=ROOM)  # fmt: skip

    def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """What the fast model says of some machines, in their order."""
        self.looked += len(pairs)
        cases = [looking.look_case(m, s) for m, s in pairs]
        rows = self._asked(cases, looking.looked)
        return [looking.with_edges(m, r) for (m, _), r in zip(pairs, rows, strict=True)]

    def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """What circuit runs of some machines come to, in their order."""
        cases = [looking.rehearse_case(m, s, self.engine, self.whole, self.budget)
                 for m, s in pairs]  # fmt: skip
        before = self.tried
        self.tried += len(pairs)

        def shown(share: float) -> None:
            if self.progress:
                self.progress((before + share * len(pairs)) / self.most)

        return self._asked(cases, looking.rehearsed, shown)

    def _asked(
        self,
        cases: Sequence[Mapping[str, Any]],
        work: Callable[[Any], Any],
        shown: Progress | None = None,
    ) -> list[Row]:
        keyed = {looking.key_of(case): case for case in cases}
        found = collected(keyed, work, self.store, self.executor, shown)
        return [found[looking.key_of(case)] for case in cases]


def matters(lever: str, full: Row) -> bool:
    """Whether a lever may do something about what is over: what only shapes edges does nothing for
    the tank's currents, nor does the link's capacitance."""
    over = [q for q, r in full["limits"].items() if r["status"] == "over"]
    if lever in OF_EDGES:
        return any(q.startswith(AT_SWITCHES) for q in over)
    return lever != "link" or any(q.startswith(AT_LINK) for q in over)


def chosen(lever: str, ladder: Sequence[Step]) -> list[Step]:
    """Steps of a lever that the fast model looks at: the ends, and some between them."""
    wanted = min(LOOKS[lever], len(ladder))
    if wanted == 1:
        return [max(ladder, key=lambda s: abs(s.x))]
    places = {round(k * (len(ladder) - 1) / (wanted - 1)) for k in range(wanted)}
    return [ladder[k] for k in sorted(places)]


def not_followed(scenario: Scenario, full: Row) -> str:
    """Why there is nothing to search by: what went over came of what the fast model does not know.

    What was over in the settled state already may be searched for by that alone.
    """
    faults = [e for e in scenario.events if not e.about.fast]
    if not faults:
        return ""
    first = scenario.start.settled + min(e.at for e in faults)
    over = [r for r in full["limits"].values() if r["status"] == "over"]
    early = [r for r in over if r["first_over_s"] is not None and r["first_over_s"] < first]
    if early:
        return ""
    kinds = ", ".join(dict.fromkeys(e.kind for e in faults))
    return f"what went over its limit came of {kinds}, which the fast model does not follow"

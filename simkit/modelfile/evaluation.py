"""Trees into numbers, or into text in normal form where they hold a voltage or a current."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from simkit.modelfile.cards import Function, Scope
from simkit.modelfile.expressions import Name, Node, Number, Probe
from simkit.modelfile.functions import FUNCTIONS, NOT_OURS, arguments_fit, rising
from simkit.modelfile.numbers import plain
from simkit.modelfile.refused import Place

CONSTANTS = {"pi": math.pi}
TEMPERATURE = ("temp", "temper")
MOST_NODES = 20_000
"""Nodes of the trees that one statement may come to with its functions written out [1]."""
DEEPEST = 80
"""Functions and parameters that lead to each other [1]."""
LONGEST = 20_000
"""Characters of a law in normal form [1]."""
LARGEST = 1e100
"""A constant beyond it is a slip [1]."""


@dataclass
class Values:
    """The parameters of one instance of a subcircuit, worked out when they are asked for."""

    scope: Scope
    temperature: float
    """[degC]"""
    around: "Values | None" = None
    given: dict[str, float] = field(default_factory=dict)
    """What the instance set, and what was worked out so far."""
    _under_way: set[str] = field(default_factory=set)

    def parameter(self, name: str, place: Place) -> float:
        """A parameter's value. Errors: InputError for an unknown one, and for a circle."""
        if name in self.given:
            return self.given[name]
        tree = self.scope.parameters.get(name, self.scope.defaults.get(name))
        if tree is None:
            if self.around is not None:
                return self.around.parameter(name, place)
            return self._constant(name, place)
        if name in self._under_way or len(self._under_way) > DEEPEST:
            raise place.refuse(name, "the parameter follows from itself, or from too many others")
        self._under_way.add(name)
        # Defaults may name what the instance sets, and what stands around.
        self.given[name] = constant(tree, self, place)
        self._under_way.discard(name)
        return self.given[name]

    def _constant(self, name: str, place: Place) -> float:
        if name in TEMPERATURE:
            return self.temperature
        if name in CONSTANTS:
            return CONSTANTS[name]
        if name in NOT_OURS:
            raise place.refuse(name, "is not read in a model file", NOT_OURS[name])
        raise place.refuse(name, "no parameter of this name is declared", "declare it with .param")


def constant(tree: Node, values: Values, place: Place) -> float:
    """The number that a tree comes to. Errors: InputError when it holds a voltage or a current."""
    found = Evaluation(values, place, None).of(tree)
    if isinstance(found, str):
        raise place.refuse("", "a voltage or current stands where a number must",
                           "write the law with B, E or G")  # fmt: skip
    return found


ProbeNames = Callable[[Probe], str]


@dataclass
class Evaluation:
    """One statement's trees."""

    values: Values
    place: Place
    probe: ProbeNames | None
    """How a voltage or current is written in normal form; None where none may stand."""
    more: Mapping[str, str] = field(default_factory=dict)
    """Names with a meaning in this statement alone, in normal form."""
    nodes: int = 0

    def of(self, tree: Node, arguments: Mapping[str, Node | float | str] | None = None,
           depth: int = 0) -> float | str:  # fmt: skip
        """A number, or a text where the tree holds a voltage or a current.

        Errors: InputError for what is unknown, too much, or has no value.
        """
        self.nodes += 1
        if self.nodes > MOST_NODES or depth > DEEPEST:
            raise self.place.refuse("", "the expression grows beyond all measure when its "
                                    "functions are written out")  # fmt: skip
        if isinstance(tree, Number):
            return tree.value
        if isinstance(tree, Name):
            return self._name(tree.name, arguments or {})
        if isinstance(tree, Probe):
            if self.probe is None:
                raise self.place.refuse("", "a voltage or current stands where a number must")
            return self.probe(tree)
        worked = [self.of(a, arguments, depth + 1) for a in tree.arguments]
        return self._call(tree.name, worked, depth)

    def _name(self, name: str, arguments: Mapping[str, Node | float | str]) -> float | str:
        found = arguments.get(name, self.more.get(name))
        if isinstance(found, int | float | str):
            return found
        return self.values.parameter(name, self.place)

    def _call(self, name: str, worked: list[float | str], depth: int) -> float | str:
        own = self.values.scope.find("functions", name)
        if isinstance(own, Function):
            if len(own.arguments) != len(worked):
                said = f"takes {len(own.arguments)} arguments, not {len(worked)}"
                raise self.place.refuse(name, said)
            return self.of(own.body, dict(zip(own.arguments, worked, strict=True)), depth + 1)
        if name in NOT_OURS:
            raise self.place.refuse(name, "is not read in a model file", NOT_OURS[name])
        if name not in FUNCTIONS:
            raise self._unknown(name)
        if not arguments_fit(name, len(worked)):
            raise self.place.refuse(name, f"does not take {len(worked)} arguments")
        numbers = [w for w in worked if not isinstance(w, str)]
        if name == "table":
            self._check_table(worked[1:])
        if len(numbers) == len(worked):
            return self._number(name, numbers)
        return self._written(name, worked)

    def _unknown(self, name: str) -> Exception:
        import difflib

        near = difflib.get_close_matches(name, FUNCTIONS, 1)
        hint = f"did you mean {near[0]}?" if near else "declare it with .func"
        return self.place.refuse(name, "no function of this name is known", hint)

    def _check_table(self, points: list[float | str]) -> None:
        numbers = [p for p in points if not isinstance(p, str)]
        if len(numbers) != len(points) or not rising(numbers):
            raise self.place.refuse("table", "its points are numbers, their places rising")

    def _number(self, name: str, numbers: list[float]) -> float:
        try:
            found = float(FUNCTIONS[name].value(*numbers))
        except (ArithmeticError, ValueError):
            found = math.nan
        if not abs(found) <= LARGEST:
            shown = ", ".join(plain(n) for n in numbers)
            raise self.place.refuse(f"{name}({shown})", "has no value that can be used")
        return found

    def _written(self, name: str, worked: list[float | str]) -> str:
        text: str = FUNCTIONS[name].write(*(written(w) for w in worked))
        if len(text) > LONGEST:
            raise self.place.refuse("", f"the law is longer than {LONGEST} characters when written "
                                    "out")  # fmt: skip
        return text


def written(value: float | str) -> str:
    """A value as it stands within a law."""
    if isinstance(value, str):
        return value
    return plain(value) if value >= 0.0 else f"({plain(value)})"

"""Where an element stands while it is written: nodes, parameters and names of one instance."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from simkit.modelfile.cards import Element, ModelCard, Scope
from simkit.modelfile.evaluation import Evaluation, Values, constant
from simkit.modelfile.expressions import Node, Probe
from simkit.modelfile.modelcards import model_body
from simkit.modelfile.reader import expression
from simkit.modelfile.refused import Place
from simkit.modelfile.words import braced, pairs

DEEPEST = 12
"""Subcircuits that call each other [1]."""
MOST_ELEMENTS = 2_000
"""Elements of a part [1]; a rehearsal has four of them."""
GROUND = ("0", "gnd")
LATER = "fhkbeg"
"""Elements that may name another one: written when all have their names."""


@dataclass
class Maker:
    """Writes the elements of a part, instance by instance."""

    temperature: float
    """[degC]"""
    writers: Mapping[str, Callable[[Instance, Element], None]]
    """By an element's letter."""
    lines: list[str] = field(default_factory=list)
    models: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    _model_names: dict[str, str] = field(default_factory=dict)
    _nodes: int = 0

    def instance(self, values: Values, nodes: dict[str, str], depth: int) -> None:
        """All elements of one instance; `nodes` maps its pins to nodes in normal form."""
        place = values.scope.place
        if depth > DEEPEST:
            said = f"subcircuits call each other deeper than {DEEPEST} levels"
            raise place.refuse(values.scope.name, said)
        inner = Instance(self, values, dict(nodes), depth)
        for element in values.scope.elements.values():
            inner.element(element)
        inner.finish()

    def node(self) -> str:
        """A fresh inner node."""
        self._nodes += 1
        return f"n{self._nodes}"

    def put(self, letter: str, text: str, place: Place) -> str:
        """Enter an element line; its name in normal form."""
        if len(self.lines) >= MOST_ELEMENTS:
            raise place.refuse("", f"the part has more than {MOST_ELEMENTS} elements")
        name = f"{letter}{len(self.lines) + 1}"
        self.lines.append(f"{name} {text}")
        return name

    def model(self, card: ModelCard, values: Values) -> str:
        """Name in normal form of a model with the values it has here, entered once."""
        at = values
        while at.around is not None and at.scope.models.get(card.name) is not card:
            at = at.around
        body, dropped = model_body(card, at)
        self.warnings += dropped
        if body not in self._model_names:
            self._model_names[body] = f"w{len(self._model_names) + 1}"
            self.models.append(f".model {self._model_names[body]} {body}")
        return self._model_names[body]


@dataclass
class Instance:
    """One instance of a subcircuit while it is written."""

    maker: Maker
    values: Values
    nodes: dict[str, str]
    depth: int
    sources: dict[str, str] = field(default_factory=dict)
    """Voltage sources and inductors by name in the file: their names in normal form."""
    _waiting: list[tuple[Element, str]] = field(default_factory=list)

    def element(self, element: Element) -> None:
        """Write one element; what names another element waits until all have names."""
        letter = element.name[0]
        if letter in LATER:
            self._waiting.append((element, letter))
            return
        self.maker.writers[letter](self, element)

    def finish(self) -> None:
        """Write what waited."""
        for element, letter in self._waiting:
            self.maker.writers[letter](self, element)

    # --- what the writers of elements ask for ---

    def node(self, name: str, place: Place) -> str:
        """A node of the file in normal form."""
        if name in GROUND:
            return "0"
        if not re.fullmatch(r"[\w.+\-#:\[\]$&]+", name):
            raise place.refuse(name, "is no name of a node")
        if name not in self.nodes:
            self.nodes[name] = self.maker.node()
        return self.nodes[name]

    def two(self, element: Element) -> tuple[str, str]:
        """The first two nodes of an element."""
        a, b = self.several(element, 2)
        return a, b

    def several(self, element: Element, count: int) -> tuple[str, ...]:
        """The first nodes of an element."""
        if len(element.words) < count or any("=" in w or "{" in w for w in element.words[:count]):
            raise element.place.refuse(f"{element.name} {element.text}",
                                       f"{count} nodes must follow the name")  # fmt: skip
        return tuple(self.node(name, element.place) for name in element.words[:count])

    def number(self, text: str, place: Place) -> float:
        """A number, a parameter or an expression without voltages."""
        return constant(expression(braced(text), place), self.values, place)

    def named(self, element: Element, start: int) -> dict[str, str]:
        """NAME=VALUE of an element from a word on."""
        return dict(pairs(" ".join(element.words[start:]), element.place))

    def law(self, text: str, element: Element, **more: str) -> float | str:
        """An expression in normal form, a number where it holds no voltage or current."""
        place = element.place
        tree: Node = expression(braced(text), place)
        return Evaluation(self.values, place, lambda p: self.probe(p, place), more).of(tree)

    def probe(self, probe: Probe, place: Place) -> str:
        """A voltage or a current in normal form."""
        if probe.kind == "v":
            return f"v({','.join(self.node(name, place) for name in probe.names)})"
        return f"i({self.source(probe.names[0], place)})"

    def source(self, name: str, place: Place) -> str:
        """A voltage source by its name in the file."""
        if name not in self.sources or not self.sources[name].startswith("v"):
            raise place.refuse(name, "no voltage source of this name is in the subcircuit",
                               "put a source of 0 V where the current is read")  # fmt: skip
        return self.sources[name]

    def inductor(self, name: str, place: Place) -> str:
        """An inductor by its name in the file."""
        if name not in self.sources or not self.sources[name].startswith("l"):
            raise place.refuse(name, "no inductor of this name is in the subcircuit")
        return self.sources[name]

    def model(self, name: str, place: Place, kinds: tuple[str, ...]) -> tuple[str, ModelCard]:
        """A model's name in normal form, and the model, which must be of one of some kinds."""
        card = self.values.scope.find("models", name)
        if not isinstance(card, ModelCard):
            raise place.refuse(name, "no model of this name is in the file",
                               "declare it with .model")  # fmt: skip
        if card.kind not in kinds:
            said = f"is a model of kind {card.kind}; this element takes {', '.join(kinds)}"
            raise place.refuse(name, said)
        return self.maker.model(card, self.values), card

    def put(self, letter: str, text: str, place: Place) -> str:
        """Enter an element line; its name."""
        return self.maker.put(letter, text, place)

    def warn(self, place: Place, text: str) -> None:
        """Something that a person should know."""
        self.maker.warnings.append(f"{place.file}:{place.line}: {text}")

    def call(self, scope: Scope, nodes: tuple[str, ...], given: dict[str, float]) -> None:
        """Write another subcircuit in place of an instance."""
        around = self.values
        while around.around is not None and scope.around is not around.scope:
            around = around.around
        inner = Values(scope, self.maker.temperature, around, dict(given))
        self.maker.instance(inner, dict(zip(scope.pins, nodes, strict=True)), self.depth + 1)

"""What a model file declares: models, parameters, functions, elements, subcircuits."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from simkit.modelfile.expressions import Node
from simkit.modelfile.refused import Place


@dataclass(frozen=True)
class ModelCard:
    """`.model NAME KIND (...)`."""

    name: str
    kind: str
    values: Mapping[str, Node]
    flags: tuple[str, ...]
    """Words without a value: nchan, pchan."""
    place: Place


@dataclass(frozen=True)
class Function:
    """`.func NAME(a, b) {...}`."""

    arguments: tuple[str, ...]
    body: Node
    place: Place


@dataclass(frozen=True)
class Element:
    """One element as its statement's words; braces and quotes kept together as `{...}`."""

    name: str
    words: tuple[str, ...]
    text: str
    """What follows the name, as one text, for laws that are written without braces."""
    place: Place


@dataclass
class Scope:
    """The file itself, or a subcircuit of it."""

    name: str
    place: Place
    pins: tuple[str, ...] = ()
    around: "Scope | None" = None
    defaults: dict[str, Node] = field(default_factory=dict)
    """Parameters that an instance may set."""
    parameters: dict[str, Node] = field(default_factory=dict)
    functions: dict[str, Function] = field(default_factory=dict)
    models: dict[str, ModelCard] = field(default_factory=dict)
    subcircuits: dict[str, "Scope"] = field(default_factory=dict)
    elements: dict[str, Element] = field(default_factory=dict)

    def find(self, kind: str, name: str) -> "ModelCard | Scope | Function | None":
        """The nearest of a kind (models, subcircuits, functions) by name, outwards."""
        scope: Scope | None = self
        while scope is not None:
            found: ModelCard | Scope | Function | None = getattr(scope, kind).get(name)
            if found is not None:
                return found
            scope = scope.around
        return None

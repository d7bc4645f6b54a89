"""A subcircuit with all that it calls as one flat list of elements in normal form."""

import difflib
from dataclasses import dataclass

from simkit.modelfile.cards import Scope
from simkit.modelfile.elements import WRITERS
from simkit.modelfile.evaluation import Values
from simkit.modelfile.instance import Maker


@dataclass(frozen=True)
class FlatModel:
    """A part in our own normal form."""

    name: str
    """Of the subcircuit in the file."""
    pins: tuple[str, ...]
    """As the file names them, in its order."""
    elements: tuple[str, ...]
    """Element lines; pins are p1, p2 ..., inner nodes n1, n2 ..."""
    models: tuple[str, ...]
    """`.model` lines."""
    temperature: float
    """At which it was worked out [degC]."""
    warnings: tuple[str, ...]

    def deck_lines(self, name: str) -> tuple[str, ...]:
        """The lines that declare it as a subcircuit of a name of ours."""
        pins = " ".join(f"p{k}" for k in range(1, len(self.pins) + 1))
        return (*self.models, f".subckt {name} {pins}", *self.elements, ".ends")


def flattened(top: Scope, name: str, temperature: float) -> FlatModel:
    """A subcircuit of a file, worked out at a temperature [degC].

    Errors: InputError at the statement that is unknown, too much or not allowed.
    """
    scope = chosen(top, name)
    maker = Maker(temperature, WRITERS)
    outer = Values(top, temperature)
    nodes = {pin: f"p{k}" for k, pin in enumerate(scope.pins, 1)}
    maker.instance(Values(scope, temperature, outer), nodes, 0)
    return FlatModel(
        scope.name, scope.pins, tuple(maker.lines), tuple(maker.models), temperature,
        tuple(dict.fromkeys(maker.warnings)),
    )  # fmt: skip


def chosen(top: Scope, name: str) -> Scope:
    """A subcircuit by name. Errors: InputError naming those there are."""
    known = list(top.subcircuits)
    if name.lower() in known:
        return top.subcircuits[name.lower()]
    near = difflib.get_close_matches(name.lower(), known, 1)
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(known) or 'none'}"
    raise top.place.refuse(name, "the file holds no subcircuit of this name", hint)

"""A subcircuit with all that it calls as one flat list of elements in normal form."""

import difflib
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import pi

from simkit.modelfile.cards import Scope
from simkit.modelfile.elements import WRITERS
from simkit.modelfile.evaluation import Values
from simkit.modelfile.instance import Maker
from simkit.modelfile.numbers import plain

LEAD = 100e-9
"""An inductance up to it is one of leads and bonds [H]: a lossless one rings without end, at which
the engine's steps collapse."""
LOSSY = 2.0 * pi * 1e9
"""Such an inductance has a resistor beside it that has its reactance at a gigahertz [1/s]: far
above what a bridge rings at."""


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

    def deck_lines(self, name: str, warm: Collection[str] = ()) -> tuple[str, ...]:
        """The lines that declare it as a subcircuit of a name of ours.

        Pins named in `warm` are held at the temperature inside, 1 V for 1 degC, and are no pins
        any more.
        """
        numbers = {f"p{k}": pin for k, pin in enumerate(self.pins, 1)}
        pins = " ".join(node for node, pin in numbers.items() if pin not in warm)
        first = len(self.elements) + 1
        held = [node for node, pin in numbers.items() if pin in warm]
        elements = _without_heat_capacities(self.elements, held)
        sources = (f"v{k} {node} 0 {plain(self.temperature)}" for k, node in enumerate(held, first))
        return (*self.models, f".subckt {name} {pins}", *elements, *sources, ".ends")


def _losses_of_leads(elements: Sequence[str]) -> list[str]:
    """A resistor beside each lead's inductance that has none."""
    beside = [set(e.split()[1:3]) for e in elements if e[0] == "r"]
    found: list[str] = []
    for line in elements:
        lead = re.fullmatch(r"l\d+ (\S+) (\S+) (\S+)", line)
        if lead and float(lead[3]) <= LEAD and {lead[1], lead[2]} not in beside:
            number = len(elements) + len(found) + 1
            found.append(f"r{number} {lead[1]} {lead[2]} {plain(float(lead[3]) * LOSSY)}")
    return found


def _without_heat_capacities(elements: Sequence[str], held: Sequence[str]) -> list[str]:
    """Elements without the capacitors of a thermal ladder, where its temperature is held.

    Their charges are millions of times those of the chip, so that the engine, which watches all to
    one bound, would crawl. Nodes of the ladder: those that resistors lead to from a held pin.
    """
    warm, added = {"0", *held}, bool(held)
    resistors = [line.split()[1:3] for line in elements if line[0] == "r"]
    while added:
        joined = {n for pair in resistors if warm.difference("0") & set(pair) for n in pair}
        added = not joined <= warm
        warm |= joined
    return [e for e in elements if not held or e[0] != "c" or not warm.issuperset(e.split()[1:3])]


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
        scope.name, scope.pins, (*maker.lines, *_losses_of_leads(maker.lines)),
        tuple(maker.models), temperature, tuple(dict.fromkeys(maker.warnings)),
    )  # fmt: skip


def chosen(top: Scope, name: str) -> Scope:
    """A subcircuit by name. Errors: InputError naming those there are."""
    known = list(top.subcircuits)
    if name.lower() in known:
        return top.subcircuits[name.lower()]
    near = difflib.get_close_matches(name.lower(), known, 1)
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(known) or 'none'}"
    raise top.place.refuse(name, "the file holds no subcircuit of this name", hint)

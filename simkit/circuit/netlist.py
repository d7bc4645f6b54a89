"""Deck text from strict templates: numbers and checked names in, text out, no engine involved.

Nothing a person wrote reaches the text: the templates take floats, whole numbers, and the source
commands and node names made here, each held against a narrow pattern.
"""

import hashlib
import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import jinja2

from simkit.circuit import values
from simkit.circuit.analysis import Analysis, saved_vectors
from simkit.circuit.start import start_nodes
from simkit.circuit.timeline import Timeline
from simkit.data import netlist_folder
from simkit.errors import SimkitError
from simkit.parameters.machine import Machine

WORD = re.compile(r"[A-Za-z0-9_ .+()=@\[\]#,-]*\Z")
"""Text the templates may place: source commands, node names, option lists."""


class DeckError(SimkitError):
    """A value that may not enter a deck: always a fault of our own, never of the file's."""


@dataclass(frozen=True)
class Deck:
    """A rendered deck."""

    text: str
    saved: tuple[str, ...]
    """Vectors the engine is told to keep."""
    stop: float
    """End time on the engine's clock [s]."""
    begin: float = 0.0
    """Time of the timeline at which the engine's clock starts [s]."""
    digest: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "digest", hashlib.sha256(self.text.encode()).hexdigest())


def placed(value: Any) -> str:
    """One template value as deck text: a plain number, or a word of the narrow pattern.

    Raises DeckError for anything else (a line break, a quote, a missing value).
    """
    if isinstance(value, values.NormalForm):
        return str(value)
    if isinstance(value, bool) or value is None:
        raise DeckError(f"a {type(value).__name__} cannot stand in a deck")
    if isinstance(value, int | float):
        return _number(float(value))
    if isinstance(value, list):
        return " ".join(f"{_number(t)} {_number(v)}" for t, v in value)
    if isinstance(value, str) and WORD.match(value):
        return value
    raise DeckError(f"this text cannot stand in a deck: {value!r}")


def _number(value: float) -> str:
    # Never a suffix letter: newer engines read a trailing A as atto.
    if value != value or value in (float("inf"), float("-inf")):
        raise DeckError("a number in a deck must be finite")
    return f"{value:.12g}"


@lru_cache(maxsize=1)
def _templates() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(netlist_folder()),
        undefined=jinja2.StrictUndefined,
        finalize=placed,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,  # noqa: S701 - decks are not HTML; every value passes `placed`
    )


def render(template: str, namespace: dict[str, Any]) -> str:
    """Render one template of netlists/; an undefined name is an error."""
    return _templates().get_template(template).render(namespace)


def machine_deck(machine: Machine, line: Timeline, seed: values.Seed, analysis: Analysis) -> Deck:
    """Deck of the whole machine over a timeline, started from a seed."""
    bridge = values.bridge_values(machine, line, seed)
    saved = saved_vectors(machine, line)
    stop = line.stop - line.begin
    text = render(
        "machine.cir.j2",
        {
            "switch": values.switch_values(machine.switch),
            "supply": values.supply_values(machine, line, seed),
            "bridge": bridge,
            "gate": values.gate_values(machine.drive, line),
            "osc": values.oscillator_values(machine, line),
            "coupling": values.coupling_values(machine, seed),
            "tank": values.tank_values(machine, line, seed),
            "coil": values.coil_values(line, seed),
            "analysis": {
                "options": analysis.options,
                "step": analysis.step,
                "stop": stop,
                "saved": " ".join(saved),
                "start": start_nodes(machine, line, seed) if analysis.start_nodes else "",
            },
        },
    )
    return Deck(text=text, saved=saved, stop=stop, begin=line.begin)

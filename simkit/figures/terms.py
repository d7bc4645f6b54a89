"""Words of the switch's own kind in what people read: an IGBT has a collector and an emitter, and
beside it an anti-parallel diode.

Keys keep their names: one vocabulary for files and results, whatever the switch.
"""

import re

from simkit.parameters.machine import Machine

BIPOLAR = {
    "body-diode": "anti-parallel diode",
    "body diodes": "anti-parallel diodes",
    "body diode": "anti-parallel diode",
    "drain-source": "collector-emitter",
    "gate-source": "gate-emitter",
    "drain current": "collector current",
    "drain voltage": "collector voltage",
    "channel current": "collector current",
    "channel, diode": "collector, diode",
    "silicon channel of a switch": "chip of a switch, tail included",
    "drain and source": "collector and emitter",
    "source lead": "emitter lead",
    "in the drain": "in the collector lead",
    "can turn the parasitic transistor on: it latches": "can latch the chip beside it, and its "
    "spike falls to the switch that turns on",
    "turns the parasitic transistor on: it latches": "can latch the chip beside it",
}
"""What a MOSFET's terms are called at an IGBT. The collector current of the figures has both parts,
the channel's and the bipolar one."""
KEPT = re.compile(r"(<pre\b.*?</pre>)", re.DOTALL)
"""A netlist on a page stays as it ran."""


def in_terms(machine: Machine, said: str) -> str:
    """A text in the terms of the machine's switches; a page's netlist and all keys stay."""
    if machine.switch.bipolar is None:
        return said
    return "".join(p if k % 2 else _bipolar(p) for k, p in enumerate(KEPT.split(said)))


TERMS = re.compile(r"(?<![\w.-])(" + "|".join(BIPOLAR) + r")(?![\w-])", re.IGNORECASE)


def _bipolar(said: str) -> str:
    def other(found: re.Match[str]) -> str:
        words = BIPOLAR[found[1].lower()]
        return words[0].upper() + words[1:] if found[1][0].isupper() else words

    return TERMS.sub(other, said)

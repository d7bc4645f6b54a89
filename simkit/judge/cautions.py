"""What no figure of this program takes from anybody: one block, by context, wherever people read.

The words stand here alone. Pages show `CAUTIONS` (`parts.cautions()` of their templates), JSON
documents carry them under `cautions`, and every verb that leads to power prints `spoken()`.
Common practice, no source; local codes and licensed practice come before all of it.
"""

from dataclasses import dataclass

FIRST = (
    "Simulated figures are no permission to touch or to power anything. Local codes and licensed "
    "practice decide wherever they and this program differ."
)
LAST = "A verdict covers the limits listed, under the assumptions stated, and nothing else."


@dataclass(frozen=True)
class Context:
    """What may hurt somebody.

    Fields: name; text for a page; line for a terminal.
    """

    name: str
    text: str
    line: str


CONTEXTS = (
    Context(
        "Mains",
        "Mains kills. The whole power circuit, the work coil included, may stand at mains "
        "potential: protective earth on every case, a residual-current device and the right fuse "
        "ahead of it, nobody alone, wiring by a licensed person where your code asks for one.",
        "kills; the work coil may be live. Earth every case; residual-current device, fuse.",
    ),
    Context(
        "Stored charge",
        "Link, blocking and tank capacitors hold a lethal charge after switch-off. Unplug, "
        "discharge through a resistor made for it, then measure with a meter that was tried on a "
        "known voltage just before; every time.",
        "stays after switch-off. Unplug, discharge through a resistor, then measure.",
    ),
    Context(
        "Hot metal",
        "Hot metal looks like cold metal and sets fire to what it touches. Moisture in a melt "
        "spatters: dry tools, eye shield, gloves made for it; a thermometer, never fingers.",
        "looks cold, starts fires; wet tools spatter. Eye shield; thermometer, no fingers.",
    ),
    Context(
        "Coolant",
        "A blocked or dry coil boils its water within seconds and scalds; a leak reaches live "
        "parts. Interlock flow and temperature in hardware.",
        "boils within seconds when it stops; leaks reach live parts. Interlock in hardware.",
    ),
    Context(
        "Fields",
        "Strong alternating fields heat rings, watches, tools and implants and disturb "
        "pacemakers. Keep people with implants away; follow the exposure limits of your country.",
        "heat rings and implants and disturb pacemakers. Keep away; heed exposure limits.",
    ),
    Context(
        "Burst",
        "Switches and capacitors burst. Eye protection for everybody in the room, and a shield "
        "between people and bridge while power is on.",
        "of switches and capacitors: eye protection for all, a shield before the bridge.",
    ),
    Context(
        "Scope earth",
        "A scope's ground clip is protective earth and shorts a live rail to it. Take a "
        "differential probe, or feed the machine through an isolating transformer; never lift the "
        "scope's own earth.",
        "shorts a live rail. Differential probe or isolated machine; keep the earth.",
    ),
)
CAUTIONS: tuple[str, ...] = (FIRST, *(f"{c.name}: {c.text}" for c in CONTEXTS), LAST)
"""The block as sentences, for pages and for the key `cautions` of every JSON document."""


def spoken() -> str:
    """The block for a terminal, a line each."""
    rows = (f"  {c.name:13} {c.line}" for c in CONTEXTS)
    return "\n".join(("Cautions; local codes and licensed practice come first:", *rows))

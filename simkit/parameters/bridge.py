"""The bridge: topology, its commutation loop, snubbers."""

from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section

Topology = Literal["full", "half-split", "half-blocking"]


@dataclass(frozen=True)
class Form:
    """What a bridge of one topology is made of.

    Fields: nodes, the middles of its legs; level_share, half the swing of its output over the link
    voltage [1]; far_end, what the other end of the primary is tied to; rest_share, the direct
    voltage that a blocking capacitor in the primary carries, over the link voltage [1].
    """

    nodes: tuple[str, ...]
    level_share: float
    far_end: Literal["leg", "midpoint", "rail"]
    rest_share: float = 0.0


FORMS: dict[str, Form] = {
    "full": Form(("a", "b"), 1.0, "leg"),
    "half-split": Form(("a",), 0.5, "midpoint"),
    "half-blocking": Form(("a",), 0.5, "rail", 0.5),
}
"""Every topology; what the circuit ties the far end to stands in netlists/bridge.cir.j2."""


class Snubber(Section):
    """Resistor and capacitor in series, across each switch or across each leg.

    "switch": drain to source. It takes part in every swing of the bridge node: slower edges, more
    charge to move in the dead time, and heat at every hard edge.
    "leg": from rail to rail at the leg. It takes no part in the node's swing; what it damps is the
    ringing of the commutation loop, as seen in the drain voltage's overshoot and in recovery dv/dt.
    """

    place: Annotated[
        Literal["switch", "leg"],
        Field(
            description="switch: drain to source, slows the node; leg: rail to rail, damps the loop"
        ),
    ]
    resistance: Annotated[float, Quantity("ohm", "Snubber resistor", gt=0, lt=1e5)]
    capacitance: Annotated[float, Quantity("F", "Snubber capacitor", gt=0, lt=1e-5)]


class Bridge(Section):
    """One or two legs of switches and the loop that closes their commutation."""

    topology: Topology
    loop_inductance: Annotated[
        float,
        Quantity("H", "Film capacitor to bridge and back", gt=0, lt=1e-5, usual=(5e-9, 5e-7)),
    ]
    loop_damping: Annotated[
        float,
        Quantity("ohm", "Resistance that damps the loop inductance, in parallel", gt=0, lt=1e4),
    ]
    split_capacitance: (
        Annotated[float, Quantity("F", "Each of the two midpoint capacitors", gt=0, lt=0.1)] | None
    ) = None
    split_esr: (
        Annotated[float, Quantity("ohm", "ESR of each midpoint capacitor", gt=0, lt=100)] | None
    ) = None
    snubber: Snubber | None = None

    @property
    def form(self) -> Form:
        """Legs, levels and ends of this topology."""
        return FORMS[self.topology]

    @property
    def legs(self) -> int:
        """Legs of two switches each [1]."""
        return len(self.form.nodes)

    @property
    def switches(self) -> int:
        """Switches, numbered from 1, upper before lower [1]."""
        return 2 * self.legs

    @property
    def level_share(self) -> float:
        """Half the swing of the output over the link voltage [1]."""
        return self.form.level_share

    @model_validator(mode="after")
    def _split_needs_capacitors(self) -> Self:
        split = self.topology == "half-split"
        given = (self.split_capacitance is not None, self.split_esr is not None)
        if split and not all(given):
            raise ValueError("half-split needs split_capacitance and split_esr")
        if not split and any(given):
            raise ValueError("split_capacitance and split_esr belong to half-split only")
        return self

"""The machine: one induction heater, described once, with every value known.

Every quantity is a plain SI float; its unit and meaning stand beside the field. A section
describes one thing a person can touch. No field has a default that stands in for a physical
quantity: what is optional is a part that a machine may lack (a snubber, a blocking capacitor), and
then the absence is what is modelled.

What a person writes is the machine *file* (`written`), where a quantity may also be given by what
it follows from: a part file, a geometry, a core. `simkit.parts.build` works these out.
"""

from math import pi, sqrt
from typing import Any, Self

from pydantic import model_validator

from simkit.parameters.bounds import Derating, Limits
from simkit.parameters.bridge import Bridge, Snubber
from simkit.parameters.coil import Coil, Load, Workpiece
from simkit.parameters.cooling import Cooling
from simkit.parameters.drive import Drive, GateTransformer
from simkit.parameters.fitted import FitRecord
from simkit.parameters.probes import BringUp, Probes
from simkit.parameters.ratings import Ratings
from simkit.parameters.section import Name, Section, Text, titled
from simkit.parameters.supply import Capacitor, Supply
from simkit.parameters.switch import (
    BodyDiode,
    Channel,
    Package,
    Switch,
    SwitchRatings,
    TransientPoint,
    Warming,
)
from simkit.parameters.tank import Matching, Tank
from simkit.parameters.transformer import Transformer

__all__ = [
    "BodyDiode",
    "Bridge",
    "Capacitor",
    "Channel",
    "Coil",
    "Cooling",
    "Derating",
    "Drive",
    "GateTransformer",
    "Limits",
    "Load",
    "Machine",
    "Matching",
    "Name",
    "Package",
    "Section",
    "Snubber",
    "Supply",
    "Switch",
    "SwitchRatings",
    "Tank",
    "Text",
    "Transformer",
    "TransientPoint",
    "Warming",
    "Workpiece",
]


def resonance(transformer: Transformer, tank: Tank, coil_inductance: float) -> float:
    """Frequency at which bridge voltage and current are in phase, losses left out [Hz].

    Loop-fed: 1/(2 pi sqrt((L + L_leak/n^2) C)); shunt-fed, with the matching inductor and the
    leakage as L_m: 1/(2 pi sqrt(C L L_m/(L + L_m))), where the inductive shunt-fed tank turns
    (both from the reactance of the lossless network being zero).
    """
    stray = transformer.leakage_inductance / transformer.ratio**2
    if tank.matching is None:
        inductance = coil_inductance + stray
    else:
        matching = tank.matching.inductance + stray
        inductance = coil_inductance * matching / (coil_inductance + matching)
    return 1.0 / (2.0 * pi * sqrt(inductance * tank.capacitance))


class Machine(Section):
    """One induction heater."""

    name: Name
    title: Text = ""
    """Its name where none is written."""
    description: Text = ""
    supply: Supply
    bridge: Bridge
    switch: Switch
    drive: Drive
    transformer: Transformer
    tank: Tank
    coil: Coil
    workpieces: dict[Name, Workpiece]
    cooling: Cooling
    limits: Limits
    ratings: Ratings | None = None
    probes: Probes | None = None
    bring_up: BringUp | None = None
    fit: FitRecord | None = None

    def load(self, name: str) -> Load:
        """Load by the name of a workpiece, or "empty" for the coil alone."""
        if name == "empty":
            return self.coil.as_load()
        return self.workpieces[name]

    def resonance(self, coil_inductance: float) -> float:
        """Frequency at which bridge voltage and current are in phase [Hz]; see `resonance`."""
        return resonance(self.transformer, self.tank, coil_inductance)

    @model_validator(mode="before")
    @classmethod
    def _have_titles(cls, raw: Any) -> Any:
        pieces = raw.get("workpieces") if isinstance(raw, dict) else None
        if not isinstance(pieces, dict):
            return titled(raw)
        named = {name: titled(piece, name) for name, piece in pieces.items()}
        return titled(raw | {"workpieces": named})

    @model_validator(mode="after")
    def _half_blocking_needs_capacitor(self) -> Self:
        if self.bridge.form.far_end == "rail" and not self.transformer.blocking_capacitance:
            raise ValueError("half-blocking needs transformer.blocking_capacitance")
        if "empty" in self.workpieces:
            raise ValueError('workpieces.empty: the name "empty" means the coil alone')
        return self

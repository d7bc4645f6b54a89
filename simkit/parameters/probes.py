"""What a machine file may say about measuring and about bringing the machine up.

`[probes]` is the person's own bench: divider, current transformer, scope settings, accuracies.
`[bring_up]` lists stages, where the usual ones do not fit. Both may be missing; what needs them
then says so instead of assuming.
"""

from typing import Annotated, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section, Text


class CurrentTransformer(Section):
    """One primary turn through a ring with a winding that ends in a burden resistor."""

    turns: Annotated[int, Quantity("1", "Turns of the winding", ge=1, le=10000)]
    burden: Annotated[float, Quantity("ohm", "Burden resistor", gt=0, lt=1e4)]

    @property
    def volts_per_ampere(self) -> float:
        """Burden over turns: an ideal current transformer [V/A]."""
        return self.burden / self.turns


class VoltsPerDivision(Section):
    """Scope settings at the scope's input, divider and probe not counted."""

    gate: Annotated[float, Quantity("V", "Gate-source", gt=0, lt=1e4)]
    node: Annotated[float, Quantity("V", "Bridge node", gt=0, lt=1e4)]
    tank: Annotated[float, Quantity("V", "Tank, behind its divider", gt=0, lt=1e4)]
    current: Annotated[float, Quantity("V", "Current transformer's burden", gt=0, lt=1e4)]


class Accuracy(Section):
    """Half-widths at 95 %, as a share of the reading unless the unit says otherwise."""

    scope: Annotated[float, Quantity("1", "Amplitude on the scope", gt=0, lt=1)]
    meter: Annotated[float, Quantity("1", "Supply voltage and current", gt=0, lt=1)]
    frequency: Annotated[float, Quantity("1", "Frequency", gt=0, lt=1)]
    time: Annotated[float, Quantity("s", "Times between edges", gt=0, lt=1e-3)]
    phase: Annotated[float, Quantity("deg", "Phase between two channels", gt=0, lt=90)]
    temperature: Annotated[float, Quantity("K", "Thermometer", gt=0, lt=100)]


class Probes(Section):
    """The person's own instruments."""

    node_divider: Annotated[float, Quantity("1", "Bridge node over scope input", ge=1, le=1e5)]
    gate_divider: Annotated[float, Quantity("1", "Gate over scope input", ge=1, le=1e5)]
    tank_divider: Annotated[float, Quantity("1", "Coil voltage over scope input", ge=1, le=1e5)]
    current_transformer: CurrentTransformer
    volts_per_division: VoltsPerDivision
    seconds_per_division: Annotated[float, Quantity("s", "Time base", gt=0, lt=10)]
    accuracy: Accuracy


class Stage(Section):
    """One stage of the bring-up: what is set; no supply voltage means the control board alone."""

    name: Name
    title: Text
    supply_voltage: (
        Annotated[float, Quantity("V", "Supply of the bridge", gt=0, le=1000)] | None
    ) = None
    current_limit: (
        Annotated[float, Quantity("A", "Where the bench supply limits", gt=0, lt=1e3)] | None
    ) = None
    load: Name | None = None
    margin: (
        Annotated[float, Quantity("1", "Drive above the resonance found", gt=-0.5, lt=2)] | None
    ) = None
    soak: Annotated[float, Quantity("s", "How long to stay", ge=0, lt=1e5)] | None = None

    @model_validator(mode="after")
    def _powered_needs_load(self) -> Self:
        powered = self.supply_voltage is not None
        if powered != (self.load is not None) or powered != (self.margin is not None):
            raise ValueError("supply_voltage, load and margin go together")
        if not powered and self.current_limit is not None:
            raise ValueError("current_limit belongs to a stage with a supply_voltage")
        return self


class BringUp(Section):
    """How the machine is brought up."""

    discharge_resistor: (
        Annotated[float, Quantity("ohm", "Across the link, for good", gt=0, lt=1e9)] | None
    ) = None
    stages: Annotated[tuple[Stage, ...], Field(max_length=20)] = ()

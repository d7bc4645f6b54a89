"""The machine file as a person writes it.

Where `Machine` wants a value, the file may say instead what the value follows from: a part file
for the switch, geometry for coil and workpieces, core and windings, a can's loss factor, the
mains. There is one way for each quantity; a measured value stands over a geometry where a
section says so. `simkit.parts.build` turns this into a Machine.
"""

from typing import Annotated, Any, ClassVar

from pydantic import Discriminator, StringConstraints, Tag

from simkit.parameters.coil import CoilFile, WorkpieceFile
from simkit.parameters.fields import Quantity
from simkit.parameters.machine import Machine
from simkit.parameters.section import Name, Section
from simkit.parameters.supply import SupplyFile
from simkit.parameters.switch import Package, Switch
from simkit.parameters.tank import TankFile
from simkit.parameters.transformer import TransformerFile

PartPath = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_./-]+\.toml$", max_length=200)]
"""A relative path to a part file, as a scenario names its machine."""


class SwitchPart(Section):
    """The switch by its part file, fitted at the junction temperature it works at."""

    MARK: ClassVar[str] = "part"
    """The key that tells this table from one with the values written out."""

    part: PartPath
    junction_temperature: (
        Annotated[
            float,
            Quantity("degC", "While it works; left out: from losses and cooling", ge=-40, le=250),
        ]
        | None
    ) = None
    package: Package | None = None


def _kind_of_switch(raw: Any) -> str:
    """Tag of a switch as written; no tag is a key of the file, for messages drop tags by that."""
    if isinstance(raw, str):
        return "switch-path"
    named = "part" in raw if isinstance(raw, dict) else isinstance(raw, SwitchPart)
    return "switch-part" if named else "switch-values"


SwitchFile = Annotated[
    Annotated[Switch, Tag("switch-values")]
    | Annotated[SwitchPart, Tag("switch-part")]
    | Annotated[PartPath, Tag("switch-path")],
    Discriminator(_kind_of_switch),
]


class MachineFile(Machine):
    """One induction heater, as written; its values are complete only once it was built."""

    supply: SupplyFile
    switch: SwitchFile  # type: ignore[assignment]  # as written, before it is worked out
    transformer: TransformerFile  # type: ignore[assignment]  # as written
    tank: TankFile
    coil: CoilFile  # type: ignore[assignment]  # as written
    workpieces: dict[Name, WorkpieceFile]  # type: ignore[assignment]  # as written

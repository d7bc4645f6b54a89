"""What a material is, for `simkit explain`: its values, where they come from, where it is named."""

from collections.abc import Iterator

from simkit.parts.materials import Material, Table, materials
from simkit.units import format_quantity

ROOM = 20.0
"""Temperature at which values are shown [degC]."""
PLACES = "workpieces.*.geometry.material, coil.geometry, aftermath.charge.material"
SHOWN = (
    ("resistivity", "Resistivity"), ("heat_capacity", "Heat capacity"),
    ("conductivity", "Heat conductivity"), ("density", "Density"), ("emissivity", "Emissivity"),
    ("solidus", "Melts from"), ("liquidus", "Molten at"),
)  # fmt: skip


def lines(name: str) -> list[tuple[str, str]] | None:
    """Labels and texts of a material by its name; None for a name that is none."""
    found = materials().get(name.lower().replace(" ", "-").replace("_", "-"))
    return None if found is None else [("What it is", found.title), *_values(found)]


def _values(one: Material) -> Iterator[tuple[str, str]]:
    for key, label in SHOWN:
        table: Table | None = getattr(one, key, None)
        if table is not None and table.values:
            yield label, f"{_shown(table)}; {table.source} ({table.status})"
    magnetism = one.magnetism
    if magnetism is not None:
        yield (
            "Magnetic",
            (
                f"permeability {magnetism.initial_permeability:g} in a weak field, saturates at "
                f"{magnetism.saturation:g} T, Curie point {magnetism.curie:g} degC"
            ),
        )
    yield "Named in", PLACES


def _shown(table: Table) -> str:
    value = table.at(ROOM, "this value").value
    try:
        shown = format_quantity(value, table.unit, 3)
    except KeyError:
        shown = f"{value:.3g} {table.unit}"
    return shown if len(table.values) == 1 else f"{shown} at {ROOM:g} degC"

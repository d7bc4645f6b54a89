"""Workpiece and crucible materials: data with sources, read from materials.toml.

A table is interpolated in a straight line between its points and held at its ends; asked
beyond them, the figure says so.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from simkit.parts.magnetics import saturation_at
from simkit.parts.ranged import Figure, out_of_range

STATUSES = ("read", "read second-hand", "recalled from memory", "estimated")


@dataclass(frozen=True)
class Table:
    """A property against temperature.

    Fields
    ------
    celsius : temperatures, rising [degC]
    values : the property, in `unit`
    unit : SI unit as text
    source, status : where it comes from, and how it was had (one of `STATUSES`)
    """

    celsius: tuple[float, ...]
    values: tuple[float, ...]
    unit: str
    source: str
    status: str

    def at(self, celsius: float, name: str) -> Figure:
        """The property at `celsius` [degC], with a note when that is outside the table."""
        value = float(np.interp(celsius, self.celsius, self.values))
        notes: tuple[str, ...] = ()
        if len(self.celsius) > 1:
            notes = out_of_range(
                f"temperature for {name}", celsius, self.celsius[0], self.celsius[-1], "degC"
            )
        return Figure(value, self.unit, self.source, notes)


@dataclass(frozen=True)
class Magnetism:
    """What a ferromagnetic material needs; see `magnetics` for the laws.

    Fields
    ------
    initial_permeability : at weak field [1]
    rayleigh : rise of permeability with the field [m/A]
    saturation : flux density at 20 degC [T]
    curie : Curie temperature [degC]
    shape, power : of the magnetisation against temperature [1]
    source, status : where it comes from, and how it was had (one of `STATUSES`)
    """

    initial_permeability: float
    rayleigh: float
    saturation: float
    curie: float
    shape: float
    power: float
    source: str
    status: str

    def saturation_at(self, celsius: float) -> float:
        """Saturation flux density at `celsius` [T]; 0 above the Curie point."""
        return saturation_at(celsius, self.saturation, self.curie, self.shape, self.power)


@dataclass(frozen=True)
class Material:
    """One material.

    Fields
    ------
    name, title : key and description
    resistivity : [ohm m] against temperature
    heat_capacity : [J/(kg K)] against temperature, latent heat not in it
    conductivity : of heat [W/(m K)] against temperature
    density : [kg/m3] at 20 degC
    emissivity : total, of the surface in its usual state [1]
    solidus, liquidus : melting begins and is complete [degC]
    latent_heat : of melting [J/kg]
    magnetism : None when not ferromagnetic
    """

    name: str
    title: str
    resistivity: Table
    heat_capacity: Table
    conductivity: Table
    density: Table
    emissivity: Table
    solidus: Table
    liquidus: Table
    latent_heat: Table
    magnetism: Magnetism | None

    def is_magnetic(self, celsius: float) -> bool:
        """Whether the material is ferromagnetic at `celsius` [degC]."""
        return self.magnetism is not None and self.magnetism.saturation_at(celsius) > 0.0


UNITS = {
    "resistivity": "ohm m",
    "heat_capacity": "J/(kg K)",
    "conductivity": "W/(m K)",
    "density": "kg/m3",
    "emissivity": "1",
    "solidus": "degC",
    "liquidus": "degC",
    "latent_heat": "J/kg",
}


def _table(where: str, unit: str, entry: dict[str, Any]) -> Table:
    """A table, or a single value as a table of one point."""
    values = entry["values"] if "values" in entry else [entry["value"]]
    celsius = entry.get("celsius", [20.0])
    if len(values) != len(celsius) or sorted(celsius) != list(celsius):
        raise ValueError(f"{where}: celsius and values must have equal length, celsius rising")
    if entry["status"] not in STATUSES:
        raise ValueError(f"{where}: status must be one of {', '.join(STATUSES)}")
    return Table(
        tuple(map(float, celsius)),
        tuple(map(float, values)),
        unit,
        entry["source"],
        entry["status"],
    )


def _material(name: str, entry: dict[str, Any]) -> Material:
    tables = {key: _table(f"{name}.{key}", unit, entry[key]) for key, unit in UNITS.items()}
    magnetism = Magnetism(**entry["magnetism"]) if "magnetism" in entry else None
    return Material(name, entry["title"], magnetism=magnetism, **tables)


@cache
def materials() -> dict[str, Material]:
    """Every shipped material by name. Raises KeyError or ValueError for a faulty file.

    Values in SI units, [ohm m] and so on, as the fields say. Source: each value names its
    own. Range: each table's, see `Table.at`.
    """
    text = files("simkit.parts").joinpath("materials.toml").read_text(encoding="utf-8")
    return {name: _material(name, entry) for name, entry in tomllib.loads(text).items()}


def material(name: str) -> Material:
    """The material called `name`; KeyError names the nearest when there is none.

    Units, source and range as for `materials` [SI].
    """
    known = materials()
    if name in known:
        return known[name]
    near = get_close_matches(name, known, n=1)
    hint = f"; nearest: {near[0]}" if near else ""
    raise KeyError(f"no material called {name!r}{hint}; known: {', '.join(sorted(known))}")

"""Saturated steel at 30 points by the march through time of `diffusion`, recorded.

    python -m tests.reference.steel_points

renews `steel_points.json`, 2 to 5 s a point: fields 5 to 100 kA/m, 5 to 300 kHz, 20 to 760 degC.
"""

from __future__ import annotations

import json
from pathlib import Path

from simkit.parts.magnetics import saturated_permeability
from simkit.parts.materials import material
from tests.reference.diffusion import flux_depth

FILE = Path(__file__).with_name("steel_points.json")
POINTS = [
    (1e3 * kilo, 1e3 * khz, celsius)
    for celsius, khz in ((20.0, 5.0), (200.0, 30.0), (500.0, 80.0), (650.0, 20.0), (720.0, 300.0),
                         (760.0, 100.0))
    for kilo in (5.0, 12.0, 30.0, 60.0, 100.0)
]  # fmt: skip


def curve_at(celsius: float) -> tuple[float, float, float, float]:
    """Initial permeability, its rise [m/A], saturation [T] and resistivity [ohm m] of the steel."""
    steel = material("low-carbon-steel")
    magnetism = steel.magnetism
    assert magnetism is not None
    rho = steel.resistivity.at(celsius, "steel").value
    saturation = magnetism.saturation_at(celsius)
    return magnetism.initial_permeability, magnetism.rayleigh, saturation, rho


def marched(field: float, frequency: float, celsius: float) -> complex:
    """tau of the reference [m]."""
    *curve, rho = curve_at(celsius)
    return flux_depth(lambda h: saturated_permeability(h, *curve), field, rho, frequency)


def main() -> None:
    """March every point anew."""
    rows = []
    for point in POINTS:
        tau = marched(*point)
        rows.append([*point, *curve_at(point[2]), tau.real, tau.imag])
        print(rows[-1], flush=True)
    FILE.write_text(
        "[\n" + ",\n".join(" " + json.dumps(row) for row in rows) + "\n]\n", encoding="utf-8"
    )


if __name__ == "__main__":
    main()

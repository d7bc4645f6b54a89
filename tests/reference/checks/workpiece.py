"""Published figures for workpieces and their materials."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from simkit.parts.magnetics import saturated_permeability, spontaneous_magnetisation
from simkit.parts.materials import material
from simkit.parts.skin import long_rod_power, rod_flux_depth, skin_depth
from tests.reference.checks import Check

GRAPHITE = 1 / 5.88e4  # [ohm m]
LUPI = "Lupi, Fundamentals of Electroheat (2017), chapter 6, eq. 6.17"
BORE_AREA = math.pi * 22e-3**2  # [m2], coil of 44 mm bore


def _graphite_power() -> float:
    return long_rod_power(60e-3, 42e-3, GRAPHITE, 84800 / (2 * math.pi), 3 * 100 / 42e-3)


def _depths() -> list[Check]:
    rows = {30: (16e-8, 40.0), 760: (104.2e-8, 1.0), 900: (114.6e-8, 1.0)}
    return [
        Check(
            f"WRK-11-{celsius}", "penetration depth of 0.4 % carbon steel [m]",
            f"{celsius} degC, 1000 Hz, {rho:g} ohm m, mu_r {mu:g}",
            503.3 * math.sqrt(rho / (mu * 1e3)), 1e-4, "the rule's constant has four digits",
            "503.3 sqrt(rho/(mu_r f)), Davies and Simpson, Induction Heating Handbook, 1979 "
            "(recalled from memory)", partial(skin_depth, rho, 1e3, mu),
        )
        for celsius, (rho, mu) in rows.items()
    ]  # fmt: skip


def _steel_data() -> list[Check]:
    rows = {200: 29.2e-8, 400: 48.7e-8, 600: 75.8e-8, 800: 109.4e-8, 1000: 116.7e-8}
    return [
        Check(
            f"WRK-12-{celsius}", "resistivity of carbon steel, shipped data [ohm m]",
            f"{celsius} degC", value, 0.03, "steels of 0.2 and 0.4 % carbon differ by up to 3 %",
            "British Iron and Steel Research Association, Physical Constants of Some Commercial "
            "Steels at Elevated Temperatures, 1953, 0.23 % C (recalled from memory)",
            lambda at=celsius: material("low-carbon-steel").resistivity.at(at, "").value,  # type: ignore[misc]
        )
        for celsius, value in rows.items()
    ]  # fmt: skip


def _ratio(rho: float, mu: float, diameter: float) -> float:
    """L with the bar over L without, in a long coil that just holds the area [1]."""
    a = diameter / 2
    tau = complex(rod_flux_depth(a, rho, 80e3, np.array([mu]))[0])
    return 1 + (2 * math.pi * a * tau.real - math.pi * a**2) / BORE_AREA


def _thin_skin() -> list[Check]:
    """The design identity for a thin skin, against the exact solution."""
    checks = []
    for mu, diameter in ((200.0, 16e-3), (44.0, 16e-3), (44.0, 8e-3)):
        a, depth = diameter / 2, skin_depth(1.6e-7, 80e3, mu)
        expected = 1 + (mu * math.pi * a * depth - math.pi * a**2) / BORE_AREA
        checks.append(
            Check(
                f"WRK-30-{mu:g}-{diameter * 1e3:g}",
                "L with a bar over L without, long coil of 44 mm bore [1]",
                f"mu_r {mu:g}, bar {diameter * 1e3:g} mm, 80 kHz, 1.6e-7 ohm m",
                expected,
                0.003,
                "flat-skin identity; the curvature of the bar adds skin/diameter of its flux",
                "flux of mu_r pi a delta against the area shut out, any text on induction heating",
                partial(_ratio, 1.6e-7, mu, diameter),
            )
        )
    return checks


def _saturation() -> list[Check]:
    steel = material("low-carbon-steel").magnetism
    assert steel is not None

    def mu(field: float) -> float:
        return float(
            saturated_permeability(
                field, steel.initial_permeability, steel.rayleigh, steel.saturation
            )
        )

    return [
        Check(
            f"WRK-31-{field / 1e3:g}", "permeability of carbon steel at the surface field [1]",
            f"{field:g} A/m peak", 8130.0 * (field / 100.0) ** -0.894, 0.12,
            "an empirical power law over many carbon steels; R goes with its square root",
            "Lupi, mu = 8130 H^-0.894 with H in A/cm, recalled from memory",
            partial(mu, field),
        )
        for field in (6e3, 12e3, 20e3, 33e3, 60e3)
    ]  # fmt: skip


CHECKS = (
    Check(
        "WRK-01", "power in a long graphite cylinder [W]",
        "radius 60 mm, 42 mm long, 7143 A/m peak, omega 84 800 rad/s", 325.85418, 1e-4,
        "the same formula, eight printed digits", LUPI, _graphite_power,
    ),
    Check(
        "WRK-02", "the same against finite elements [W]", "as WRK-01", 323.730, 0.01,
        "the finite elements are 0.65 % below the formula by their own account",
        "open finite-element verification set, doi 10.5281/zenodo.13890393", _graphite_power,
    ),
    Check(
        "WRK-05", "reflected resistance [ohm]", "as WRK-01, 3 turns, 100 A peak", 65.171e-3,
        1e-3, "five printed digits", "from WRK-01, R = 2 P/I^2",
        lambda: 2 * _graphite_power() / 100.0**2,
    ),
    *_depths(),
    *_steel_data(),
    Check(
        "WRK-13", "Curie temperature of steel, shipped data [degC]", "iron", 770.0, 1.0,
        "textbooks agree within a kelvin",
        "1043 K, Kittel, Introduction to Solid State Physics, table of ferromagnets (recalled from "
        "memory)",
        lambda: material("low-carbon-steel").magnetism.curie,  # type: ignore[union-attr]
        absolute=True,
    ),
    Check(
        "WRK-32", "magnetisation of iron at 20 degC over that at absolute zero [1]", "iron",
        217.6 / 221.7, 0.005, "three digits of the measurement",
        "Crangle and Goodman, Proc. R. Soc. A 321 (1971) 477, recalled from memory",
        partial(spontaneous_magnetisation, 20.0, 770.0, 0.35, 4.0),
    ),
    *_thin_skin(),
    *_saturation(),
)  # fmt: skip

"""Cooling water."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from simkit.parts.cooling import (
    Channel,
    boiling_point,
    coolant_rise,
    friction_factor,
    gnielinski,
    pressure_drop,
    reynolds,
    water_density,
    water_heat_capacity,
    water_viscosity,
)
from simkit.parts.ranged import Figure
from tests.reference.checks import Check

_IAPWS = "IAPWS-97, as computed with the iapws library"
_KELL = "both describe measurements to 1e-5; the reference is printed to five digits"
_DENSITY = {10: 999.70, 20: 998.21, 25: 997.05, 40: 992.22, 60: 983.21}
_CAPACITY = {10: 4195.4, 20: 4184.8, 25: 4181.9, 40: 4178.6, 60: 4182.8}
_LITRE = 1e-3 / 60


def _value(formula: Callable[[float], Figure], celsius: float) -> float:
    return formula(celsius).value


def _fluids_drop() -> float:
    """The fluids library's pressure drop of the turbulent case below [Pa]."""
    from fluids.core import Reynolds, dP_from_K
    from fluids.friction import Blasius
    from iapws import IAPWS97

    water = IAPWS97(T=293.15, P=0.101325)
    velocity = 1.5 * _LITRE / (3.14159265358979 * 2e-3**2)
    number = Reynolds(V=velocity, D=4e-3, rho=water.rho, mu=water.mu)
    return float(dP_from_K(K=Blasius(number) * 1.5 / 4e-3, rho=water.rho, V=velocity))


CHECKS = (
    *(
        Check(
            f"THM-04-rho-{celsius}", "density of water [kg/m3]", f"{celsius} degC, 1 atm",
            expected, 1e-4, _KELL, _IAPWS,
            partial(_value, water_density, celsius),
        )
        for celsius, expected in _DENSITY.items()
    ),
    *(
        Check(
            f"THM-04-cp-{celsius}", "heat capacity of water [J/(kg K)]", f"{celsius} degC, 1 atm",
            expected, 1e-3, "the formula's own accuracy against older measurements, 0.1 %", _IAPWS,
            partial(_value, water_heat_capacity, celsius),
        )
        for celsius, expected in _CAPACITY.items()
    ),
    Check(
        "THM-05", "temperature rise of cooling water [K]", "1 kW, 1 litre a minute, 25 degC",
        14.39, 1e-3, "given to four digits, heat capacity to 0.1 %",
        "heat balance with IAPWS-97, computed apart from the project",
        lambda: coolant_rise(1e3, _LITRE, 25.0).value,
    ),
    Check(
        "WTR-01", "viscosity of water [Pa s]", "20 degC",
        1.0016e-3, 0.025, "Vogel's equation with handbook constants, 2.5 %",
        "IAPWS 2008 formulation of viscosity (recalled from memory)",
        lambda: water_viscosity(20.0).value,
    ),
    Check(
        "WTR-02", "boiling point of water [degC]", "3 bar absolute",
        133.52, 0.003, "0.3 K, the accuracy of Antoine's equation",
        "steam tables (recalled from memory)", lambda: boiling_point(3e5).value,
    ),
    Check(
        "WTR-03", "friction factor of a smooth tube [1]", "Re 10 000",
        0.0309, 0.03, "Blasius' law follows the implicit one to 3 % from 4000 to 1e5",
        "Prandtl and Karman's law of smooth tubes, Moody chart (recalled from memory)",
        lambda: friction_factor(1e4).value,
    ),
    Check(
        "WTR-04", "pressure drop of a coil's tube [Pa]",
        "1.5 litres a minute, 4 mm bore, 1.5 m, 20 degC", _fluids_drop(), 0.01,
        "viscosity enters to the power 1/4: 2.5 % makes 0.7 %",
        "fluids library with water of IAPWS-97",
        lambda: pressure_drop(Channel(4e-3, 1.5), 1.5 * _LITRE, 20.0).value,
    ),
    Check(
        "WTR-05", "Reynolds number at which that flow is turbulent beyond doubt [1]",
        "1.5 litres a minute, 4 mm bore, 20 degC", 7929.0, 0.025,
        "2.5 % of viscosity",
        "4 q/(pi d nu) with nu = 1.0034e-6 m2/s (IAPWS, recalled from memory)",
        lambda: reynolds(Channel(4e-3, 1.5), 1.5 * _LITRE, 20.0),
    ),
    Check(
        "WTR-06", "Nusselt number of turbulent flow [1]", "Re 20 000, Pr 6",
        0.023 * 2e4**0.8 * 6.0**0.4, 0.2, "the two correlations differ by up to 20 % here",
        "Dittus and Boelter 1930 (recalled from memory)", lambda: gnielinski(2e4, 6.0),
    ),
)  # fmt: skip

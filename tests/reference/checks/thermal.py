"""Junction temperature, heating and melting."""

from __future__ import annotations

import math
from functools import partial

from scipy.integrate import solve_ivp

from simkit.parts.heating import (
    Body,
    Losses,
    body_of,
    heat_content,
    heat_up,
    radiated,
    stall_temperature,
)
from simkit.parts.materials import material
from simkit.parts.thermal import (
    Foster,
    Stack,
    conduction_loss,
    electro_thermal,
    on_resistance,
    thermal_impedance,
)
from tests.oracles.heating import furnace_power
from tests.oracles.thermal import pulsed_rise
from tests.reference.checks import Check

_NETWORK = Foster((0.7, 0.3), (0.7, 3.0))
_STEP = (0.1, 0.56, 3.2, 18.0, 100.0)
_FUSION = {"silver": 104.76e3, "copper": 208.67e3, "aluminium": 396.94e3}
_MELT = {"silver": 1234.93, "copper": 1357.77, "aluminium": 933.473}
_CAPACITY = {"silver": 235.5, "copper": 384.0, "aluminium": 896.9}
_CRC = "CRC Handbook by way of the chemicals library"
_ALUMINIUM = Body(10.0, (20.0,), (950.0,), 660.0, 660.0, 387e3)
_NO_LOSS = Losses(0.0, 0.0, math.inf, 20.0)


def _stepped(time: float) -> float:
    """The network's answer to 1 W from its differential equations, stage by stage [K/W]."""
    done = solve_ivp(
        lambda _t, rise: [
            (1.0 - u / r) / (tau / r)
            for u, r, tau in zip(rise, _NETWORK.resistances, _NETWORK.times, strict=True)
        ],
        (0.0, time), [0.0, 0.0], rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    return float(done.y[:, -1].sum())


def _plateau(name: str) -> float:
    """Temperature at which a heated charge starts to melt [K]."""
    course = heat_up((body_of(material(name), 0.1),), _NO_LOSS, 1e3, 20.0, 1400.0)
    return float(course.celsius[course.molten == 0.0][-1]) + 273.15


def _latent(name: str) -> float:
    """Heat from just below to just above the melting point, per kilogram [J/kg]."""
    melting = material(name).solidus.values[0]
    return heat_content(body_of(material(name), 1.0), melting, melting + 0.002).value


def _capacity(name: str) -> float:
    """Heat for 1 K from 25 degC, per kilogram [J/(kg K)]."""
    return heat_content(body_of(material(name), 1.0), 25.0, 26.0).value


CHECKS = (
    *(
        Check(
            f"THM-06-{index}", "step response of a Foster network [K/W]",
            f"0.7 and 0.3 K/W, 0.7 and 3.0 s, at {time:g} s", _stepped(time), 1e-6,
            "the integrator's own tolerance, 1e-10, many times over",
            "C dT/dt = P - T/R of each stage, integrated here with scipy's solve_ivp",
            partial(thermal_impedance, _NETWORK, time),
        )
        for index, time in enumerate(_STEP)
    ),
    *(
        Check(
            f"THM-01-{name}", "temperature at which a heated charge begins to melt [K]", name,
            expected, 1e-4, "0.1 K: the fixed points are printed to 0.01 K",
            f"ITS-90, {_CRC}", partial(_plateau, name),
        )
        for name, expected in _MELT.items()
    ),
    *(
        Check(
            f"THM-02-{name}", "heat taken up in melting [J/kg]", name,
            expected, 0.01, "handbooks differ by 0.5 %; 2 mK of heating come with it",
            _CRC, partial(_latent, name),
        )
        for name, expected in _FUSION.items()
    ),
    *(
        Check(
            f"THM-03-{name}", "heat for one kelvin at 25 degC [J/(kg K)]", name,
            expected, 0.01, "handbooks differ by 0.5 %; half a kelvin above 25 degC", _CRC,
            partial(_capacity, name),
        )
        for name, expected in _CAPACITY.items()
    ),
    Check(
        "THM-10a", "heat to melt aluminium [J]",
        "10 kg, 20 to 660 degC, 950 J/(kg K), 387 kJ/kg", 10.0 * (950.0 * 640.0 + 387e3), 1e-5,
        "exact arithmetic; a millikelvin of heating past the melting point comes with it",
        "m (c dT + L), worked out here; inputs are the check's own",
        lambda: heat_content(_ALUMINIUM, 20.0, 660.001).value,
    ),
    Check(
        "THM-10b", "power at the supply for it [W]", "20 min, 75 %",
        9950e3 / (1200.0 * 0.75), 1e-5, "as THM-10a", "E/(t eta), worked out here from THM-10a",
        lambda: furnace_power(heat_content(_ALUMINIUM, 20.0, 660.001).value, 1200.0, 0.75),
    ),
    Check(
        "THM-11", "heat to melt iron and bring it to the ladle [kWh/t]", "cast iron to 1450 degC",
        340.0, 0.1, "foundries give one figure for 'iron', grade and temperature not stated",
        "common practice, no source: the furnace trade's theoretical figure",
        lambda: heat_content(body_of(material("cast-iron"), 1e3), 20.0, 1450.0).value / 3.6e6,
    ),
    Check(
        "THM-20", "radiation of a black surface at 1000 K [W/m2]", "surroundings at 0 K",
        56703.7, 1e-5, "constant of six digits", "Stefan-Boltzmann constant, CODATA 2018",
        lambda: radiated(Losses(1.0, 1.0, math.inf, -273.15), 726.85),
    ),
    Check(
        "THM-21", "temperature of a black surface in sunlight, one side [degC]",
        "1361 W/m2, surroundings at 0 K", 394.0 - 273.15, 0.005,
        "printed to three digits of kelvin", "subsolar temperature of an airless body at the "
        "Earth's distance, 394 K (recalled from memory)",
        lambda: stall_temperature(Losses(1.0, 1.0, math.inf, -273.15), 1361.0),
    ),
    Check(
        "THM-22", "rise with half of the time on, over the steady rise [1]",
        "one stage, period far below its time constant", 0.5, 1e-3,
        "what is left is the ripple, period/(8 tau) of the mean",
        "mean power rules when pulses are short, IEC 60747-9 (recalled from memory)",
        lambda: pulsed_rise(Foster((1.0,), (1.0,)), 1.0, 0.5e-3, 1e-3),
    ),
    Check(
        "THM-23", "R_DS(on) at 100 degC over 25 degC [1]", "given 2.3 at 150 degC (class value)",
        1.65, 0.1, "curves of the class are read to 5 %, and parts differ by 5 %",
        "common practice, no source: high-voltage silicon MOSFETs show 1.6 to 1.75",
        lambda: on_resistance(1.0, 2.3, 150.0, 100.0).value,
    ),
    Check(
        "THM-24", "junction at which the loop is at its last balance [K]",
        "n = 2.38, 313.15 K ambient, power 1e-4 below the tangent",
        2.3789 * 313.15 / 1.3789, 0.01,
        "1e-4 below the tangent the balance lies sqrt(2e-4/(n (n - 1))) = 0.8 % below it",
        "tangent of T = T_a + A T^n, T = n T_a/(n - 1)",
        lambda: _near_runaway(),
    ),
)  # fmt: skip


def _near_runaway() -> float:
    """Junction temperature at 0.9999 of the largest power the loop can carry [K]."""
    n, ambient, r = math.log(2.3) / math.log(423.15 / 298.15), 313.15, 2.0
    touching = n * ambient / (n - 1.0)
    square = 0.9999 * (touching - ambient) / (r * 0.1 * (touching / 298.15) ** n)
    loss = conduction_loss(0.1, 0.23, 150.0, math.sqrt(square))
    stack = Stack(1.0, 0.5, 0.5, 40.0)
    return electro_thermal(loss, stack, ceiling=2000.0).junction + 273.15

"""Cooling water in the coil's tube: properties, temperature rise, boiling, pressure drop."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure, out_of_range

ATMOSPHERE = 101325.0
LAMINAR, TURBULENT = 2300.0, 4000.0


@dataclass(frozen=True)
class Channel:
    """The bore the water runs through.

    Fields
    ------
    bore : inner diameter [m]
    length : of tube, leads included [m]
    """

    bore: float
    length: float

    def __post_init__(self) -> None:
        positive(bore=self.bore, length=self.length)

    @property
    def area(self) -> float:
        """Cross-section of the bore [m2]."""
        return 0.25 * math.pi * self.bore**2


@dataclass(frozen=True)
class WaterSide:
    """How the water carries the coil's loss.

    Fields
    ------
    rise : of the water, inlet to outlet; of what it would be, when it boils [K]
    outlet : temperature [degC]
    wall : temperature of the bore at the outlet, the hottest place [degC]
    boiling_point : at the pressure there [degC]
    margin : boiling point less wall, negative when it boils [K]
    boils : whether the wall at the outlet reaches the boiling point
    velocity : [m/s]
    reynolds : [1]
    pressure_drop : [Pa]
    outside : notes on the range, see `ranged.Figure`
    """

    rise: float
    outlet: float
    wall: float
    boiling_point: float
    margin: float
    boils: bool
    velocity: float
    reynolds: float
    pressure_drop: float
    outside: tuple[str, ...] = ()


def water_density(celsius: float) -> Figure:
    """Density of water at atmospheric pressure [kg/m3].

    (999.83952 + 16.945176 T - 7.9870401e-3 T^2 - 46.170461e-6 T^3 + 105.56302e-9 T^4
    - 280.54253e-12 T^5)/(1 + 16.87985e-3 T), T = `celsius` [degC]. Source: G. S. Kell,
    J. Chemical and Engineering Data 20 (1975) 97 (recalled from memory). Range: 0 to 100 degC.
    """
    t = celsius
    terms = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)
    value = sum(term * t**power for power, term in enumerate(terms)) / (1.0 + 16.87985e-3 * t)
    return Figure(value, "kg/m3", "Kell 1975", _liquid(celsius))


def _liquid(celsius: float) -> tuple[str, ...]:
    return out_of_range("water temperature", celsius, 0.0, 100.0, "degC")


def water_heat_capacity(celsius: float) -> Figure:
    """Heat capacity of water at atmospheric pressure [J/(kg K)].

    4217.4356 - 5.6181625 T + 1.2992528 T^1.5 - 0.11535353 T^2 + 4.14964e-3 T^2.5, T =
    `celsius` [degC]. Source: C. O. Popiel, J. Wojtkowiak, Heat Transfer Engineering 19 (1998)
    87 (recalled from memory). Range: 0 to 100 degC.
    """
    t = max(celsius, 0.0)
    value = 4217.4356 - 5.6181625 * t + 1.2992528 * t**1.5
    value += -0.11535353 * t**2 + 4.14964e-3 * t**2.5
    return Figure(value, "J/(kg K)", "Popiel and Wojtkowiak 1998", _liquid(celsius))


def water_viscosity(celsius: float) -> Figure:
    """Dynamic viscosity of water: 2.414e-5 10^(247.8/(T - 140)) [Pa s].

    T in kelvin, `celsius` [degC]. Source: Vogel's equation with handbook constants (recalled
    from memory), 2.5 %. Range: 0 to 100 degC.
    """
    value = 2.414e-5 * math.pow(10.0, 247.8 / (celsius + 273.15 - 140.0))
    return Figure(value, "Pa s", "Vogel's equation", _liquid(celsius))


def water_conductivity(celsius: float) -> Figure:
    """Conductivity of heat of water: 0.6065 (-1.48445 + 4.12292 T* - 1.63866 T*^2) [W/(m K)].

    T* = T/298.15 K, `celsius` [degC]. Source: M. L. V. Ramires and others, J. Physical and
    Chemical Reference Data 24 (1995) 1377 (recalled from memory), 1 %. Range: 0 to 100 degC.
    """
    t = (celsius + 273.15) / 298.15
    value = 0.6065 * (-1.48445 + 4.12292 * t - 1.63866 * t**2)
    return Figure(value, "W/(m K)", "Ramires and others 1995", _liquid(celsius))


def boiling_point(pressure: float) -> Figure:
    """Temperature at which water boils [degC].

    T = B/(A - log10 p) - C, p in mmHg; 8.07131, 1730.63, 233.426 up to 1 atm, 8.14019,
    1810.94, 244.485 above. `pressure` absolute [Pa]; ValueError when not above 0. Source:
    Antoine's equation with handbook constants (recalled from memory), 0.3 K to 10 bar.
    Range: 0.02 to 10 bar.
    """
    positive(pressure=pressure)
    a, b, c = (8.07131, 1730.63, 233.426)
    if pressure > ATMOSPHERE:
        a, b, c = (8.14019, 1810.94, 244.485)
    value = b / (a - math.log10(pressure / 133.322)) - c
    notes = out_of_range("pressure", pressure, 2e3, 1e6, "Pa")
    return Figure(value, "degC", "Antoine's equation", notes)


def coolant_rise(power: float, flow: float, inlet: float) -> Figure:
    """Temperature rise of the water: P/(rho q c_p) [K].

    `power` P carried off [W], `flow` q [m3/s], `inlet` temperature [degC], at which density
    and heat capacity are taken. ValueError for a flow not above 0. Source: heat balance.
    Range: water stays liquid, inlet plus rise to 100 degC.
    """
    positive(flow=flow)
    heat = water_density(inlet).value * water_heat_capacity(inlet).value * flow
    notes = out_of_range("outlet", inlet + power / heat, 0.0, 100.0, "degC")
    return Figure(power / heat, "K", "heat balance", notes)


def reynolds(channel: Channel, flow: float, celsius: float) -> float:
    """Re = rho v d/mu [1] for `flow` [m3/s] of water at `celsius` [degC]. Source: definition.

    Exact but for the viscosity, whose range is the water's.
    """
    velocity = flow / channel.area
    fluid = water_density(celsius).value / water_viscosity(celsius).value
    return fluid * velocity * channel.bore


def friction_factor(number: float) -> Figure:
    """Darcy friction factor of a smooth straight tube [1].

    64/Re when laminar, to Re = 2300; 0.3164 Re^-0.25 from there. `number` Re [1]; ValueError
    when not above 0. Source: Hagen-Poiseuille; H. Blasius, 1913 (both textbook). Range: to
    2300 and from 4000 to 1e5; between them the flow decides, and the larger is taken.
    """
    positive(number=number)
    if number <= LAMINAR:
        return Figure(64.0 / number, "1", "Hagen-Poiseuille")
    notes = out_of_range("Reynolds number", number, TURBULENT, 1e5)
    return Figure(0.3164 / math.pow(number, 0.25), "1", "Blasius 1913", notes)


def pressure_drop(channel: Channel, flow: float, celsius: float) -> Figure:
    """Pressure the tube takes: f (l/d) rho v^2/2 [Pa].

    `flow` [m3/s] of water at `celsius` [degC]. Source: Darcy and Weisbach, textbook, with
    `friction_factor`. Range: as there; a straight tube, so a wound coil takes more (some tens
    of per cent when laminar and tightly wound), and fittings come on top.
    """
    positive(flow=flow)
    factor = friction_factor(reynolds(channel, flow, celsius))
    dynamic = 0.5 * water_density(celsius).value * (flow / channel.area) ** 2
    value = factor.value * channel.length / channel.bore * dynamic
    return Figure(value, "Pa", factor.source, factor.outside)


def film_coefficient(channel: Channel, flow: float, celsius: float) -> Figure:
    """Heat transfer from the bore to the water, Nu k/d [W/(m2 K)].

    Laminar, Re to 2300: Nu = 4.364. From 4000: Nu = (f/8)(Re - 1000) Pr/(1 + 12.7 sqrt(f/8)
    (Pr^(2/3) - 1)), f = (0.79 ln Re - 1.64)^-2; between, a straight line from one to the
    other. `flow` [m3/s], `celsius` of the water [degC]. Source: fully developed laminar flow
    at uniform heat flux, textbook; V. Gnielinski 1976 with Petukhov's f (recalled from
    memory). Range: Re to 2300 and 4000 to 5e6; 10 % when turbulent. Curvature mixes the water
    and makes it better, so a wound coil is not worse than this.
    """
    positive(flow=flow)
    number = reynolds(channel, flow, celsius)
    conductivity = water_conductivity(celsius).value
    prandtl = water_heat_capacity(celsius).value * water_viscosity(celsius).value / conductivity
    share = min(max((number - LAMINAR) / (TURBULENT - LAMINAR), 0.0), 1.0)
    nusselt = (1.0 - share) * 4.364 + share * gnielinski(max(number, TURBULENT), prandtl)
    notes: tuple[str, ...] = ()
    if number > LAMINAR:
        notes = out_of_range("Reynolds number", number, TURBULENT, 5e6)
    return Figure(nusselt * conductivity / channel.bore, "W/(m2 K)", "Gnielinski 1976", notes)


def gnielinski(number: float, prandtl: float) -> float:
    """Nusselt number of turbulent flow in a smooth tube [1]; formula in `film_coefficient`.

    `number` Re [1], `prandtl` Pr [1]. Source and range as there.
    """
    eighth = 0.125 / (0.79 * math.log(number) - 1.64) ** 2
    below = 1.0 + 12.7 * math.sqrt(eighth) * (math.pow(prandtl, 2.0 / 3.0) - 1.0)
    return eighth * (number - 1000.0) * prandtl / below


def water_side(
    channel: Channel,
    power: float,
    flow: float,
    inlet: float,
    outlet_pressure: float = ATMOSPHERE,
) -> WaterSide:
    """How the water carries `power` [W] off the coil, and whether it boils.

    rise = P/(rho q c_p); wall = outlet + P/(h pi d l), with h at the mean temperature of the
    water; it boils when the wall reaches the boiling point at `outlet_pressure` (absolute
    [Pa]). `flow` [m3/s], `inlet` [degC]. ValueError for a flow not above 0. Source: the
    formulae named in `coolant_rise`, `film_coefficient`, `pressure_drop`, `boiling_point`.
    Range: as there, heat spread evenly along the tube; wall boiling starts some kelvin above
    the boiling point, so the test errs towards boiling.
    """
    not_negative(power=power)
    warmed = coolant_rise(power, flow, inlet)
    outlet = inlet + warmed.value
    # Beyond its boiling point the water's formulae mean nothing; they are taken there.
    mean = min(0.5 * (inlet + outlet), 100.0)
    film = film_coefficient(channel, flow, mean)
    wall = outlet + power / (film.value * math.pi * channel.bore * channel.length)
    boiling = boiling_point(outlet_pressure)
    drop = pressure_drop(channel, flow, mean)
    notes = dict.fromkeys(warmed.outside + film.outside + boiling.outside + drop.outside)
    return WaterSide(
        rise=warmed.value,
        outlet=outlet,
        wall=wall,
        boiling_point=boiling.value,
        margin=boiling.value - wall,
        boils=wall >= boiling.value,
        velocity=flow / channel.area,
        reynolds=reynolds(channel, flow, mean),
        pressure_drop=drop.value,
        outside=tuple(notes),
    )

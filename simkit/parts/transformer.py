"""Matching transformer: inductances, flux, walking of the flux, and winding resistance."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure, out_of_range

MU0 = 4e-7 * math.pi


@dataclass(frozen=True)
class FluxWalk:
    """What unequal halves do to the flux when no capacitor blocks direct current.

    Fields
    ------
    average_voltage : DC left on the winding [V]
    first_step : flux density gained in the first cycle [T]
    current : DC that flows in the end [A]
    offset : flux density at that current [T]
    time_constant : of the way there [s]
    """

    average_voltage: float
    first_step: float
    current: float
    offset: float
    time_constant: float


def inductance_factor(area: float, path: float, mu_r: float, gap: float = 0.0) -> Figure:
    """A_L = mu0 A_e/(l_e/mu_r + g) [H], per turn squared.

    `area` A_e [m2], `path` l_e [m], `mu_r` [1], `gap` g in all [m]. ValueError for values
    not above 0. Source: reluctances in series, Erickson and Maksimovic, "Fundamentals of
    Power Electronics", section on the air gap (recalled from memory). Range: fringing left
    out, so a gap to a tenth of sqrt(A_e); weak field, the material's initial permeability.
    """
    positive(area=area, path=path, mu_r=mu_r)
    not_negative(gap=gap)
    notes = out_of_range("gap", gap, 0.0, 0.1 * math.sqrt(area), "m")
    return Figure(MU0 * area / (path / mu_r + gap), "H", "reluctances in series", notes)


def magnetising_inductance(factor: float, turns: float) -> float:
    """L_m = A_L N^2 [H]; `factor` A_L [H], `turns` N [1]. Source: definition of A_L. Exact."""
    positive(factor=factor, turns=turns)
    return factor * turns**2


def leakage_inductance(
    turns: float, mean_turn: float, height: float, spacing: float, layers: float
) -> Figure:
    """Leakage of two concentric windings, seen from the one with `turns` N [H].

    L = mu0 N^2 MLT/h (d + b/3), with `mean_turn` MLT [m], `height` h of the winding along
    the core [m], `spacing` d of insulation between the windings [m], `layers` b the build of
    both windings together [m]. ValueError for values not above 0. Source: E. C. Snelling,
    "Soft Ferrites" (1969), chapter on leakage inductance (recalled from memory). Range: low
    frequency (skin effect lowers the b/3 part); h at least 3 times (d + b).
    """
    positive(turns=turns, mean_turn=mean_turn, height=height)
    not_negative(spacing=spacing, layers=layers)
    slender = height / max(spacing + layers, 1e-12)
    notes = out_of_range("height/(spacing + layers)", slender, 3.0, math.inf)
    value = MU0 * turns**2 * mean_turn / height * (spacing + layers / 3.0)
    return Figure(value, "H", "field in the window of concentric windings", notes)


def coaxial_leakage(turns: float, length: float, inner: float, outer: float) -> float:
    """Leakage of a winding around a single-turn tube through the core, seen from it [H].

    L = mu0 N^2 l/(2 pi) ln(r_o/r_i): the field between the tube of radius `inner` r_i and the
    winding of mean radius `outer` r_o [m] over the `length` l in the core [m], `turns` N [1].
    ValueError when r_o does not exceed r_i. Source: inductance of a coaxial line, textbook.
    Range: current on the tube's surface; the leads outside the core come on top.
    """
    positive(turns=turns, length=length, inner=inner)
    if outer <= inner:
        raise ValueError(f"outer is {outer:g} m; it must exceed inner, {inner:g} m")
    return MU0 * turns**2 * length / (2.0 * math.pi) * math.log(outer / inner)


def square_flux(
    voltage: float, frequency: float, turns: float, area: float, dead_time: float = 0.0
) -> float:
    """Peak flux density with a symmetrical square voltage: B = V (1/(2f) - t_d)/(2 N A) [T].

    `voltage` V on the winding [V], `frequency` f [Hz], `turns` N [1], `area` A [m2],
    `dead_time` t_d in each half with no voltage [s]; leave it out where the tank's current
    keeps the bridge at a rail during the dead time. ValueError for values not above 0.
    Source: Faraday's law; Erickson and Maksimovic eq. 12.25 ff. with lambda = V (T/2 - t_d).
    Exact without DC (`offset_flux` adds).
    """
    positive(frequency=frequency, turns=turns, area=area)
    on_time = 0.5 / frequency - dead_time
    positive(on_time=on_time)
    return volt_second_flux(voltage * on_time, turns, area)


def volt_second_flux(volt_seconds: float, turns: float, area: float) -> float:
    """Peak flux density from the volt-seconds of one half wave: lambda/(2 N A) [T].

    `volt_seconds` [V s], `turns` N [1], `area` A [m2]. Source: Faraday's law. Exact.
    """
    positive(turns=turns, area=area)
    return volt_seconds / (2.0 * turns * area)


def sine_flux(voltage: float, frequency: float, turns: float, area: float) -> float:
    """Peak flux density with a sine voltage: B = sqrt(2) V/(2 pi f N A) [T].

    `voltage` V [V rms], the rest as for `square_flux`. The 4.44 of the trade is 2 pi/sqrt(2).
    Source: Faraday's law. Exact.
    """
    positive(frequency=frequency, turns=turns, area=area)
    return math.sqrt(2.0) * voltage / (2.0 * math.pi * frequency * turns * area)


def offset_flux(magnetising: float, current: float, turns: float, area: float) -> float:
    """Flux density of a direct current: B = L_m I/(N A) [T].

    `magnetising` L_m seen from the winding of `turns` N that carries `current` I [H], [1],
    [A]; `area` A [m2]. Source: N phi = L I. Exact below saturation.
    """
    positive(magnetising=magnetising, turns=turns, area=area)
    return magnetising * current / (turns * area)


def flux_walk(
    voltage: float,
    frequency: float,
    time_error: float,
    resistance: float,
    magnetising: float,
    winding: tuple[float, float],
    voltage_error: float = 0.0,
) -> FluxWalk:
    """DC flux from two halves that differ, without a blocking capacitor.

    The halves differ by `time_error` dt [s] in length and by `voltage_error` dV [V] in
    height, so that V_avg = V dt f + dV/2, at `voltage` V [V] and `frequency` f [Hz]. The flux
    gains V_avg/(f N A) in the first cycle and ends at I = V_avg/R with `resistance` R of
    source, switches and winding [ohm], after the time constant L_m/R; `magnetising` L_m [H],
    `winding` = (turns [1], core area [m2]). ValueError for values not above 0. Source:
    Faraday's and Ohm's laws. Range: below saturation; above it the current is the same and
    the flux is the core's at that current.
    """
    turns, area = winding
    positive(frequency=frequency, resistance=resistance, turns=turns, area=area)
    average = voltage * time_error * frequency + 0.5 * voltage_error
    current = average / resistance
    step = average / (frequency * turns * area)
    offset = offset_flux(magnetising, current, turns, area)
    return FluxWalk(average, step, current, offset, magnetising / resistance)


def cycles_to_flux(walk: FluxWalk, room: float, frequency: float) -> float:
    """Cycles until the walking flux has used up `room` [T], from none; inf when never [1].

    n = -(L/R) f ln(1 - room/offset), the exponential of `flux_walk`; `frequency` [Hz].
    Source: L di/dt + R i = V. Exact below saturation, averaged over the cycle.
    """
    positive(room=room, frequency=frequency)
    if abs(walk.offset) <= room:
        return math.inf
    return -walk.time_constant * frequency * math.log1p(-room / abs(walk.offset))


def copper_resistivity(celsius: float) -> Figure:
    """Resistivity of annealed copper: 1.724e-8 (1 + 0.00393 (T - 20)) [ohm m].

    `celsius` [degC]. Source: International Annealed Copper Standard, IEC 60028 (1925)
    (recalled from memory). Range: -50 to 200 degC.
    """
    notes = out_of_range("temperature", celsius, -50.0, 200.0, "degC")
    return Figure(1.724e-8 * (1.0 + 0.00393 * (celsius - 20.0)), "ohm m", "IEC 60028", notes)


def wire_dc_resistance(length: float, diameter: float, resistivity: float) -> float:
    """R = 4 rho l/(pi d^2) [ohm]; `length` [m], `diameter` [m], `resistivity` [ohm m].

    ValueError for values not above 0. Source: Ohm's law. Exact.
    """
    positive(length=length, diameter=diameter, resistivity=resistivity)
    return 4.0 * resistivity * length / (math.pi * diameter**2)


def wire_ac_resistance(
    length: float, diameter: float, resistivity: float, frequency: float, strands: int = 1
) -> Figure:
    """AC resistance of a single layer-less winding, skin effect in each strand [ohm].

    R_dc/strands times the Bessel ratio of `skin.wire_ratio`; `diameter` of a strand and
    `length` [m], `resistivity` [ohm m], `frequency` [Hz], `strands` in parallel [1]. Source:
    NBS Circular 74 by way of `skin.wire_ratio`. Range: proximity left out, so one strand
    alone, or strands below one skin depth in radius; layers: `layer_ratio`.
    """
    from simkit.parts.skin import skin_depth, wire_ratio

    positive(strands=strands)
    ratio = wire_ratio(0.5 * diameter, resistivity, frequency).real
    value = wire_dc_resistance(length, diameter, resistivity) * ratio / strands
    notes: tuple[str, ...] = ()
    if strands > 1:
        relative = 0.5 * diameter / skin_depth(resistivity, frequency)
        notes = out_of_range("strand radius/skin depth", relative, 0.0, 1.0)
    return Figure(value, "ohm", "Bessel solution of a round wire", notes)


def layer_ratio(thickness: float, resistivity: float, frequency: float, layers: int) -> Figure:
    """AC over DC resistance of a winding of `layers` m of foil, or of round wire as foil [1].

    F = D ((sinh 2D + sin 2D)/(cosh 2D - cos 2D)
           + (2/3)(m^2 - 1)(sinh D - sin D)/(cosh D + cos D)), D = thickness/delta.
    `thickness` of a layer [m]: of a foil, or (pi/4)^(3/4) d sqrt(d/pitch) for round wire of
    diameter d; `resistivity` [ohm m], `frequency` [Hz]. ValueError for values not above 0.
    Source: P. L. Dowell, Proc. IEE 113 (1966) 1387, in the form of Erickson and Maksimovic
    (recalled from memory). Range: layers that fill the window's height, field zero on one
    side of the winding; a few per cent for foil, 10 % or more for spaced wire. D to 50.
    """
    from simkit.parts.skin import skin_depth

    positive(thickness=thickness, layers=layers)
    d = thickness / skin_depth(resistivity, frequency)
    notes = out_of_range("thickness/skin depth", d, 0.0, 50.0)
    x = min(d, 50.0)
    skin = (math.sinh(2 * x) + math.sin(2 * x)) / (math.cosh(2 * x) - math.cos(2 * x))
    near = (math.sinh(x) - math.sin(x)) / (math.cosh(x) + math.cos(x))
    value = d * (skin + 2.0 / 3.0 * (layers**2 - 1) * near)
    return Figure(value, "1", "P. L. Dowell, Proc. IEE 113 (1966) 1387", notes)


def bridge_fundamental(link: float, half: bool = False, conduction: float = 1.0) -> float:
    """Peak of the fundamental that a bridge makes of its link voltage [V].

    V1 = (4/pi) V sin(pi D/2) for a full bridge, half of it for a half bridge; `link` V [V],
    `conduction` D the share of each half period at a rail [1]. ValueError for D outside
    (0, 1]. Source: Erickson and Maksimovic eq. 22.2; Fourier series. Exact.
    """
    if not 0.0 < conduction <= 1.0:
        raise ValueError(f"conduction is {conduction:g}; it must be above 0 and at most 1")
    full = 4.0 / math.pi * link * math.sin(0.5 * math.pi * conduction)
    return 0.5 * full if half else full

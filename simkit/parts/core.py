"""Magnetic cores: loss by Steinmetz and its improved generalised form, and saturation.

Steinmetz constants k, alpha, beta are for SI units: loss density [W/m3], frequency [Hz],
peak flux density [T].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from simkit.parts.inputs import positive
from simkit.parts.ranged import Figure, out_of_range

if TYPE_CHECKING:
    from simkit.parameters.machine import Transformer


@dataclass(frozen=True)
class Steinmetz:
    """Loss constants of a core material: P = k f^alpha B^beta [W/m3].

    Fields
    ------
    k, alpha, beta : in SI units; alpha and beta [1]
    low, high : frequencies the fit was made for [Hz]
    source : where the constants come from
    """

    k: float
    alpha: float
    beta: float
    low: float
    high: float
    source: str

    def __post_init__(self) -> None:
        positive(k=self.k, alpha=self.alpha, beta=self.beta, high=self.high)


@dataclass(frozen=True)
class SaturableCore:
    """Magnetising current as an odd, smooth function of flux linkage.

    Fields
    ------
    magnetising : inductance below the knee [H]
    saturated : inductance beyond the knee [H], below `magnetising`
    linkage : flux linkage at the knee, N A B_sat [Wb]
    rounding : from the knee to where the law is straight again, a share of `linkage` [1]
    """

    magnetising: float
    saturated: float
    linkage: float
    rounding: float = 0.02

    def __post_init__(self) -> None:
        positive(**vars(self))
        if self.saturated >= self.magnetising:
            raise ValueError("the saturated inductance must be below the magnetising inductance")
        if self.rounding >= 1.0:
            raise ValueError(f"rounding is {self.rounding:g}; it must be below 1")

    @property
    def low(self) -> float:
        """Linkage up to which the core is linear [Wb]."""
        return self.linkage * (1.0 - self.rounding)

    @property
    def high(self) -> float:
        """Linkage from which on it is saturated [Wb]."""
        return self.linkage * (1.0 + self.rounding)

    @property
    def bend(self) -> float:
        """Factor of the squares in the law [A/Wb^2]."""
        return self.steeper / (2.0 * (self.high - self.low))

    @property
    def steeper(self) -> float:
        """By how much the law is steeper beyond the knee than below it [1/H]."""
        return 1.0 / self.saturated - 1.0 / self.magnetising


def _fitted(material: Steinmetz, frequency: float) -> tuple[str, ...]:
    return out_of_range("frequency", frequency, material.low, material.high, "Hz")


def igse_constant(material: Steinmetz) -> float:
    """Constant k_i of the improved generalised Steinmetz equation [SI].

    k_i = k/((2 pi)^(alpha-1) 2^(beta-alpha) integral_0^2pi |cos|^alpha), the integral being
    2 sqrt(pi) Gamma((alpha+1)/2)/Gamma(alpha/2+1). Source: K. Venkatachalam, C. R. Sullivan,
    T. Abdallah, H. Tacca, IEEE COMPEL 2002, eq. 4 (recalled from memory). Exact: a sine flux
    gives back Steinmetz' law.
    """
    a = material.alpha
    integral = 2.0 * math.sqrt(math.pi) * math.gamma((a + 1.0) / 2.0) / math.gamma(a / 2.0 + 1.0)
    turn = math.pow(2.0 * math.pi, a - 1.0)
    return material.k / (turn * math.pow(2.0, material.beta - a) * integral)


def igse_loss(material: Steinmetz, times: Sequence[float], flux: Sequence[float]) -> Figure:
    """Core loss density of one period of a flux drawn with straight lines [W/m3].

    P = (1/T) integral k_i |dB/dt|^alpha dB_pp^(beta-alpha) dt. `times` [s] rise and cover one
    period, `flux` [T] at those times, first and last equal. ValueError for a flux that is no
    period. Source: as for `igse_constant`. Range: the fit's frequencies; no minor loops
    inside the period; no bias and no relaxation while the flux stands still.
    """
    if len(times) != len(flux) or len(times) < 3 or abs(flux[0] - flux[-1]) > 1e-9:
        raise ValueError("times and flux must cover one period, flux ending where it began")
    if any(later <= sooner for sooner, later in pairwise(times)):
        raise ValueError("times must rise")
    swing, period = max(flux) - min(flux), times[-1] - times[0]
    total = 0.0
    for (t0, t1), (b0, b1) in zip(pairwise(times), pairwise(flux), strict=True):
        total += math.pow(abs(b1 - b0) / (t1 - t0), material.alpha) * (t1 - t0)
    value = igse_constant(material) * math.pow(swing, material.beta - material.alpha) * total
    return Figure(value / period, "W/m3", material.source, _fitted(material, 1.0 / period))


def square_loss(
    material: Steinmetz, frequency: float, peak: float, idle_share: float = 0.0
) -> Figure:
    """Core loss density with a square voltage, so that the flux is a trapezium [W/m3].

    `frequency` [Hz], `peak` flux density [T], `idle_share` of the period with no voltage [1]
    (two dead times over the period, when the voltage is zero in them). `igse_loss` of that
    flux; errors, source and range as there. The 'no voltage' parts are taken to lose nothing;
    real ferrite relaxes there, so a long idle share reads low.
    """
    positive(frequency=frequency, peak=peak)
    if not 0.0 <= idle_share < 1.0:
        raise ValueError(f"idle_share is {idle_share:g}; it must be from 0 to below 1")
    half, idle = 0.5 / frequency, 0.5 * idle_share / frequency
    times = [0.0, half - idle, half, 2.0 * half - idle, 2.0 * half]
    flux = [-peak, peak, peak, -peak, -peak]
    if idle == 0.0:
        times, flux = [0.0, half, 2.0 * half], [-peak, peak, -peak]
    return igse_loss(material, times, flux)


def saturation_flux(cold: float, hot: float, celsius: float) -> Figure:
    """Saturation flux density between two data-sheet points, 25 and 100 degC [T].

    B = cold + (hot - cold) (T - 25)/75, `cold` at 25 degC and `hot` at 100 degC [T],
    `celsius` [degC]. Source: straight line between given points (own choice; ferrites fall
    nearly straight there). Range: 0 to 140 degC, beyond it the fall steepens.
    """
    positive(cold=cold, hot=hot)
    value = cold + (hot - cold) * (celsius - 25.0) / 75.0
    notes = out_of_range("temperature", celsius, 0.0, 140.0, "degC")
    return Figure(value, "T", "straight line between two data-sheet points", notes)


def saturable_core(
    magnetising: float, turns: float, area: float, saturation: float, saturated: float
) -> SaturableCore:
    """The core's law from turns and data sheet: the knee is at N A B_sat.

    `magnetising` and `saturated` inductance seen from the winding [H], `turns` N [1],
    `area` A [m2], `saturation` B_sat [T]. ValueError for impossible values. Source:
    Faraday's law; the shape of the law is the project's own (`excess_current`). Range as
    for `excess_current`.
    """
    return SaturableCore(magnetising, saturated, turns * area * saturation)


def air_core_inductance(turns: float, area: float, path: float) -> float:
    """Inductance left when the core is saturated: mu0 N^2 A/l [H].

    `turns` N [1], `area` A of the winding, at least the core's [m2], `path` l [m]. Source:
    Ampere's law with mu_r = 1. Range: an estimate, low for a short open winding.
    """
    positive(turns=turns, area=area, path=path)
    return 4e-7 * math.pi * turns**2 * area / path


def excess_current(core: SaturableCore, linkage: float) -> float:
    """What saturation adds to the magnetising current of a linear core [A].

    +-c (r(|lambda| - low)^2 - r(|lambda| - high)^2), with r(x) = max(x, 0), low and high =
    K (1 -+ rounding), K = `core.linkage`, and c such that the slope beyond `high` is
    1/L_far - 1/L_m: nothing below `low`, straight beyond `high`, a parabola between, slope
    continuous. `linkage` lambda [Wb]. Only ramps and products, so it goes into a circuit as it
    stands. Source: two straight lines with a parabola between, the project's own choice. At
    the knee the field is rounding B_sat/(4 mu0) above the linear one, 1.3 kA/m for 0.32 T and
    the default rounding: about the 1.2 kA/m at which data sheets of power ferrite state B_sat
    (recalled from memory). Range: no hysteresis; real ferrite leaves the straight line sooner,
    by less than that field.
    """
    size = abs(linkage)
    squares = max(size - core.low, 0.0) ** 2 - max(size - core.high, 0.0) ** 2
    return math.copysign(core.bend * squares, linkage)


def magnetising_current(core: SaturableCore, linkage: float) -> float:
    """Current at a flux linkage: lambda/L_m below the knee, steep above it [A].

    `linkage` lambda [Wb]. Source and range as for `excess_current`; loss is added apart.
    """
    return linkage / core.magnetising + excess_current(core, linkage)


def transformer_core(transformer: Transformer) -> SaturableCore | None:
    """The matching transformer's core as the circuit has it; None when its path is not given.

    Beyond saturation the winding keeps what it would have without the core,
    `air_core_inductance` of the core's area and path. ValueError when that exceeds the
    magnetising inductance. Source and range as for `saturable_core`. Inductances in [H],
    linkage in [Wb].
    """
    if transformer.core_path is None:
        return None
    turns, area = transformer.primary_turns, transformer.core_area
    return saturable_core(
        transformer.magnetising_inductance,
        turns,
        area,
        transformer.saturation_flux,
        air_core_inductance(turns, area, transformer.core_path),
    )

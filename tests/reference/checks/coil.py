"""Published figures for coil inductance, skin effect and proximity."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from scipy.integrate import solve_ivp

from simkit.parts.coil import CoilGeometry, coil_from_geometry, turns_impedance
from simkit.parts.inductance import (
    filament_mutual,
    medhurst_proximity,
    nagaoka_coefficient,
    rosa_count,
    rosa_spacing,
    round_wire_inductance,
    sheet_inductance,
)
from simkit.parts.rings import loop_field, loop_potential
from simkit.parts.skin import skin_depth, tube_impedance, wire_internal_inductance, wire_ratio
from tests.reference.checks import Check

COPPER = 1.724e-8  # [ohm m], annealed, International Electrotechnical Commission
NAGAOKA = "Nagaoka 1909, J. Coll. Sci. Tokyo 27(6), table p. 31, read second-hand"


def _nagaoka() -> list[Check]:
    table = {
        0.25: 0.901649, 0.5: 0.818136, 1: 0.688423, 2: 0.525510, 3: 0.429199,
        5: 0.319825, 7: 0.258407, 10: 0.203315,
    }  # fmt: skip
    return [
        Check(
            f"IND-01-{shape:g}",
            "Nagaoka's coefficient K [1]",
            f"diameter/length {shape:g}",
            value,
            5e-5,
            "six printed digits, computed by series in 1909",
            NAGAOKA,
            partial(nagaoka_coefficient, float(shape), 1.0),
        )
        for shape, value in table.items()
    ]


def _lundin(shape: float) -> float:
    """Lundin's closed form of K, written here from the paper's coefficients."""

    def first(x: float) -> float:
        return (1 + 0.383901 * x + 0.017108 * x**2) / (1 + 0.258952 * x)

    def second(x: float) -> float:
        return 0.093842 * x + 0.002029 * x**2 - 0.000801 * x**3

    if shape <= 1.0:
        return first(shape**2) - 4 * shape / (3 * math.pi)
    x = 1 / shape**2
    return 2 / (math.pi * shape) * ((math.log(4 * shape) - 0.5) * first(x) + second(x))


def _closed_form() -> list[Check]:
    return [
        Check(
            f"IND-03-{shape:g}",
            "Nagaoka's coefficient K against a closed form [1]",
            f"diameter/length {shape:g}",
            _lundin(shape),
            3.5e-6,
            "the closed form is stated accurate to about 3 ppm",
            "Lundin, Proc. IEEE 73 (1985) 1428, read second-hand",
            partial(nagaoka_coefficient, shape, 1.0),
        )
        for shape in (0.01, 0.3, 0.9, 1.2, 10.0, 100.0)
    ]


def _rosa() -> list[Check]:
    source = "Rosa and Grover table, recalled from memory"
    spacing = {1: 0.557, 0.9: 0.452, 0.7: 0.200, 0.5: -0.136, 0.3: -0.647, 0.1: -1.746}
    count = {2: 0.114, 3: 0.166, 5: 0.218, 10: 0.266, 20: 0.296, 100: 0.327, 1000: 0.336}
    why = "three printed digits"
    return [
        Check(
            f"IND-07-{ratio:g}", "Rosa's A [1]", f"wire/pitch {ratio:g}", value, 0.002, why,
            source, partial(rosa_spacing, float(ratio), 1.0), absolute=True,
        )
        for ratio, value in spacing.items()
    ] + [
        Check(
            f"IND-08-{turns}", "Rosa's B [1]", f"{turns} turns", value, 0.002, why, source,
            partial(rosa_count, float(turns)), absolute=True,
        )
        for turns, value in count.items()
    ]  # fmt: skip


def _skin() -> list[Check]:
    frequency = 100e3
    ratio = {0.5: 1.0003, 1: 1.0052, 2: 1.0782, 3: 1.318, 4: 1.678, 5: 2.043, 10: 3.799}
    inner = {1: 0.99741, 2: 0.96114, 3: 0.84517, 5: 0.55597, 10: 0.28162}
    depth = {10e3: 0.66083e-3, 50e3: 0.29553e-3, 100e3: 0.20897e-3, 200e3: 0.14777e-3}

    def radius(x: float) -> float:
        return x * skin_depth(COPPER, frequency) / math.sqrt(2.0)

    checks = [
        Check(
            f"SKN-01-{x:g}", "R/R0 of a solid round wire [1]", f"x = sqrt(2) r/delta = {x:g}",
            value, 1e-3, "four printed digits", "NBS Circular 74, recalled from memory",
            lambda x=x: wire_ratio(radius(x), COPPER, frequency).real,  # type: ignore[misc]
        )
        for x, value in ratio.items()
    ]  # fmt: skip
    checks += [
        Check(
            f"SKN-09-{x:g}", "internal inductance over 50 nH/m [1]", f"x = {x:g}", value, 1e-4,
            "five digits of the Bessel solution", "Bessel functions evaluated with scipy",
            lambda x=x: wire_internal_inductance(radius(x), COPPER, frequency) / 5e-8,  # type: ignore[misc]
        )
        for x, value in inner.items()
    ]  # fmt: skip
    checks += [
        Check(
            f"SKN-08-{f:g}", "skin depth of copper [m]", f"{f:g} Hz, 1.724e-8 ohm m", value,
            1e-4, "five printed digits", "arithmetic from the definition",
            partial(skin_depth, COPPER, f),
        )
        for f, value in depth.items()
    ]  # fmt: skip
    return checks


def _thin_turn() -> float:
    radius, wire = 0.05, 0.5e-3
    inside = skin_depth(COPPER, 10e6) / (2 * wire)
    return 4e-7 * math.pi * radius * (math.log(8 * radius / wire) - 2.0 + inside)


def _single_turn() -> float:
    """One turn of thin wire by the ring method [H]."""
    geometry = CoilGeometry(1.0, 99e-3, 1e-3, 0.5e-3, 2e-3, 0.0, 0.0)
    return turns_impedance(geometry, COPPER, 10e6).imag / (2 * math.pi * 10e6)


def _proximity(turns: float, pitch: float, diameter: float) -> float:
    geometry = CoilGeometry(turns, diameter - 1e-3, 1e-3, 0.5e-3, pitch, 0.0, 0.0)
    return coil_from_geometry(geometry, 5e6, COPPER).proximity


def _medhurst() -> list[Check]:
    cases = [(30.0, 1.5e-3, 50e-3), (40.0, 2e-3, 80e-3), (60.0, 1.667e-3, 50e-3)]
    return [
        Check(
            f"SKN-20-{i + 1}",
            "AC resistance of a coil over that of its wire stretched [1]",
            f"{turns:g} turns, pitch/wire {pitch * 1e3:g}, length/diameter "
            f"{turns * pitch / diameter:.2g}",
            medhurst_proximity(turns * pitch, diameter, pitch, 1e-3).value,
            0.12,
            "measurements of 1947 on coils with formers, read between the table's points",
            "Medhurst, Wireless Engineer 24 (1947) 35, table VIII, read second-hand",
            partial(_proximity, turns, pitch, diameter),
        )
        for i, (turns, pitch, diameter) in enumerate(cases)
    ]


def _tube_by_equation() -> float:
    """Resistance of the tube of SKN-11 per metre, the field integrated through its wall [ohm/m]."""
    k = 2j * math.pi * 100e3 * 4e-7 * math.pi / COPPER
    done = solve_ivp(
        lambda r, y: [y[1], k * y[0] - y[1] / r],
        (2e-3, 3e-3), [1.0 + 0j, 0j], rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    field, slope = done.y[:, -1]
    # Ampere's law at the surface: I = 2 pi r H, and E' = j omega mu0 H.
    current = 2 * math.pi * 3e-3 * slope / (2j * math.pi * 100e3 * 4e-7 * math.pi)
    return float((field / current).real)


def _one(value: float) -> np.ndarray:
    return np.array([value])


CHECKS = (
    *_nagaoka(),
    *_closed_form(),
    Check(
        "IND-05", "inductance of a current sheet [H]", "400 turns, radius 10 cm, length 40 cm",
        12.919e-3, 2e-4, "five printed digits, 0.02 % as the tables of K then had",
        "NBS Circular 74, single-layer example, recalled from memory",
        partial(sheet_inductance, 400.0, 0.2, 0.4),
    ),
    *_rosa(),
    Check(
        "IND-09a", "work coil as a current sheet [H]", "5 turns, D 50 mm, length 50 mm",
        0.84931e-6, 1e-3, "five digits, no more needed at the bench",
        "Nagaoka's formula evaluated with scipy", partial(sheet_inductance, 5.0, 0.05, 0.05),
    ),
    Check(
        "IND-09b", "the same with round wire [H]", "tube 6 mm", 0.80783e-6, 1e-3,
        "Rosa's tables have three digits", "Nagaoka and Rosa, evaluated with scipy",
        lambda: round_wire_inductance(5.0, 0.05, 0.01, 0.006).value,
    ),
    Check(
        "IND-10", "one turn of thin wire, skin thin, by the ring method [H]",
        "D 100 mm, wire 1 mm, 10 MHz", _thin_turn(),
        0.003, "20 segments around the wire make it a polygon",
        "mu0 R (ln(8 R/a) - 2 + delta/2a), Smythe, Static and Dynamic Electricity, section 8.11, "
        "recalled from memory",
        _single_turn,
    ),
    Check(
        "IND-11", "field at the middle of a loop, H a [1]", "1 A", 0.5, 1e-9,
        "closed form, evaluated a hair beside the axis", "Biot and Savart",
        lambda: float(loop_field(_one(1e-7), _one(0.0), _one(1.0), _one(0.0))[1][0]),
    ),
    Check(
        "IND-12", "mutual inductance of two loops far apart [H]", "radii 1 m, 20 m apart",
        4e-7 * math.pi * math.pi / (2 * 20.0**3), 0.01,
        "the next term of the dipole series is 3 (a/z)^2, 0.75 %", "field of a dipole",
        lambda: float(
            2 * math.pi * loop_potential(_one(1.0), _one(20.0), _one(1.0), _one(0.0))[0]
        ),
    ),
    Check(
        "IND-13", "mutual inductance of parallel filaments, per mu0 l/2 pi [1]", "l = d",
        math.log(1 + math.sqrt(2)) - math.sqrt(2) + 1, 1e-9, "closed form at l = d",
        "Grover, Inductance Calculations, chapter 5, recalled from memory",
        lambda: filament_mutual(1.0, 1.0) / 2e-7,
    ),
    *_skin(),
    Check(
        "SKN-04", "skin depth of copper [m]", "60 Hz", 8.5e-3, 0.01, "printed with two digits",
        "Ramo, Whinnery and Van Duzer, Fields and Waves in Communication Electronics, table of "
        "skin depths, copper (recalled from memory)", partial(skin_depth, COPPER, 60.0),
    ),
    Check(
        "SKN-11", "AC resistance of a 6 mm tube per metre [ohm/m]", "wall 1 mm, 100 kHz",
        _tube_by_equation(), 1e-5, "the integrator's own tolerance, 1e-10, many times over",
        "(r E')'/r = j omega mu0 E/rho from the bore outwards, integrated here with scipy",
        lambda: tube_impedance(3e-3, 1e-3, COPPER, 100e3).real,
    ),
    Check(
        "SKN-12", "skin depth of graphite [m]", "5.88e4 S/m, omega 84 800 rad/s", 0.0178658,
        1e-5, "six printed digits",
        "open finite-element verification set, doi 10.5281/zenodo.13890393",
        lambda: skin_depth(1 / 5.88e4, 84800 / (2 * math.pi)),
    ),
    *_medhurst(),
)  # fmt: skip

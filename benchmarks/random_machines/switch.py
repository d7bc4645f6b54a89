"""The switch of a random machine: a shipped class part, or values written out.

The written values follow from a voltage class and a die size: resistance falls and capacitances
rise with the die; what they are at 600 V is of the size that class values have, round and no
part's.
"""

from __future__ import annotations

import random
from math import exp, log
from typing import Any

from benchmarks.random_machines.written import quantity, rounded

CLASSES = (100.0, 150.0, 200.0, 300.0, 500.0, 600.0, 650.0, 800.0, 1200.0)
"""Voltage classes on sale [V]; common practice, no source."""
PARTS = {
    "class-500v-planar": 300.0,
    "class-600v-planar": 380.0,
    "class-600v-superjunction": 380.0,
    "class-650v-superjunction": 400.0,
    "class-650v-sic": 400.0,
    "class-1200v-sic": 400.0,
}
"""Shipped class parts and the highest supply [V] that a builder gives them here."""
IGBTS = {
    "igbt-600v-20a-fast": 380.0,
    "igbt-600v-40a-fast": 380.0,
    "igbt-600v-50a-slow": 380.0,
    "igbt-1200v-40a-fast": 400.0,
    "igbt-1200v-75a-slow": 400.0,
}
"""The same of the IGBT classes."""
CURVE = ((1e-5, 0.013), (1e-4, 0.047), (1e-3, 0.15), (1e-2, 0.43), (1e-1, 0.9))
"""Transient impedance over the steady one, by time [s]: of the shape such curves have."""


def igbt_part(rng: random.Random, voltage: float) -> str:
    """An IGBT class for the supply [V]; supplies are drawn so that all of them fit."""
    return rng.choice([name for name, top in IGBTS.items() if voltage <= top])


def class_part(rng: random.Random, voltage: float) -> str | None:
    """A class part for the supply [V], in four of ten machines of mains voltage."""
    fit = [name for name, top in PARTS.items() if 0.3 * top < voltage <= top]
    return rng.choice(fit) if fit and rng.random() < 0.45 else None


def written_switch(rng: random.Random, voltage: float, current: float) -> dict[str, Any]:
    """Tables of a switch for a supply [V] and an expected rms current [A]."""
    least = voltage * rng.uniform(1.35, 2.2)
    rating = next((c for c in CLASSES if c >= least), CLASSES[-1])
    die = max(current, 2.0) / 8.0 * exp(rng.gauss(0.0, 0.35))
    stress = rating / 600.0
    resistance = 0.075 / die * stress**1.6 + 0.004
    found = {
        "name": f"{rating:g} V class, values written out",
        "source": "datasheet class",
        "channel": _channel(rng, rating, die, stress, resistance),
        "diode": _diode(rng, die, stress, current),
        "package": {
            "source": "estimated",
            "drain_inductance": quantity(rng.uniform(2e-9, 6e-9), "H", 2),
            "common_source_inductance": quantity(rng.uniform(0.5e-9, 4e-9), "H", 2),
            "source_inductance": quantity(rng.uniform(1e-9, 4e-9), "H", 2),
            "lead_damping": quantity(rng.uniform(10.0, 30.0), "ohm", 2),
        },
        "ratings": _ratings(rng, rating, die, current),
    }
    if rng.random() < 0.6:
        found["warming"] = {
            "junction_temperature": "25 degC",
            "resistance_exponent": rounded(rng.uniform(1.7, 2.5), 2),
        }
    return found


def _channel(
    rng: random.Random, rating: float, die: float, stress: float, resistance: float
) -> dict[str, Any]:
    return {
        "threshold": quantity(rng.uniform(2.5, 4.5), "V", 2),
        "transconductance": quantity(18.0 * die * rng.uniform(0.6, 1.6), "A/V^2", 2),
        "drain_resistance": quantity(resistance, "ohm", 2),
        "gate_resistance": quantity(rng.uniform(0.8, 3.0), "ohm", 2),
        "gate_source_capacitance": quantity(3.2e-9 * die * rng.uniform(0.6, 1.5), "F", 2),
        "gate_drain_capacitance_max": quantity(2.0e-9 * die * rng.uniform(0.6, 1.5), "F", 2),
        "gate_drain_capacitance_min": quantity(
            30e-12 * die / stress**0.5 * rng.uniform(0.5, 2.0), "F", 2
        ),
        "gate_drain_slope": rounded(rng.uniform(0.25, 0.6), 2),
        "output_capacitance_zero": quantity(2.4e-9 * die * rng.uniform(0.6, 1.8), "F", 2),
        "junction_potential": "0.8 V",
        "junction_grading": rounded(rng.uniform(0.4, 0.6), 2),
        "breakdown_voltage": quantity(1.1 * rating, "V"),
    }


def _diode(rng: random.Random, die: float, stress: float, current: float) -> dict[str, Any]:
    lifetime = exp(rng.uniform(log(0.06e-6), log(0.5e-6))) * min(stress, 1.2) ** 0.5
    amperes = max(2.0 * current, 4.0)
    return {
        "lifetime": quantity(lifetime, "s", 2),
        "transit_time": quantity(lifetime * rng.uniform(0.25, 0.45), "s", 2),
        "forward_voltage": quantity(rng.uniform(0.9, 1.3), "V", 2),
        "forward_current": quantity(amperes, "A", 2),
        "series_resistance": quantity(rng.uniform(0.15, 0.3) / amperes, "ohm", 2),
        "emission": 2.0,
    }


def _ratings(rng: random.Random, rating: float, die: float, current: float) -> dict[str, Any]:
    amperes = max(current, 1.0) * rng.uniform(1.3, 4.0)
    steady = rounded(0.32 / die**0.7 * rng.uniform(0.8, 1.3), 2)
    return {
        "drain_voltage": quantity(rating, "V"),
        "drain_current": quantity(amperes, "A", 2),
        "pulsed_current": quantity(amperes * rng.uniform(4.0, 6.5), "A", 2),
        "gate_voltage": f"{rng.choice((20, 25, 30))} V",
        "recovery_dv_dt": f"{rng.choice((10, 15, 30, 50))} V/ns",
        "recovery_di_dt": f"{rng.choice((300, 600, 900, 1500))} A/us",
        "avalanche_energy": "0.5 J",
        "junction_temperature": f"{rng.choice((150, 175))} degC",
        "thermal_resistance": quantity(steady, "K/W", 2),
        "transient": tuple(
            {"time": quantity(t, "s"), "impedance": quantity(steady * share, "K/W", 2)}
            for t, share in CURVE
        ),
    }

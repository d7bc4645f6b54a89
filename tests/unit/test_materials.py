"""The materials file and the laws of steel."""

from __future__ import annotations

import numpy as np
import pytest
from chemicals import Tm

from simkit.parts.magnetics import (
    saturated_permeability,
    spontaneous_magnetisation,
)
from simkit.parts.materials import STATUSES, UNITS, material, materials
from tests.oracles.magnetics import saturation_exponent, saturation_factor

WANTED = {
    "low-carbon-steel", "austenitic-stainless", "ferritic-stainless", "cast-iron", "copper",
    "brass", "aluminium", "silver", "graphite", "silicon-carbide-clay",
}  # fmt: skip


def test_every_material_is_there_with_source_and_status() -> None:
    assert set(materials()) == WANTED
    for one in materials().values():
        for key in UNITS:
            table = getattr(one, key)
            assert table.source, f"{one.name}.{key}"
            assert table.status in STATUSES
        assert one.solidus.values <= one.liquidus.values
        assert min(one.resistivity.values) > 0
        if one.magnetism is not None:
            assert one.magnetism.source
            assert one.magnetism.status in STATUSES


@pytest.mark.parametrize(
    ("name", "cas"),
    [("copper", "7440-50-8"), ("silver", "7440-22-4"), ("aluminium", "7429-90-5")],
)
def test_melting_points_of_pure_metals(name: str, cas: str) -> None:
    """Against the `chemicals` library; 0.1 K for the rounding of the file."""
    assert material(name).liquidus.values[0] + 273.15 == pytest.approx(Tm(cas), abs=0.1)


def test_unknown_name_is_refused_with_the_nearest() -> None:
    with pytest.raises(KeyError, match="nearest: copper"):
        material("coper")


def test_asking_beyond_the_table_says_so() -> None:
    figure = material("copper").resistivity.at(1500.0, "resistivity")
    assert "outside the formula's range" in figure.outside[0]
    assert material("copper").resistivity.at(100.0, "resistivity").outside == ()


def test_steel_is_magnetic_up_to_the_curie_point() -> None:
    steel = material("low-carbon-steel")
    assert steel.is_magnetic(769.0)
    assert not steel.is_magnetic(771.0)
    assert not material("austenitic-stainless").is_magnetic(20.0)
    falling = [spontaneous_magnetisation(t, 770.0, 0.35, 4.0) for t in range(-273, 800, 50)]
    assert falling == sorted(falling, reverse=True)
    assert falling[0] == pytest.approx(1.0, abs=1e-6)


def test_permeability_from_weak_to_saturated() -> None:
    field = np.array([0.0, 1e2, 1e4, 1e6, 1e8])
    mu = saturated_permeability(field, 200.0, 0.1, 2.0)
    assert mu[0] == pytest.approx(200.0)
    # Far into saturation only Bs is left: B - mu0 H = Bs.
    assert (mu[-1] - 1.0) * 4e-7 * np.pi * field[-1] == pytest.approx(2.0, rel=1e-2)
    assert mu[2] > mu[3] > mu[4] > 1.0


def test_froehlich_alone_halves_the_susceptibility_at_its_knee() -> None:
    """Hk = Bs/(mu0 (mu_i - 1)): there B - mu0 H = Bs/2 (Bozorth, recalled from memory)."""
    knee = 2.0 / (4e-7 * np.pi * 199.0)
    assert saturated_permeability(knee, 200.0, 0.0, 2.0) == pytest.approx(1.0 + 199.0 / 2)


@pytest.mark.parametrize("bad", [(0.5, 0.1, 2.0), (200.0, -1.0, 2.0), (200.0, 0.1, -2.0)])
def test_impossible_magnetism_is_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="must be at least"):
        saturated_permeability(1.0, *bad)


def half_space_impedance(field: float) -> complex:
    """Zs/(rho/delta) of saturating steel by finite differences, delta at the surface [1].

    Fundamental of the field over 20 skin depths, mu_r of the peak at every depth, iterated.
    """
    from scipy.linalg import solve_banded

    law = (200.0, 0.1, 2.0)
    surface = float(saturated_permeability(field, *law))
    # x in skin depths at the surface: H'' = 2j (mu/mu_s) H, H(0) = field, H(20) = 0.
    count = 8000
    step = 20.0 / count
    h = np.full(count, field, dtype=complex)
    for _ in range(200):
        mu = saturated_permeability(np.abs(h), *law) / surface
        bands = np.ones((3, count), dtype=complex)
        bands[1] = -2.0 - 2j * mu * step**2
        right = np.zeros(count, dtype=complex)
        right[0] = -field
        new = solve_banded((1, 1), bands, right)
        done = np.max(np.abs(new - h)) < 1e-6 * field
        h = 0.5 * (new + h)
        if done:
            break
    # -H'(0)/H(0), second order.
    return complex(-(-3 * field + 4 * h[0] - h[1]) / (2 * step) / field)


@pytest.mark.parametrize(("field", "tolerance"), [(10.0, 0.02), (1e4, 0.08), (3e4, 0.08)])
def test_saturating_half_space(field: float, tolerance: float) -> None:
    """Against finite differences; 8 %: the law is taken as a power by its surface slope."""
    factor = saturation_factor(saturation_exponent(field, 200.0, 0.1, 2.0))
    assert abs(complex(factor) * (1 + 1j) / half_space_impedance(field) - 1) < tolerance


def test_full_saturation_is_neimans() -> None:
    """1.37 and 0.97 for resistance and reactance (Neiman 1949, recalled from memory)."""
    factor = complex(saturation_factor(1.0)) * (1 + 1j)
    assert factor.real == pytest.approx(1.37, abs=0.005)
    assert factor.imag == pytest.approx(0.97, abs=0.005)

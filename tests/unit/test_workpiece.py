"""A workpiece in the coil: signs, limits, energy. Finite elements: tests/reference."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from simkit.parts.bodies import Charge, Piece, body_of
from simkit.parts.coil import CoilGeometry, Measured, coil_from_geometry
from simkit.parts.materials import Table, material
from simkit.parts.profiles import clearance, flip_of
from simkit.parts.rings import Block
from simkit.parts.workpiece import Loaded, workpiece_in_coil

GEOMETRY = CoilGeometry(5, 44e-3, 6e-3, 1e-3, 9e-3, 0.0, 0.0)
FREQUENCY = 80e3
COIL = coil_from_geometry(GEOMETRY, FREQUENCY, 1.72e-8)
STEEL = material("low-carbon-steel")
BAR = Piece(16e-3, 80e-3, None)
BENCH, FULL = 0.5, 300.0  # [A, peak]: a reading at low voltage, a kilowatt-class heater


def loaded(name: str, temperature: float = 20.0, current: float = 200.0, at: float = 0.0) -> Loaded:
    """The bar in the coil."""
    return workpiece_in_coil(COIL, BAR, material(name), temperature, current, FREQUENCY, at)


def column(points: list[Loaded], name: str) -> NDArray[np.float64]:
    return np.array([getattr(point, name) for point in points])


def change(piece: Piece, name: str, temperature: float, current: float) -> float:
    """L with the piece over L without [1]."""
    found = workpiece_in_coil(COIL, piece, material(name), temperature, current, FREQUENCY)
    assert found.warnings == ()
    return found.inductance / COIL.inductance


def test_cold_steel_raises_weakly_and_lowers_at_full_power() -> None:
    """The long coil's table (1.05 and 0.96), its change halved by the short coil; and saturated
    steel, followed through the period, carries a tenth more flux than at the permeability of its
    peak: 0.986 becomes 0.995.
    """
    assert change(BAR, "low-carbon-steel", 20.0, BENCH) == pytest.approx(1.025, abs=0.006)
    assert change(BAR, "low-carbon-steel", 20.0, FULL) == pytest.approx(0.995, abs=0.006)


def test_thin_bar_still_raises_at_full_power() -> None:
    """As in the design's table, 8 mm: flux of the skin outweighs the area shut out."""
    thin = Piece(8e-3, 80e-3, None)
    assert change(thin, "low-carbon-steel", 20.0, FULL) > 1.005


@pytest.mark.parametrize(
    ("name", "temperature"),
    [("low-carbon-steel", 900.0), ("copper", 20.0), ("graphite", 20.0), ("aluminium", 20.0)],
)
def test_what_is_not_magnetic_always_lowers(name: str, temperature: float) -> None:
    for current in (BENCH, FULL):
        assert change(BAR, name, temperature, current) < 1.0


def test_hot_steel_below_the_curie_point_raises_more_than_cold() -> None:
    """Resistivity thickens the skin that carries the flux (design's table, 400 degC)."""
    cold, hot = (change(BAR, "low-carbon-steel", t, FULL) for t in (20.0, 400.0))
    assert hot > 1.0 > cold


def test_field_of_the_sign_change() -> None:
    flip = flip_of(lambda current: loaded("low-carbon-steel", current=current), 0.1, 1e4)
    assert flip is not None
    assert BENCH < flip.coil_current < FULL
    # What the flux through the period makes of it: at the permeability of the peak it was 12.5.
    assert flip.surface_field == pytest.approx(16.8e3, rel=0.1)
    below, above = (
        change(BAR, "low-carbon-steel", 20.0, flip.coil_current * k) for k in (0.9, 1.1)
    )
    assert below > 1.0 > above
    assert flip_of(lambda current: loaded("copper", current=current), 0.1, 1e4) is None


def test_level_sweep_saturates_and_its_reflected_resistance_falls() -> None:
    sweep = [loaded("low-carbon-steel", current=level) for level in (100.0, 300.0, 1000.0)]
    assert np.all(np.diff(column(sweep, "mu_r")) < 0)
    assert np.all(np.diff(column(sweep, "resistance")) < 0)
    assert np.all(np.diff(column(sweep, "surface_field")) > 0)
    # Surface field between the long coil's I/pitch and the half of it that a short one has.
    assert 0.5 < sweep[-1].surface_field / (1000.0 / 9e-3) < 1.0


@pytest.mark.slow
def test_curie_sweep() -> None:
    """20 to 1000 degC: R rises with resistivity, falls severalfold at the Curie point."""
    celsius = np.array([20.0, 200.0, 400.0, 600.0, 720.0, 760.0, 769.9, 770.1, 800.0, 1000.0])
    sweep = [loaded("low-carbon-steel", float(one)) for one in celsius]
    reflected = column(sweep, "resistance") - COIL.resistance
    assert np.all(np.diff(reflected[:4]) > 0)
    assert np.all(np.diff(reflected[4:8]) < 0)
    assert max(reflected) / reflected[-1] > 5.0
    # Above it mu_r is 1, and what changes is resistivity alone: skin over it goes as its root.
    assert column(sweep, "mu_r")[7:] == pytest.approx(1.0)
    expected = math.sqrt(117.9 / STEEL.resistivity.at(800.0, "").value * 1e-8)
    # 3 %: the bar is only four skins in radius, so R grows slower than the root.
    assert reflected[-1] / reflected[-2] == pytest.approx(expected, rel=0.03)
    assert [point.warnings for point in sweep] == [()] * len(sweep)


def test_no_step_where_the_method_changes() -> None:
    """A rod changes from surface rings to volume rings as its skin thickens.

    5 % on R and 0.3 % on L: the two methods' own differences from finite elements.
    """
    results = []
    for diameter in (1.0001, 0.9999):
        # Hot steel: skin 1.9 mm at 80 kHz, so the limit of 0.45 radii is near 8.5 mm.
        skin = 1.0 / math.sqrt(
            math.pi * FREQUENCY * 4e-7 * math.pi / STEEL.resistivity.at(900.0, "").value
        )
        piece = Piece(2 * skin / 0.45 * diameter, 80e-3, None)
        results.append(workpiece_in_coil(COIL, piece, STEEL, 900.0, 10.0, FREQUENCY))
    assert results[0].reflected == pytest.approx(results[1].reflected, rel=0.05)
    assert results[0].inductance == pytest.approx(results[1].inductance, rel=0.003)


def test_pulled_out_it_is_the_empty_coil() -> None:
    for name, count in (("copper", 9), ("low-carbon-steel", 17)):
        places = np.linspace(0.0, clearance(COIL, BAR), count)
        way = [loaded(name, at=float(place)) for place in places]
        assert way[-1].inductance == pytest.approx(COIL.inductance, rel=1e-3)
        # 0.1 % of the loaded resistance is left.
        left = way[-1].resistance - COIL.resistance
        assert 0.0 <= left < 1e-3 * way[0].resistance
        assert np.all(np.diff(column(way, "resistance")) < 0)
        # Copper only shuts flux out, so L rises all the way.
        assert name != "copper" or np.all(np.diff(column(way, "inductance")) > 0)


def test_up_and_down_are_the_same() -> None:
    up, down = (
        workpiece_in_coil(COIL, BAR, STEEL, 20.0, 200.0, FREQUENCY, at) for at in (0.03, -0.03)
    )
    assert up.inductance == pytest.approx(down.inductance, rel=1e-9)
    assert up.reflected == pytest.approx(down.reflected, rel=1e-6)


@pytest.mark.slow
def test_long_bar_in_a_long_coil_is_the_bessel_solution() -> None:
    """Lupi 2017, chapter 6: reflected R of a slice of a long rod in a long coil.

    The slice is what a longer bar has more than a shorter one, so that their ends cancel.
    2 %: the coil is ten diameters long, which leaves 1 % of the field missing in its middle.
    """
    from simkit.parts.skin import long_rod_power

    turns, pitch = 60, 9e-3
    coil = coil_from_geometry(
        CoilGeometry(turns, 44e-3, 6e-3, 1e-3, pitch, 0.0, 0.0), FREQUENCY, 1.72e-8
    )
    graphite = material("graphite")
    short, long = (
        workpiece_in_coil(coil, Piece(30e-3, length, None), graphite, 20.0, 1.0, FREQUENCY)
        for length in (160e-3, 220e-3)
    )
    rho = graphite.resistivity.at(20.0, "").value
    power = long_rod_power(15e-3, 60e-3, rho, FREQUENCY, 1.0 / pitch)
    assert long.reflected - short.reflected == pytest.approx(2 * power, rel=0.02)


def test_measured_coil_scales_what_the_piece_adds() -> None:
    coil = coil_from_geometry(
        GEOMETRY, FREQUENCY, 1.72e-8, Measured(inductance=1.1 * COIL.inductance)
    )
    plain = workpiece_in_coil(COIL, BAR, STEEL, 20.0, 10.0, FREQUENCY)
    scaled = workpiece_in_coil(coil, BAR, STEEL, 20.0, 10.0, FREQUENCY)
    assert scaled.reflected / plain.reflected == pytest.approx(coil.scale, rel=1e-6)


def test_graphite_crucible_shields_its_charge_in_part() -> None:
    crucible, melt = Piece(32e-3, 40e-3, 4e-3), Piece(22e-3, 30e-3, None)
    graphite, copper = material("graphite"), material("copper")
    empty = workpiece_in_coil(COIL, crucible, graphite, 1000.0, 100.0, FREQUENCY)
    charge = Charge(melt, copper, 1000.0, -3e-3)
    full = workpiece_in_coil(COIL, crucible, graphite, 1000.0, 100.0, FREQUENCY, 0.0, charge)
    # The copper shuts out flux that would have gone through the bore.
    assert full.inductance < empty.inductance


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="does not pass"):
        workpiece_in_coil(COIL, Piece(50e-3, 80e-3, None), STEEL, 20.0, 1.0, FREQUENCY)
    with pytest.raises(ValueError, match="coil_current"):
        workpiece_in_coil(COIL, BAR, STEEL, 20.0, -1.0, FREQUENCY)
    charge = Charge(Piece(30e-3, 30e-3, None), STEEL, 20.0, 0.0)
    tube = Piece(32e-3, 40e-3, 4e-3)
    with pytest.raises(ValueError, match="does not fit"):
        workpiece_in_coil(COIL, tube, STEEL, 20.0, 1.0, FREQUENCY, 0.0, charge)


def test_outside_the_range_warns() -> None:
    near_curie = workpiece_in_coil(COIL, Piece(2e-3, 80e-3, None), STEEL, 769.9, 300.0, FREQUENCY)
    assert any("skin depth/radius" in note for note in near_curie.warnings)
    cold = workpiece_in_coil(COIL, BAR, STEEL, -50.0, 10.0, FREQUENCY)
    assert any("temperature for resistivity" in note for note in cold.warnings)
    far = workpiece_in_coil(COIL, BAR, STEEL, 20.0, 10.0, 4 * FREQUENCY)
    assert any("frequency/the coil's" in note for note in far.warnings)


def test_short_pieces_past_the_curie_point_are_filled() -> None:
    """Disc of 40 x 3 mm, 80 kHz, 1.15e-6 ohm m: 29.4 mohm by finite elements.

    Rings on its surface made 17.9 of it: at the two edges they left out what the skin of 1.9 mm
    cuts short in 3 mm. 2 %.
    """
    coil = coil_from_geometry(
        CoilGeometry(5, 44e-3, 6e-3, 3e-3, 9e-3, 0.0, 0.0), FREQUENCY, 1.72e-8
    )
    hot = replace(STEEL, resistivity=Table((20.0,), (1.15e-6,), "ohm m", "test", "estimated"))
    found = workpiece_in_coil(coil, Piece(40e-3, 3e-3, None), hot, 870.0, 1.0, FREQUENCY)
    assert found.reflected == pytest.approx(29.4e-3, rel=0.02)


def test_copper_and_piece_share_the_resistance() -> None:
    """A copper bar of 40 mm in a bore of 44 crowds the coil's current: 11 % more loss in the coil
    by finite elements; within 3 points."""
    coil = coil_from_geometry(
        CoilGeometry(5, 44e-3, 6e-3, 3e-3, 9e-3, 0.0, 0.0), FREQUENCY, 1.72e-8
    )
    found = workpiece_in_coil(
        coil, Piece(40e-3, 80e-3, None), material("copper"), 20.0, 1.0, FREQUENCY
    )
    assert found.copper_resistance / coil.resistance == pytest.approx(1.11, abs=0.03)
    assert found.piece_resistance + found.copper_resistance == pytest.approx(found.resistance)
    assert 0.3 < found.efficiency < 0.8


def test_a_skin_beyond_curie_over_a_magnetic_core_goes_through_a_maximum_of_l() -> None:
    """Surface 780 degC, core cooler: the flux of the core comes to the skin's. A core just below
    the Curie point carries flux under a skin that no longer shuts it out as a bar all beyond it.
    """

    def held(core: float) -> Loaded:
        return workpiece_in_coil(COIL, BAR, STEEL, 780.0, 300.0, FREQUENCY, core_temperature=core)

    through, cool = held(780.0), held(500.0)
    assert through.inductance < cool.inductance
    assert through.reflected < cool.reflected
    same = workpiece_in_coil(COIL, BAR, STEEL, 780.0, 300.0, FREQUENCY)
    assert through.inductance == pytest.approx(same.inductance)


def test_doubt_widens_beyond_the_range_and_says_so() -> None:
    near = workpiece_in_coil(COIL, Piece(30e-3, 2e-3, None), STEEL, 760.0, 300.0, FREQUENCY)
    assert near.doubt.beyond
    assert near.doubt.resistance > 0.1
    assert any("half length" in note for note in near.warnings)
    well = workpiece_in_coil(COIL, BAR, STEEL, 20.0, 300.0, FREQUENCY)
    assert not well.doubt.beyond
    assert well.doubt.resistance < 0.06


def test_flat_uneven_layered_and_inner_coils() -> None:
    """Two turns of a coil at a distance: L is twice the self plus twice the mutual inductance of
    rings, whatever the form; here of thin wire, where filaments serve (Maxwell's formula)."""
    wire = 1e-3
    flat = CoilGeometry(2, 60e-3, wire, wire / 2, 20e-3, 0.0, 0.0, form="flat")
    uneven = CoilGeometry(3, 60e-3, wire, wire / 2, 5e-3, 0.0, 0.0, steps=(4e-3, 20e-3))
    layers = CoilGeometry(4, 60e-3, wire, wire / 2, 5e-3, 0.0, 0.0, layers=2, layer_pitch=5e-3)
    for geometry in (flat, uneven, layers):
        coil = coil_from_geometry(geometry, 2e6, 1.72e-8)
        assert coil.computed_inductance == pytest.approx(_filaments(geometry, wire / 2), rel=0.01)


def _filaments(geometry: CoilGeometry, wire: float) -> float:
    """Sum over turns: mu0 a (ln(8 a/w) - 2), current on the surface; mutual by loop potential."""
    from simkit.parts.rings import loop_potential

    total = 0.0
    for i, (a, z, _) in enumerate(geometry.places):
        for j, (b, y, _) in enumerate(geometry.places):
            if i == j:
                total += 4e-7 * math.pi * a * (math.log(8 * a / wire) - 2.0)
            else:
                spots = (np.array([x]) for x in (a, z, b, y))
                total += 2 * math.pi * a * float(loop_potential(*spots)[0])
    return total


def test_a_tube_around_the_coil_is_heated_from_inside() -> None:
    coil = coil_from_geometry(
        CoilGeometry(6, 20e-3, 5e-3, 1e-3, 7e-3, 0.0, 0.0), FREQUENCY, 1.72e-8
    )
    around = Piece(50e-3, 40e-3, 8e-3)
    found = workpiece_in_coil(coil, around, material("copper"), 20.0, 1.0, FREQUENCY)
    assert found.inductance < coil.inductance
    with pytest.raises(ValueError, match="does not pass"):
        workpiece_in_coil(coil, Piece(50e-3, 40e-3, 12e-3), STEEL, 20.0, 1.0, FREQUENCY)


def test_bar_stock_is_solved_where_the_field_is() -> None:
    """Five metres of graphite beside a fifth of one: alike, and no more rings. 0.1 %: the field
    two and a half bores past the coil is below a hundredth (Biot-Savart on the axis)."""
    coil = coil_from_geometry(CoilGeometry(5, 44e-3, 6e-3, 3e-3, 9e-3, 0.0, 0.0), 75e3, 1.72e-8)
    made = material("graphite")
    short, long = (
        workpiece_in_coil(coil, Piece(16e-3, length, None), made, 20.0, 1.0, 75e3)
        for length in (0.22, 5.0)
    )
    assert long.reflected == pytest.approx(short.reflected, rel=1e-3)
    assert long.inductance_change == pytest.approx(short.inductance_change, rel=1e-3)
    # Drawn out until its end stands at the coil's middle: as the short one's.
    ends = [
        workpiece_in_coil(coil, Piece(16e-3, length, None), made, 20.0, 1.0, 75e3, length / 2)
        for length in (0.22, 5.0)
    ]
    assert ends[1].reflected == pytest.approx(ends[0].reflected, rel=1e-3)
    for body in (
        body_of(Piece(30e-3, 5.0, None), material(name), 20.0, 75e3, 0.0, 3e-3, reach=0.13)
        for name in ("copper", "graphite", "aluminium")
    ):
        assert len(body.rings.r) < 1500


def test_a_thin_skin_on_a_short_piece_is_filled() -> None:
    """Depth over half length 0.046: the surface's own impedance leaves a tenth out (finite
    elements, `tests/reference/load`)."""
    body = body_of(Piece(13.2e-3, 13e-3, None), material("aluminium"), 20.0, 75e3, 0.0, 3e-3)
    assert isinstance(body.rings, Block)


def test_a_charge_lies_where_it_is_said_to() -> None:
    """In a crucible that hardly conducts, a charge is a piece by itself at position plus offset."""
    thin = replace(
        material("graphite"), resistivity=Table((20.0,), (10.0,), "", "test", "estimated")
    )
    crucible, held = Piece(34e-3, 50e-3, 3e-3), Piece(24e-3, 20e-3, None)
    metal = material("copper")
    for position, offset in ((0.0, 12e-3), (15e-3, 12e-3), (15e-3, -12e-3)):
        charge = Charge(held, metal, 20.0, offset)
        found = workpiece_in_coil(COIL, crucible, thin, 20.0, 1.0, FREQUENCY, position, charge)
        alone = workpiece_in_coil(COIL, held, metal, 20.0, 1.0, FREQUENCY, position + offset)
        # The cells along the axis differ a little: 0.3 %.
        assert found.inductance_change == pytest.approx(alone.inductance_change, rel=3e-3)
        assert found.reflected == pytest.approx(alone.reflected, rel=2e-2)


def test_between_a_hot_skin_and_its_core_the_temperature_is_a_parabola() -> None:
    """Even warming from a thin skin: dT/dr goes as r, so T = T_core + (T_skin - T_core) (r/a)^2.
    With 900 and 600 degC, half-way in it is 675; iron's 770 degC lie at r/a = sqrt(170/300)."""
    body = body_of(BAR, STEEL, 900.0, FREQUENCY, 0.0, 3e-3, 600.0)
    steel, magnetism = body.steel, STEEL.magnetism
    assert magnetism is not None
    depth = np.array(steel.depth)
    half = np.interp(0.5 * BAR.radius, depth, steel.saturation)
    assert half == pytest.approx(magnetism.saturation_at(675.0), rel=2e-3)
    rho = np.interp(0.5 * BAR.radius, depth, steel.resistivity)
    assert rho == pytest.approx(STEEL.resistivity.at(675.0, "steel").value, rel=2e-3)
    first = float(depth[np.array(steel.saturation) > 0.0][0])
    assert first == pytest.approx(BAR.radius * (1.0 - math.sqrt(170.0 / 300.0)), rel=0.02)

"""The linear plant: states, stored energy, poles, and what a machine makes of it."""

from __future__ import annotations

from dataclasses import replace
from math import inf, pi, sqrt

import numpy as np
import pytest

from simkit.parameters.machine import (
    Bridge,
    Capacitor,
    Channel,
    Drive,
    Load,
    Machine,
    Package,
    Snubber,
    Supply,
    Switch,
    Tank,
    Transformer,
)
from simkit.parts.mosfet import linear_resistance
from simkit.parts.working import bridge_path
from simkit.scout.plant import (
    OUTPUTS,
    Plant,
    loaded_q,
    matrices,
    memory_time,
    network,
    output_charge,
    plant_from_machine,
    swing_charge,
    tank_pole,
)

SERIES = Plant("full", 100.0, 0.0, 0.0, inf, 1.0, 0.0, "loop", 1e-6, 0.0, 4e-6, 0.1)
LOOP = Plant("full", 325.0, 0.2, 8e-6, 2e-3, 22.0, 1e-3, "loop", 4.4e-6, 5e-4, 9e-7, 0.04)
SHUNT = Plant(
    "half-split", 325.0, 0.2, 4e-6, 2e-3, 6.0, 1e-3, "shunt", 1e-6, 5e-4, 2e-6, 0.05,
    matching_inductance=8e-6, matching_resistance=5e-3, blocking_capacitance=4e-6,
)  # fmt: skip


def test_series_loop_has_the_textbook_poles() -> None:
    """f0 = 1/(2 pi sqrt(LC)), Q = sqrt(L/C)/R, memory 2L/R: identities of a series resonance."""
    assert abs(tank_pole(SERIES)) / (2 * pi) == pytest.approx(1 / (2 * pi * sqrt(4e-12)), rel=1e-12)
    assert loaded_q(SERIES) == pytest.approx(sqrt(4e-6 / 1e-6) / 0.1, rel=1e-12)
    assert memory_time(SERIES) == pytest.approx(2 * 4e-6 / 0.1, rel=1e-12)


@pytest.mark.parametrize("plant", [SERIES, LOOP, SHUNT], ids=["series", "loop", "shunt"])
def test_energy_balance_holds_for_any_state(plant: Plant) -> None:
    """d/dt of the stored energy = u i_primary - loss, for random states and voltages.

    An identity of linear circuits (Tellegen); the tolerance is the rounding of the products.
    """
    net, draw = network(plant), np.random.default_rng(1)
    scale = 1 / np.sqrt(np.diagonal(net.energy[0]))
    row = net.c[0, OUTPUTS.index("primary_current")]
    for _ in range(20):
        x, u = draw.normal(size=len(scale)) * scale, draw.normal()
        gain = x @ net.energy[0] @ (net.a[0] @ x + net.b * u)
        flow = u * (row @ x) - x @ net.loss[0] @ x
        size = abs(x) @ abs(net.energy[0]) @ abs(net.a[0]) @ abs(x)
        assert gain == pytest.approx(flow, abs=1e-12 * size)


def test_flux_stays_and_current_jumps_when_the_inductance_does() -> None:
    """With the fluxes held, the loop's current scales with the inverse of its inductance."""
    net = network(SERIES, np.array([4e-6, 2e-6]))
    row = OUTPUTS.index("coil_current")
    before, after = net.c[:, row] @ np.array([4e-6, 0.0])
    assert (before, after) == (pytest.approx(1.0), pytest.approx(2.0))


def test_outputs_obey_the_transformer() -> None:
    """Primary current less magnetising current is the load current over the ratio."""
    a, b, c, states = matrices(SHUNT)
    assert (a.shape, b.shape) == ((len(states), len(states)), (len(states),))
    rows = dict(zip(OUTPUTS, c, strict=True))
    through = rows["primary_current"] - rows["magnetising_current"]
    np.testing.assert_allclose(through, rows["load_current"] / SHUNT.ratio, atol=1e-9)
    assert states[-2:] == ("blocking_voltage", "capacitor_voltage")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"capacitance": 0.0}, "capacitance = 0.0 must be above zero"),
        ({"ratio": -1.0}, "ratio = -1.0 must be above zero"),
        ({"bridge": "half-split"}, "a half-split bridge needs blocking_capacitance"),
        ({"matching_inductance": 1e-6}, 'goes with feed "shunt"'),
        ({"blocking_capacitance": 0.0}, "blocking_capacitance = 0.0 must be above zero"),
    ],
)
def test_impossible_plants_are_refused(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(LOOP, **change)


def test_a_dead_tank_has_no_pole() -> None:
    with pytest.raises(ValueError, match="does not ring"):
        tank_pole(replace(SERIES, coil_resistance=100.0))


CHANNEL = Channel.model_construct(
    threshold=4.0, transconductance=20.0, drain_resistance=0.07, output_capacitance_zero=2e-9,
    junction_potential=0.8, junction_grading=0.5, gate_drain_capacitance_min=0.0,
)  # fmt: skip


def test_channel_values_by_hand() -> None:
    """Rd + 1/(KP (Vgs - Vt)); Q = 2 C(V) V far above the junction potential.

    Source of the charge: Erickson, Fundamentals of Power Electronics, eqs 4.38-4.39 (ZVS-04);
    at 400 V with 0.8 V built in the limit is short by sqrt(Vj/V) = 4.5 %, hence 5 %.
    """
    assert linear_resistance(CHANNEL, 14.0) == pytest.approx(0.075)
    with pytest.raises(ValueError, match="below the threshold"):
        linear_resistance(CHANNEL, 4.0)
    at_voltage = 2e-9 / sqrt(1 + 400 / 0.8)
    assert output_charge(CHANNEL, 400.0) == pytest.approx(2 * at_voltage * 400.0, rel=0.05)


LEADS = Package.model_construct(
    drain_inductance=4e-9, common_source_inductance=2e-9, source_inductance=3e-9
)


SMOOTH = Supply.model_construct(
    voltage=300.0, bus_inductance=0.0, bus_damping=1.0,
    link=Capacitor.model_construct(capacitance=1e-3, esr=0.0, esl=0.0),
    film=Capacitor.model_construct(capacitance=1e3, esr=0.0, esl=0.0),
)  # fmt: skip
"""A link without any ripple."""


def _machine(topology: str, **bridge: object) -> Machine:
    transformer = Transformer.model_construct(
        primary_turns=20, secondary_turns=2, magnetising_inductance=2e-3, leakage_inductance=8e-6,
        primary_resistance=0.06, secondary_resistance=1e-3, blocking_capacitance=4e-6,
    )  # fmt: skip
    return Machine.model_construct(
        supply=SMOOTH,
        bridge=Bridge.model_construct(topology=topology, loop_inductance=30e-9, **bridge),
        switch=Switch.model_construct(channel=CHANNEL, package=LEADS),
        drive=Drive.model_construct(voltage_on=14.0, frequency_min=6e4, frequency_max=1.2e5),
        transformer=transformer,
        tank=Tank.model_construct(
            feed="loop", can_capacitance=2e-7, cans=10, can_esr=0.01, matching=None
        ),
    )


def test_plant_of_a_machine() -> None:
    load = Load(inductance=1e-6, resistance=0.05)
    full = plant_from_machine(_machine("full"), load)
    assert full.series_resistance == pytest.approx(2 * 0.075 + 0.06)
    assert (full.ratio, full.capacitance, full.capacitor_esr) == (10.0, pytest.approx(2e-6), 1e-3)
    assert (full.level, full.blocking_capacitance) == (300.0, pytest.approx(4e-6))
    # the loop once, the leads of both switches in the way; of one in a half bridge
    assert full.leakage_inductance == pytest.approx(8e-6 + 30e-9 + 2 * 9e-9)
    split = plant_from_machine(
        _machine("half-split", split_capacitance=2e-6, split_esr=0.02), load, 200.0
    )
    assert split.series_resistance == pytest.approx(0.075 + 0.06 + 0.01)
    assert (split.level, split.blocking_capacitance) == (100.0, pytest.approx(2e-6))
    assert split.leakage_inductance == pytest.approx(8e-6 + 30e-9 + 9e-9)


@pytest.mark.parametrize("lag", [-0.68, 0.0, 0.68])
def test_the_ripple_of_the_link_comes_back_as_an_impedance(lag: float) -> None:
    """Derived here with numbers: a sine rectified by the bridge, its second harmonic through Z, and
    what the bridge makes of that at the fundamental, by sums over a period. At sin^2 = 0.4 the
    resistance is the formula's; the reactance is its mean over leading and lagging.
    """
    theta = (np.arange(4096) + 0.5) * 2.0 * pi / 4096
    square = np.sign(np.sin(theta))
    through = 0.3 + 0.2j
    drawn = square * np.sin(theta - lag)
    second = 2.0 * np.mean(drawn * np.exp(-2j * theta))
    ripple = (through * second * np.exp(2j * theta)).real
    back = 2.0 * np.mean(square * ripple * np.exp(-1j * theta)) / (-1j * np.exp(-1j * lag))
    sine, cosine = np.sin(lag), np.cos(lag)
    assert back.real == pytest.approx(16 / (9 * pi**2) * 0.3 * (1 + 3 * sine**2), rel=1e-5)
    skew = 3 * 0.3 * sine * cosine
    assert back.imag == pytest.approx(16 / (9 * pi**2) * (2 * 0.2 - skew), abs=1e-6)


def test_the_path_takes_the_ripple_at_twice_the_frequency() -> None:
    """A link of 100 mohm and nothing else: R = 16/(9 pi^2) 0.1 (1 + 3 * 0.4), no inductance but
    loop and leads; a quarter of it in a half bridge."""
    esr = Capacitor.model_construct(capacitance=1e3, esr=0.1, esl=0.0)
    none = Capacitor.model_construct(capacitance=1e-15, esr=0.0, esl=0.0)
    supply = SMOOTH.model_copy(update={"link": esr, "film": none})
    full, half = (
        bridge_path(_machine(name).model_copy(update={"supply": supply}))
        for name in ("full", "half-split")
    )
    assert full == (pytest.approx(0.03963, rel=1e-3), pytest.approx(48e-9, rel=1e-6))
    assert half == (pytest.approx(0.03963 / 4, rel=1e-3), pytest.approx(39e-9, rel=1e-6))


def test_a_snubber_across_each_switch_adds_its_charge() -> None:
    snubber = Snubber(place="switch", resistance=10.0, capacitance=1e-9)
    bare, snubbed = _machine("full"), _machine("full", snubber=snubber)
    assert swing_charge(snubbed) - swing_charge(bare) == pytest.approx(2 * 1e-9 * 300.0)

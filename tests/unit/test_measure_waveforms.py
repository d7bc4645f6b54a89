"""What each waveform is made of: constant nodes, answers by Ohm's law and the sign conventions."""

import numpy as np
import pytest

from simkit.measure.waveforms import Waves, average, integral, rms, value_at
from simkit.parameters.machine import Machine
from tests.machines import demo, topology, varied
from tests.waves import waves

TIME = np.array([0.0, 1.0, 2.0])
HALF = topology("half-split", "shunt", "ideal")


def only(values: np.ndarray) -> float:
    """The value of a waveform that does not change."""
    assert len(values) == 3
    assert values[0] == values[1] == values[2]
    return float(values[0])


def test_the_engines_clock_is_moved_by_its_origin() -> None:
    made = Waves.from_vectors(demo(), {"time": TIME, "v(p)": TIME + 5.0}, 10.0)
    assert made.time.tolist() == [10.0, 11.0, 12.0]
    assert made.link_voltage.tolist() == [5.0, 6.0, 7.0]
    assert set(made.raw) == {"v(p)"}


def test_a_part_has_its_start_but_not_its_end() -> None:
    part = waves(demo(), TIME, p=TIME * 3.0).between(1.0, 2.0)
    assert part.time.tolist() == [1.0]
    assert part.link_voltage.tolist() == [3.0]
    assert waves(demo(), TIME).between(0.5, 2.5).time.tolist() == [1.0, 2.0]
    assert waves(demo(), TIME).between(0.0, 1.5).time.tolist() == [0.0, 1.0]


def test_currents_flow_from_plus_to_minus() -> None:
    made = waves(demo(), TIME, a=7.0, b=3.0)
    assert only(made.across("a", "b", 2.0)) == 2.0
    assert only(made.across("b", "0", 2.0)) == 1.5
    assert only(made.node("0")) == 0.0


@pytest.mark.parametrize(
    ("number", "drain", "source"), [(1, "p", "a"), (2, "a", "0"), (3, "p", "b"), (4, "b", "0")]
)
def test_each_switch_is_seen_between_its_own_nodes(number: int, drain: str, source: str) -> None:
    nodes = {"p": 300.0, "a": 200.0, "b": 90.0}
    given = {f"d{number}": nodes[drain] - 0.05, f"xq{number}__di": 31.0, f"xq{number}__si": 7.0,
             f"xq{number}__gi": 12.0, f"xq{number}__da": 6.0, f"i{number}": 4.0}  # fmt: skip
    made = waves(demo(), TIME, **nodes, **given)
    assert [s.number for s in made.switches] == [1, 2, 3, 4]
    switch = made.switches[number - 1]
    assert only(switch.drain_source) == 24.0
    assert only(switch.gate_source) == 5.0
    # 50 mV over the 1 mohm in the drain lead; 1 V over the diode's 10 mohm, source to drain.
    assert only(switch.drain_current) == pytest.approx(50.0)
    assert only(switch.diode_current) == pytest.approx(100.0)
    assert only(switch.channel_current) == 4.0
    assert only(switch.lead_voltage) == pytest.approx(
        nodes[drain] - 0.05 - (nodes[source] if source != "0" else 0.0)
    )


def test_a_half_bridge_has_two_switches() -> None:
    assert [s.number for s in waves(HALF, TIME).switches] == [1, 2]


def test_the_bridge_and_its_transformer() -> None:
    made = waves(demo(), TIME, p=325.0, a=300.0, b=20.0, pa=10.0, pb=4.0, s1=3.0, s2=2.0)
    assert only(made.link_voltage) == 325.0
    assert only(made.bridge_voltage) == 280.0
    assert only(made.primary_current) == pytest.approx(100.0)  # 6 V over 60 mohm
    assert only(made.load_current) == pytest.approx(2000.0)  # 1 V over 0.5 mohm
    # Ampere-turns: 2000 A of one turn take 2000/22 A of the primary's 100 A.
    assert only(made.magnetising_current) == pytest.approx(100.0 - 2000.0 / 22.0)


def test_without_a_blocking_capacitor_the_winding_begins_at_the_node() -> None:
    machine = varied(demo(), {"transformer.blocking_capacitance": None})
    made = waves(machine, TIME, a=16.0, pa=10.0, pb=4.0)
    assert only(made.primary_current) == pytest.approx(12.0 / 0.06)


def test_linkage_from_the_circuit_or_from_the_linear_core() -> None:
    given = {"lam": 500.0, "pa": 6.0}  # 500 uWb; 6 V over 60 mohm: 100 A, all of it magnetising
    assert only(waves(demo(), TIME, **given).linkage) == pytest.approx(500e-6)
    linear = varied(demo(), {"transformer.core_path": None})
    assert only(waves(linear, TIME, **given).linkage) == pytest.approx(100.0 * 2.2e-3)


def test_the_coil_in_the_decks_units() -> None:
    # The deck counts inductance in uH, resistance in mohm, and linkage in uWb: amperes.
    made = waves(demo(), TIME, lx=2.0, rx=40.0, fl=900.0, w=77.0)
    assert only(made.coil_inductance) == pytest.approx(2e-6)
    assert only(made.coil_resistance) == pytest.approx(0.04)
    assert only(made.coil_current) == pytest.approx(450.0)
    assert only(made.coil_voltage) == 77.0


@pytest.mark.parametrize(("machine", "volts", "amps"), [(demo(), 70.0, 3.0), (HALF, 100.0, 103.0)])
def test_the_bank_in_each_place(machine: Machine, volts: float, amps: float) -> None:
    # Loop-fed the bank lies between w and s2, shunt-fed between w and the rail.
    made = waves(machine, TIME, w=100.0, s2=30.0, t1=103.0)
    assert only(made.bank_voltage) == volts
    assert only(made.bank_current) == pytest.approx(amps / machine.tank.esr)


def test_the_source_is_seen_before_its_fuse() -> None:
    assert only(waves(demo(), TIME, sup=325.0, link=324.0).supply_current) == pytest.approx(4.0)
    blown = waves(demo(), TIME, sup=325.0, link=300.0, slk=324.5)
    assert only(blown.supply_current) == pytest.approx(2.0)


def test_integral_average_and_rms_of_a_ramp() -> None:
    # y = t from 0 to 2: integral 2, mean 1; t^2 by trapezia over 0, 1, 4: 3, mean 1.5.
    assert integral(TIME, TIME) == 2.0
    assert average(TIME, TIME) == 1.0
    assert average(TIME + 5.0, TIME) == 1.0
    assert rms(TIME, TIME) == pytest.approx(np.sqrt(1.5))
    assert integral(TIME[:1], TIME[:1]) == 0.0
    assert integral(TIME[:0], TIME[:0]) == 0.0
    assert integral(TIME[:2], TIME[:2]) == 0.5
    assert value_at(TIME, TIME**2, 1.5) == 2.5
    # JSON has no other numbers than Python's own.
    for value in (integral(TIME, TIME), average(TIME, TIME), rms(TIME, TIME)):
        assert type(value) is float
    assert type(value_at(TIME, TIME, 1.5)) is float

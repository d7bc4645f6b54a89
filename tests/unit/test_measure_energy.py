"""Energy: each element alone, V^2/R and half C V^2 worked out from the shipped machine's values."""

from typing import Any

import numpy as np
import pytest

from simkit.measure.energy import balance, dissipation
from simkit.parameters.machine import Machine
from tests.machines import demo, topology, varied
from tests.waves import waves

TIME = np.linspace(0.0, 1e-3, 101)
END = 1.001e-3
"""Just beyond the last sample, which so is part of the stretch."""
SNUBBER = {"resistance": 10.0, "capacitance": 1e-9}
SPLIT = topology("half-split", "shunt", "ideal")
BLOCKING = topology("half-blocking", "loop", "ideal")
AT_SWITCH = varied(demo(), {"bridge.snubber": {"place": "switch", **SNUBBER}})
AT_LEG = varied(demo(), {"bridge.snubber": {"place": "leg", **SNUBBER}})
HALF_LEG = varied(BLOCKING, {"bridge.snubber": {"place": "leg", **SNUBBER}})


def lost(machine: Machine, **given: Any) -> dict[str, Any]:
    """Power in each part that takes any [W]; nodes do not change."""
    found = dissipation(waves(machine, TIME, **given))
    assert all(float(np.ptp(v)) == 0.0 for v in found.values())
    return {name: pytest.approx(float(v[0])) for name, v in found.items() if v[0]}


@pytest.mark.parametrize(
    ("machine", "given", "wanted"),
    [
        (demo(), {"sup": 1.0}, {"supply": 1.0 / 0.25}),
        (demo(), {"cl1": 3.0, "cl2": 1.0}, {"link capacitor": 4.0 / 0.06}),
        (demo(), {"cf1": 3.0, "cf2": 1.0}, {"film capacitor": 4.0 / 0.005}),
        # Three, whose square is not its double.
        (demo(), {"cl1": 4.0, "cl2": 1.0}, {"link capacitor": 9.0 / 0.06}),
        (demo(), {"cf1": 4.0, "cf2": 1.0}, {"film capacitor": 9.0 / 0.005}),
        (demo(), {"p": 3.0, "d1": 2.997, "d3": 3.0, "film": 3.0, "link": 3.0, "sup": 3.0},
         {"Q1": 9.0}),
        (SPLIT, {"sh": 6.0, "b": 3.0, "sl": 1.0}, {"split capacitors": (9.0 + 4.0) / 4e-3}),
        (demo(), {"clx": 3.0, "lo": np.log(2.0), **dict.fromkeys(
            ("link", "film", "p", "d1", "d3", "sup"), 1.0)},
         {"link capacitor's contact": 4.0 * 2.0}),
        (demo(), {"film": 1.0, "link": 4.0, "sup": 4.0, "p": 1.0, **dict.fromkeys(
            ("d1", "d3"), 1.0)}, {"bus and loop": 9.0 / 2.0}),
        (demo(), {"film": 3.0, "link": 3.0, "sup": 3.0}, {"bus and loop": 9.0 / 6.0}),
        (demo(), {"pa": 3.0, "pb": 1.0}, {"transformer": 4.0 / 0.06}),
        (demo(), {"s1": 0.3, "s2": 0.1}, {"transformer": 0.04 / 0.5e-3}),
        # Twenty cans of 8 mohm in parallel: 0.4 mohm.
        (demo(), {"t1": 0.2}, {"tank capacitors": 0.04 / 0.4e-3}),
        (demo(), {"lx": 1.0, "fl": 100.0, "rx": 50.0}, {"coil and load": 1e4 * 0.05}),
        # 2 A in the lead: 1.998 V x 2 A at the leads and 2 mV x 2 A in the sense resistor.
        (demo(), {"p": 2.0, "d1": 1.998, "d3": 2.0, "film": 2.0, "link": 2.0, "sup": 2.0},
         {"Q1": 4.0}),
        (demo(), {"d2": 3.0, "a": 3.002, "p": 3.002, "d1": 3.002, "d3": 3.002, "film": 3.002,
                  "link": 3.002, "sup": 3.002}, {"Q2": 3.002 * 2.0}),
        (SPLIT, {"s1": 0.2}, {"transformer": 0.04 / 0.5e-3, "matching inductor": 400.0**2 * 5e-3}),
        (SPLIT, {"sh": 5.0, "b": 3.0, "sl": 0.0},
         {"split capacitors": (4.0 + 9.0) / 4e-3}),
        (BLOCKING, {"b": 0.1}, {"return": 0.01 / 1e-3}),
        (AT_LEG, {"na": 2.0, "nb": 1.0}, {"snubbers": (4.0 + 1.0) / 10.0}),
        (HALF_LEG, {"na": 2.0, "nb": 1.0}, {"snubbers": 0.4}),
        (AT_SWITCH, {"n1": 1.0, "n2": 2.0, "n3": 3.0, "n4": 4.0}, {"snubbers": 30.0 / 10.0}),
        (demo(), {"clx": 3.0, "lo": np.log(2.0)}, {"link capacitor's contact": 9.0 * 2.0}),
        (demo(), {"sup": 3.0, "slk": 3.0, "fo": np.log(2.0)}, {"fuse": 9.0 * 2.0}),
        (demo(), {"w": 3.0, "ef": np.log(2.0)},
         {"earth fault": 18.0, "tank capacitors": 9.0 / 0.4e-3}),
    ],
)  # fmt: skip
def test_what_each_part_takes(
    machine: Machine, given: dict[str, float], wanted: dict[str, float]
) -> None:
    assert lost(machine, **{"lx": 1.0, **given}) == wanted


def test_a_snubber_across_each_switch_lies_between_its_nodes() -> None:
    # p 10, a 4, b 3: tops of Q1 to Q4 are p, a, p, b.
    nodes = {"p": 10.0, "a": 4.0, "b": 3.0, "n1": 9.0, "n2": 2.0, "n3": 7.0, "n4": 0.0}
    found = dissipation(waves(AT_SWITCH, TIME, lx=1.0, **nodes))["snubbers"]
    assert found[0] == pytest.approx((1.0 + 4.0 + 9.0 + 9.0) / 10.0)


RAMP = TIME / 1e-3


@pytest.mark.parametrize(
    ("machine", "given", "wanted"),
    [
        # The link's 1000 uF from 2 to 5 V; the film's 4.7 uF likewise.
        (demo(), {"link": 2.0 + 4.0 * RAMP, "cl1": RAMP}, 0.5e-3 * (25.0 - 4.0)),
        (demo(), {"link": 9.0 * RAMP, "clx": 2.0 + 4.0 * RAMP, "cl1": RAMP}, 0.5e-3 * 21.0),
        (demo(), {"film": 2.0 + 4.0 * RAMP, "cf1": RAMP}, 2.35e-6 * 21.0),
        # Bank of 20 x 0.22 uF, t1 to s2 in the loop, t1 to w beside the coil.
        (demo(), {"t1": 5.0 * RAMP, "s2": 2.0 * RAMP, "w": 1.0, "s1": 2.0 * RAMP}, 2.2e-6 * 9.0),
        (SPLIT, {"t1": 5.0 * RAMP, "w": 2.0 * RAMP}, 2.2e-6 * 9.0),
        (demo(), {"lx": 2.0, "fl": 200.0 * RAMP}, 1e-6 * 1e4),
        # Blocking 10 uF between a and the winding.
        (demo(), {"a": 3.0 * RAMP}, 5e-6 * 9.0),
        (SPLIT, {"sh": -2.0 * RAMP, "sl": 3.0 * RAMP}, 0.5 * 3.3e-6 * (4.0 + 9.0)),
        (SPLIT, {"p": 5.0 * RAMP, "sh": 2.0 * RAMP, "sl": 3.0 * RAMP}, 0.5 * 3.3e-6 * (9.0 + 9.0)),
        (AT_SWITCH, {"a": RAMP, "pa": RAMP, "pb": RAMP, "n1": 3.0 * RAMP}, 0.5e-9 * 4.0),
        (AT_LEG, {"na": 2.0 * RAMP, "nb": RAMP}, 0.5e-9 * 5.0),
        (AT_SWITCH, {"n2": 2.0 * RAMP, "n4": RAMP}, 0.5e-9 * 5.0),
        (AT_SWITCH, {"n1": 2.0 * RAMP, "n3": RAMP}, 0.5e-9 * 5.0),
        # 100 A while the linkage climbs by 500 uWb; none of it when it does not climb.
        (demo(), {"pa": 6.0, "a": 6.0, "lam": 500.0 * RAMP}, 100.0 * 500e-6),
        (demo(), {"pa": 6.0, "a": 6.0, "lam": 500.0}, 0.0),
        # i and linkage both ramps: half of their product; the leakage's 8 uH stores besides.
        (demo(), {"pa": 6.0 * RAMP, "a": 6.0 * RAMP, "lam": 500.0 * RAMP},
         0.5 * 100.0 * 500e-6 + 4e-6 * 1e4),
    ],
)  # fmt: skip
def test_what_each_part_stores(machine: Machine, given: dict[str, Any], wanted: float) -> None:
    found = balance(waves(machine, TIME, **{"lx": 1.0, "rx": 1.0, **given, "sup": 1.0}), 0.0, END)
    assert found.stored == pytest.approx(wanted, rel=1e-9, abs=1e-15)


def test_the_matching_inductor_stores() -> None:
    # 400 A of the secondary: in 3 uH, and its reflection in the linear core's L_m.
    machine = varied(SPLIT, {"transformer.core_path": None})
    found = balance(waves(machine, TIME, lx=1.0, rx=1.0, sup=1.0, s1=0.2 * RAMP), 0.0, END)
    magnetising = 400.0 / machine.transformer.ratio
    core = 0.5 * machine.transformer.magnetising_inductance * magnetising**2
    assert found.stored == pytest.approx(0.5 * 3e-6 * 400.0**2 + core)


def test_the_balance_adds_up_with_work() -> None:
    # 4 A from 325 V for 1 ms: 1.3 J, of which 4 W x 1 ms in the source's resistance. The coil's
    # 100 A while L grows from 1 to 2 uH: 5 mJ more stored, 5 mJ of work done on it, and 400 W.
    given: dict[str, Any] = {"sup": 325.0, "link": 324.0, "film": 324.0, "p": 324.0,
             "d1": 324.0, "d3": 324.0, "lx": 1.0 + RAMP,
             "fl": 100.0 * (1.0 + RAMP), "rx": 40.0}  # fmt: skip
    found = balance(waves(demo(), TIME, **given), 0.0, END)
    assert found.supplied == pytest.approx(1.3)
    assert found.stored == pytest.approx(5e-3)
    assert found.dissipated["coil and load"] == pytest.approx(0.4)
    assert found.work == pytest.approx(-5e-3)
    assert found.residual == pytest.approx((1.3 - (5e-3 + 0.004 + 0.4 + 5e-3)) / 1.3)
    # JSON has no other numbers than Python's own.
    figures = (found.supplied, found.stored, found.work, found.residual)
    assert {type(v) for v in (*figures, *found.dissipated.values())} == {float}


def test_the_residual_is_held_against_the_load_where_little_is_supplied() -> None:
    given = {"sup": -1.0, "link": 0.0, "lx": 1.0, "fl": 100.0, "rx": 40.0, "film": 0.0}
    found = balance(waves(demo(), TIME, **given), 0.0, END)
    # Back into the source: -4 A at -1 V is 4 W in, 4 W in its resistance; 400 W in the load.
    assert found.residual == pytest.approx((4e-3 - 4e-3 - 0.4) / 0.4)
    back = {"sup": 100.0, "link": 300.0, "film": 300.0, "p": 300.0, "d1": 300.0, "d3": 300.0}
    found = balance(waves(demo(), TIME, lx=1.0, **back), 0.0, END)
    # 800 A back into 100 V: 80 kW out, 160 kW in the resistance; over the size of what came in.
    assert found.residual == pytest.approx((-80.0 - 160.0) / 80.0)


def test_work_counts_the_current_that_flows_while_l_moves() -> None:
    """-1/2 integral of i^2 dL, i = 100 A (1 + u), L = 1 uH (1 + u), u from 0 to 1: -5 mJ 7/3.

    A time told twice, as at an engine's edge, changes nothing.
    """
    twice = np.sort(np.append(TIME, TIME[len(TIME) // 2]))
    for time in (TIME, twice):
        ramp = time / 1e-3
        found = balance(
            waves(demo(), time, lx=1.0 + ramp, fl=100.0 * (1.0 + ramp) ** 2, rx=40.0), 0.0, END
        )
        assert found.work == pytest.approx(-5e-3 * 7.0 / 3.0, rel=1e-4)

"""Node voltages a deck starts with: Kirchhoff's laws with one diagonal on, worked out by hand."""

from __future__ import annotations

import pytest

from simkit.circuit.start import start_nodes
from simkit.circuit.timeline import timeline
from simkit.circuit.values import Seed, bridge_values, coupling_values, series_shares
from simkit.parameters.events import Event
from tests.machines import demo, scenario, still, topology, varied

SEED = Seed(link_voltage=320.0, blocking_voltage=4.0)


def nodes(bridge: str, gate: str, share: float) -> dict[str, float]:
    machine = topology(bridge, "loop", gate)
    line = still(machine, 4, frequency=80e3)
    line = line.stretch(share / 80e3, line.end)
    pairs = (item.split("=") for item in start_nodes(machine, line, SEED).split())
    return {name: float(value) for name, value in pairs}


def test_the_diagonal_that_is_on_ties_the_bridge_nodes() -> None:
    """Half a period apart, the two ends of the primary have changed places."""
    early, late = nodes("full", "ideal", 1.1), nodes("full", "ideal", 1.6)
    assert {early["v(a)"], early["v(b)"]} == {0.0, 320.0}
    assert (late["v(a)"], late["v(b)"]) == (early["v(b)"], early["v(a)"])


@pytest.mark.parametrize("share", [1.1, 1.6])
def test_gates_stand_at_their_commands(share: float) -> None:
    """12 V from gate to source on the switches that are on, 0 on the others: an upper one is on
    where its node is at the rail."""
    found = nodes("full", "ideal", share)
    for upper, lower, node in ((1, 2, "a"), (3, 4, "b")):
        high = found[f"v({node})"] == 320.0
        assert found[f"v(g{upper})"] - found[f"v({node})"] == (12.0 if high else 0.0)
        assert found[f"v(g{lower})"] == (0.0 if high else 12.0)


def test_the_other_end_of_a_half_bridge() -> None:
    assert nodes("half-split", "ideal", 1.0)["v(b)"] == 164.0
    assert nodes("half-blocking", "ideal", 1.0)["v(b)"] == 0.0


def test_split_and_blocking_capacitor_share_what_is_across_both() -> None:
    """In series they hold the same charge: 6.6 uF (two of 3.3 uF, in parallel for the current) and
    10 uF share 4 V as 10 to 6.6. Each holding all of it would put 4 V of DC on the transformer."""
    alone = topology("half-split", "loop", "ideal")
    both = varied(alone, {"transformer.blocking_capacitance": 10e-6})
    assert series_shares(alone) == (1.0, 0.0)
    assert series_shares(topology("half-blocking", "loop", "ideal")) == (0.0, 1.0)
    without = {"transformer.blocking_capacitance": None}
    assert series_shares(varied(topology("full", "loop", "ideal"), without)) == (0.0, 0.0)
    split, blocking = series_shares(both)
    assert split * 6.6 == pytest.approx(blocking * 10.0)
    line = still(both, 4, frequency=80e3)
    bridge, coupling = bridge_values(both, line, SEED), coupling_values(both, SEED)
    low, high = bridge["split_voltage_low"], bridge["split_voltage_high"]
    assert low + high == pytest.approx(320.0)
    assert low - 160.0 + coupling["blocking_voltage"] == pytest.approx(4.0)
    pairs = dict(item.split("=") for item in start_nodes(both, line, SEED).split())
    assert float(pairs["v(b)"]) == pytest.approx(low)


def test_behind_a_gate_transformer_nothing_is_claimed() -> None:
    assert nodes("full", "transformer", 1.0) == {}


def faulted(kind: str, **more: object) -> str:
    machine = demo()
    event = {"kind": kind, "at": 20e-6, **more}
    case = scenario(settled=50e-6, frequency=80e3)
    line = timeline(machine, case.model_copy(update={"events": (Event.model_validate(event),)}))
    return start_nodes(machine, line.stretch(0.0, line.end), SEED)


def test_what_happens_later_leaves_the_start_alone() -> None:
    """Before a gate's lead opens everything stands as without that; before a start from rest
    nothing does."""
    machine = demo()
    calm = timeline(machine, scenario(settled=50e-6, frequency=80e3))
    assert faulted("gate-open", switches=[4]) == start_nodes(
        machine, calm.stretch(0.0, calm.end), SEED
    )
    assert faulted("start") == ""

"""The gate transformer's start, against the drive's own waveform integrated step by step."""

from __future__ import annotations

import numpy as np
import pytest

from simkit.circuit.gate_start import REST, gate_start
from simkit.parameters.machine import Machine
from tests.machines import demo, still, topology, varied

STEPS = 20_000


def machine() -> Machine:
    """Behind its transformers, with gates that take no charge."""
    gates = {f"switch.channel.{name}": 1e-16 for name in (
        "gate_source_capacitance", "gate_drain_capacitance_max", "gate_drain_capacitance_min",
    )}  # fmt: skip
    driver = {"drive.sink_resistance": 2.0, "drive.source_resistance": 2.0}
    return varied(topology("full", "loop", "transformer"), gates | driver)


def driven(made: Machine, phases: np.ndarray, first: bool) -> np.ndarray:
    """Voltage on the winding at some phases of the drive [V]: V, nothing in dead times, -V."""
    period = 1.0 / still(made, 4.0).frequency.first
    halves = 2.0 * (phases % 1.0)
    dead = made.drive.dead_time / period  # in halves of a period, half of it at either end
    inside = np.abs(halves % 1.0 - 0.5) < 0.5 - dead
    sign = np.where((halves < 1.0) == first, 1.0, -1.0)
    return np.asarray(np.where(inside, sign * made.drive.voltage_on, 0.0))


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("at", [0.0, 0.3, 1.7])
def test_a_cycle_ends_where_it_began_and_has_no_mean(at: float, first: bool) -> None:
    """L di/dt = V(t), C dv/dt = i over one period, by the trapezoidal rule; 1e-3 of the swing for
    20,000 steps a period. Only one pair of starting values has no mean: the settled one."""
    made = machine()
    whole = still(made, 4.0)
    line = whole.stretch(at / whole.frequency.first, 4.0 / whole.frequency.first)
    transformer = made.drive.transformer
    assert transformer is not None
    phases = line.phase(line.begin) + np.linspace(0.0, 1.0, STEPS + 1)
    step = 1.0 / line.frequency.first / STEPS
    voltage = driven(made, phases, first)
    start = gate_start(made, line, first)

    def integral(values: np.ndarray) -> np.ndarray:
        return np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * step)))

    current = start.current + integral(voltage) / transformer.magnetising_inductance
    coupled = start.voltage + integral(current) / transformer.coupling_capacitance
    for course in (current, coupled):
        swing = np.ptp(course)
        assert swing > 0.0
        assert course[-1] == pytest.approx(course[0], abs=1e-3 * swing)
        assert np.mean(course) == pytest.approx(0.0, abs=1e-3 * swing)


def test_a_machine_without_a_gate_transformer_starts_at_rest() -> None:
    assert gate_start(demo(), still(demo(), 2.0), True) == REST

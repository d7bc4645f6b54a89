"""A drain that reaches breakdown clamps there, and the engine goes on.

A random machine of 70 V with switches of a 150 V class in which the leads' ringing reaches 165 V at
the first edges: with the breakdown of the engine's own VDMOS every rung of the ladder stopped.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks.random_machines import files
from simkit.circuit.netlist import machine_deck
from simkit.circuit.timeline import timeline
from simkit.rehearsal.job import WORKING
from simkit.rehearsal.scouting import scouted
from simkit.run.process import NgspiceEngine
from simkit.studies.inputs.loading import load_scenario


def test_a_drain_in_breakdown_clamps_and_the_run_goes_on(tmp_path: Path) -> None:
    scenario, machine = load_scenario(files.write(6, tmp_path))
    line = timeline(machine.model, scenario.model)
    part = line.stretch(-8.0 / line.frequency.first, 1.0 / line.frequency.first)
    seed = scouted(machine.model, line).seed(part.begin)
    # From nodes that stand at their starts this deck stops before its first step: the ladder's
    # second rung is what runs.
    deck = machine_deck(machine.model, part, seed, replace(WORKING, start_nodes=False))
    run = NgspiceEngine().run(deck.text, deck.saved, deck.stop)
    assert run.vectors["time"][-1] == pytest.approx(deck.stop)
    drains = [run.vectors[f"v(xq{k}.di)"] - run.vectors[f"v(xq{k}.si)"] for k in (1, 2, 3, 4)]
    bound = machine.model.switch.channel.breakdown_voltage
    # i = 1 mA exp((v - bv)/(n V_T)) with n = 4 behind the drift region's 15 milliohm: tens of
    # amperes take 4 x 26 mV x ln(3e4) + 30 A x 15 milliohm, under two volts.
    assert 0.999 * bound < np.max(drains) < bound + 2.0

"""IGBTs on the virtual bench: tails against closed forms, classes against their own sheets,
and a rehearsal of the shipped machine.
"""

import math
from functools import lru_cache

import numpy as np
import pytest

import simkit
from simkit.circuit import bench_decks
from simkit.circuit.netlist import Deck
from simkit.data import scenario_folder
from simkit.measure import bench
from simkit.parameters.switch import Switch
from simkit.parts import igbt
from simkit.parts.igbt_fit import fit_igbt
from simkit.parts.switches import load_part
from simkit.run.process import NgspiceEngine
from simkit.studies.part.igbt import examine_igbt
from tests.slowly import rest_studied

PARTS = scenario_folder() / "parts"
CLASSES = sorted(p.stem for p in PARTS.glob("igbt-*.toml"))
QUICK = "igbt-600v-40a-fast"


def vectors(deck: Deck) -> bench.Vectors:
    return dict(NgspiceEngine().run(deck.text, deck.saved, deck.stop).vectors)


@lru_cache(maxsize=4)
def switch(celsius: float = 150.0) -> Switch:
    return fit_igbt(load_part(PARTS / f"{QUICK}.toml").model, celsius).switch


@lru_cache(maxsize=2)
def clamped() -> tuple[bench.Vectors, float]:
    deck, begin = bench_decks.soft_turn_off_deck(switch(), 400.0, 30.0, (-5.0, 15.0), 2.0, 0.0)
    return vectors(deck), begin


def test_the_tail_has_the_amplitude_and_the_decay_of_its_charge() -> None:
    """Q at the command, tau I_mos; then Q/T(V) e^(-t/tau) once the channel is off: 2 %."""
    found, begin = clamped()
    bipolar = switch().bipolar
    assert bipolar is not None
    time, current = found["time"], bench.bipolar_current(found, 1)
    before = bench.at(time, found["v(xq1.qb)"], begin) * 1e-6
    on = bench.at(time, found["v(xq1.di)"] - found["v(xq1.si)"], begin)
    assert before == pytest.approx(
        30.0 * bipolar.lifetime / (1.0 + igbt.gain(bipolar, on)), rel=0.02
    )
    off = bench.at_level(time, -found["@m.xq1.m1[id]"], -0.01, begin)
    left = bench.at(time, found["v(xq1.qb)"], off) * 1e-6
    for decays in (0.5, 1.0, 2.0):
        when = off + decays * bipolar.lifetime
        volts = bench.at(time, found["v(xq1.di)"] - found["v(xq1.si)"], when)
        transit = bipolar.transit_time * float(igbt.base_share(bipolar, volts))
        expected = left / transit * math.exp(-decays)
        assert bench.at(time, current, when) == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("capacitance", [10e-9, 40e-9])
def test_a_capacitor_across_the_switch_spares_the_tail_as_the_integral_says(
    capacitance: float,
) -> None:
    """5 %: the channel takes a little of the time that the integral has none of."""
    deck, begin = bench_decks.soft_turn_off_deck(
        switch(), 400.0, 30.0, (-5.0, 15.0), 2.0, capacitance
    )
    bipolar = switch().bipolar
    assert bipolar is not None
    got = bench.tail_energy(vectors(deck), begin)
    assert got == pytest.approx(
        igbt.snubbed_tail_energy(bipolar, 400.0, 30.0, capacitance), rel=0.05
    )


def test_the_channel_does_not_conduct_backwards() -> None:
    """Gate on, emitter above the collector: a MOSFET's channel would take the current, an IGBT's
    diode has it all."""
    deck = bench_decks.output_deck(switch(25.0), (15.0,), 3.0, 30.0)
    text = deck.text.replace("rgf gf kf 1", "vgf gf kf 15")
    assert text != deck.text
    saved = (*deck.saved, "@m.xqf.m1[id]")
    text = text.replace(".save ", ".save @m.xqf.m1[id] ")
    found = dict(NgspiceEngine().run(text, saved, deck.stop).vectors)
    carried = (found["v(df)"] - found["v(fw)"]) / bench_decks.forward_resistor(30.0)
    assert carried.max() > 20.0
    later = found["time"] > 1e-3  # the capacitances are charged by then
    assert np.abs(found["@m.xqf.m1[id]"][later]).max() < 0.01


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [QUICK, *rest_studied((n for n in CLASSES if n != QUICK), 0)],
)
def test_a_class_returns_its_own_sheet(name: str) -> None:
    """10 %: what typical figures of a sheet differ by between two readings of its curves (common
    practice, no source); recovery 15 %."""
    report = examine_igbt(load_part(PARTS / f"{name}.toml").model,
                          lambda d: NgspiceEngine().run(d.text, d.saved, d.stop))  # fmt: skip
    outside = [(r.quantity, r.condition, r.deviation) for r in report.rows if r.status == "outside"]
    assert outside == []
    fitted = {r.quantity for r in report.rows if r.allowed is not None}
    assert {"V_CE(sat)", "E_off", "tail to 1/e", "tail's energy", "Q_g", "C_res", "t_rr"} <= fitted


@pytest.mark.slow
def test_a_rehearsal_of_the_shipped_machine_reaches_a_verdict() -> None:
    """Diodes carry all of the freewheeling, the tail's loss is in the switches'."""
    scenario = simkit.load_scenario(scenario_folder() / "tube-bending" / "tube-drawn-hot.toml")
    outcome = scenario.rehearse()
    assert outcome.verdict in ("within_limits", "over_limit")
    assert outcome.rehearsal.retries == ()
    assert abs(outcome.document["numerics"]["energy_residual"]) < 2e-3
    share = outcome.limits.set_index("quantity")
    assert share.loc["channel_current_peak", "value"] > 40.0
    waves = outcome.rehearsal.whole.waves
    assert min(float(s.channel_current.min()) for s in waves.switches) > -1.0

"""Tolerances, stored charge, screens, least squares and the fitted file: no engine.

What is expected is derived by hand in each test, or read off the text that was written.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import log, pi, sqrt

import numpy as np
import pytest

from simkit.measure.waveforms import Array
from simkit.parameters.load import load_text
from simkit.parameters.readings import Readings
from simkit.parameters.written import MachineFile
from simkit.parts.build import build
from simkit.result.document import LimitRow
from simkit.scout.bench import Setting, fast_readings, node_pole
from simkit.studies.bring_up.charge import discharge_time, stored
from simkit.studies.bring_up.screens import channel, usual_setting
from simkit.studies.bring_up.study import tolerance, usual_stages
from simkit.studies.fit.readings import observations
from simkit.studies.fit.solve import Observation, Problem, influential, solve
from simkit.studies.fit.study import Fit, _values, misfits
from simkit.studies.fit.write import fitted_text
from simkit.studies.inputs.loading import load_machine
from simkit.studies.inputs.uncertain_values import prior_covariance, scaled, uncertain
from simkit.studies.scenario.fitted_intervals import bounded, moved_machines
from simkit.studies.scenario.parameter_list import fitted as listed
from simkit.units import parse_quantity
from tests.machines import DEMO, demo, scenario, varied

TEXT = (DEMO / "machine.toml").read_text(encoding="utf-8")
PIECE = "steel-full-power"


def test_a_frequency_s_tolerance_is_half_of_both_parts() -> None:
    # f = 1/(2 pi sqrt(LC)): df/f = (dL/L + dC/C)/2, independent ones add in squares.
    machine = load_machine(DEMO / "machine.toml")
    chosen = uncertain(machine, [])
    names = frozenset({"ring_down_frequency"})
    covariance = prior_covariance(machine.model, chosen)
    found = tolerance(machine.model, Setting("empty", 12.0), names, chosen, covariance)
    value = fast_readings(machine.model, Setting("empty", 12.0), names)["ring_down_frequency"]
    by_hand = 0.5 * sqrt(0.03**2 + 0.05**2)
    # Q is near 50, so that the damping moves f by 1e-4 at most; logarithms by as little.
    assert found["ring_down_frequency"] / value == pytest.approx(by_hand, rel=5e-3)


def test_time_to_60_v_is_that_of_an_rc() -> None:
    # v = V exp(-t/RC): 325 V falls to 60 V in RC ln(325/60); IEC 60204-1, 6.2.4 for the 60 V.
    assert discharge_time(10e3, 1e-3, 325.0) == pytest.approx(10.0 * log(325.0 / 60.0), rel=1e-12)
    assert discharge_time(10e3, 1e-3, 48.0) == 0.0


def test_no_resistor_is_no_time() -> None:
    bare = varied(demo(), {"supply.rectifier": None})
    link = stored(bare)[0]
    assert link.matters
    assert link.time is None
    fitted = varied(bare, {"bring_up": {"discharge_resistor": 2200.0}})
    assert stored(fitted)[0].time == pytest.approx(2200.0 * link.capacitance * log(325.0 / 60.0))


def test_stages_climb_and_stay_above_resonance() -> None:
    stages = usual_stages(demo())
    volts = [s.supply_voltage for s in stages if s.supply_voltage is not None]
    assert stages[0].supply_voltage is None
    assert volts == sorted(volts)
    assert volts[-1] == demo().supply.voltage
    assert all(s.margin > 0.0 for s in stages if s.margin is not None)
    held, working = stages[-2], stages[-1]
    assert held.margin is not None
    assert working.margin is not None
    assert held.margin > working.margin


@pytest.mark.parametrize(
    ("volts", "setting"), [(0.9, 1.0), (1.01, 2.0), (0.03, 0.05), (6.0, 10.0), (2.0, 2.0)]
)
def test_scope_settings_go_one_two_five(volts: float, setting: float) -> None:
    assert usual_setting(volts) == pytest.approx(setting)


def test_what_does_not_fit_the_screen_says_so() -> None:
    wave: Array = 10.0 * np.sin(np.linspace(0.0, 6.0, 200))
    assert channel("x", wave, 5.0).note == ""
    large = channel("x", wave, 1.0)
    assert "too large" in large.note
    assert np.abs(wave).max() <= 4.0 * large.per_division


def test_ringing_of_the_node_is_a_plain_lc_without_leads() -> None:
    # With nothing but the loop, lightly damped, f = 1/(2 pi sqrt(L C)), C both legs' switches.
    machine = varied(
        demo(),
        {
            "bridge.loop_damping": 5000.0,
            "switch.package.drain_inductance": 1e-12,
            "switch.package.common_source_inductance": 1e-12,
            "switch.package.source_inductance": 1e-12,
            "supply.film.esl": 1e-12,
        },
    )
    channel_ = machine.switch.channel
    one = channel_.output_capacitance_zero / sqrt(1.0 + 30.0 / 0.8)
    farads = 2.0 * (one + channel_.gate_drain_capacitance_min)
    pole = node_pole(machine, 30.0)
    assert pole is not None
    by_hand = 1.0 / (2.0 * pi * sqrt(machine.bridge.loop_inductance * farads))
    assert pole.imag / (2.0 * pi) == pytest.approx(by_hand, rel=1e-3)


def problem() -> tuple[Problem, Array]:
    """Exact readings of a machine that is off from the file in known ways."""
    machine = load_machine(DEMO / "machine.toml")
    everything = uncertain(machine, [PIECE])
    logs = np.array([{"coil.inductance": 0.02, "coil.resistance": -0.05,
                      f"workpieces.{PIECE}.inductance": -0.015}.get(u.key, 0.0)
                     for u in everything])  # fmt: skip
    truth = scaled(machine.model, everything, logs)
    settings = (Setting("empty", 30.0), Setting(PIECE, 30.0, 84e3), Setting(PIECE, 30.0, 95e3))
    seen = []
    for setting in settings:
        names = ("ring_down_frequency", "ring_down_q", "resonance") if setting.frequency is None \
            else ("supply_current", "primary_current", "phase")  # fmt: skip
        found = fast_readings(truth, setting, frozenset(names))
        seen += [Observation(f"{setting.load}.{n}", n, found[n], 0.002 * found[n], setting)
                 for n in names]  # fmt: skip
    chosen = influential(Problem(machine.model, everything, tuple(seen)))
    kept = np.array([x for u, x in zip(everything, logs, strict=True) if u in chosen])
    return Problem(machine.model, chosen, tuple(seen)), kept


def test_least_squares_finds_what_the_readings_tell() -> None:
    case, logs = problem()
    found = solve(case)
    spread = np.sqrt(np.diag(found.covariance))
    # Exact readings: priors alone pull the answer, by less than two deviations of any value.
    assert np.all(np.abs(found.logs - logs) < 2.0 * spread)
    keys = [u.key for u in case.chosen]
    # Only sqrt(LC) is told by frequencies; of the capacitance alone some tolerance must be left.
    assert 0.05 < found.left[keys.index("tank.can_capacitance")] < 0.9
    assert found.left[keys.index(f"workpieces.{PIECE}.resistance")] < 0.3
    # The prior pulls with one deviation of the values moved at most, so no reading by much more.
    assert np.all(np.abs(misfits(found)) < 1.5)


def test_values_no_reading_depends_on_are_left_out() -> None:
    case, _ = problem()
    assert "drive.loop_inductance" not in {u.key for u in case.chosen}


def test_the_fitted_file_keeps_comments_and_what_was_there() -> None:
    case, _ = problem()
    solution = solve(case)
    found = Fit(
        machine=case.machine, values=_values(case.chosen, solution, solution.logs), compared=(),
        chosen=case.chosen, solution=solution, logs=solution.logs, chi_square=0.0,
        probability=1.0, rounds=1, moved=0.0,
    )  # fmt: skip
    text, lost = fitted_text(TEXT, found, "readings.toml")
    assert lost == []
    assert [r for r in TEXT.splitlines() if r.startswith("#")] == [
        r for r in text.splitlines() if r.startswith("#")
    ]
    written = tomllib.loads(text)["coil"]["inductance"]
    assert written["source"] == "fitted"
    assert "was 900 nH (measured); readings.toml" in written["note"]
    loaded = build(load_text(text, "fitted.toml", MachineFile))
    assert loaded.model.coil.inductance == pytest.approx(0.9e-6 * 1.02, rel=0.01)
    shown = {one.key: one for one in listed(loaded)}["coil.inductance"]
    value = next(v for v in found.values if v.key == "coil.inductance")
    for said, meant in (
        (shown.value, value.after),
        (shown.low, value.low),
        (shown.high, value.high),
    ):
        assert parse_quantity(said, "H") == pytest.approx(meant, rel=2e-3)
    assert shown.note == written["note"]
    assert list(listed(load_machine(DEMO / "machine.toml"))) == []
    again = prior_covariance(loaded.model, uncertain(loaded, [PIECE]))
    first = [u.key for u in uncertain(loaded, [PIECE])].index("coil.inductance")
    # The joint uncertainty comes back to the digits that were written (four).
    k = [u.key for u in case.chosen].index("coil.inductance")
    assert again[first, first] == pytest.approx(solution.covariance[k, k], rel=1e-3)


def test_a_reading_the_machine_cannot_show_is_refused_by_line() -> None:
    from simkit.errors import InputError

    text = (
        '[[points]]\nload = "empty"\nsupply_voltage = "12 V"\n'
        'gate_ringing_frequency = { value = "9 MHz", uncertainty = "1 MHz" }\n'
    )
    loaded = load_text(text, "r.toml", Readings)
    with pytest.raises(InputError, match=r"r.toml:4: points.0.gate_ringing_frequency"):
        observations(loaded, (), demo())


def test_scope_readings_need_probes() -> None:
    from simkit.errors import InputError

    text = (
        '[[points]]\nload = "empty"\nsupply_voltage = "12 V"\nfrequency = "86 kHz"\n'
        'tank_scope = { value = "0.4 V", uncertainty = "10 mV" }\n'
    )
    loaded = load_text(text, "r.toml", Readings)
    bare = demo().model_copy(update={"probes": None})
    assert len(observations(loaded, (), demo())) == 1
    with pytest.raises(InputError, match="needs \\[probes\\]"):
        observations(loaded, (), bare)


def test_a_correction_moves_readings_and_not_the_answer_s_meaning() -> None:
    case, logs = problem()
    twice = np.array([o.value * 1.1 if o.name != "phase" else o.value + 3.0
                      for o in case.observations])  # fmt: skip
    moved = replace(
        case,
        observations=tuple(
            replace(o, value=v, deviation=o.deviation * 1.1)
            for o, v in zip(case.observations, twice.tolist(), strict=True)
        ),
    )
    # The "circuit" reads a tenth more (phase: 3 degrees) than the fast model; corrected for it,
    # the same machine comes out.
    circuit = np.where([o.name == "phase" for o in case.observations],
                       case.fast(logs) + 3.0, 1.1 * case.fast(logs))  # fmt: skip
    found = solve(moved.corrected(circuit, logs))
    spread = np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs(found.logs - logs) < 2.0 * spread)


def test_intervals_add_directions_in_squares_and_never_invent_a_chance() -> None:
    row = LimitRow(
        "Q1", "drain_voltage_peak", "V", 100.0, 8.0, 113.0, 100 / 113, 0.0, None, "ok", ""
    )
    found = bounded(row, [103.0, 96.0])
    # Deviation of the values sqrt(3^2 + 4^2) = 5; twice that either way.
    assert found.interval == pytest.approx([90.0, 110.0])
    # With the numerical error's 8/2: sqrt(5^2 + 4^2) = 6.40; the limit is 2.03 of these away, and
    # the normal distribution leaves 2.1 % above (any table: 2.03 -> 0.0212).
    assert found.probability_over == pytest.approx(0.0212, abs=2e-4)
    assert bounded(row, [103.0, None]) == row
    unknown = replace(row, value=None, error=None)
    assert bounded(unknown, [1.0, 2.0]) == unknown


def test_a_fitted_machine_is_moved_along_what_matters() -> None:
    machine = load_machine(DEMO / "machine.toml")
    record = {"parameters": ["coil.inductance", f"workpieces.{PIECE}.resistance"],
              "deviation": [0.01, 0.02], "correlation": [[1.0, 0.0], [0.0, 1.0]]}  # fmt: skip
    fitted = replace(machine, model=varied(machine.model, {"fit": record}))
    moved = moved_machines(fitted, scenario(load=PIECE, margin=0.04))
    # Only the piece's resistance acts with the piece in: the first direction is it, by its 2 %.
    ratio = moved[0].workpieces[PIECE].resistance / machine.model.workpieces[PIECE].resistance
    assert abs(log(ratio)) == pytest.approx(0.02, rel=1e-6)
    assert moved[0].coil.inductance == pytest.approx(machine.model.coil.inductance, rel=1e-9)

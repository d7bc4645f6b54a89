"""Parts around the switches: figures of drawn waveforms, ratings, and what has none.

Outside: rms and peaks of sines and triangles, integrals worked out by hand.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from simkit.circuit.profile import Profile
from simkit.figures.part_ratings import FIGURES
from simkit.figures.table import figures
from simkit.measure.part_loads import (
    avalanche_energy,
    blocking_offset,
    peak_loads,
    steady_loads,
)
from simkit.measure.periodic import Cycle
from simkit.parameters.ratings import Ratings
from simkit.rehearsal.mains_limits import drawn_at, mains_figures, switched_on
from simkit.rehearsal.part_figure import PartFigure, rating_of
from simkit.rehearsal.part_limits import PARTS, _judged, _not_worked_out
from simkit.studies.inputs.loading import load_machine
from tests.machines import ROOT, demo, topology, varied
from tests.waves import waves

TIME = np.linspace(0.0, 1e-4, 4001)
SINE = np.sin(2.0 * np.pi * 1e4 * TIME)
SPAN = Cycle(0.0, 1e-4)


def test_rms_of_sines_without_their_mean() -> None:
    """5 A + 10 A sin in the film capacitor: 7.07 A of it heat; 3 A in the link's."""
    machine = demo()
    made = waves(
        machine, TIME,
        cf1=(5.0 + 10.0 * SINE) * machine.supply.film.esr, cl1=3.0 * SINE * machine.supply.link.esr,
        pa=8.0 * SINE * machine.transformer.primary_resistance, film=300.0 + 25.0 * SINE,
        a=200.0 + SINE, lx=1.0,
    )  # fmt: skip
    found = steady_loads(made, SPAN)
    assert found["film_current_rms"] == pytest.approx(10.0 / np.sqrt(2.0), rel=1e-3)
    assert found["link_current_rms"] == pytest.approx(3.0 / np.sqrt(2.0), rel=1e-3)
    assert found["blocking_current_rms"] == pytest.approx(8.0 / np.sqrt(2.0), rel=1e-3)
    peaks = peak_loads(made, SPAN)
    assert peaks["film_voltage_peak"] == pytest.approx(325.0)
    # 8 A into 10 uF.
    assert peaks["blocking_dv_dt"] == pytest.approx(0.8e6, rel=1e-3)


def test_snubber_and_halves() -> None:
    snubber = {"place": "leg", "resistance": 10.0, "capacitance": 1e-9}
    machine = varied(topology("half-split", "loop", "ideal"), {"bridge.snubber": snubber})
    made = waves(
        machine, TIME, lx=1.0, p=300.0 + 20.0 * SINE, na=300.0, sh=120.0, sl=180.0 + 30.0 * SINE
    )
    found, peaks = steady_loads(made, SPAN), peak_loads(made, SPAN)
    # 20 V of a sine over 10 ohm: 20 W; the DC stays on the capacitor.
    assert found["snubber_power"] == pytest.approx(20.0, rel=1e-3)
    assert peaks["snubber_voltage_peak"] == pytest.approx(300.0)
    assert peaks["split_voltage_peak"] == pytest.approx(210.0)
    assert found["split_current_rms"] > 0.0


def test_energy_of_a_clamp() -> None:
    """660 V and 10 A for 1 us: 6.6 mJ in the cycle; below the breakdown voltage none."""
    machine = demo()
    flat = (TIME > 20e-6) & (TIME < 21e-6)
    volts = np.where(flat, machine.switch.channel.breakdown_voltage, 300.0)
    made = waves(machine, TIME, xq2__di=volts, a=0.01)
    assert avalanche_energy(made, (SPAN,)) == pytest.approx(6.6e-3, rel=0.05)
    assert avalanche_energy(waves(machine, TIME, xq2__di=600.0, a=0.01), (SPAN,)) == 0.0


def test_a_rating_judges_and_none_never_passes() -> None:
    ratings = Ratings.model_validate({"film": {"current": "10 A"}})
    assert rating_of(ratings, "ratings.film.current") == 10.0
    assert rating_of(ratings, "ratings.film.voltage") is None
    assert rating_of(ratings, "ratings.split.current") is None
    assert rating_of(None, "ratings.primary_current") is None

    def row(value: float, error: float = 0.1) -> Any:
        key = "ratings.film.current"
        return _judged(
            PartFigure("film capacitor", "film_current_rms", "A", value, error, key, 10.0, 0.9)
        )

    assert (row(8.0).status, row(9.05).status, row(9.5).status) == ("ok", "near", "over")
    assert row(float("nan")).status == row(8.0, float("nan")).status == "not_evaluated"
    assert row(8.0).source == "ratings.film.current, 90% of it used"


def test_a_link_rating_needs_its_frequency_factor() -> None:
    with pytest.raises(ValueError, match="frequency_factor"):
        Ratings.model_validate({"link": {"ripple_current": "5 A"}})


def test_mains_of_the_bar_heater() -> None:
    """1.5 kW behind 0.4 ohm: far more rms than the link's mean, and no power, no current."""
    machine = load_machine(ROOT / "scenarios" / "bar-heating" / "machine.toml").model
    rectifier = machine.supply.rectifier
    assert rectifier is not None
    point: Any = SimpleNamespace(input_power_w=1500.0, supply_voltage_v=310.0)
    found = drawn_at(machine, rectifier, point)
    assert found is not None
    assert found.rms > 1.8 * found.dc
    assert drawn_at(machine, rectifier, SimpleNamespace(input_power_w=0.0)) is None  # type: ignore[arg-type]


def test_every_figure_has_its_words_and_its_key_is_a_field() -> None:
    for name, (part, unit, key, _) in PARTS.items():
        assert figures()[name].unit == unit
        assert part.startswith(figures()[name].part)
        section: Any = Ratings
        for part in key.split(".")[1:-1]:
            section = next(
                a for a in section.model_fields[part].annotation.__args__ if a is not type(None)
            )
        assert key.split(".")[-1] in section.model_fields
    assert {f.unit for f in FIGURES} >= {"W/m^3", "A/m^2", "A^2*s", "V*s", "J", "degC", "V/s"}


def of_mains(share: float = 1.0, **changes: Any) -> dict[str, PartFigure]:
    """Figures of the demonstration machine's mains at 2 kW, or at a share of its voltage."""
    machine = varied(demo(), changes)
    point = SimpleNamespace(input_power_w=2000.0 * share**2, supply_voltage_v=325.0 * share)
    line = SimpleNamespace(voltage=Profile(share * machine.supply.voltage), end=1e-3)
    whole: Any = SimpleNamespace(machine=machine, before=point, after=point, line=line)
    return {f.quantity: f for f in mains_figures(whole, 7.0, 0.01)}


def test_a_march_that_does_not_rest_passes_nothing() -> None:
    """0.9 F on an outlet: no number, so the rating is not evaluated and there is no verdict."""
    calm, never = of_mains(), of_mains(**{"supply.link.capacitance": 0.9})
    assert _judged(calm["mains_current_rms"]).status == "ok"
    for name in ("mains_current_rms", "rectifier_current", "link_ripple_current"):
        assert _judged(never[name]).status == "not_evaluated"


@pytest.mark.parametrize("share", [0.25, 1.1])
def test_at_a_share_of_the_supply_the_mains_gives_that_share(share: float) -> None:
    """The same bridge behind a variable transformer, or in a swell: the circuit is linear but for
    the diodes' drop, 1.8 V of 81 V at a quarter, which moves the currents by less than 3 %."""
    full, low = of_mains(), of_mains(share)
    for name in ("mains_current_rms", "rectifier_current"):
        assert low[name].value == pytest.approx(share * full[name].value, rel=0.03)


def test_a_bench_supply_leaves_the_bridges_ripple() -> None:
    """7 A of the bridge over the data sheet's factor of 1.4: 5 A, and no mains."""
    found = of_mains(**{"supply.rectifier": None})
    assert set(found) == {"link_ripple_current"}
    assert found["link_ripple_current"].value == pytest.approx(5.0)


def test_switching_on_without_a_precharge() -> None:
    """325 V over 0.31 ohm behind 2 mH and 1 mF: V sqrt(C/L) = 230 A damped, and the link swings
    over the crest, which the crest's own 325 V would not tell. By integration, 3 %."""
    bare = of_mains(**{"supply.rectifier.precharge": None})
    machine = varied(demo(), {"supply.rectifier.precharge": None})
    ohm, henry, farad = 0.25 + 0.06, 2e-3, 1e-3

    def slope(t: float, x: np.ndarray) -> list[float]:
        u = np.sqrt(2.0) * 230.0 * abs(np.cos(2 * np.pi * 50.0 * t)) - 1.8
        return [x[1] / farad, (u - ohm * x[1] - x[0]) / henry]

    done = solve_ivp(slope, (0.0, 6e-3), [0.0, 0.0], rtol=1e-8, max_step=1e-5)
    first = done.y[:, : int(np.argmax(done.y[1] < -1e-9)) or None]
    assert bare["rectifier_surge"].value == pytest.approx(first[1].max(), rel=0.03)
    assert switched_on(machine) == pytest.approx(first[0].max(), rel=0.03)
    assert switched_on(machine) > 1.1 * 325.0 > 1.1 * switched_on(demo())
    assert _judged(of_mains()["rectifier_surge"]).status == "ok"
    strict = of_mains(**{"supply.rectifier.surge_current": 5.0})
    assert _judged(strict["rectifier_surge"]).status == "over"


@pytest.mark.parametrize("share", [0.4, 0.95])
def test_what_is_missing_flows_when_the_relay_closes(share: float) -> None:
    """The relay closes at the crest with the link at a share of it, only line and ESR in the way:
    a second surge, the larger one unless little is missing. By integration, 3 %; at 40 % through
    the choke it also swings the link over the crest, and without a choke breaks the diodes."""
    change = {"supply.rectifier.precharge.close_share": share}
    ohm, henry, farad, crest = 0.25 + 0.06, 2e-3, 1e-3, np.sqrt(2.0) * 230.0 - 1.8

    def slope(t: float, x: np.ndarray) -> list[float]:
        u = np.sqrt(2.0) * 230.0 * abs(np.cos(2 * np.pi * 50.0 * t)) - 1.8
        return [x[1] / farad, (u - ohm * x[1] - x[0]) / henry]

    done = solve_ivp(slope, (0.0, 6e-3), [share * crest, 0.0], rtol=1e-8, max_step=1e-5)
    first = done.y[:, : int(np.argmax(done.y[1] < -1e-9)) or None]
    found, charging = of_mains(**change), crest / (47.0 + ohm)
    surge = max(first[1].max(), charging)
    assert found["rectifier_surge"].value == pytest.approx(surge, rel=0.03)
    assert switched_on(varied(demo(), change)) == pytest.approx(first[0].max(), rel=0.03)
    assert (surge > charging) == (share < 0.5)
    stiff = of_mains(**change, **{"supply.rectifier.line_inductance": None})["rectifier_surge"]
    assert stiff.value == pytest.approx((1.0 - share) * crest / ohm, rel=0.03)
    assert _judged(stiff).status == ("over" if share < 0.5 else "ok")


def test_a_lamp_does_not_hide_the_surge_of_its_relay() -> None:
    """100 W at 230 V, cold a fourteenth of its 529 ohm (tungsten, power 1.2 of the temperature):
    about 9 A; the relay at 95 % then lets 16 V over 0.31 ohm and the choke flow."""
    lamp = {"lamp_power": 100.0, "lamp_voltage": 230.0, "close_share": 0.95}
    found = of_mains(**{"supply.rectifier.precharge": lamp})
    through = of_mains(**{"supply.rectifier.precharge": {"resistor": 37.0, "close_share": 0.95}})
    assert found["rectifier_surge"].value >= through["rectifier_surge"].value > 8.0
    assert found["inrush_melting"].value > 0.0
    assert "precharge_energy" not in found


def test_a_bleeder_that_is_a_heater_is_over() -> None:
    """325 V squared over 47 kohm: 2.25 W of 5; over 10 kohm it is 10.6 W."""
    found = of_mains()["bleeder_power"]
    assert found.value == pytest.approx(325.0**2 / 47e3)
    assert _judged(found).status == "ok"
    hot = of_mains(**{"supply.rectifier.bleeder": 10e3})["bleeder_power"]
    assert hot.value == pytest.approx(10.56, rel=1e-3)
    assert _judged(hot).status == "over"
    assert "bleeder_power" not in of_mains(**{"supply.rectifier.bleeder": None})


def test_heat_that_cannot_be_worked_out_is_told_and_not_left_out() -> None:
    """A core whose ferrite nobody described heats all the same: no figure, and it says so."""
    (row,) = _not_worked_out(varied(demo(), {"transformer.core_loss": None}))
    assert (row.part, row.quantity, row.value) == ("core", "core_loss_density", None)
    assert "transformer.core_loss" in row.needs
    assert not list(_not_worked_out(demo()))


def test_the_links_esr_softens_the_pulses_downward() -> None:
    """The march leaves the link's ESR out: more in the line's way gives less current. Against the
    march with that much more in the line, 1 %; a link without ESR has no such error."""
    found, stiff = of_mains(), of_mains(**{"supply.link.esr": 1e-6})
    softer = of_mains(**{"supply.rectifier.line_resistance": 0.25 + demo().supply.link.esr})
    name = "mains_current_rms"
    low = found[name].value - found[name].below
    assert low == pytest.approx(softer[name].value, rel=0.01)
    assert low < found[name].value
    assert stiff[name].below == pytest.approx(0.0, abs=1e-3)
    assert (_judged(found[name]).error_below or 0.0) > found[name].error
    assert _judged(stiff["rectifier_current"]).error_below is None


def test_the_film_capacitor_counts_beside_a_small_link() -> None:
    """5 uF of film across a link of 5 uF: to the mains it is a link of 10 uF."""
    key = "supply.{}.capacitance"
    both = of_mains(**{key.format("link"): 5e-6, key.format("film"): 5e-6})
    most = of_mains(**{key.format("link"): 9.9e-6, key.format("film"): 0.1e-6})
    for name in ("mains_current_rms", "inrush_melting"):
        assert both[name].value == pytest.approx(most[name].value, rel=1e-6), name


def test_a_bleeder_that_keeps_the_relay_open_leaves_no_verdict() -> None:
    """470 ohm behind 47: the link stops at about 0.9 of the crest, the relay waits for 0.95 and the
    resistor burns on. By the charge of a half period, quad: what comes against what goes."""
    crest, wanted = np.sqrt(2.0) * 230.0, 0.95 * (np.sqrt(2.0) * 230.0 - 1.8)
    end = float(np.arccos((wanted + 1.8) / crest))
    given = quad(lambda a: (crest * np.cos(a) - 1.8 - wanted) / 47.25, 0.0, end)[0] / (np.pi / 2.0)
    for ohm, closes in (
        (470.0, False),
        (0.98 * wanted / given, False),
        (1.02 * wanted / given, True),
    ):
        found = _judged(of_mains(**{"supply.rectifier.bleeder": ohm})["precharge_energy"])
        assert (found.status == "ok") == closes, ohm
        assert ("resistor carries current for good" in found.note) != closes
    assert _judged(of_mains()["precharge_energy"]).status == "ok"


@pytest.mark.parametrize(("aside", "told"), [(0.0, 0.0), (0.4, 0.4), (-0.4, 0.4)])
def test_how_far_a_capacitors_voltage_lies_to_one_side(aside: float, told: float) -> None:
    """A sine of 3 V beside a direct voltage: by arithmetic."""
    made = waves(demo(), TIME, a=3.0 * SINE + aside + 7.0, pa=7.0)
    assert made.machine.transformer.blocking_capacitance is not None
    assert blocking_offset(made, SPAN) == pytest.approx(told, abs=1e-3)

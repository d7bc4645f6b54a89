"""Cooling that fails, and a charge that melts: minutes worked out by hand from the run's currents.

What the circuit gives is one figure each: rms current of the coil, loss of the switches, power in
coil and piece. What follows from it over minutes is derived here by heat balances. The water's
properties are those of IAPWS-97, by the library, not the project's own formulas.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from iapws import IAPWS97
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from simkit.judge.verdict import Judged
from simkit.measure.series import Series
from simkit.parts.mains import drawn
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.mains_limits import line_of
from simkit.studies.situations import Case, named
from tests.engine.runs import run, settled, situation
from tests.machines import demo

pytestmark = pytest.mark.slow

AMBIENT, INLET = 30.0, 18.0
COPPER = 385.0
"""Heat capacity of copper [J/(kg K)]; CRC Handbook (recalled from memory)."""
COIL_RESISTANCE = 9e-3
BORE, LENGTH, COIL_COPPER = 4e-3, 1.0, 50e-3
"""Of the demonstration machine's tube [m], and the copper its situation assumes [kg]."""


def fact(found: Rehearsal, name: str) -> float | None:
    return next(f.value for f in found.slow if f.name == name)


def later(found: Rehearsal, quantity: str) -> Series:
    return next(s for s in found.series if s.quantity == quantity)


def row(found: Rehearsal, quantity: str) -> Judged:
    return next(r for r in found.rows if r.quantity == quantity)


def varied_case(name: str, **table: Any) -> Rehearsal:
    """The situation with values of its aftermath changed."""
    case = named(name).build(demo())
    assert case.scenario.aftermath is not None
    after = case.scenario.aftermath.model_copy(update=table)
    return run(Case(case.machine, case.scenario.model_copy(update={"aftermath": after})))


STEAM = IAPWS97(P=0.101325, x=0)
COLD_WATER = IAPWS97(T=INLET + 273.15, P=0.101325)
BOILING = float(STEAM.T) - 273.15
"""Of water at one atmosphere [degC]."""
TO_BOIL, DENSITY = 1e3 * float(STEAM.h - COLD_WATER.h), float(COLD_WATER.rho)
"""Of the water at the inlet [J/kg] [kg/m3]."""


def copper_loss(found: Rehearsal) -> float:
    return float(found.after.coil_current_rms_a**2 * COIL_RESISTANCE)


def heat_to_boil() -> float:
    """Of the water in the coil and of its copper [J]."""
    water = DENSITY * 0.25 * np.pi * BORE**2 * LENGTH * TO_BOIL
    return float(water + COPPER * COIL_COPPER * (BOILING - INLET))


def with_flow(flow: float | None) -> Rehearsal:
    case = named("pump-stops").build(demo())
    assert case.scenario.aftermath is not None
    assert case.scenario.aftermath.water is not None
    water = case.scenario.aftermath.water.model_copy(update={"flow": flow})
    return varied_case("pump-stops", water=water)


@pytest.mark.situation("effect", "pump-stops")
def test_standing_water_boils_after_its_heat_over_the_copper_loss() -> None:
    """t = (m_w dh + m_cu c dT)/(I^2 R). 1 %: the march takes the heat capacity at the inlet
    throughout, and its boiling point by Antoine's equation to 0.3 K."""
    found = situation("pump-stops")
    assert fact(found, "time until the water boils") == pytest.approx(
        heat_to_boil() / copper_loss(found), rel=0.01
    )
    assert row(found, "water_temperature").status == "over"
    # The switches do not notice: the heatsink stays where it was.
    stays = AMBIENT + 0.15 * found.after.bridge_loss_w
    assert fact(found, "heatsink at the end") == pytest.approx(stays, abs=0.05)


@pytest.mark.situation("absence", "pump-stops", "pump-weak")
def test_with_its_pump_the_water_leaves_warmer_by_power_over_flow() -> None:
    """dT = P/(rho c q) at the machine's own 0.6 litres a minute: 9 K, and no limit near."""
    found = with_flow(1e-5)
    water = later(found, "water_temperature")
    mean = TO_BOIL / (BOILING - INLET)
    rise = copper_loss(found) / (DENSITY * 1e-5 * mean)
    assert water.values[-1] - INLET == pytest.approx(rise, rel=0.01)
    assert fact(found, "time until the water boils") is None
    assert row(found, "water_temperature").status == "ok"


@pytest.mark.situation("effect", "pump-weak")
def test_a_trickle_boils_as_late_as_the_heat_it_carries_off_allows() -> None:
    """C dT/dt = P - rho c q (T - T_in), solved by scipy. 1 % as for standing water."""
    found = situation("pump-weak")
    power, capacity = copper_loss(found), heat_to_boil() / (BOILING - INLET)
    carried = DENSITY * 1e-7 * TO_BOIL / (BOILING - INLET)

    def reached(_t: float, rise: np.ndarray) -> float:
        return float(rise[0] - (BOILING - INLET))

    reached.terminal = True  # type: ignore[attr-defined]  # scipy reads it from the function
    done = solve_ivp(
        lambda _t, rise: [(power - carried * rise[0]) / capacity], (0.0, 100.0), [0.0],
        events=reached, rtol=1e-8,
    )  # fmt: skip
    boils = fact(found, "time until the water boils")
    assert boils == pytest.approx(done.t_events[0][0], rel=0.01)
    standing = fact(situation("pump-stops"), "time until the water boils")
    assert boils is not None
    assert standing is not None
    assert boils > 1.02 * standing, "the test would see a flow that does nothing"


@pytest.mark.situation("effect", "pump-weak")
@pytest.mark.situation("absence", "pump-weak")
@pytest.mark.parametrize("share", [0.95, 1.05])
def test_the_flow_below_which_it_boils_is_power_over_enthalpy(share: float) -> None:
    """q = P/(rho dh): a twentieth less boils in the end, a twentieth more never does."""
    flow = share * copper_loss(situation("pump-weak")) / (DENSITY * TO_BOIL)
    boils = fact(with_flow(flow), "time until the water boils")
    assert (boils is not None) == (share < 1.0)


@pytest.mark.situation("effect", "fan-stops")
def test_still_air_lets_the_heatsink_climb_by_its_exponential() -> None:
    """From T_a + P R to T_a + 4 P R with 4 R C, C = 300 s/R: 20 minutes, of which 30 go by.

    0.1 K: the loss of the last cycles beside that of the last few more.
    """
    found = situation("fan-stops")
    rise = 0.15 * found.after.bridge_loss_w
    after = AMBIENT + rise * (4.0 - 3.0 * np.exp(-1800.0 / (4.0 * 300.0)))
    assert fact(found, "heatsink at the end") == pytest.approx(after, abs=0.1)
    assert fact(found, "heatsink if it went on for ever") == pytest.approx(
        AMBIENT + 4.0 * rise, abs=0.1
    )
    own = 0.25 * found.after.bridge_loss_w * (0.30 + 0.35)
    junction = later(found, "junction_later")
    assert junction.values[-1] == pytest.approx(after + own, abs=0.1)
    # Halfway to where it goes after ln 2 time constants.
    halfway = np.interp(found.line.end + 1200.0 * np.log(2.0), junction.times, junction.values)
    assert halfway == pytest.approx(AMBIENT + 2.5 * rise + own, abs=0.1)


@pytest.mark.situation("absence", "fan-stops")
def test_with_its_fan_the_heatsink_stays() -> None:
    found = varied_case("fan-stops", heatsink_resistance=None)
    stays = AMBIENT + 0.15 * found.after.bridge_loss_w
    assert fact(found, "heatsink at the end") == pytest.approx(stays, abs=0.05)
    junction = later(found, "junction_later")
    assert np.ptp(junction.values) < 0.05


PAD, OWN, SHARED = 0.35, 0.30, 4 * 0.15
"""Thermal resistances of the demonstration machine as one switch of four sees them [K/W]."""


def junction_with(pad: float) -> float:
    """Balance of a junction behind a pad, from the sound run's loss and current [degC].

    T = T_a + (R_jc + pad + 4 R_hs) (P_rest + I^2 R_0 (T/298 K)^2.3): each switch has the primary
    current for half of the time. The rest, at the edges, does not know the temperature.
    """
    sound = settled()
    cold = 75e-3 + 1 / (18 * (12 - 4))
    square = 0.5 * sound.after.primary_current_rms_a**2

    def conduction(celsius: float) -> float:
        return float(square * cold * ((celsius + 273.15) / 298.15) ** 2.3)

    assert sound.warming is not None
    rest = 0.25 * sound.after.bridge_loss_w - conduction(sound.warming.switch_at_c)
    whole = OWN + pad + SHARED
    return float(brentq(lambda t: AMBIENT + whole * (rest + conduction(t)) - t, AMBIENT, 150.0))


@pytest.mark.situation("effect", "pad-dry")
def test_a_junction_runs_hotter_by_its_loss_times_what_the_pad_adds() -> None:
    """0.2 K of 9 K: the loop stops when it is within 2 K of the switch it took, and each kelvin
    of that is a tenth more in the junction."""
    found, sound = situation("pad-dry").warming, settled().warming
    assert found is not None
    assert sound is not None
    assert found.settled_junction_c == pytest.approx(junction_with(4 * PAD), abs=0.2)
    assert found.settled_junction_c - sound.settled_junction_c > 8.0


@pytest.mark.situation("absence", "pad-dry")
def test_behind_a_sound_pad_a_junction_is_as_warm_as_its_loss_makes_it() -> None:
    """T_a + P (R_jc + R_pad + 4 R_hs), 10 K in all; 0.1 K for the hottest of the four."""
    sound = settled()
    assert sound.warming is not None
    rise = 0.25 * sound.after.bridge_loss_w * (OWN + PAD + SHARED)
    assert sound.warming.settled_junction_c == pytest.approx(AMBIENT + rise, abs=0.1)


MASS, FUSION, MELTING, POUR = 0.12, 396.94e3, 660.32, 720.0
"""120 g of aluminium [kg] [J/kg] [degC]: CRC Handbook and ITS-90 (recalled from memory)."""


def capacity(celsius: float) -> float:
    """Heat capacity of aluminium: 25 degC CRC Handbook, above handbooks (recalled from memory)."""
    return float(np.interp(celsius, (25.0, 327.0, 627.0), (896.9, 1034.0, 1157.0)))


def losses(celsius: float) -> float:
    """20 cm2 of emissivity 0.8, and 3 K/W of insulation [W]."""
    fourth = (celsius + 273.15) ** 4 - (AMBIENT + 273.15) ** 4
    return 0.8 * 5.670374e-8 * 20e-4 * fourth + (celsius - AMBIENT) / 3.0


def time_to(power: float) -> float:
    """m c dT/(P - losses) over all temperatures, and the melting at one of them [s]."""
    sensible = [quad(lambda t: MASS * capacity(t) / (power - losses(t)), a, b)[0]
                for a, b in ((AMBIENT, MELTING), (MELTING, POUR))]  # fmt: skip
    return float(sum(sensible) + MASS * FUSION / (power - losses(MELTING)))


def mean_share(found: Rehearsal) -> float:
    """Mean of the link's squared voltage over the mains' period, over that of the crest [1]: the
    march is held against an integrator in test_mains.py."""
    rectifier = found.machine.supply.rectifier
    assert rectifier is not None
    line = line_of(found.machine, rectifier)
    mains = drawn(line, found.after.input_power_w, found.after.supply_voltage_v)
    share = mains.power / found.after.input_power_w
    assert 0.8 < share < 1.0
    return share


@pytest.mark.situation("effect", "melt-charge")
def test_a_charge_melts_in_its_heat_over_what_the_losses_leave() -> None:
    """m (integral of c dT + heat of fusion) = 134.4 kJ; the power is I^2 (R - R_coil): the coil's
    copper heats the water. 1 %: steps of half a kelvin."""
    found = situation("melt-charge")
    # (899.2 + 1034)/2 x 297 + (1034 + 1157)/2 x 300 + 1157 x 93 J/kg and the heat of fusion,
    # worked by hand
    heat = MASS * (quad(capacity, AMBIENT, POUR, points=[327.0, 627.0])[0] + FUSION)
    assert heat == pytest.approx(134.44e3, rel=1e-3)
    assert fact(found, "heat the charge needs") == pytest.approx(134.44e3, rel=1e-3)
    power = found.after.coil_current_rms_a**2 * (50e-3 - COIL_RESISTANCE) * mean_share(found)
    assert fact(found, "power into the piece") == pytest.approx(power, rel=1e-3)
    assert fact(found, "time to the target") == pytest.approx(time_to(power), rel=0.01)


@pytest.mark.situation("absence", "melt-charge")
def test_a_charge_that_radiates_too_much_never_melts() -> None:
    """Where radiation and insulation take the power below its melting point nothing ever melts.

    The area that does: (P - (660.3 - 30)/3 K/W)/(eps sigma (T^4 - T_a^4)). With a twentieth less of
    it the charge comes to its melting point, with a twentieth more never.
    """
    found = situation("melt-charge")
    assert found.scenario.aftermath is not None
    charge = found.scenario.aftermath.charge
    assert charge is not None
    power = found.after.coil_current_rms_a**2 * (50e-3 - COIL_RESISTANCE) * mean_share(found)
    per_area = 0.8 * 5.670374e-8 * (933.47**4 - 303.15**4)
    just = (power - 630.32 / 3.0) / per_area
    for share, comes in ((0.95, True), (1.05, False)):
        wide = charge.model_copy(update={"radiating_area": share * just, "target": MELTING})
        took = fact(varied_case("melt-charge", charge=wide), "time to the target")
        assert (took is not None) == comes

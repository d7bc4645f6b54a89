"""What the supply does: charging, smoothing capacitor, sag; against charge, Ohm's law and phasors.

Numbers are those of the demonstration machine's file; each tolerance says what the hand
calculation leaves out.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad

from simkit.measure.waveforms import Array, Waves
from simkit.rehearsal.findings import Rehearsal
from simkit.studies.situations import Case, named
from tests.engine.runs import plain, run, settled, situation
from tests.machines import demo

pytestmark = pytest.mark.slow

PEAK, DIODES, SOURCE = 325.0, 2.0, 0.25
"""Of the mains [V], of two diodes [V], of line and filter [ohm]."""
LINK, LINK_ESR, LINK_ESL = 1e-3, 60e-3, 20e-9
FILM, FILM_ESR, FILM_ESL = 4.7e-6, 5e-3, 12e-9
BUS, BUS_DAMPING = 60e-9, 2.0
FULL = PEAK - DIODES
"""What the link comes to without load [V]."""


def fact(found: Rehearsal, name: str) -> float | None:
    return next((f.value for f in found.slow if f.name == name), None)


def in_conduction(link: float) -> tuple[float, float]:
    """Mean of the driving voltage [V] and of its square [V^2] over a half period.

    The rectified cosine less diodes and link, where it is above zero.
    """
    end = np.arccos((link + DIODES) / PEAK)

    def mean(power: int) -> float:
        area, _ = quad(lambda x: (PEAK * np.cos(x) - DIODES - link) ** power, -end, end)
        return float(area / np.pi)

    return mean(1), mean(2)


def over_the_charge(what: Callable[[float], float]) -> float:
    """Integral over the link's voltage up to 95 % of its peak."""
    return float(quad(what, 0.0, 0.95 * FULL, limit=200)[0])


def charging_heat() -> float:
    """C times the integral of <u^2>/<u> over the link's voltage [J]: no resistance in it."""

    def per_charge(link: float) -> float:
        first, second = in_conduction(link)
        return second / first

    return LINK * over_the_charge(per_charge)


def charge_carried(found: Rehearsal) -> float:
    """Half periods' means of the charging current over their 10 ms [C]."""
    series = next(s for s in found.series if s.quantity == "charging_current")
    return float(np.sum(series.values) * 10e-3)


@pytest.mark.situation("effect", "precharge-resistor")
def test_a_resistor_charges_by_v_over_r_and_its_rc() -> None:
    """Surge V/(R + R_s) at the peak; then dv = <u>/(R C) dt over half periods of u, the mains'
    excess, and half of what arrives is lost but for the half waves' shape. 1 %: the link rises
    within a half period, R C being five of them."""
    found = situation("precharge-resistor")
    whole = 47.0 + SOURCE
    assert fact(found, "largest charging current") == pytest.approx(FULL / whole, rel=1e-3)
    time = whole * LINK * over_the_charge(lambda v: 1.0 / in_conduction(v)[0])
    assert fact(found, "time to 95 % of the peak") == pytest.approx(time, rel=0.01)
    heat = charging_heat() * 47.0 / whole
    assert fact(found, "heat in resistor or lamp") == pytest.approx(heat, rel=0.01)
    # 1 % of the charge came in a half period that the time cuts off.
    assert charge_carried(found) == pytest.approx(LINK * 0.95 * FULL, rel=0.01)


RATED = 230.0**2 / 100.0
"""A lamp of 230 V and 100 W, glowing at 2700 K [ohm]."""


@pytest.mark.situation("effect", "precharge-lamp")
def test_a_lamp_surges_cold_and_then_limits_glowing() -> None:
    """Cold surge by the resistivities of tungsten, 5.65 at 300 K and 81 uohm cm at 2700 K (Jones
    and Langmuir, 1927, recalled from memory): 3 %, the law of the lamp against the table. Then
    <u^2>/R = P (T/T_0)^4 and R = R_0 (T/T_0)^1.2 give R = R_0 (<u^2>/V_0^2)^(1.2/5.2): 10 %, the
    filament's own heat capacity and the room's radiation. The heat is that of any resistor."""
    found = situation("precharge-lamp")
    cold = RATED * 5.65 / 81.0
    assert fact(found, "largest charging current") == pytest.approx(FULL / cold, rel=0.03)

    def glowing(link: float) -> float:
        first, second = in_conduction(link)
        return (RATED * max((second / 230.0**2) ** (1.2 / 5.2), 5.65 / 81.0) + SOURCE) / first

    time = LINK * over_the_charge(glowing)
    assert fact(found, "time to 95 % of the peak") == pytest.approx(time, rel=0.10)
    assert fact(found, "heat in resistor or lamp") == pytest.approx(charging_heat(), rel=0.01)
    assert charge_carried(found) == pytest.approx(LINK * 0.95 * FULL, rel=0.01)


@pytest.mark.situation("absence", "precharge-lamp")
def test_a_resistor_of_the_cold_lamp_does_not_limit_further() -> None:
    """The same surge, and then its own R C: a fifth of the lamp's time, by dv = <u>/(R C) dt."""
    case = named("precharge-lamp").build(demo())
    assert case.scenario.precharge is not None
    cold = RATED * (293.15 / 2700.0) ** 1.2
    told = case.scenario.precharge.model_copy(
        update={"resistor": cold, "lamp_voltage": None, "lamp_power": None}
    )
    found = run(Case(case.machine, case.scenario.model_copy(update={"precharge": told})))
    lamp = situation("precharge-lamp")
    assert fact(found, "largest charging current") == pytest.approx(
        fact(lamp, "largest charging current"), rel=1e-2
    )
    time = (cold + SOURCE) * LINK * over_the_charge(lambda v: 1.0 / in_conduction(v)[0])
    assert fact(found, "time to 95 % of the peak") == pytest.approx(time, rel=0.01)
    limited = fact(lamp, "time to 95 % of the peak")
    assert limited is not None
    assert time < 0.2 * limited


@pytest.mark.situation("absence", "precharge-resistor", "precharge-lamp")
def test_a_charged_link_has_nothing_left_to_charge() -> None:
    """The machine at its working point: what the supply gives is what the bridge draws, to the
    ripple that the link capacitor leaves, and no charging is judged."""
    found = settled()
    assert all("between the mains' crests" in fact.name for fact in found.slow)
    assert not [r for r in found.rows if r.quantity.startswith("charging")]
    waves = plain().whole.waves.between(0.0, 4.5e-5)
    assert waves.supply_current.max() < 10.0


# --- smoothing capacitor -----------------------------------------------------------------


def branch(resistance: float, inductance: float, capacitance: float, omega: float) -> complex:
    return resistance + 1j * (omega * inductance - 1.0 / (omega * capacitance))


def shares(frequency: float, smoothed: bool) -> tuple[float, float]:
    """Of the bridge's ripple at a frequency: the film's and the source's [1], by impedances."""
    omega = 2.0 * np.pi * frequency
    film = branch(FILM_ESR, FILM_ESL, FILM, omega)
    behind: complex = SOURCE
    if smoothed:
        link = branch(LINK_ESR, LINK_ESL, LINK, omega)
        behind = SOURCE * link / (SOURCE + link)
    coil = 1j * omega * BUS
    whole = behind + coil * BUS_DAMPING / (coil + BUS_DAMPING)
    return abs(whole / (whole + film)), abs(film / (whole + film) * behind / SOURCE)


def component(waves: Waves, values: Array, frequency: float) -> complex:
    """Fourier component over whole cycles [A]."""
    turning = np.exp(-2j * np.pi * frequency * waves.time)
    return complex(np.trapezoid(values * turning, waves.time))


def measured_shares(found: Rehearsal, start: float) -> tuple[float, float]:
    """The same from the waveforms, over four cycles from a time [s]."""
    drive = found.line.frequency.first
    waves = found.whole.waves.between(start, start + 4.0 / drive)
    bridge = np.asarray(waves.switches[0].drain_current + waves.switches[2].drain_current)
    film = (waves.node("cf1") - waves.node("cf2")) / FILM_ESR
    whole = (
        abs(component(waves, film, 2 * drive)),
        abs(component(waves, waves.supply_current, 2 * drive)),
    )
    ripple = abs(component(waves, bridge, 2 * drive))
    return whole[0] / ripple, whole[1] / ripple


@pytest.mark.situation("effect", "smoothing-capacitor-open")
@pytest.mark.situation("absence", "smoothing-capacitor-open")
@pytest.mark.parametrize("smoothed", [False, True])
def test_without_smoothing_capacitor_film_and_source_share_the_ripple(smoothed: bool) -> None:
    """The bridge draws its ripple at twice the drive's frequency; who gives it is a divider.

    Film 0.89 and source 0.68 of it without the capacitor, 0.65 and 0.28 with it. 5 %: the
    leads' ringing.
    """
    found = plain() if smoothed else situation("smoothing-capacitor-open")
    drive = found.line.frequency.first
    got = measured_shares(found, 4e-6 if smoothed else 1.1e-4)
    assert got == pytest.approx(shares(2 * drive, smoothed), rel=0.05)
    with_it, without = shares(2 * drive, True), shares(2 * drive, False)
    assert without[0] > 1.3 * with_it[0], "the test would see a capacitor that does nothing"
    assert without[1] > 2.0 * with_it[1]


# --- sag ---------------------------------------------------------------------------------

SAGGED = 0.6 * PEAK


def link_mean(found: Rehearsal, near: float) -> tuple[float, float]:
    """Middle [s] and mean of the link [V] of the stretch that lies nearest to a time."""
    stretch = min(found.stretches, key=lambda s: abs(s.cycles[0].start - near))
    start, end = stretch.cycles[0].start, stretch.cycles[-1].end
    waves = stretch.waves.between(start, end)
    link = waves.node("cl1")  # behind its ESR and ESL
    mean = np.trapezoid(waves.node("link") - link, waves.time) / np.ptp(waves.time)
    return 0.5 * (start + end), float(mean)


def resistance_of_the_bridge(found: Rehearsal) -> float:
    """What the link sees at the working point [ohm]: a linear circuit, so at any voltage."""
    return found.before.supply_voltage_v / found.before.supply_current_a


@pytest.mark.situation("effect", "mains-sag")
def test_in_a_sag_the_link_runs_down_by_r_c_to_the_lower_mains() -> None:
    """V exp(-t/(R C)), R what the bridge draws with: 46 ms; then the lower mains less what the
    source drops. 0.5 %: the millisecond in which the mains fall, and the dead times."""
    found = situation("mains-sag")
    load = resistance_of_the_bridge(found)
    began = found.line.events[0].start
    time, link = link_mean(found, began + 13e-3)
    fallen = found.before.supply_voltage_v * np.exp(-(time - began) / (load * (LINK + FILM)))
    assert link == pytest.approx(fallen, rel=0.005)
    assert 0.95 * fallen > SAGGED, "the test would see the mains and not the capacitor"
    _, link = link_mean(found, began + 27e-3)
    assert link == pytest.approx(SAGGED * load / (load + SOURCE), rel=0.01)


@pytest.mark.situation("effect", "mains-sag")
def test_the_return_charges_the_link_through_the_line_at_once() -> None:
    """A rise D (1 - cos(a t))/2 behind R C, R the source's and the ESR: closed form of the first-
    order equation, R i = D a/2 tau/(1 + a^2 tau^2) (sin(a t) - a tau (cos(a t) - exp(-t/tau))),
    and the bridge's own current beside it. 3 %: ripple and leads."""
    found = situation("mains-sag")
    back = found.line.events[1]
    load = resistance_of_the_bridge(found)
    resistance = SOURCE + LINK_ESR
    tau, a = resistance * LINK, np.pi / (back.end - back.start)
    t = np.linspace(0.0, back.end - back.start, 1001)
    shape = np.sin(a * t) - a * tau * (np.cos(a * t) - np.exp(-t / tau))
    charging = 0.5 * (PEAK - SAGGED) * a * tau / (1.0 + (a * tau) ** 2) * shape / resistance
    drawn = SAGGED / (load + SOURCE)
    peak = float(found.whole.waves.supply_current.max())
    assert peak == pytest.approx(charging.max() + drawn, rel=0.03)


@pytest.mark.situation("absence", "mains-sag")
def test_on_steady_mains_the_link_stays_and_nothing_surges() -> None:
    """V R/(R + R_s) all along, 1e-3 for the ripple's beat with the cycles; the surge above is
    thirty times the largest current here."""
    waves = plain().whole.waves.between(0.0, 1e-4)
    load = resistance_of_the_bridge(plain())
    link = np.trapezoid(waves.node("link"), waves.time) / np.ptp(waves.time)
    assert link == pytest.approx(PEAK * load / (load + SOURCE), rel=1e-3)
    surge = situation("mains-sag").whole.waves.supply_current.max()
    assert waves.supply_current.max() < surge / 30.0

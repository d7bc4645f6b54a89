"""`simkit check`: design numbers, each with its limit and where it comes from.

Facts of the trade are common practice, no source, unless one is named beside them.
"""

from __future__ import annotations

import json
import subprocess
import sys
from math import inf, nan, pi, sqrt
from pathlib import Path

import pytest

from simkit.parts.precharge import lamp_from_rating, precharge
from simkit.parts.supply import Mains
from simkit.studies.check.drive import COARSE
from simkit.studies.check.row import CheckRow
from simkit.studies.check.study import check_machine
from simkit.studies.inputs.loading import load_machine
from tests.machines import DEMO, ROOT, demo

BARS = ROOT / "scenarios" / "bar-heating" / "machine.toml"
BRAZING = DEMO / "machine.toml"


def rows(path: Path, load: str, **changes: str) -> dict[str, CheckRow]:
    """Rows of one load by quantity; changes as --set has them, two underscores for a dot."""
    overrides = {key.replace("__", "."): value for key, value in changes.items()}
    machine = load_machine(path, overrides).model
    return {row.quantity: row for row in check_machine(machine) if row.load == load}


@pytest.fixture(scope="module")
def brazing() -> dict[str, CheckRow]:
    return rows(BRAZING, "cold-steel-weak-field")


@pytest.fixture(scope="module")
def bars() -> dict[str, CheckRow]:
    return rows(BARS, "cold-bar")


WITH_LIMIT = (
    "resonant frequency f0", "flux swing, peak", "current per can, rms", "voltage per can, rms",
    "cooling water temperature rise", "hottest wall of the tube", "supply current",
    "dead time against swing of the node", "dead time against reversal of the current",
    "junction temperature, estimate", "primary current, peak", "drain current, rms",
)  # fmt: skip
OUT = ", piece out at this frequency"
SHOWN = ("characteristic impedance Z0", "Q loaded", "Q unloaded", "coil copper loss")


def test_the_demonstration_machine_shows_what_was_promised(brazing: dict[str, CheckRow]) -> None:
    assert {*WITH_LIMIT, *SHOWN} <= set(brazing)
    assert all(brazing[quantity].limit is not None for quantity in WITH_LIMIT)
    assert all(row.source for row in brazing.values())
    out = {quantity for quantity in brazing if quantity.endswith(OUT)}
    assert len(out) == 4
    assert {row.status for q, row in brazing.items() if q not in out} == {"", "ok"}


def test_a_piece_taken_out_while_the_drive_stays_is_a_row(brazing: dict[str, CheckRow]) -> None:
    """Cold steel in a weak field raises L: with it out the drive, 4 % above its resonance, is at
    80.5 kHz near the empty coil's 79.25 kHz, where Q 50 takes over: the series loop by hand."""
    frequency = brazing["working frequency"].value
    resistance, coil, bank = 9e-3, 0.9e-6 + 8e-6 / 22**2, 4.4e-6
    x = 2.0 * pi * frequency * coil - 1.0 / (2.0 * pi * frequency * bank)
    emf = 4.0 / pi * 325.0 / 22
    cans = emf / sqrt(resistance**2 + x * x) / sqrt(2.0) / 20
    row = brazing[f"current per can, rms{OUT}"]
    # the bridge's and the windings' resistance and the sagging link are left out here
    assert row.value == pytest.approx(cans, rel=0.25)
    assert row.status == "over"
    assert brazing["current per can, rms"].status == "ok"


def test_first_numbers_by_hand(brazing: dict[str, CheckRow]) -> None:
    # L = 0.945 uH, R = 50 mohm, 20 cans of 0.22 uF, 8 uH of leakage over 22^2; the empty coil
    # has 0.900 uH and 9 mohm
    bank = 20 * 0.22e-6
    f0 = 1.0 / (2.0 * pi * sqrt((0.945e-6 + 8e-6 / 22**2) * bank))
    assert brazing["resonant frequency f0"].value == pytest.approx(f0, rel=1e-9)
    z0 = sqrt(0.945e-6 / bank)
    assert brazing["characteristic impedance Z0"].value == pytest.approx(z0, rel=1e-9)
    assert brazing["Q loaded"].value == pytest.approx(z0 / 50e-3, rel=1e-9)
    assert brazing["Q unloaded"].value == pytest.approx(sqrt(0.9e-6 / bank) / 9e-3, rel=1e-9)
    # B = V/(4 f N A), 325 V, 22 turns, 3.6 cm^2; the leakage's own drop, the channels' and the
    # sagging link take some 8 % of it (the leakage has 8 uH x 22 A of 2.2 mH x 1.1 A: 7 %).
    flux = 325.0 / (4 * 1.04 * f0 * 22 * 3.6e-4)
    assert brazing["flux swing, peak"].value == pytest.approx(0.92 * flux, rel=0.03)
    current = brazing["coil current, peak"].value / sqrt(2.0)
    # 4 %: the third harmonic flattens the current's top, which a peak does not tell
    assert brazing["coil copper loss"].value == pytest.approx(9e-3 * current**2, rel=0.04)


@pytest.mark.slow
def test_a_gate_slower_than_its_dead_time_is_over_not_our_fault() -> None:
    """Both gates through 200 ohm, and a dead time of 50 ns: shoot-through, which is a finding."""
    for change in ({"drive__gate_resistor": "200 ohm"}, {"drive__dead_time": "50 ns"}):
        left = rows(BRAZING, "machine", **change)["dead time left by the gates"]
        assert left.value < 0.0
        assert left.status == "over"
        piece = rows(BRAZING, "cold-steel-weak-field", **change)
        assert piece["junction temperature, estimate"].status == "not_evaluated"


def test_a_load_beyond_the_drive_is_over() -> None:
    """A drive to 3.6 kHz with 60 us of dead time on a tank at 80 kHz, where no half period is so
    long."""
    change = {"drive__frequency_min": "1 kHz", "drive__frequency_max": "3.6 kHz",
              "drive__dead_time": "60 us"}  # fmt: skip
    found = rows(BRAZING, "cold-steel-weak-field", **change)
    assert found["working frequency"].status == "over"
    assert "input power" not in found
    slow = rows(BRAZING, "cold-steel-weak-field", tank__can_capacitance="100 uF",
                **change | {"drive__frequency_max": "4.1 kHz"})  # fmt: skip
    assert slow["dead time against reversal of the current"].status == "over"


def test_water_warms_by_the_heat_balance(brazing: dict[str, CheckRow]) -> None:
    # 0.6 l/min of water: 1 kg/l, 4.19 kJ/(kg K) at 15 to 20 degC (handbook values recalled from
    # memory, 0.2 %)
    loss = brazing["coil copper loss"].value
    rise = loss / (0.6 / 60 * 1.0 * 4190)
    assert brazing["cooling water temperature rise"].value == pytest.approx(rise, rel=5e-3)


@pytest.mark.parametrize(
    ("path", "load"), [(BRAZING, "cold-steel-weak-field"), (BARS, "cold-bar"), (BARS, "hot-bar")]
)
def test_two_litres_an_hour_boil_in_a_kilowatt_heater(path: Path, load: str) -> None:
    # Fact of the trade; and the balance by hand: 2 l/h carry 2.3 W/K, so that a hundred watts
    # take 18 degC past 60 degC, and two hundred past boiling.
    found = rows(path, load, cooling__water__flow="2 l/h")
    assert found["coil copper loss"].value > 200.0
    for quantity in ("cooling water temperature rise", "hottest wall of the tube"):
        assert found[quantity].status == "over"


def test_too_few_turns_take_the_core_past_its_limit(brazing: dict[str, CheckRow]) -> None:
    # 10 turns wound where 22 were meant: V/(4 f N A) is 2.2 times as much, and the inductances go
    # with the square of the turns
    assert brazing["flux swing, peak"].status == "ok"
    wrong = rows(BRAZING, "cold-steel-weak-field", transformer__primary_turns="10",
                 transformer__magnetising_inductance="0.4545 mH",
                 transformer__leakage_inductance="1.653 uH")  # fmt: skip
    assert wrong["flux swing, peak"].status == "over"


@pytest.mark.slow
def test_silver_and_copper_melt_where_the_trade_says() -> None:
    # Fixed points of ITS-90: silver 961.78 degC, copper 1084.62 degC
    for metal, expected in (("silver", 961.78), ("copper", 1084.62)):
        found = _crucible(metal)
        assert found[f"{metal} begins to melt"].value == pytest.approx(expected, abs=0.5)


def _crucible(metal: str) -> dict[str, CheckRow]:
    held = (
        f'{{ material = "{metal}", diameter = "24 mm", length = "30 mm", '
        'temperature = "900 degC", offset = "-5 mm", source = "design choice" }'
    )
    changes = {
        "workpieces.hot-bar.geometry.material": "graphite",
        "workpieces.hot-bar.geometry.diameter": "34 mm",
        "workpieces.hot-bar.geometry.length": "50 mm",
        "workpieces.hot-bar.geometry.wall": "4 mm",
        "workpieces.hot-bar.geometry.charge": held,
    }
    machine = load_machine(BARS, changes).model
    return {row.quantity: row for row in check_machine(machine) if row.load == "hot-bar"}


def test_a_lamp_limits_the_charging_current() -> None:
    lamp = rows(BARS, "machine")
    assert lamp["charging current through the lamp, peak"].status == "ok"
    # A cold filament has about a fifteenth of its hot resistance: 100 W at 230 V are 529 ohm hot,
    # so some 9 A at the peak of the mains, for a moment (common practice, no source).
    assert 6.0 < lamp["charging current through the lamp, peak"].value < 13.0
    short = load_machine(BARS).model
    assert short.supply.rectifier is not None
    bare = short.model_copy(
        update={
            "supply": short.supply.model_copy(
                update={"rectifier": short.supply.rectifier.model_copy(update={"precharge": None})}
            )
        }
    )
    found = {row.quantity: row for row in check_machine(bare)}
    inrush = found["inrush current, no precharge"]
    assert inrush.value == pytest.approx(sqrt(2) * 230 / (0.4 + 0.060), rel=1e-9)
    assert inrush.status == "over"


def test_the_coarse_precharge_is_close() -> None:
    mains, lamp = Mains(230.0, 50.0, 0.4, 0.9), lamp_from_rating(230.0, 100.0)
    coarse = precharge(mains, 1e-3, lamp, 47e3, 0.95, steps=COARSE)
    fine = precharge(mains, 1e-3, lamp, 47e3, 0.95)
    # the course has corners where the rectifier opens and closes, which a coarse step rounds
    assert coarse.close_time == pytest.approx(fine.close_time, rel=0.01)
    assert coarse.energy == pytest.approx(fine.energy, rel=0.01)
    assert coarse.peak_current == pytest.approx(fine.peak_current, rel=1e-9)


def test_a_lost_path_never_closes_and_says_so() -> None:
    weak = rows(BARS, "machine", supply__rectifier__bleeder="200 ohm")
    assert weak["time to close the relay"].value == inf


def test_core_and_cans_by_hand(bars: dict[str, CheckRow]) -> None:
    flux, frequency = bars["flux swing, peak"].value, bars["working frequency"].value
    # Sine Steinmetz for scale: a triangular flux loses 0.9 to 1.0 of it for these exponents
    # (Venkatachalam and others, COMPEL 2002, recalled from memory).
    sine = 1.6 * frequency**1.46 * flux**2.75 * 3.6e-4 * 0.110
    assert bars["core loss"].value == pytest.approx(0.95 * sine, rel=0.06)
    current = bars["current of the most loaded can, rms"].value
    esr = 3e-3 + 4e-4 / (2 * pi * frequency * 0.22e-6)
    assert bars["dissipation per can"].value == pytest.approx(current**2 * esr, rel=1e-9)
    assert current > bars["current per can, rms"].value


def test_the_same_bar_hotter_is_a_row(bars: dict[str, CheckRow]) -> None:
    """The cold bar's working frequency against f0 of the hot one, 1/(2 pi sqrt((L + L_leak/n^2) C))
    told in its own rows: 4 % over the cold resonance is hardly over the hot one."""
    name = "this frequency over the resonance of hot-bar"
    hot = rows(BARS, "hot-bar")["resonant frequency f0"].value
    row = rows(BARS, "cold-bar")[name]
    assert row.value == pytest.approx(
        rows(BARS, "cold-bar")["working frequency"].value / hot, rel=2e-3
    )
    assert row.status == "over"
    assert name not in rows(BARS, "hot-bar")
    wide = rows(BARS, "cold-bar", drive__working_margin="8 %")[name]
    assert wide.status == "ok"


def test_what_could_not_be_had_is_no_pass() -> None:
    for low in (True, False):
        assert CheckRow("x", "q", "A", nan, 1.0, low, "s").status == "not_evaluated"


def test_without_water_nothing_is_said_of_it() -> None:
    dry = demo().model_copy(update={"cooling": demo().cooling.model_copy(update={"water": None})})
    assert not any("water" in row.quantity for row in check_machine(dry))


def test_the_command_says_the_same_and_fails_over_a_limit(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "simkit", "check", str(BARS), "--json"]
    flow = ["--set", "cooling.water.flow=2 l/h"]
    done = subprocess.run([*command, *flow], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 1, done.stderr
    document = json.loads(done.stdout)
    over = {row["quantity"] for row in document["rows"] if row["status"] == "over"}
    assert "cooling water temperature rise" in over
    assert all({"value", "limit", "source", "status"} <= set(row) for row in document["rows"])

"""Quantities: what is read, what is refused and with which advice, and how values are written.

Prefix values: SI Brochure, 9th edition (2019), table 7. Letter codes such as 4k7: IEC 60062
(recalled from memory). The traps are readings of a lenient quantity parser, measured on quantiphy
2.23; one test keeps its readings on record, so that the reason for the gate stays checked.
"""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simkit.units import UNITS, UnitError, format_quantity, parse_quantity
from simkit.units.table import PREFIXES, fold


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1.8 uF", "F", 1.8e-6),
        ("1.8uF", "F", 1.8e-6),
        ("1.8 \u00b5F", "F", 1.8e-6),
        ("1.8 \u03bcF", "F", 1.8e-6),
        ("1.8u", "F", 1.8e-6),
        ("0.22 uF", "F", 0.22e-6),
        ("1.8e-6", "F", 1.8e-6),
        ("1.8e-6 F", "F", 1.8e-6),
        (" 1.8 uF ", "F", 1.8e-6),
        ("1.8\u00a0uF", "F", 1.8e-6),
        (".5 nH", "H", 0.5e-9),
        ("5. nH", "H", 5e-9),
        ("+5 V", "V", 5.0),
        ("-5 V", "V", -5.0),
        ("\u22125 V", "V", -5.0),
        ("325", "V", 325.0),
        (325, "V", 325.0),
        (0.6e-6, "s", 0.6e-6),
        ("0.9 us", "s", 0.9e-6),
        ("2 sec", "s", 2.0),
        ("2 min", "s", 120.0),
        ("6.8 ohm", "ohm", 6.8),
        ("6.8 Ohm", "ohm", 6.8),
        ("6.8 \u03a9", "ohm", 6.8),
        ("6.8 \u2126", "ohm", 6.8),
        ("6.8R", "ohm", 6.8),
        ("60 mohm", "ohm", 0.06),
        ("10 k", "ohm", 1e4),
        ("1M", "ohm", 1e6),
        ("1 Mohm", "ohm", 1e6),
        ("4k7", "ohm", 4700.0),
        ("4K7", "ohm", 4700.0),
        ("4k7 ohm", "ohm", 4700.0),
        ("2R2", "ohm", 2.2),
        ("4n7", "F", 4.7e-9),
        ("4\u00b57F", "F", 4.7e-6),
        ("80 kHz", "Hz", 8e4),
        ("50 V/ns", "V/s", 5e10),
        ("26 kV/us", "V/s", 2.6e10),
        ("100 A/us", "A/s", 1e8),
        ("1.56 kA/us", "A/s", 1.56e9),
        ("40 mm", "m", 0.04),
        ("4 cm", "m", 0.04),
        ("5 m", "m", 5.0),
        ("500 mm/s", "m/s", 0.5),
        ("3.5 cm2", "m^2", 3.5e-4),
        ("3.5 cm^2", "m^2", 3.5e-4),
        ("3.5 cm\u00b2", "m^2", 3.5e-4),
        ("1 l/min", "m^3/s", 1e-3 / 60),
        ("320 mT", "T", 0.32),
        ("8 kA/m", "A/m", 8e3),
        ("18 A/V", "S", 18.0),
        ("18 S", "A/V", 18.0),
        ("18 A/V^2", "A/V^2", 18.0),
        ("18 A/V2", "A/V^2", 18.0),
        ("5 %", "1", 0.05),
        ("50%", "1", 0.5),
        ("200 ppm", "1", 2e-4),
        ("0.05", "1", 0.05),
        ("5 %", "%", 5.0),
        ("80 g", "kg", 0.08),
        ("7.85 g/cm3", "kg/m^3", 7850.0),
        ("0.017 ohm*mm^2/m", "ohm*m", 1.7e-8),
        ("17 nohm*m", "ohm*m", 1.7e-8),
        ("46 W/(m K)", "W/(m*K)", 46.0),
        ("46 W/m/K", "W/(m*K)", 46.0),
        ("46 W/(m\u00b7K)", "W/(m*K)", 46.0),
        ("0.49 J/(g K)", "J/(kg*K)", 490.0),
        ("3 bar", "Pa", 3e5),
        ("20 uVs", "V*s", 2e-5),
        ("20 uWb", "V*s", 2e-5),
        ("25 degC", "degC", 25.0),
        ("25 \u00b0C", "degC", 25.0),
        ("25 \u2103", "degC", 25.0),
        ("0.3 \u00b0C/W", "K/W", 0.3),
        ("0.5 K", "K", 0.5),
        ("150 nC", "C", 1.5e-7),
    ],
)
def test_reads(text: str | float, unit: str, value: float) -> None:
    # Equal, not close: factors are exact and rounded once, so text and literal are one float. The
    # flow's factor is no short decimal, and its literal was rounded twice: one unit in the last
    # place (2.2e-16) is allowed for.
    assert parse_quantity(text, unit) == pytest.approx(value, rel=3e-16, abs=0)
    if unit != "m^3/s":
        assert parse_quantity(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "rule", "hint"),
    [
        ("1,5 uF", "F", "a comma has no place in a number", "write 1.5 uF"),
        ("1,500 uF", "F", "a comma has no place in a number", "write 1500 uF or 1.500 uF"),
        ("1,234,567 V", "V", "a comma has no place in a number", "write 1234567 V"),
        ("1,234.5 V", "V", "a comma has no place in a number", "write 1234.5 V"),
        ("1.8 UF", "F", "UF is not a unit of capacitance: capitals", "did you mean 1.8 uF?"),
        ("1.8uf", "F", "uf is not a unit of capacitance: capitals", "did you mean 1.8 uF?"),
        ("10 MEG", "ohm", "MEG is not a unit of resistance", "did you mean 10 Mohm?"),
        ("10 MEGohm", "ohm", "MEGohm is not a unit", "did you mean 10 Mohm?"),
        ("80 khz", "Hz", "khz is not a unit of frequency: capitals", "did you mean 80 kHz?"),
        ("80 mHz", "Hz", "mHz is not a unit of frequency: capitals", "did you mean 80 MHz?"),
        ("1 M", "F", "M is not a unit of capacitance: capitals", "did you mean 1 m?"),
        ("1 kF", "F", "kF is not a unit of capacitance", ""),
        ("1.8 uH", "F", "is an inductance where a capacitance in F is expected", '"4.7 uF"'),
        ("0.6 uS", "s", "is a conductance where a time in s is expected", '"0.6 us"'),
        ("0.6 uF", "s", "is a capacitance where a time in s is expected", '"0.6 us"'),
        ("5 %", "F", "is a plain number where a capacitance in F is expected", ""),
        ("50 V/ns", "A/s", "is a slope of voltage where a slope of current", '"600 A/us"'),
        ("4k7", "F", "k7 is not a unit of capacitance", ""),
        ("4k7 F", "ohm", "is a capacitance where a resistance in ohm is expected", ""),
        ("300 K", "degC", "must be a temperature in degC", "write 26.85 degC"),
        ("25 C", "degC", "must be a temperature in degC", "write 25 degC"),
        ("25 degC", "K", "is a temperature where a temperature difference in K", ""),
        # Without its prefix the nearest spelling would be a million times off.
        ("0.9 usec", "s", "usec is not a unit of time", "did you mean 0.9 us?"),
        ("0.9 msec", "s", "msec is not a unit of time", "did you mean 0.9 ms?"),
        ("2 microseconds", "s", "microseconds is not a unit", "did you mean 2 us?"),
        ("3 kilovolts", "V", "kilovolts is not a unit of voltage", "did you mean 3 kV?"),
        ("3 amps", "A", "amps is not a unit of current", "did you mean 3 A?"),
        ("3 usecc", "s", "usecc is not a unit of time", '"0.6 us"'),
        ("25 foo", "V", "foo is not a unit of voltage", '"325 V"'),
        ("1_000", "V", "_000 is not a unit of voltage", ""),
        ("0x10", "V", "x10 is not a unit of voltage", ""),
        ("2^3 V", "V", "^3 V is not a unit of voltage", ""),
        ("2\u00b2 V", "V", "is not a unit of voltage", ""),
        ("1 2 V", "V", "2 V is not a unit of voltage", ""),
        ("uF", "F", "must be a capacitance in F", '"4.7 uF"'),
        ("", "F", "must be a capacitance in F", '"4.7 uF"'),
        ("nan", "F", "must be a capacitance in F", ""),
        ("inf V", "V", "must be a voltage in V", ""),
        ("1e999 V", "V", "must be a finite number", ""),
        ("1e99999999999 V", "V", "is not a unit of voltage", ""),
        (math.nan, "V", "must be a finite number", ""),
        (-math.inf, "V", "must be a finite number", ""),
        (10**400, "V", "must be a finite number", ""),
        (True, "V", "must be a voltage in V", ""),
        (None, "V", "must be a voltage in V", ""),
        ([1], "V", "must be a voltage in V", ""),
        ("1" * 61, "V", "is longer than the 60 characters", ""),
        ("\u0663 V", "V", "must be a voltage in V", ""),
        ("1 V\n.control", "V", "must be a voltage in V", ""),
    ],
)
def test_refuses_and_says_what_to_write(text: object, unit: str, rule: str, hint: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, unit)  # type: ignore[arg-type]
    assert rule in caught.value.rule
    assert hint in caught.value.hint


def test_a_lenient_parser_falls_into_the_traps() -> None:
    from quantiphy import Quantity

    assert float(Quantity("1,5 uF")) == pytest.approx(15e-6)
    assert float(Quantity("4k7")) == 4.0
    assert float(Quantity("3.5 cm2")) == pytest.approx(0.035)


def test_a_unit_outside_the_set_is_our_own_mistake() -> None:
    with pytest.raises(KeyError):
        parse_quantity("1 furlong", "furlong")


@pytest.mark.parametrize("symbol", UNITS)
def test_every_unit_reads_its_own_symbol_and_example(symbol: str) -> None:
    assert parse_quantity(f"2 {symbol}", symbol) == 2.0
    parse_quantity(UNITS[symbol].example or "1", symbol)
    for shown in UNITS[symbol].display:
        assert fold(shown) in UNITS[symbol].spellings


@pytest.mark.parametrize("symbol", [s for s in UNITS if UNITS[s].prefixes])
def test_a_prefix_is_worth_its_power_of_ten(symbol: str) -> None:
    powers = {"p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "M": 6, "G": 9}
    assert {p: Fraction(10) ** n for p, n in powers.items()} == {
        p: f for p, f in PREFIXES.items() if p
    }
    for prefix in UNITS[symbol].prefixes:
        assert parse_quantity(f"7 {prefix}{symbol}", symbol) == float(f"7e{powers[prefix]}")


@pytest.mark.parametrize("symbol", UNITS)
def test_one_spelling_has_one_meaning_whatever_the_case(symbol: str) -> None:
    # Two spellings that differ by case alone must differ by prefix (m and M), never by unit.
    for text, factor in UNITS[symbol].spellings.items():
        assert factor > 0
        for other, theirs in UNITS[symbol].spellings.items():
            if text != other and text.lower() == other.lower():
                assert theirs == factor or {text[0], other[0]} == {"m", "M"}


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4.7e-6, "F", "4.7 uF"),
        (325.0, "V", "325 V"),
        (-13.2, "A", "-13.2 A"),
        (999.96, "V", "1 kV"),
        (0.0, "V", "0 V"),
        (1.56e9, "A/s", "1560 A/us"),
        (2.6e10, "V/s", "26 V/ns"),
        (0.05, "1", "0.05"),
        (3.6e-4, "m^2", "3.6 cm^2"),
        (0.04, "m", "40 mm"),
        (2.5e-5, "m^3/s", "1.5 l/min"),
        (150.0, "degC", "150 degC"),
        (0.3, "K/W", "0.3 K/W"),
        (1e-18, "F", "1e-18 F"),
        (0.08, "kg", "80 g"),
        (math.inf, "s", "not reached"),
        (math.nan, "V", "none"),
    ],
)
def test_writes(value: float, unit: str, text: str) -> None:
    assert format_quantity(value, unit) == text


def test_writes_the_digits_asked_for() -> None:
    assert format_quantity(1.23456e-6, "F", 3) == "1.23 uF"
    assert format_quantity(1.23456e10, "V/s", 2) == "12 V/ns"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        # Beyond the prefixes and slopes of the trade a person still reads a number.
        (22e-15, "C", "0.022 pC"),
        (1.08e9, "A/s", "1080 A/us"),
        (1e11, "A/s", "100000 A/us"),
        (1e4, "A/V^2", "10000 A/V^2"),
        (2.2e-5, "K/W", "0.000022 K/W"),
        (4.5e7, "V", "45000 kV"),
        (-3e-15, "F", "-0.003 pF"),
        (1e-30, "C", "1e-30 C"),
    ],
)
def test_writes_no_powers_of_ten_where_people_read(value: float, unit: str, text: str) -> None:
    assert format_quantity(value, unit, 3) == text


finite = st.floats(min_value=1e-15, max_value=1e15)
signed = st.one_of(st.just(0.0), finite, finite.map(lambda x: -x))


@given(value=signed, unit=st.sampled_from(sorted(UNITS)), digits=st.integers(2, 12))
def test_what_is_written_is_read_back(value: float, unit: str, digits: int) -> None:
    back = parse_quantity(format_quantity(value, unit, digits), unit)
    # Half a unit in the last digit shown, twice: rounding to digits, then again after scaling.
    assert back == pytest.approx(value, rel=1.01 * 10.0 ** (1 - digits), abs=0)


@given(value=signed, unit=st.sampled_from(sorted(UNITS)))
def test_a_plain_number_and_its_text_are_the_same(value: float, unit: str) -> None:
    assert parse_quantity(value, unit) == parse_quantity(repr(value), unit) == value


@given(text=st.text(max_size=80), unit=st.sampled_from(sorted(UNITS)))
def test_any_text_is_read_or_refused_in_words(text: str, unit: str) -> None:
    try:
        assert math.isfinite(parse_quantity(text, unit))
    except UnitError as error:
        assert error.rule  # noqa: PT017 - either outcome is right, silence is not

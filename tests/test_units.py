"""Units against NIST SP 811 and the unit library; what people type."""

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldError
from app.units import (
    KEPT_UNITS,
    Quantity,
    Unit,
    UnitSystem,
    format_value,
    from_display,
    kept_value,
    label,
    parse_money,
    parse_number,
    parse_quantity,
    read_unit,
    to_display,
)

PINT = pint.UnitRegistry()  # half a second to make
METRIC = UnitSystem()
US = UnitSystem(volume="us_gal", temperature="f", mass="oz", area="in2")
QUANTITIES: tuple[Quantity, ...] = ("volume", "temperature", "mass", "area")

NIST_SP_811: tuple[tuple[Unit, Quantity, float], ...] = (
    ("us_gal", "volume", 3.785412),
    ("us_qt", "volume", 0.9463529),
    ("us_fl_oz", "volume", 0.02957353),
    ("oz", "mass", 28.34952),
    ("lb", "mass", 453.5924),
    ("in2", "area", 6.4516),
)
"""NIST SP 811 (2008), appendix B.8, to its seven digits."""


@pytest.mark.parametrize("unit, quantity, kept", NIST_SP_811)
def test_factors_are_those_of_nist(unit: Unit, quantity: Quantity, kept: float) -> None:
    assert kept_value(1.0, unit, quantity) == pytest.approx(kept, rel=2e-7)


@pytest.mark.parametrize(
    "fahrenheit, celsius", [(32.0, 0.0), (68.0, 20.0), (212.0, 100.0), (-40.0, -40.0), (53.6, 12.0)]
)
def test_fahrenheit_is_nine_fifths_and_thirty_two(fahrenheit: float, celsius: float) -> None:
    """NIST SP 811, B.8: t/C = (t/F - 32)/1.8."""
    assert from_display(fahrenheit, "temperature", US) == pytest.approx(celsius, abs=1e-12)
    assert to_display(celsius, "temperature", US) == pytest.approx(fahrenheit, abs=1e-12)


@pytest.mark.parametrize(
    "gallons, litres",
    [(5, 18.93), (15, 56.78), (30, 113.6), (55, 208.2), (60, 227.1), (119, 450.5), (120, 454.2)],
)
def test_drum_sizes(gallons: float, litres: float) -> None:
    """Pint's US_liquid_gallon, to four figures as drums are marked."""
    by_pint = PINT.Quantity(gallons, "US_liquid_gallon").to("liter").magnitude
    assert from_display(gallons, "volume", US) == pytest.approx(by_pint, rel=1e-12)
    assert from_display(gallons, "volume", US) == pytest.approx(litres, rel=5e-4)


@pytest.mark.parametrize(
    "quantity, unit, kept", [("volume", "US_liquid_gallon", "liter"), ("mass", "ounce", "gram"),
                             ("area", "inch**2", "centimeter**2")],
)  # fmt: skip
def test_display_units_agree_with_pint(quantity: Quantity, unit: str, kept: str) -> None:
    for value in (0.001, 1.0, 37.5, 20_000.0):
        expected = PINT.Quantity(value, unit).to(kept).magnitude
        assert from_display(value, quantity, US) == pytest.approx(expected, rel=1e-12)


@given(value=st.floats(-1e6, 1e6), quantity=st.sampled_from(QUANTITIES))
def test_there_and_back_again(value: float, quantity: Quantity) -> None:
    for system in (METRIC, US):
        back = from_display(to_display(value, quantity, system), quantity, system)
        assert back == pytest.approx(value, rel=1e-12, abs=1e-10)


@given(value=st.floats(allow_nan=False), quantity=st.sampled_from(QUANTITIES))
def test_kept_units_pass_through_untouched(value: float, quantity: Quantity) -> None:
    assert to_display(value, quantity, METRIC) == value
    assert from_display(value, quantity, METRIC) == value


def test_a_metric_room_never_loads_the_unit_library() -> None:
    program = (
        "import sys; from app.units import *\n"
        "m = UnitSystem()\n"
        "for q in ('volume', 'temperature', 'mass', 'area'):\n"
        "    from_display(to_display(1.5, q, m), q, m); label(q, m); format_value(2.0, q, m)\n"
        "parse_number('12,5'); parse_quantity('3 L', 'volume')\n"
        "assert 'pint' not in sys.modules\n"
        "to_display(1.0, 'volume', UnitSystem(volume='us_gal'))\n"
        "assert 'pint' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


def test_labels_and_figures() -> None:
    assert [label(q, METRIC) for q in QUANTITIES] == ["L", "°C", "g", "cm²"]
    assert [label(q, US) for q in QUANTITIES] == ["US gal", "°F", "oz", "in²"]
    assert format_value(20.0, "temperature", US) == "68.0 °F"
    assert format_value(37.854, "volume", US) == "10.0 US gal"
    assert format_value(1200.0, "area", METRIC) == "1,200 cm²"
    assert format_value(5.126, "mass", METRIC) == "5.13 g"
    assert format_value(9.999, "volume", METRIC) == "10.0 L"
    assert format_value(-0.0001, "mass", METRIC) == "0 g"


@pytest.mark.parametrize(
    "text, number",
    [
        ("12.5", 12.5), ("12,5", 12.5), (" 7 ", 7.0), (".5", 0.5), (",5", 0.5), ("5,", 5.0),
        ("-0.4", -0.4), ("\N{MINUS SIGN}0,4", -0.4), ("+3", 3.0), ("0,789", 0.789),
        ("1.234", 1.234),
        ("12345", 12345.0), ("1,2345", 1.2345), ("1e3", 1000.0), ("0,000", 0.0),
    ],
)  # fmt: skip
def test_numbers_as_people_type_them(text: str, number: float) -> None:
    assert parse_number(text) == number


@pytest.mark.parametrize(
    "text, cents",
    [("0.29", 29), ("1,15", 115), ("1e2", 10_000), ("-4.35", -435), ("7", 700), (".5", 50)],
)
def test_amounts_of_money_are_read_to_the_hundredth(text: str, cents: int) -> None:
    assert parse_money(text, "EUR") == parse_money(text, "") == cents


@pytest.mark.parametrize(
    "text, currency, minor",
    [("1250", "JPY", 1250), ("1250.0", "KRW", 1250), ("1.250", "KWD", 1250), ("1,25", "BHD", 1250),
     ("0.0001", "CLF", 1), ("7", "KWD", 7000)],
)  # fmt: skip
def test_amounts_are_read_to_the_smallest_unit_of_their_currency(
    text: str, currency: str, minor: int
) -> None:
    assert parse_money(text, currency) == minor


@pytest.mark.parametrize(
    "text, currency, message",
    [("12.50", "JPY", "JPY has no decimals"), ("0.0005", "KWD", "three decimals, such as 12.500"),
     ("1,250", "KWD", "may mean 1.250 or 1250")],
)  # fmt: skip
def test_parts_of_the_smallest_unit_are_refused_in_words(
    text: str, currency: str, message: str
) -> None:
    with pytest.raises(FieldError, match=message):
        parse_money(text, currency)


@pytest.mark.parametrize(
    "text, message", [("1.005", "two decimals"), ("nan", "not a number"), ("1e999", "too large")]
)
def test_an_amount_that_no_coin_pays_is_refused(text: str, message: str) -> None:
    with pytest.raises(FieldError, match=message):
        parse_money(text, "EUR")


@pytest.mark.parametrize(
    "text, message",
    [
        ("", "Enter a number"),
        ("   ", "Enter a number"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("-Infinity", "not a number"),
        ("1e999", "too large"),
        ("1,234", r"1\.234 or 1234"),
        ("1.234,5", "without thousands separators"),
        ("1,234.5", "without thousands separators"),
        ("1,234,567", "without thousands separators"),
        ("12 000", "without thousands separators"),
        ("12\N{NO-BREAK SPACE}000", "without thousands separators"),
        ("1'000", "without thousands separators"),
        ("12 L", "just the number"),
        ("1_000", "not a number"),
        ("0x10", "not a number"),
        ("--1", "not a number"),
        ("1.2.3", "not a number"),
        ("\N{ARABIC-INDIC DIGIT THREE}", "not a number"),
        ("9" * 500, "not a number"),
    ],
)
def test_what_is_no_clear_number_is_refused(text: str, message: str) -> None:
    with pytest.raises(FieldError, match=message) as caught:
        parse_number(text, "volume_l")
    assert caught.value.field == "volume_l"
    assert len(caught.value.message) < 120


@given(st.text(max_size=30))
def test_any_text_gives_a_finite_number_or_a_message(text: str) -> None:
    try:
        number = parse_number(text)
    except FieldError:
        return
    assert math.isfinite(number)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e15, max_value=1e15))
def test_a_printed_number_is_read_back_with_either_separator(value: float) -> None:
    text = f"{value:.4f}"
    assert parse_number(text) == float(text)
    assert parse_number(text.replace(".", ",")) == float(text)


@pytest.mark.parametrize(
    "text, quantity, kept",
    [
        ("5 gal", "volume", 18.92705892),
        ("5 US gallons", "volume", 18.92705892),
        ("20L", "volume", 20.0),
        ("1,5 litres", "volume", 1.5),
        ("250 mL", "volume", 0.25),
        ("68 °F", "temperature", 20.0),
        ("2 lb", "mass", 907.18474),
        ("1.2 kg", "mass", 1200.0),
        ("10 sq. in", "area", 64.516),
        ("3 cm2", "area", 3.0),
    ],
)
def test_quantities_with_their_unit(text: str, quantity: Quantity, kept: float) -> None:
    """NIST SP 811 factors: 1 gal 3.785411784 L, 1 lb 453.59237 g, 1 in2 6.4516 cm2, all exact."""
    assert parse_quantity(text, quantity) == pytest.approx(kept, rel=1e-12)


@pytest.mark.parametrize("text", ["5 imp gal", "5 imperial gallons", "5 Imp. gal", "5 UK gallons"])
def test_imperial_gallons_are_refused_in_words(text: str) -> None:
    """They hold a fifth more: 4.546 L (NIST SP 811)."""
    with pytest.raises(FieldError, match="Enter US gallons or litres"):
        parse_quantity(text, "volume")


@pytest.mark.parametrize(
    "text, message",
    [
        ("20", "its unit"),
        ("gal", "its unit"),
        ("3 lb", "not a unit of volume"),
        ("3 pots", "Known: L"),
    ],
)
def test_a_quantity_needs_a_number_and_a_fitting_unit(text: str, message: str) -> None:
    with pytest.raises(FieldError, match=message):
        parse_quantity(text, "volume")


def test_every_quantity_is_kept_in_one_unit_that_people_can_write() -> None:
    assert {quantity: read_unit(unit, quantity) for quantity, unit in KEPT_UNITS.items()} == dict(
        KEPT_UNITS
    )
    assert read_unit("gallon", "volume") == "us_gal"

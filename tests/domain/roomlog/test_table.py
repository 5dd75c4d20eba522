"""Tables: what their columns are taken for and what their cells say.

Conversions are held against Pint's registry; the date orders against ISO 8601 and against what
day-first and month-first mean.
"""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldErrors
from app.domain.roomlog.cells import guarded, moment_of, number_of, unguarded
from app.domain.roomlog.evidence import Evidence
from app.domain.roomlog.kinds import Reading, TopUp, Wash
from app.domain.roomlog.lines import parse_entry
from app.domain.roomlog.naming import Names
from app.domain.roomlog.rows import row_of, titles
from app.domain.roomlog.table import (
    Column,
    TableForm,
    guess_columns,
    mapping_of,
)
from app.domain.roomlog.table_words import UNITS

PINT = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)  # half a second to make
PINT_NAMES = {
    "us_gal": "gallon", "us_qt": "quart", "us_fl_oz": "fluid_ounce", "f": "degF", "k": "kelvin",
    "in2": "inch ** 2", "mm2": "mm ** 2", "m2": "m ** 2", "kg_m3": "kg / m ** 3", "s": "second",
    "h": "hour", "L": "liter", "C": "degC", "cm2": "cm ** 2", "g/mL": "g / mL",
}  # fmt: skip


@pytest.mark.parametrize("pair", [pair for pair in UNITS if pair[0] != "sg"], ids=str)
def test_units_convert_as_pint_does(pair: tuple[str, str]) -> None:
    given_in, own = (PINT_NAMES.get(name, name) for name in pair)
    factor, offset = UNITS[pair]
    for value in (0.0, 1.0, 73.5):
        expected = PINT.Quantity(value, given_in).to(own).magnitude
        assert value * factor + offset == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    "title, field, unit",
    [
        ("Density (g/mL)", "density_g_ml", ""),
        ("Volume (gal)", "volume_l", "us_gal"),
        ("Temp F", "temperature_c", "f"),
        ("Temperature [°C]", "temperature_c", ""),
        ("SG", "density_g_ml", "sg"),
        ("Gallons", "volume_l", "us_gal"),
        ("Saturation %", "saturation_percent", ""),
        ("Surface (in2)", "area_cm2", "in2"),
        ("area_cm2", "area_cm2", ""),
        ("Mass kg", "mass_g", "kg"),
        ("Operator", "by", ""),
        ("Wash tank", "tank", ""),
        ("Volume (imp gal)", "", ""),
        ("Colour", "", ""),
    ],
)
def test_titles_are_taken_for_what_they_say(title: str, field: str, unit: str) -> None:
    assert guess_columns([title]) == (Column(title, field, unit),)


def test_a_day_and_a_time_column_make_one_instant() -> None:
    columns = guess_columns(["Date", "Time", "Bath", "Type", "Parts", "Resin"])
    form = TableForm(columns, zone=ZoneInfo("Europe/Dublin"))
    raw = mapping_of(["12/06/2026", "2:05 pm", "t1", "Washed", "12", "slate"], form)
    entry = parse_entry(raw)
    assert isinstance(entry, Wash)
    assert entry.at == datetime(2026, 6, 12, 13, 5, tzinfo=UTC)
    assert entry.parts == 12


def test_names_of_tanks_and_resins_become_their_keys() -> None:
    form = TableForm(
        guess_columns(["when", "tank", "kind", "litres"]), tanks=Names([("t1", "Big Alder")])
    )
    assert mapping_of(["2026-03-02T07:40Z", "Big Alder", "top-up", "1"], form)["tank"] == "t1"
    assert mapping_of(["2026-03-02T07:40Z", "New one", "top-up", "1"], form)["tank"] == "new-one"


def test_a_reading_without_a_method_has_that_of_what_it_shows() -> None:
    form = TableForm(guess_columns(["at", "tank", "temp", "density"]), kind="reading")
    entry = parse_entry(mapping_of(["2026-03-02T07:40Z", "t1", "21", "0.79"], form))
    assert isinstance(entry, Reading)
    assert entry.method == "hydrometer"


def test_unknown_columns_are_kept() -> None:
    form = TableForm(guess_columns(["at", "tank", "litres", "Colour"]), kind="top_up")
    entry = parse_entry(mapping_of(["2026-03-02T07:40Z", "t1", "1", "green"], form))
    assert entry.extra == {"Colour": "green"}


@pytest.mark.parametrize(
    "text, comma, value",
    [
        ("12,5", False, 12.5), ("12,5", True, 12.5), ("1,234", False, 1234.0),
        ("1,234", True, 1.234), ("1.234,5", False, 1234.5), ("1,234.5", True, 1234.5),
        ("1 234", False, 1234.0), ("7 %", False, 7.0), ("1e3", False, 1000.0), ("-3", False, -3.0),
    ],
)  # fmt: skip
def test_numbers_are_read_with_either_comma(text: str, comma: bool, value: float) -> None:
    assert number_of(text, comma) == value


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "12 parts",
        "٣",
        "0x10",
        "1_000",
        "nan",
        "inf",
        "1e9999",
        "--1",
        ".",
        "1,2,3.",
        "12 5",
        "1e999",
    ],
)
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"number|large"):
        number_of(text)


def test_a_time_the_clocks_left_out_is_refused() -> None:
    # Summer time began in Ireland on 29 March 2026 at 01:00 (European Union directive 2000/84/EC).
    with pytest.raises(ValueError, match="clocks"):
        moment_of("2026-03-29 01:30", ZoneInfo("Europe/Dublin"))


@pytest.mark.parametrize(
    "texts, verdict, is_open",
    [
        (["03/02/2026"], None, True), (["03/02/2026", "13/02/2026"], True, False),
        (["02/13/2026"], False, False), (["02/13/2026 07:40", "3.4.26"], False, False),
        (["04/04/2026", "2026-03-04", "2026/03/04", "soon"], None, False),
        (["03/02/2026", "13/02/2026", "02/13/2026"], None, True), (["99/99/2026"], None, False),
    ],
)  # fmt: skip
def test_the_order_of_days_and_months_shows_itself_or_is_open(
    texts: list[str], verdict: bool | None, is_open: bool
) -> None:
    seen = Evidence()
    for text in texts:
        seen.see_date(text)
    assert (seen.verdict, seen.is_open) == (verdict, is_open)


@pytest.mark.parametrize(
    "texts, verdict, is_open",
    [
        (["1,234"], None, True), (["1.234"], None, True), (["1,234", "1,5"], True, False),
        (["1,234", "0.5"], False, False), (["1.234", "1.234.567"], True, False),
        (["1,234,567"], False, False), (["1.234,5"], True, False), (["1,234.5"], False, False),
        (["0.789"], False, False), (["0,789"], True, False), (["12", "3 000", "x"], None, False),
        (["1.500 %", "2.5"], False, False), (["1,5", "2.5"], None, False),
        (["1,5", "2.5", "1,500"], None, True), (["1.5e3"], False, False),
    ],
)  # fmt: skip
def test_the_mark_of_decimals_shows_itself_or_is_open(
    texts: list[str], verdict: bool | None, is_open: bool
) -> None:
    seen = Evidence()
    for text in texts:
        seen.see_number(text)
    assert (seen.verdict, seen.is_open) == (verdict, is_open)


@given(st.floats(0.001, 999_999).map(lambda value: f"{value:.3f}"), st.booleans())
def test_what_is_not_open_is_read_the_same_whatever_is_said(text: str, has_comma: bool) -> None:
    text = text.replace(".", ",") if has_comma else text
    seen = Evidence()
    seen.see_number(text)
    if not seen.is_open:
        assert number_of(text, True) == number_of(text, False) == float(text.replace(",", "."))


@pytest.mark.parametrize("text", ["46085", "46085.3194", "46085,3194", "46085 07:40"])
def test_a_spreadsheets_own_day_number_is_explained(text: str) -> None:
    """Which day it is depends on the spreadsheet: it may count from 1900 or from 1904."""
    form = TableForm(guess_columns(["at", "tank", "litres"]), kind="top_up")
    with pytest.raises(FieldErrors) as caught:
        mapping_of([text, "t1", "1"], form)
    assert "Format the column as a date" in caught.value.by_field()["at"]


@pytest.mark.parametrize(
    "text", ["31/02/2026", "2026-13-01", "yesterday", "99:00", "1/1/1/1", "2026-W10"]
)
def test_what_is_no_time_is_named(text: str) -> None:
    form = TableForm(guess_columns(["at", "tank", "litres"]), kind="top_up")
    with pytest.raises(FieldErrors) as caught:
        mapping_of([text, "t1", "1"], form)
    assert "at" in caught.value.by_field()


def test_a_row_longer_than_its_titles_is_refused() -> None:
    form = TableForm(guess_columns(["at", "tank"]), kind="swap")
    with pytest.raises(FieldErrors):
        mapping_of(["2026-03-02T07:40Z", "t1", "more"], form)


def test_what_begins_a_formula_is_guarded_and_a_plain_number_is_left() -> None:
    texts = ("@x", "\tx", "-x", "+1", "-1.5", "x", "＝1", "\n=1", "-1e3", "1-1")
    assert [guarded(text) for text in texts] == [
        "'@x", "'\tx", "'-x", "'+1", "-1.5", "x", "'＝1", "'\n'=1", "'-1e3", "1-1",
    ]  # fmt: skip


@given(st.text(min_size=1, max_size=30) | st.text("=+-@;,\t\r\n' a1", min_size=1, max_size=12))
def test_guarded_cells_come_back_and_start_no_formula(text: str) -> None:
    """A cell that starts with = + - @ tab or CR can run as a formula (OWASP, CSV Injection), also
    one that a spreadsheet makes of it where it splits at semicolons or tabs."""
    cell = guarded(text)
    is_number = re.fullmatch(r"-\d+(\.\d+)?", cell)
    assert is_number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    first, *others = re.split(r"[;\t\r\n]", cell)
    assert is_number or not first.startswith(("=", "+", "-", "@"))
    assert not any(part.lstrip(" ").startswith(("=", "+", "-", "@")) for part in others)
    assert unguarded(cell) == text


def test_our_own_rows_are_read_back_without_any_mapping() -> None:
    at = datetime(2026, 3, 2, 7, 40, tzinfo=UTC)
    more = {"by": "=Wren", "note": "-1", "extra": {"lot": [1, "x"]}}
    entry = TopUp(at=at, id="a", tank="t1", volume_l=1.25, to_mark=True, **more)
    cells = [str(cell) for cell in row_of(entry)]
    assert parse_entry(mapping_of(cells, TableForm(guess_columns(titles())))) == entry


def test_a_tank_is_called_what_its_column_says_where_there_is_none_for_names() -> None:
    form = TableForm(guess_columns(["At", "Kind", "Tank"]))
    assert mapping_of(["2026-03-02T07:40Z", "tank", "Oak"], form)["name"] == "Oak"
    assert mapping_of(["2026-03-02T07:40Z", "tank", "oak 2"], form)["name"] == "oak 2"
    assert "name" not in mapping_of(["2026-03-02T07:40Z", "wash", "Oak"], form)
    named = TableForm(guess_columns(["At", "Kind", "Tank", "Name"]))
    assert mapping_of(["2026-03-02T07:40Z", "tank", "oak", "Old oak"], named)["name"] == "Old oak"

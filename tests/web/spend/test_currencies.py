"""Yen have no decimals and dinars three: entered, kept, shown and handed out in their own units."""

import csv
import io
import json
import re
from datetime import timedelta
from html import unescape

import openpyxl
import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.money import digits_of
from app.domain.roomlog.kinds import Swap, TopUp
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.services.door import bring_in as record
from app.services.exporting import log_lines
from app.services.rooms import find_room
from app.services.spend.forecast import spend_ahead
from app.services.spend.reports import next_lines, summary_lines
from app.services.spend.weekly_costs import read_week
from app.store.engine import Store
from tests.factories import NOW, ROOM
from tests.oracles import Ask, costs_of
from tests.services.spend.test_weekly_costs import WEEK, costly, stocked, told

AT = f"/rooms/{ROOM}/spend"
PRICES = f"{AT}/prices"
ASKED = f"week={WEEK}"
CASES = pytest.mark.parametrize(
    "currency, locale, typed, minor, shown",
    # ISO 4217: JPY has the exponent 0, KWD 3. How they are written: Unicode CLDR, through babel.
    [
        ("JPY", "en_US", "4500", 4500, "¥4,500"),
        ("KWD", "en_US", "4.500", 4500, "KWD4.500"),
        ("EUR", "en_IE", "45.00", 4500, "€45.00"),
    ],
)
EACH = pytest.mark.parametrize("currency", ["JPY", "KWD", "EUR"])


def rates(client: TestClient, **typed: str) -> str:
    answer = client.post(PRICES, data=typed)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


@CASES
def test_an_amount_is_kept_in_the_smallest_unit_of_its_currency(
    client: TestClient, store: Store,
    currency: str, locale: str, typed: str, minor: int, shown: str,
) -> None:  # fmt: skip
    rates(client, currency=currency, locale=locale, weekly_budget_cents=typed)
    page = client.get(PRICES).text
    assert f'value="{typed}"' in page
    [kept] = log_of(store, "price_list")
    assert kept["weekly_budget_cents"] == minor
    sent = {"what": "Tea", "cost_cents": typed, "purpose": "other", "at": "2026-02-25T10:00"}
    answer = client.post(f"{PRICES}/cost", data=sent)
    assert answer.status_code == 200
    page = client.get(f"{AT}?{ASKED}").text
    assert shown in unescape(page)
    room = client.get(f"/api/v1/rooms/{ROOM}").json()
    assert (room["currency"], room["currency_digits"]) == (currency, digits_of(currency))
    [cost] = log_of(store, "other_cost")
    assert cost["cost_cents"] == minor
    entry = f"/rooms/{ROOM}/entries/{cost['id']}"
    assert f"{typed} {currency}" in client.get(entry).text
    assert f'value="{typed}"' in client.get(f"{entry}/correct").text


def log_of(store: Store, kind: str) -> list[dict[str, object]]:
    """The lines of a kind in the exported log."""
    return [line for line in map(json.loads, exported(store)) if line["kind"] == kind]


def exported(store: Store) -> list[str]:
    """The exported log, a line an entry."""
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id
    assert room_id is not None
    return "".join(log_lines(store, room_id)).splitlines()


@pytest.mark.parametrize(
    "currency, typed, message",
    [
        ("JPY", "12.50", "JPY has no decimals. Enter a whole number."),
        ("KWD", "1.2505", "Enter at most three decimals, such as 12.500."),
        ("KWD", "1,250", "may mean 1.250 or 1250"),
        ("EUR", "1.255", "Enter at most two decimals, such as 12.50."),
    ],
)
def test_parts_of_the_smallest_unit_are_refused_beside_the_field(
    client: TestClient, store: Store, currency: str, typed: str, message: str
) -> None:
    sent = {"currency": currency, "weekly_budget_cents": typed}
    answer = client.post(PRICES, data=sent)
    assert answer.status_code == 422
    found = re.search(r'id="e-weekly_budget_cents"[^>]*>([^<]*)<', answer.text)
    assert found is not None
    assert message in unescape(found[1])
    assert f'value="{typed}"' in answer.text
    assert log_of(store, "price_list") == []


@EACH
def test_workbook_table_and_summary_carry_the_digits_of_the_currency(
    client: TestClient, store: Store, currency: str
) -> None:
    digits = digits_of(currency)
    record(store, ROOM, in_currency(currency), NOW)
    table = client.get(f"{AT}/week.csv?{ASKED}").text
    costs = [row["Cost"] for row in csv.DictReader(io.StringIO(table))]
    assert all(len(cost.partition(".")[2]) == digits for cost in costs)
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"{AT}/week.xlsx?{ASKED}").content))
    cells = [cell for cell in book["Entries"]["L"][1:] if cell.value is not None]
    assert {cell.number_format for cell in cells} == {f"#,##0.{digits * '0'}".rstrip(".")}
    scale = 10**digits
    assert sum(round(cell.value * scale) for cell in cells) == sum(
        round(float(cost) * scale) for cost in costs
    )
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        read = read_week(session, room, WEEK, NOW)
        lines = list(summary_lines(room, read, {}))
        ahead = list(next_lines(spend_ahead(session, room, NOW), {}))
    assert read.cents == 33_642  # the same whole units of whatever is smallest: see costly()
    whole = {0: "33,642", 2: "336.42", 3: "33.642"}[digits]
    assert f"Consumed: {whole} {currency}" in lines
    assert re.search(rf"about [\d,]+ {currency},", ahead[0])


def in_currency(currency: str) -> list[object]:
    first, *others = [*stocked(), *told(), *costly()]
    assert isinstance(first, PriceList)
    return [PriceList(**{**first.__dict__, "currency": currency}), *others]  # type: ignore[list-item]


@EACH
def test_a_data_frame_library_finds_the_weeks_cost_in_whole_units(
    client: TestClient, store: Store, currency: str, ask: Ask
) -> None:
    day = NOW - timedelta(days=5)
    record(store, ROOM, [
        PriceList(at=day - timedelta(days=5), prices="p", currency=currency,
                  labour_cents_per_hour=3_333),
        Item(at=day - timedelta(days=4), item="ipa", name="IPA", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=day - timedelta(days=3), item="ipa", quantity=7.3, lot="A",
                      price_cents=10_007),
        StockUsed(at=day, item="ipa", quantity=1.7, lot="A", tank="t1", purpose="top_up"),
        StockUsed(at=day, item="ipa", quantity=2.1, lot="A", tank="t2", purpose="swap"),
        TopUp(at=day, tank="t1", volume_l=1.7), Swap(at=day, tank="t2"),
        OtherCost(at=day, prices="p", cost_cents=77, purpose="other", what="Tea"),
    ], NOW)  # fmt: skip
    lines = costs_of([json.loads(line) for line in exported(store)])
    whole = ask("one_lot_cents", lines, unit="a hundredth")
    table = client.get(f"{AT}/week.csv?{ASKED}").text
    ours = sum(float(row["Cost"]) for row in csv.DictReader(io.StringIO(table)))
    assert ours == pytest.approx(
        whole / 10 ** digits_of(currency), abs=3 / 10 ** digits_of(currency)
    )


# Another currency --------------------------------------------------------------------------------


def refused(client: TestClient, **typed: str) -> str:
    answer = client.post(PRICES, data=typed)
    assert answer.status_code == 422
    found = re.search(r'id="e-currency"[^>]*>([^<]*)<', answer.text)
    assert found is not None
    return unescape(found[1])


def test_a_room_with_amounts_keeps_its_currency_and_says_why(client: TestClient) -> None:
    rates(client, currency="EUR", weekly_budget_cents="100")
    said = refused(client, currency="JPY", weekly_budget_cents="100.00")
    assert "uses EUR, and amounts are not converted" in said


def test_amounts_without_a_currency_are_not_read_as_yen(client: TestClient, store: Store) -> None:
    rates(client, weekly_budget_cents="100.00")
    assert "JPY has no decimals, but this room has amounts" in refused(client, currency="JPY")
    assert "KWD has three decimals" in refused(client, currency="KWD")
    rates(client, currency="EUR")
    [first, second] = log_of(store, "price_list")
    assert first["weekly_budget_cents"] == 10_000
    assert second["currency"] == "EUR"


def test_a_program_is_told_the_same(client: TestClient) -> None:
    rates(client, weekly_budget_cents="100.00")
    sent = {"kind": "price_list", "at": NOW.isoformat(), "prices": "prices", "currency": "JPY"}
    answer = client.post(f"/api/v1/rooms/{ROOM}/entries", json=sent)
    assert answer.status_code == 422
    assert "JPY has no decimals" in answer.text


def test_a_slip_in_the_currency_is_set_right_before_there_are_amounts(
    client: TestClient, store: Store
) -> None:
    rates(client, currency="EUR")
    [wrong] = log_of(store, "price_list")
    sent = {"currency": "JPY", "prices": "prices", "weekly_budget_cents": "", "at": ""}
    client.post(f"/rooms/{ROOM}/entries/{wrong['id']}/correct", data=sent)
    assert client.get(f"/api/v1/rooms/{ROOM}").json()["currency"] == "JPY"


def test_the_entry_that_says_the_currency_stays_while_amounts_stand_in_it(
    client: TestClient, store: Store
) -> None:
    rates(client, currency="JPY")
    [first] = log_of(store, "price_list")
    rates(client, weekly_budget_cents="4500")
    entry = f"/api/v1/rooms/{ROOM}/entries/{first['id']}"
    answer = client.post(f"{entry}/withdrawal", json={"by": "Wren"})
    assert answer.status_code == 409
    assert "The room counts in JPY because of this entry" in answer.text
    said = {"kind": "price_list", "at": NOW.isoformat(), "prices": "prices", "currency": "EUR"}
    answer = client.post(f"{entry}/correction", json=said)
    assert answer.status_code == 422
    assert "uses JPY, and amounts are not converted" in answer.text
    assert client.get(f"/api/v1/rooms/{ROOM}").json()["currency"] == "JPY"


def test_a_year_that_might_cost_something_is_told_in_whole_units(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, in_currency("JPY"), NOW)
    page = unescape(client.get(f"{AT}/what-if?a_disposal_per_kg=50").text)
    costs = re.findall(r"likely (?:JPY|JP¥|¥)\s?([\d,.]+) to", page)
    assert costs
    assert not any("." in cost for cost in costs)

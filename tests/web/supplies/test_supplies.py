"""The shelf's pages: items, movements, the count, orders and deliveries."""

import csv
import io
import re
from datetime import date, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.supplies import (
    Item,
    LotHeld,
    OrderPlaced,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.supplies.state import ItemState
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import EntryRow
from app.store.things import thing
from tests.answers import settle, sure
from tests.factories import NOW, ROOM, sensor_reading

AT = f"/rooms/{ROOM}/shelf"


@pytest.fixture(autouse=True)
def stocked(store: Store) -> None:
    """Gloves and solvent, used every week."""
    at = NOW - timedelta(days=13)
    received: list[Any] = [
        Item(at=at, item="gloves", name="Gloves M", category="protection", unit="pair",
             location="Cabinet 1", supplier="Teal Supply", lead_days=7.0),
        Item(at=at, item="ipa", name="Isopropanol 99 %", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.0, supplier="Teal Supply",
             location="Flammables cabinet", container_sizes=[18.9, 3.8]),
        StockReceived(at=at, item="gloves", quantity=50, lot="G1", price_cents=1250),
        StockReceived(at=at, item="ipa", quantity=60, lot="I1", price_cents=21000),
        StockUsed(at=NOW - timedelta(days=6), item="gloves", quantity=20, purpose="hand_out"),
    ]  # fmt: skip
    record(store, ROOM, received, NOW)


def state(store: Store, item: str = "gloves") -> ItemState:
    with Session(store.reader) as session:
        found = thing(session, find_room(session, ROOM).id or 0, "item", item)
    assert isinstance(found, ItemState)
    return found


def kinds(store: Store) -> list[str]:
    with Session(store.reader) as session:
        return list(session.exec(select(EntryRow.kind).order_by(EntryRow.id)))  # type: ignore[arg-type]


def hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, name
    return found[1].replace("&#34;", '"').replace("&quot;", '"')


def test_the_shelf_shows_each_item_against_its_reorder_point(client: TestClient) -> None:
    page = client.get(AT).text
    assert "Gloves M" in page
    assert "30 pairs" in page
    assert "60.0 L" in page or "60 L" in page
    assert "reorder at" in page
    only = client.get(f"{AT}?category=solvent").text
    assert "Isopropanol" in only
    assert "Gloves M" not in only


def test_a_swap_that_lacks_solvent_is_named(client: TestClient, store: Store) -> None:
    many = [
        Wash(at=NOW - timedelta(days=12 - i), tank=tank, resin="slate", area_cm2=9000)
        for i in range(12)
        for tank in ("t1", "t2")
    ]
    record(store, ROOM, [*many, sensor_reading(11.9, 0.5)], NOW)
    page = client.get(AT).text
    assert re.search(r"The swap of T[12] .* takes .* will be missing", page)
    assert "Too little" in page
    room = client.get(f"/rooms/{ROOM}").text
    assert re.search(
        r"ipa\"><b>Shelf for [12] T[12]</b> <span>Isopropanol 99 %: [\d.]+ L short for", room
    )
    client.post(f"{AT}/items/ipa/receive", data={"quantity": "200"})
    assert "shelf/items/ipa" not in client.get(f"/rooms/{ROOM}").text


def test_a_threatened_swap_says_which_order_is_late_and_what_has_expired(
    client: TestClient, store: Store
) -> None:
    many: list[Any] = [
        Wash(at=NOW - timedelta(days=12 - i), tank=tank, resin="slate", area_cm2=9000)
        for i in range(12)
        for tank in ("t1", "t2")
    ]
    many += [
        OrderPlaced(at=NOW - timedelta(days=9), item="ipa", order="o9", quantity=90,
                    expected_on=NOW.date() - timedelta(days=2)),
        StockReceived(at=NOW - timedelta(days=8), item="ipa", quantity=50, lot="OLD",
                      expires_on=NOW.date() - timedelta(days=1)),
    ]  # fmt: skip
    record(store, ROOM, [*many, sensor_reading(11.9, 0.5)], NOW)
    why = r"\(order o9 is late, 50 L expired\)"
    room = client.get(f"/rooms/{ROOM}").text
    assert re.search(rf"Isopropanol 99 %: .* short for its swap .* {why}", room)
    assert re.search(rf"The swap of T[12] .* will be missing {why}", client.get(AT).text)


def test_gloves_are_handed_out_from_the_page_that_a_label_opens(
    client: TestClient, store: Store
) -> None:
    page = client.get(f"{AT}/items/gloves")
    assert 'value="hand_out" required checked' in page.text
    sent = {"quantity": "3", "purpose": "hand_out", "submission": hidden(page.text, "submission")}
    done = client.post(f"{AT}/items/gloves/use", data={**sent, "by": "Wren"})
    assert "Saved: stock used 3 pairs" in done.text
    assert state(store).on_hand == 27
    client.post(f"{AT}/items/gloves/use", data={**sent, "by": "Wren"})
    assert state(store).on_hand == 27
    undo = re.search(r'action="([^"]*/undo/[^"]*)"', done.text)
    assert undo
    assert "Taken back" in client.post(undo[1]).text
    assert state(store).on_hand == 30


@pytest.mark.parametrize(
    "move, sent, words",
    [
        ("use", {"quantity": "31", "purpose": "hand_out"}, "The books have 30 pairs"),
        ("use", {"quantity": "-3", "purpose": "hand_out"}, "Enter more than 0."),
        ("use", {"quantity": "1.5", "purpose": "hand_out"}, "counted in whole pairs"),
        ("use", {"quantity": "2 L", "purpose": "hand_out"}, "Enter just the number"),
        ("use", {"quantity": "1", "purpose": "hand_out", "unit": "L"}, "not in L"),
        ("use", {"quantity": "1", "purpose": "hand_out", "lot": "X9"}, "no lot “X9”"),
        ("use", {"quantity": "", "purpose": "hand_out"}, "Quantity is missing"),
        ("receive", {"quantity": "9", "order": "o7"}, "no order “o7”"),
        ("receive", {"quantity": "9", "price_cents": "-4"}, "A price must be zero or more"),
        ("scrap", {"quantity": "99", "reason": "damaged"}, "The books have 30 pairs"),
        ("scrap", {"quantity": "1", "reason": "bored"}, "must be one of"),
        ("open", {"lot": "X9"}, "no lot “X9”"),
    ],
)
def test_what_does_not_fit_is_said_beside_its_field(
    client: TestClient, store: Store, move: str, sent: dict[str, str], words: str
) -> None:
    before = kinds(store)
    page = client.post(f"{AT}/items/gloves/{move}", data={**sent, "note": "Kept note"})
    assert page.status_code == 422
    assert words in page.text
    assert "field-error" in page.text
    assert "Kept note" in page.text
    assert kinds(store) == before


def test_a_delivery_goes_on_the_shelf_with_its_lot_and_price(
    client: TestClient, store: Store
) -> None:
    sent = {"quantity": "40", "lot": "G2", "expires_on": "2027-03-01", "price_cents": "11.20"}
    page = client.post(f"{AT}/items/gloves/receive", data=sent).text
    lot = state(store).lot("G2")
    assert lot is not None
    assert (lot.quantity, lot.price_cents, lot.price_cents_per_unit) == (40, 1120, 28)
    assert "1 Mar 2027" in page
    assert state(store).worth.fifo_cents == 750 + 1120


def test_what_expired_yesterday_in_the_room_is_asked_and_booked_as_such(
    client: TestClient, store: Store
) -> None:
    sent = {"quantity": "4", "expires_on": (NOW.date() - timedelta(days=1)).isoformat()}
    page = client.post(f"{AT}/items/gloves/receive", data=sent)
    assert page.status_code == 422
    assert "Lot past its day" in page.text
    assert state(store).on_hand == 30
    assert sure(client, f"{AT}/items/gloves/receive", sent).status_code == 200
    assert state(store).on_hand == 34


def test_a_long_order_list_is_cut_to_what_a_form_holds(client: TestClient, store: Store) -> None:
    many = [
        Item(at=NOW, item=f"x{n}", name=f"Thing {n}", category="other", unit="piece",
             supplier="Teal Supply")
        for n in range(80)
    ]  # fmt: skip
    record(store, ROOM, many, NOW)
    page = client.get(f"{AT}/orders?show=all").text
    assert page.count('name="take.') == 60
    assert "And 22 more" in page
    lines = {f"take.x{n}": "on" for n in range(60)} | {f"quantity.x{n}": "1" for n in range(60)}
    sent = {**ORDER, **lines, "show": "all"}
    assert client.post(f"{AT}/orders", data=sent).status_code == 200
    assert state(store, "x59").outstanding == 1


def test_a_room_in_gallons_types_and_reads_gallons(client: TestClient, store: Store) -> None:
    settings = {"name": "Test room", "time_zone": "UTC", "volume_unit": "us_gal",
                "temperature_unit": "c", "mass_unit": "g", "area_unit": "cm2"}  # fmt: skip
    assert settle(client, ROOM, settings).status_code == 200
    client.post(f"{AT}/items/ipa/receive", data={"quantity": "5", "lot": "I2"})
    lot = state(store, "ipa").lot("I2")
    assert lot is not None
    assert lot.quantity == pytest.approx(18.927, abs=0.001)  # NIST: 1 US gal = 3.785412 L
    assert "US gal" in client.get(f"{AT}/items/ipa").text


def test_an_item_is_added_and_its_settings_changed(client: TestClient, store: Store) -> None:
    sent = {"name": "Drum 55 L", "category": "waste_container", "unit": "piece",
            "used_per_swap": "1", "location": "Yard", "list_price_cents": "31.50"}  # fmt: skip
    assert "Drum 55 L" in client.post(f"{AT}/new", data=sent).text
    drum = state(store, "drum-55-l")
    assert (drum.rules.used_per_swap, drum.rules.list_price_cents) == (1, 3150)
    page = client.get(f"{AT}/items/drum-55-l/settings").text
    assert 'value="Yard"' in page
    changed = {**sent, "location": "Shed", "container_sizes": "4 1"}
    client.post(f"{AT}/items/drum-55-l/settings", data=changed)
    drum = state(store, "drum-55-l")
    assert (drum.rules.location, drum.container_sizes) == ("Shed", (4, 1))
    client.post(f"{AT}/items/drum-55-l/settings", data={**changed, "is_retired": "on"})
    assert state(store, "drum-55-l").is_retired
    assert "Drum 55 L" not in client.get(AT).text


@pytest.mark.parametrize(
    "sent, words",
    [
        ({"category": "protection", "unit": "L"}, "does not suit"),
        ({"category": "solvent", "unit": "L"}, "Choose which solvent"),
        ({"category": "part", "unit": "piece", "item": "gloves"}, "with this key"),
        ({"category": "part", "unit": "piece", "container_sizes": "5 zero"}, "not a number"),
        ({"category": "part", "unit": "piece", "service_percent": "100"}, "between 50 and 99.99"),
    ],
)
def test_an_item_that_cannot_be_is_refused(
    client: TestClient, store: Store, sent: dict[str, str], words: str
) -> None:
    before = kinds(store)
    page = client.post(f"{AT}/new", data={"name": "Thing", **sent})
    assert (page.status_code, words in page.text) == (422, True)
    assert 'value="Thing"' in page.text
    assert kinds(store) == before


def test_the_count_goes_item_by_item_and_stores_once(client: TestClient, store: Store) -> None:
    page = client.get(f"{AT}/count").text
    assert "Gloves M" in page  # by place: the cabinet before the flammables
    assert "item 1 of 2" in page
    sent = {"item": "gloves", "counts": hidden(page, "counts"), "go": "next"}
    refused = client.post(f"{AT}/count", data={**sent, "quantity": "-3"})
    assert refused.status_code == 422
    assert "Enter 0 or more" in refused.text
    page = client.post(f"{AT}/count", data={**sent, "quantity": "28"}).text
    assert "Isopropanol" in page
    before = kinds(store)
    sent = {"item": "ipa", "counts": hidden(page, "counts"), "go": "next", "quantity": "60"}
    page = client.post(f"{AT}/count", data=sent).text
    assert "\N{MINUS SIGN}2 pairs" in page
    assert "as in the books" in page
    assert kinds(store) == before
    save = {name: hidden(page, name) for name in ("submission", "counts", "books")}
    client.post(f"{AT}/count/save", data={**save, "by": "Dunlin"})
    assert kinds(store)[len(before) :] == ["stock_counted", "stock_counted"]
    assert state(store).on_hand == 28
    client.post(f"{AT}/count/save", data={**save, "by": "Dunlin"})
    assert len(kinds(store)) == len(before) + 2


def test_a_count_over_changed_books_asks_to_look_again(client: TestClient, store: Store) -> None:
    sent = {"item": "gloves", "only": "gloves", "counts": "{}", "go": "next", "quantity": "28"}
    page = client.post(f"{AT}/count", data=sent).text
    save = {name: hidden(page, name) for name in ("submission", "counts", "books", "only")}
    client.post(f"{AT}/items/gloves/use", data={"quantity": "2", "purpose": "hand_out"})
    page = client.post(f"{AT}/count/save", data=save)
    assert page.status_code == 422
    assert "the books have changed since" in page.text
    assert "stock_counted" not in kinds(store)


def test_a_count_many_times_the_books_is_asked_about(client: TestClient, store: Store) -> None:
    sent = {"item": "gloves", "only": "gloves", "counts": "{}", "go": "next"}
    half = client.post(f"{AT}/count", data={**sent, "quantity": "2.5"})
    assert half.status_code == 422
    assert "counted in whole pairs" in half.text
    page = client.post(f"{AT}/count", data={**sent, "quantity": "300"}).text
    assert "Right? 10 times the books." in page
    save = {name: hidden(page, name) for name in ("submission", "counts", "books", "only")}
    asked = client.post(f"{AT}/count/save", data=save)
    assert asked.status_code == 422
    assert "far from what the books say" in asked.text
    assert "stock_counted" not in kinds(store)
    client.post(f"{AT}/count/save", data={**save, "sure": "1"})
    assert state(store).on_hand == 300


@pytest.mark.parametrize(
    "counts", ["", "[]", "{", "x" * 200_000, '{"gloves": 3}', '{"gloves": "x"}']
)
def test_a_count_that_was_tampered_with_is_no_count(client: TestClient, counts: str) -> None:
    sent = {"counts": counts, "books": counts, "submission": "k"}
    assert client.post(f"{AT}/count/save", data=sent).status_code == 422


ORDER = {"supplier": "Teal Supply", "order": "2026-03-a", "expected_on": "2026-03-09"}


def test_an_order_is_placed_comes_in_parts_and_the_rest_is_cancelled(
    client: TestClient, store: Store
) -> None:
    page = client.get(f"{AT}/orders?show=all").text
    assert "Teal Supply" in page
    lines = {
        "take.gloves": "on",
        "quantity.gloves": "100",
        "take.ipa": "on",
        "quantity.ipa": "37.8",
    }
    page = client.post(f"{AT}/orders", data={**ORDER, **lines, "submission": "p"}).text
    assert "100 pairs to come" in page
    assert (state(store).outstanding, state(store, "ipa").outstanding) == (100, 37.8)
    part = {"quantity.gloves": "60", "lot.gloves": "G3", "quantity.ipa": "", "submission": "r"}
    part["price_cents.gloves"] = "16.80"
    page = client.post(f"{AT}/orders/2026-03-a/receive", data=part).text
    assert "40 pairs to come of 100 pairs" in page
    assert state(store).on_hand == 90
    assert state(store).lots[-1].price_cents == 1680
    again = client.post(f"{AT}/orders/2026-03-a/receive", data={**part, "submission": "r2"})
    assert again.status_code == 422
    assert "40 pairs are still to come" in again.text
    page = client.post(f"{AT}/orders/2026-03-a/cancel", data={"submission": "c"}).text
    assert "cancelled on" in page
    assert state(store).outstanding == state(store, "ipa").outstanding == 0


@pytest.mark.parametrize(
    "sent, words",
    [
        ({"take.gloves": "on", "quantity.gloves": "0"}, "Enter more than 0."),
        ({"take.gloves": "on", "quantity.gloves": "2.5"}, "whole pairs"),
        ({"take.gloves": "on", "quantity.gloves": "5", "expected_on": "2026-01-01"}, "before the"),
        ({"take.gloves": "on", "quantity.gloves": "5", "order": "no good"}, "Use 1 to 64 letters"),
        ({"quantity.gloves": "5"}, "Tick what was ordered."),
    ],
)
def test_an_order_that_cannot_be_is_refused(
    client: TestClient, store: Store, sent: dict[str, str], words: str
) -> None:
    before = kinds(store)
    page = client.post(f"{AT}/orders", data={**ORDER, "show": "all", **sent})
    assert (page.status_code, words in page.text) == (422, True)
    assert kinds(store) == before


def test_an_overdue_order_is_marked(client: TestClient) -> None:
    at = (NOW - timedelta(days=9)).isoformat()
    entry = {"kind": "order_placed", "at": at, "item": "gloves", "order": "late", "quantity": 10,
             "expected_on": "2026-02-26"}  # fmt: skip
    assert client.post(f"/api/v1/rooms/{ROOM}/entries", json=entry).status_code == 201
    assert "Late" in client.get(f"{AT}/orders").text
    page = client.get(AT).text
    assert "Order late" in page
    assert "should have come on Thu 26 Feb" in page


def test_the_order_list_is_a_table_that_no_spreadsheet_calculates(
    client: TestClient, store: Store
) -> None:
    evil = [
        Item(at=NOW, item="e", name='=HYPERLINK("http://x")', category="other", unit="piece",
             supplier="+Teal", used_per_swap=1.0),
        StockReceived(at=NOW - timedelta(days=12), item="e", quantity=9),
        StockUsed(at=NOW - timedelta(days=8), item="e", quantity=9),
    ]  # fmt: skip
    record(store, ROOM, evil, NOW)
    answer = client.get(f"{AT}/orders.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    row = next(row for row in rows if row["Key"] == "e")
    assert row["Item"] == '\'=HYPERLINK("http://x")'
    assert row["Supplier"] == "'+Teal"


def test_one_too_few_is_said_in_the_singular(client: TestClient) -> None:
    sent = {"only": "", "item": "gloves", "quantity": "29", "go": "review", "counts": "{}"}
    page = client.post(f"{AT}/count", data=sent).text
    assert "\N{MINUS SIGN}1 pair<" in page


def test_what_was_used_stands_in_the_plural_among_the_week_s_entries(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [StockUsed(at=NOW, item="gloves", quantity=one) for one in (1, 7)], NOW)
    week = "{}-W{:02}".format(*NOW.date().isocalendar())
    page = client.get(f"/rooms/{ROOM}/spend/lines?week={week}&category=consumables").text
    assert ">7 pairs<" in page
    assert ">1 pair<" in page


def test_a_whole_count_is_taken_back_in_one_go(client: TestClient, store: Store) -> None:
    sent = {"only": "", "counts": '{"gloves": "28", "ipa": "55"}', "submission": "count-1",
            "books": '{"gloves": "30.0", "ipa": "60.0"}', "by": "Wren"}  # fmt: skip
    page = client.post(f"{AT}/count/save", data=sent).text
    assert "The count is saved." in page
    assert (state(store).on_hand, state(store, "ipa").on_hand) == (28, 55)
    undo = re.search(r'action="([^"]*/take-back/[^"]*)"', page)
    assert undo
    assert "The count was taken back." in client.post(undo[1]).text
    assert (state(store).on_hand, state(store, "ipa").on_hand) == (30, 60)
    before = len(kinds(store))
    assert client.post(undo[1]).status_code == 200  # a double tap
    assert len(kinds(store)) == before
    assert "take-back" not in client.get(f"{AT}?counted=count-1").text


def test_a_delivery_and_an_order_are_taken_back(client: TestClient, store: Store) -> None:
    placed = {**ORDER, "take.gloves": "on", "quantity.gloves": "40", "submission": "place-1"}
    page = client.post(f"{AT}/orders", data=placed).text
    assert f"{AT}/take-back/place-1" in page
    came = {"quantity.gloves": "15", "note": "Torn box", "submission": "came-1"}
    page = client.post(f"{AT}/orders/2026-03-a/receive", data=came).text
    assert state(store).outstanding == 25
    assert f"{AT}/take-back/came-1" in page
    page = client.post(f"{AT}/take-back/came-1").text
    assert "Taken back: the order is as it was." in page
    assert (state(store).on_hand, state(store).outstanding) == (30, 40)
    client.post(f"{AT}/orders/2026-03-a/cancel", data={"submission": "off-1"})
    assert state(store).outstanding == 0
    client.post(f"{AT}/take-back/off-1")
    assert state(store).outstanding == 40
    assert "The order was taken back." in client.post(f"{AT}/take-back/place-1").text
    assert state(store).on_order == ()


@pytest.mark.parametrize("key", ["never-sent", "x" * 65, "a.b"])
def test_what_was_never_sent_cannot_be_taken_back(client: TestClient, key: str) -> None:
    assert client.post(f"{AT}/take-back/{key}").status_code in (404, 422)


def test_only_entries_of_the_shelf_are_taken_back_there(client: TestClient, store: Store) -> None:
    record(store, ROOM, [Wash(at=NOW, tank="t1", resin="slate", area_cm2=900)], NOW, "wash-1")
    assert client.post(f"{AT}/take-back/wash-1").status_code == 404
    assert "withdrawal" not in kinds(store)


def test_a_delivery_may_have_come_on_an_earlier_day(client: TestClient, store: Store) -> None:
    earlier = (NOW - timedelta(days=4)).strftime("%Y-%m-%dT%H:%M")
    record(store, ROOM, [OrderPlaced(at=NOW - timedelta(days=6), item="gloves", order="o1",
                                     quantity=40)], NOW)  # fmt: skip
    client.post(f"{AT}/orders/o1/receive", data={"quantity.gloves": "40", "at": earlier})
    assert state(store).lots[-1].received_on == NOW.date() - timedelta(days=4)
    assert state(store).past_orders[-1].lead_days == 2


def test_a_long_shelf_shows_the_most_pressing_first_and_is_searched(
    client: TestClient, store: Store
) -> None:
    many = [
        Item(at=NOW, item=f"n{n}", name=f"Nozzle {n}", category="other", unit="piece",
             location=f"Drawer {n % 9}")
        for n in range(70)
    ]  # fmt: skip
    record(store, ROOM, many, NOW)
    page = client.get(AT).text
    assert page.count('class="stock-item') == 60
    assert "And 12 more, less pressing." in page
    assert client.get(f"{AT}?show=all").text.count('class="stock-item') == 72
    found = client.get(f"{AT}?find=nozzle%2066").text
    assert (found.count('class="stock-item'), "Nozzle 66" in found) == (1, True)
    assert client.get(f"{AT}?find=DRAWER+3").text.count('class="stock-item') == 8
    none = client.get(f"{AT}?find=%3Cb%3E").text
    assert "No item has “&lt;b&gt;” in its name" in none


def test_a_suggested_order_number_is_short_whatever_the_supplier_is_called(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [kit(supplier="S" * 80)], NOW)
    numbers = re.findall(r'name="order" type="text" value="([^"]*)"',
                         client.get(f"{AT}/orders?show=all").text)  # fmt: skip
    assert len(numbers) >= 2
    assert max(map(len, numbers)) <= 30


def order_rows(client: TestClient) -> list[dict[str, str]]:
    text = client.get(f"{AT}/orders.csv").text.removeprefix("\ufeff")
    return list(csv.DictReader(io.StringIO(text)))


def kit(**more: Any) -> Item:
    return Item(at=NOW, item="kit", name="Spill kit", category="protection", unit="piece", **more)


def test_a_new_item_asks_for_a_first_count_and_is_no_order_of_nothing(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [kit(supplier="Teal Supply")], NOW)
    page = client.get(AT).text
    assert "Nothing known" in page
    assert "Enter what is there, and set a reorder point" in page
    assert "Order 0" not in page
    item = client.get(f"{AT}/items/kit").text
    assert "no use yet" in item
    assert "choose a first quantity yourself" in item
    assert f"{AT}/count?only=kit" in item
    assert "kit" not in {row["Key"] for row in order_rows(client)}
    orders = client.get(f"{AT}/orders?show=all").text
    assert re.search(r'name="quantity.kit" value=""', orders)
    assert "take.kit" in orders
    sent = {"order": "o1", "show": "all", "supplier": "Teal Supply", "take.kit": "on",
            "quantity.kit": ""}  # fmt: skip
    refused = client.post(f"{AT}/orders", data=sent)
    assert refused.status_code == 422
    assert "Quantity is missing" in refused.text


def test_an_item_in_stock_without_use_names_no_day(client: TestClient, store: Store) -> None:
    record(store, ROOM, [kit(), StockReceived(at=NOW, item="kit", quantity=3)], NOW)
    page = client.get(f"{AT}/items/kit").text
    assert "No use yet. Set a reorder point, or count it." in page
    assert "known once some is used" in page
    assert "Order now" not in page
    assert "kit" not in {row["Key"] for row in order_rows(client)}


@pytest.mark.parametrize("point, filled", [("30", "25.0"), ("15", "50.0"), ("3", "100.0")])
def test_all_reorder_points_stand_on_one_line(
    client: TestClient, store: Store, point: str, filled: str
) -> None:
    kit = Item(at=NOW, item="kit", name="Spill kit", category="other", unit="piece")
    record(store, ROOM, [kit, StockReceived(at=NOW, item="kit", quantity=30)], NOW)
    assert "stock-bar" not in client.get(f"{AT}?find=kit").text
    client.post(f"{AT}/items/kit/settings", data={"name": "Spill kit", "reorder_at": point})
    for page in (f"{AT}?find=kit", f"{AT}/items/kit"):
        text = client.get(page).text
        assert f'class="stock-fill" width="{filled}%"' in text
        assert 'class="stock-point" x1="25.0%"' in text


def test_a_reorder_point_that_is_entered_puts_a_seldom_used_item_on_the_list(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [kit(), StockReceived(at=NOW, item="kit", quantity=2)], NOW)
    form = client.get(f"{AT}/items/kit/settings").text
    assert "Order when this much is left" in form
    client.post(f"{AT}/items/kit/settings", data={"name": "Spill kit", "reorder_at": "2"})
    page = client.get(f"{AT}/items/kit").text
    assert "2 pieces, as entered" in page
    assert "Order 2 pieces now, it is at its reorder point." in page
    assert [(r["Key"], r["Quantity"]) for r in order_rows(client) if r["Key"] == "kit"] == [
        ("kit", "2")
    ]


def test_a_full_shelf_is_said_and_not_ordered(client: TestClient, store: Store) -> None:
    full = kit(reorder_at=4, max_on_shelf=3)
    record(store, ROOM, [full, StockReceived(at=NOW, item="kit", quantity=3)], NOW)
    page = client.get(f"{AT}/items/kit").text
    assert "Check its limits" in page
    assert "ordered, but not one more container may be kept (at most 3 pieces)" in page
    assert "kit" not in {row["Key"] for row in order_rows(client)}


def test_the_day_to_order_says_which_orders_it_counts_on(client: TestClient, store: Store) -> None:
    soon = NOW.date() + timedelta(days=4)
    record(store, ROOM, [
        OrderPlaced(at=NOW, item="gloves", order="o1", quantity=40, expected_on=soon),
        OrderPlaced(at=NOW, item="gloves", order="o2", quantity=5),
        OrderPlaced(at=NOW - timedelta(days=12), item="gloves", order="o3", quantity=10),
    ], NOW)  # fmt: skip
    # One without a day is expected when orders usually come; seven days after the other has not.
    said = "45 pairs on order included, 10 pairs late, not counted"
    item = client.get(f"{AT}/items/gloves").text
    assert item.count(said) >= 2
    shelf = client.get(AT).text
    assert "with 45 pairs on order: " in shelf
    assert "On hand runs out" in shelf
    assert "Runs out " in shelf


def test_the_ledger_speaks_of_days_and_tanks_as_people_do(client: TestClient, store: Store) -> None:
    record(store, ROOM, [
        OrderPlaced(at=NOW, item="gloves", order="o1", quantity=40, expected_on=date(2026, 3, 6)),
        StockUsed(at=NOW, item="gloves", quantity=1, purpose="swap", tank="t1"),
    ], NOW)  # fmt: skip
    page = client.get(f"{AT}/items/gloves").text
    assert "order o1, 40 pairs, expected on Fri 6 Mar" in page
    assert "1 pair, for a swap, tank T1" in page


def test_a_movement_of_an_unknown_item_asks_for_its_set_up(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [StockReceived(at=NOW, item="masks", quantity=5)], NOW)
    assert f"{AT}/new?item=masks" in client.get(AT).text
    assert client.get(f"{AT}/items/masks").status_code == 200
    sent = {"name": "Masks", "item": "masks", "category": "protection", "unit": "piece"}
    client.post(f"{AT}/new", data=sent)
    assert (state(store, "masks").name, state(store, "masks").on_hand) == ("Masks", 5)


def test_names_are_shown_as_text(client: TestClient, store: Store) -> None:
    record(store, ROOM, [Item(at=NOW, item="x", name="<script>alert(1)</script>",
                              category="other", unit="piece")], NOW)  # fmt: skip
    for path in (AT, f"{AT}/items/x", f"{AT}/orders?show=all", f"{AT}/count"):
        assert "<script>alert" not in client.get(path).text


def test_an_empty_shelf_says_what_to_do(client: TestClient) -> None:
    client.post("/rooms/new", data={"name": "Other", "time_zone": "UTC"})
    page = client.get("/rooms/other/shelf")
    assert page.status_code == 200
    assert "Add an item" in page.text


def test_a_held_lot_that_is_used_up_stands_on_the_page_and_can_be_released(
    client: TestClient, store: Store
) -> None:
    held = LotHeld(at=NOW - timedelta(hours=3), item="ipa", lot="I1", reason="Odd smell",
                   standing="quarantined", by="Wren")  # fmt: skip
    gone = StockScrapped(at=NOW - timedelta(hours=2), item="ipa", lot="I1", quantity=60.0,
                         reason="contaminated", by="Wren")  # fmt: skip
    record(store, ROOM, [held, gone], NOW)
    page = client.get(f"{AT}/items/ipa").text
    assert "Odd smell" in page
    assert f"{AT}/items/ipa/release" in page
    assert 'value="I1"' in client.get(f"{AT}/items/ipa/release").text

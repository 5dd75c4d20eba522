"""The order list orders once: what an order cures, what none does, what binds it."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import (
    Item,
    ItemChanged,
    OrderPlaced,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.answers import sure
from tests.factories import NOW, ROOM, sensor_reading, wash

AT = f"/rooms/{ROOM}/shelf"


@pytest.fixture(autouse=True)
def used(store: Store) -> None:
    """Two baths that fill up within days, and sixty of eighty litres lost today."""
    entries: list[Entry] = [
        Item(at=NOW - timedelta(days=40), item="ipa", name="Isopropanol", category="solvent",
             unit="L", solvent="isopropanol", purity_percent=99.0, supplier="Teal Supply",
             container_sizes=[18.9, 3.8], location="Cabinet 1"),
        StockReceived(at=NOW - timedelta(days=40), item="ipa", quantity=120, lot="I1"),
        *(StockUsed(at=NOW - timedelta(days=7 * n + 1), item="ipa", quantity=8.0)
          for n in range(5)),
        StockScrapped(at=NOW, item="ipa", quantity=60.0, reason="lost"),
        *(wash(12 - i, key, area_cm2=13000.0) for i in range(12) for key in ("t1", "t2")),
        sensor_reading(11.9, 0.75),
    ]  # fmt: skip
    record(store, ROOM, entries, NOW)


def suggested(client: TestClient, item: str = "ipa") -> dict[str, str]:
    """The form of the order list as the page fills it in; empty where it asks for nothing."""
    page = client.get(f"{AT}/orders").text
    if f'name="take.{item}" checked' not in page:
        return {}
    form = page[page.index('class="order-group') :]
    fields = re.findall(r'<input[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', form)
    return {**dict(fields), f"take.{item}": "on"}


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def test_what_was_suggested_and_entered_is_not_suggested_again(client: TestClient) -> None:
    form = suggested(client)
    assert float(form["quantity.ipa"]) > 0
    assert client.post(f"{AT}/orders", data=form).status_code == 200
    assert suggested(client) == {}
    page = text_of(client.get(f"{AT}/orders"))
    assert "Nothing needs ordering in the next two weeks." in page


def test_a_swap_that_no_order_comes_in_time_for_is_said_with_what_to_do(
    client: TestClient,
) -> None:
    before = text_of(client.get(f"{AT}/orders"))
    assert "An order placed now comes on Mon 9 Mar. Put the swap off until then" in before
    client.post(f"{AT}/orders", data=suggested(client))
    after = text_of(client.get(f"{AT}/orders"))
    assert (
        "No order comes in time. Put the swap off to Mon 9 Mar, when the open order is here."
        in after
    )
    assert "Too little" in text_of(client.get(AT))


def test_the_fire_area_and_the_cabinet_bind_the_suggestion(
    client: TestClient, store: Store
) -> None:
    free = float(suggested(client)["quantity.ipa"])
    room = client.get(f"/api/v1/rooms/{ROOM}/storage").json()["total_l"]
    record(store, ROOM, [SiteRules(at=NOW, site="site", flammable_limit_l=room + 23.0)], NOW)
    assert 0 < float(suggested(client)["quantity.ipa"]) <= 23.0 < free
    assert "Cut to fit the room in the fire area." in text_of(client.get(f"{AT}/orders"))
    client.post(f"{AT}/orders", data=suggested(client))
    assert suggested(client) == {}
    assert "the fire area has no room for a container" in text_of(client.get(f"{AT}/orders"))


def test_a_full_cabinet_leaves_nothing_to_order_and_says_so(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [SiteRules(at=NOW, site="site", cabinet_limit_l=21.0)], NOW)
    assert suggested(client) == {}
    assert "its cabinet has no room for a container" in text_of(client.get(f"{AT}/orders"))


def test_an_item_without_a_supplier_says_so_and_takes_one_with_the_order(
    client: TestClient, store: Store
) -> None:
    item = Item(at=NOW - timedelta(days=40), item="dry", name="Wipes", category="cleaning",
                unit="box", reorder_at=3)  # fmt: skip
    record(store, ROOM, [item, StockReceived(at=NOW, item="dry", quantity=2)], NOW)
    page = client.get(f"{AT}/orders").text
    assert "No supplier has been entered." in page
    assert 'name="take.dry" checked' not in page
    sent = {"take.dry": "on", "quantity.dry": "4", "order": "w-1", "group": "order",
            "supplier": "Teal Supply", "submission": "s"}  # fmt: skip
    assert client.post(f"{AT}/orders", data=sent).status_code == 200
    assert "w-1, Teal Supply" in text_of(client.get(f"{AT}/orders"))


def test_a_delivery_on_a_closed_day_is_asked_about(client: TestClient, store: Store) -> None:
    record(store, ROOM, [SiteRules(at=NOW, site="site", country="IE")], NOW)
    form = suggested(client) | {"expected_on": "2026-03-17"}
    answer = client.post(f"{AT}/orders", data=form)
    assert answer.status_code == 422
    said = "Tue 17 Mar is not a working day here (Closed: Saint Patrick"
    assert said in answer.text
    assert "No order is on its way." in client.get(f"{AT}/orders").text
    assert sure(client, f"{AT}/orders", form).status_code == 200
    assert "No order is on its way." not in client.get(f"{AT}/orders").text


def test_the_least_a_supplier_takes_is_set_with_the_item_and_kept_to(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [ItemChanged(at=NOW, item="ipa", order_minimum=150.0)], NOW)
    assert float(suggested(client)["quantity.ipa"]) >= 150
    client.post(f"{AT}/orders", data=suggested(client))
    assert suggested(client) == {}
    assert 'name="order_minimum"' in client.get(f"{AT}/items/ipa/settings").text


def test_an_order_without_a_day_counts_like_one_that_comes_as_usual(
    client: TestClient, store: Store
) -> None:
    form = suggested(client)
    placed = OrderPlaced(at=NOW, item="ipa", order="o1", quantity=float(form["quantity.ipa"]))
    record(store, ROOM, [placed], NOW)
    assert suggested(client) == {}
    assert date(2026, 3, 9) == NOW.date() + timedelta(days=7)  # as the page says: Mon 9 Mar

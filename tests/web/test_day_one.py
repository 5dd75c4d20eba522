"""Before there are days with washes and a reading, no page names a day or asks for an order."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.services.spend.reports import write_due
from app.store.engine import Store
from tests.factories import NOW, ROOM, sensor_reading, wash

AT = f"/rooms/{ROOM}"
DAY = re.compile(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug)\b")
MISSING = "Log washes on 5 days and take one reading to see when to swap"


@pytest.fixture(autouse=True)
def three_washes(store: Store) -> None:
    """What a new user enters first: what is there, and the washes of this morning."""
    at = NOW - timedelta(hours=6)
    entries: list[Entry] = [
        Item(at=at, item="ipa", name="Isopropanol 99 %", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.0, container_sizes=[18.9]),
        StockReceived(at=at, item="ipa", quantity=18.9, lot="L1"),
        Drum(at=at, drum="d1", name="D1", capacity_l=205.0, stream="isopropanol_resin",
             area="central"),
        PriceList(at=at, prices="prices", labour_cents_per_hour=3000, currency="EUR"),
        *(wash(hours / 24, "t1", area_cm2=12000.0) for hours in (5, 4, 3)),
    ]  # fmt: skip
    record(store, ROOM, entries, NOW)


def words_of(page: str) -> str:
    main = page[page.index("<main") :]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))


def test_the_room_page_says_what_to_log_and_neither_a_day_nor_that_all_is_well(
    client: TestClient,
) -> None:
    page = client.get(AT).text
    text = words_of(page)
    assert MISSING in text
    assert "too early to say" in text
    assert not DAY.search(text)
    for word in ("sound", "below their limit", "beyond a year", "First shortage", "Swap now"):
        assert word not in page


def test_the_plan_names_no_day_no_order_and_no_pickup(client: TestClient) -> None:
    text = words_of(client.get(f"{AT}/plan?weeks=26").text)
    assert MISSING in text
    for word in ("already late", "Book a pickup", "Order ", "Nothing is missing", "Each wash"):
        assert word not in text
    said = client.get(f"/api/v1{AT}/plan?weeks=26").json()
    assert (said["proposals"], said["swaps"], said["orders"], said["pickups"]) == ([], [], [], [])


def test_the_tank_s_page_its_day_form_and_the_api_name_no_day(client: TestClient) -> None:
    for path in ("/tanks/t1", "/plan/t1"):
        text = words_of(client.get(AT + path).text)
        assert MISSING in text
        assert not re.search(r"not before \w{3} \d|beyond a year|Next swap: ", text)
    assert "What postponing costs" not in client.get(f"{AT}/plan/t1").text
    tank = client.get(f"/api/v1{AT}/tanks/t1").json()
    assert [tank["forecast"][name] for name in ("p10_at", "p50_at", "p90_at")] == [None] * 3
    assert tank["forecast"]["missing"] == MISSING
    assert {"few_wash_days", "no_reading"} <= set(tank["flags"])
    assert tank["swap"]["due_at"] is None
    assert tank["fan"] == []


def test_nothing_is_ordered_and_no_swap_is_counted_on_the_shelf_and_the_drums(
    client: TestClient,
) -> None:
    assert "will be missing" not in client.get(f"{AT}/shelf").text
    assert "Order by" not in words_of(client.get(f"{AT}/shelf/orders").text)
    assert "The next swap" not in client.get(f"{AT}/waste").text


def test_costs_of_weeks_to_come_and_of_cases_are_not_made_up(
    client: TestClient, store: Store, tmp_path: Path
) -> None:
    for path in ("/spend/ahead", "/spend/what-if"):
        text = words_of(client.get(AT + path).text)
        assert MISSING in text
        assert "should cost between" not in text
    later = NOW + timedelta(days=7)
    folder = tmp_path / "weekly"
    (written,) = write_due(store, Settings(data_dir=tmp_path, summary_dir=folder), later)
    said = written.read_text("utf-8")
    assert f"Next: too early to say. {MISSING}." in said
    assert "Swaps likely" not in said


def test_washes_on_five_days_and_a_reading_name_a_day(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(day, "t1", area_cm2=6000.0) for day in (1, 2, 3, 4)], NOW)
    assert "Take one reading to see when to swap" in words_of(client.get(f"{AT}/tanks/t1").text)
    record(store, ROOM, [sensor_reading(0.05, 5.0)], NOW)
    tank = client.get(f"/api/v1{AT}/tanks/t1").json()
    assert tank["forecast"]["p50_at"] is not None
    assert tank["forecast"]["missing"] == ""
    text = words_of(client.get(AT).text)
    assert DAY.search(text)
    assert "2 T2: too early to say. Log washes on 5 days to see when to swap." in text


def test_a_reading_of_a_fresh_bath_says_nothing_of_washes(client: TestClient, store: Store) -> None:
    washes = [wash(day, "t1", area_cm2=6000.0) for day in (1, 2, 3, 4)]
    record(store, ROOM, [*washes, sensor_reading(5, 0.1)], NOW)
    assert client.get(f"/api/v1{AT}/tanks/t1").json()["forecast"]["p50_at"] is None


def test_a_bath_that_may_be_past_its_limit_asks_for_a_reading_instead(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [wash(0.1 - n / 1000, "t1", area_cm2=60000.0) for n in range(5)], NOW)
    page = client.get(AT).text
    assert "Take a reading. By the log alone, the bath may be past its limit." in page
    assert "Swap now" not in page
    assert client.get(f"/api/v1{AT}/plan").json()["proposals"] == []

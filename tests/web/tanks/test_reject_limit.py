"""Which limit costs least, on the page of rejects and for programs."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.baths.reject_limit import Advice
from app.domain.roomlog.kinds import Entry, Reject, Swap
from app.domain.roomlog.kinds.spending import PRICES, PriceList
from app.services.door import bring_in
from app.store.engine import Store
from app.web.money import Money
from app.web.tanks.rejects import said_of
from tests.factories import NOW, ROOM, sensor_reading, tank, wash

PAGE = f"/rooms/{ROOM}/rejects"
MONEY = Money("EUR", "en_IE")


def advice(**more: object) -> Advice:
    values: dict[str, object] = {
        "verdict": "change", "limit_percent": 10.0, "best_percent": 8.9, "saves_cents": 48_000.0,
        "low_cents": 12_000.0, "high_cents": 96_000.0, "chance": 0.95, "washes": 900.0,
        "rejects": 40.0, "rise_chance": 0.99,
    }  # fmt: skip
    return Advice(**(values | more))  # type: ignore[arg-type]


def a_year_of_washes() -> list[Entry]:
    """A bath swapped every nine days, with rejects only where it is full."""
    start = NOW - timedelta(days=91)
    found: list[Entry] = [tank("t9", at=start)]
    for day in range(90):
        found += [wash(90 - day - part / 6, "t9", area_cm2=3600.0) for part in range(4)]
        if day % 9 == 8:
            at = NOW - timedelta(days=90 - day - 0.75)
            found += [
                Reject(at=at - timedelta(hours=n), tank="t9", finding="tacky") for n in (1, 2, 3)
            ]
            found += [
                sensor_reading(90 - day - 0.7, 9.4, "t9"),
                Swap(at=at + timedelta(hours=4), tank="t9"),
            ]
    return found


def price(cents: int = 9000) -> PriceList:
    return PriceList(
        at=NOW - timedelta(days=91), prices=PRICES, currency="EUR", labour_cents_per_hour=3000,
        solvent_cents_per_l=300, disposal_cents_per_kg=200, reject_cents=cents,
    )  # fmt: skip


def test_the_page_works_it_out_after_it_is_shown(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, [wash(2.0), wash(1.0)], NOW)
    page = client.get(PAGE).text
    assert 'hx-trigger="load"' in page
    assert "Show it" in page  # without scripts


def test_without_the_price_of_a_reject_it_asks_for_it(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, [wash(2.0), wash(1.0)], NOW)
    page = client.get(PAGE, params={"part": "limit"}).text
    assert "Enter the cost of a reject" in page
    assert f'href="/rooms/{ROOM}/spend/prices"' in page


def test_the_price_of_a_reject_is_a_rate(client: TestClient) -> None:
    assert 'name="reject_cents"' in client.get(f"/rooms/{ROOM}/spend/prices").text


def test_dear_rejects_of_full_baths_ask_for_a_lower_limit(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, [price(), *a_year_of_washes()], NOW)
    part = client.get(PAGE, params={"part": "limit"}, headers={"HX-Request": "true"})
    assert "<html" not in part.text
    assert "instead of 10.0 %: saves " in part.text
    assert "30 rejects in " in part.text


def test_few_washes_cannot_tell(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, [price(), *a_year_of_washes()[:40]], NOW)
    assert "Too early to tell" in client.get(PAGE, params={"part": "limit"}).text


@pytest.mark.parametrize(
    "more, words",
    [
        ({}, "Swap at 8.9 % instead of 10.0 %: saves €40.00 a month, likely €10.00 to €80.00"),
        ({"verdict": "keep"}, "Keep the limit of 10.0 %. No other is likely to save money"),
        ({"verdict": "cannot_tell", "more_rejects": 14},
         "Too early to tell: wait for about another 14 rejects"),
        ({"verdict": "cannot_tell", "more_rejects": 1},
         "Too early to tell: wait for about another 1 reject"),
        ({"verdict": "cannot_tell"}, "Too early to tell: too few rejects logged"),
    ],
)  # fmt: skip
def test_the_verdict_is_a_sentence(more: dict[str, object], words: str) -> None:
    assert said_of(advice(**more), MONEY) == words

"""The page that says how far forecasts can be trusted, and the line beside the date."""

import re

import pytest
from fastapi.testclient import TestClient

from app.domain.baths.recalibration import NOMINAL, Levels
from app.domain.baths.record import Tally
from app.services.door import bring_in
from app.store.engine import Store
from app.web.tanks.forecasts import change, verdict
from tests.factories import NOW, ROOM, read_cycle, sensor_reading, tank, wash

PAGE = f"/rooms/{ROOM}/forecasts"


def plain(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_before_anything_came_it_says_what_to_do(client: TestClient) -> None:
    page = client.get(PAGE)
    assert page.status_code == 200
    assert "Take a reading before the next swap" in page.text
    assert f'action="{PAGE}"' not in page.text  # nothing to press: it is kept as the log grows


def test_each_forecast_stands_beside_what_came(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, [tank("t9"), *read_cycle("t9")], NOW)
    text = plain(client.get(PAGE).text)
    assert "of 1 forecast came true" in text
    assert "So few baths say little yet." in text
    assert re.search(r"Forecast made.* at 80 % .* at half ", text)  # the latest first
    assert "Readings against the estimates before them" in text


def test_the_record_stands_beside_the_date(client: TestClient, store: Store) -> None:
    again = [wash(0.9 - 0.1 * i, "t9", area_cm2=4000.0) for i in range(6)]
    bring_in(
        store, ROOM, [tank("t9"), *read_cycle("t9"), *again, sensor_reading(0.1, 0.9, "t9")], NOW
    )
    page = client.get(f"/rooms/{ROOM}/tanks/t9")
    found = re.search(r"(\d) of 1 forecast in this room came true", page.text)
    assert found is not None
    assert f'href="{PAGE}"' in page.text


@pytest.mark.parametrize(
    "counts, words",
    [
        ((4, 4, 0, 0), "So few"),
        ((20, 16, 2, 2), "close to that"),
        ((20, 19, 1, 0), "wider than needed"),
        ((20, 10, 8, 2), "Plan by the early day"),
        ((20, 10, 2, 8), "Plan by the late day"),
    ],
)
def test_the_verdict_says_how_to_plan(counts: tuple[int, int, int, int], words: str) -> None:
    assert words in verdict(Tally(*counts))


@pytest.mark.parametrize(
    "levels, words",
    [
        (NOMINAL, "as calculated"),
        (
            Levels(0.01, 0.05, 0.5, 0.95, 0.99),
            "the early day earlier and the late day later",
        ),
        (Levels(0.05, 0.10, 0.5, 0.80, 0.9), "the early day later"),
    ],
)
def test_what_the_record_does_to_the_days_is_said(levels: Levels, words: str) -> None:
    assert words in change(levels)

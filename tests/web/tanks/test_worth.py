"""What a reading is worth, on the tank page, the due list and for programs."""

from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.baths.forecast.worth import Worth
from app.domain.duties.catalogue import CATALOGUE
from app.domain.duties.due import DueItem, Group, Subject
from app.domain.roomlog.kinds import Entry, Reading, Swap
from app.services.door import bring_in
from app.store.engine import Store
from app.web.duties.due_list import DueLine, by_worth
from app.web.tanks.worth import worth_words
from tests.factories import NOW, ROOM, sensor_reading, tank, wash

TANK = f"/rooms/{ROOM}/tanks/t9"


def hardly_read() -> list[Entry]:
    """A bath washed in for 60 days, read once when hardly anything was in it."""
    start = NOW - timedelta(days=61)
    washes = [wash(60 - day - part / 8, "t9") for day in range(59) for part in range(3)]
    swaps = [Swap(at=NOW - timedelta(days=days), tank="t9") for days in (45.5, 30.5, 12.5)]
    return [tank("t9", at=start), *washes, sensor_reading(59.9, 0.1, "t9"), *swaps]


def test_the_tank_page_says_what_a_reading_narrows(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, hardly_read(), NOW)
    page = client.get(TANK).text
    assert "A residue test now narrows the swap from " in page
    assert f'<a href="{TANK}/log/reading">A residue test' in page
    due = client.get(f"/rooms/{ROOM}/duties").text
    assert "Narrows its swap from " in due


def test_a_bath_just_read_gains_nothing(client: TestClient, store: Store) -> None:
    values = {"sample_g": 20.0, "residue_g": 0.8}
    readings = [
        Reading(at=NOW - timedelta(hours=hours), tank="t9", method="residue", values=values)
        for hours in (2, 1)
    ]
    bring_in(store, ROOM, [*hardly_read(), *readings], NOW)
    assert "A reading now would not narrow these dates" in client.get(TANK).text


def test_without_a_day_nothing_is_said_of_readings(client: TestClient) -> None:
    assert "narrow" not in client.get(f"/rooms/{ROOM}/tanks/t1").text


def line(duty: str, key: str, days_over: int) -> DueLine:
    subject = Subject(key, key, NOW)
    group: Group = "overdue" if days_over > 0 else "week"
    due_on = date(2026, 3, 2) - timedelta(days=days_over)
    item = DueItem(CATALOGUE[duty], subject, due_on, group, days_over, None)
    return DueLine(item, "", "", "/x", f"{duty}-{key}")


def test_readings_that_narrow_most_come_first_within_their_group() -> None:
    lines = [
        line("reading", "alder", 9), line("drum_check", "d1", 8), line("reading", "birch", 6),
        line("reading", "cedar", 5), line("reading", "fir", -5),
    ]  # fmt: skip
    best = {"cedar": Worth("residue", 15, 6), "birch": Worth("residue", 9, 7),
            "fir": Worth("residue", 60, 10)}  # fmt: skip
    found = by_worth(lines, best)
    assert [one.item.subject.key for one in found] == ["cedar", "d1", "birch", "alder", "fir"]
    assert found[0].worth == "Narrows its swap from 15 days to 6"
    assert found[3].worth == ""


@pytest.mark.parametrize(
    "worth, words",
    [
        ([], ""),
        ([Worth("hydrometer", 21.4, 9.6)],
         "A hydrometer reading now narrows the swap from 21 days to 10"),
        ([Worth("residue", 364.0, 40.0)],
         "A residue test now narrows the swap from a year to 40 days"),
    ],
)  # fmt: skip
def test_the_best_reading_is_named(worth: list[Worth], words: str) -> None:
    assert worth_words(worth) == words

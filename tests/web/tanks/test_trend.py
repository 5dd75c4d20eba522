"""The trend chart and its figures, as the tank page shows them."""

import re

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Reject, Swap, TopUp
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, sensor_reading, wash

TANK = f"/rooms/{ROOM}/tanks/t1"


def chart(page: str) -> str:
    """The trend's picture."""
    found = re.search(r'<svg class="trend".*?</svg>(?=\s*<p class="legend")', page, re.DOTALL)
    assert found
    return found.group()


def washes(count: int, from_days: float) -> list[object]:
    return [wash(from_days - index * 0.2) for index in range(count)]


def test_it_shows_readings_with_their_reach_in_words(client: TestClient, store: Store) -> None:
    record(store, ROOM, [*washes(20, 9), sensor_reading(4, 4.0), sensor_reading(2, 4.5)], NOW)
    page = client.get(TANK).text
    titles = re.findall(r"<title>([^<]*±[^<]*)</title>", chart(page))
    assert len(titles) == 2
    assert "4.0 %" in titles[0]
    assert "2 readings shown" in chart(page)
    assert page.count("<td>4.0 % ± ") == 1


def test_a_reading_far_off_is_shown_as_set_aside(client: TestClient, store: Store) -> None:
    good = [sensor_reading(9 - index, 1.0 + index / 2) for index in range(6)]
    record(store, ROOM, [*washes(20, 13), *good, sensor_reading(1, 60.0)], NOW)
    page = client.get(TANK).text
    assert "set aside" in chart(page)
    assert "Readings set aside" in page


@pytest.mark.parametrize("span", ["fill", "90", "365", "nonsense"])
def test_every_span_shows(client: TestClient, store: Store, span: str) -> None:
    record(store, ROOM, washes(20, 9), NOW)
    page = client.get(f"{TANK}?span={span}")
    assert page.status_code == 200
    assert "t-line" in chart(page.text)


def test_no_line_joins_two_fills(client: TestClient, store: Store) -> None:
    swap = Swap(at=NOW.replace(day=1, hour=6), tank="t1")
    record(store, ROOM, [*washes(30, 9), swap, wash(0.5), wash(0.3)], NOW)
    drawn = chart(client.get(f"{TANK}?span=90").text)
    [estimate] = re.findall(r'class="t-line" d="([^"]*)"', drawn)
    assert estimate.count("M") == 2
    assert drawn.count('class="t-swap"') == 1


def test_top_ups_and_rejects_are_marked(client: TestClient, store: Store) -> None:
    more = [
        TopUp(at=NOW.replace(day=1), tank="t1", volume_l=3.0),
        Reject(at=NOW.replace(day=1, hour=14), tank="t1", finding="tacky"),
    ]
    record(store, ROOM, [*washes(20, 9), *more], NOW)
    drawn = chart(client.get(TANK).text)
    assert (drawn.count('class="t-topup"'), drawn.count('class="t-reject"')) == (1, 1)


def test_every_place_lies_inside_the_picture(client: TestClient, store: Store) -> None:
    record(store, ROOM, [*washes(40, 10), sensor_reading(1, 90.0)], NOW)
    drawn = chart(client.get(TANK).text)
    [_, _, width, height] = map(float, re.findall(r'viewBox="([^"]*)"', drawn)[0].split())
    numbers = re.findall(r'd="M([\d.-]+) ([\d.-]+)', drawn)
    assert numbers
    for x, y in numbers:
        assert 0 <= float(x) <= width
        assert 0 <= float(y) <= height


def test_the_trend_alone_is_sent_to_who_asks_for_it(client: TestClient, store: Store) -> None:
    record(store, ROOM, washes(5, 9), NOW)
    part = client.get(f"{TANK}?span=90&part=trend", headers={"HX-Request": "true"})
    assert part.status_code == 200
    assert part.text.lstrip().startswith('<section id="trend"')
    assert "<html" not in part.text

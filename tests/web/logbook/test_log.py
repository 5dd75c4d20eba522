"""The log of the room: every entry once, newest first, filtered, a page at a time."""

import html
import re
from datetime import timedelta
from urllib.parse import urljoin

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds import Calibration, Withdrawal
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.factories import NOW, ROOM, sensor_reading, wash

PAGE = f"/rooms/{ROOM}/log"


def shown(page: str) -> list[str]:
    """The ids of the entries on a page, in its order."""
    return re.findall(rf'<a href="/rooms/{ROOM}/entries/([^"]+)">', page)


def link(page: str, rel: str) -> str | None:
    found = re.search(rf'rel="{rel}" href="([^"]+)"', page)
    return html.unescape(found[1]) if found else None


@pytest.fixture
def busy(store: Store) -> Store:
    """Sixty washes of two people at two tanks, some at one moment, and other kinds between."""
    washes = [
        wash(
            13 - (number // 2) * 0.4,
            id=f"w{number}",
            tank=f"t{number % 2 + 1}",
            resin="kiln" if number % 3 == 0 else "slate",
            by="Wren & Co" if number % 5 == 0 else "Dunlin",
        )
        for number in range(60)
    ]
    points = ((28.0, 0.0), (33.0, 10.0))
    more = [
        sensor_reading(1.1, 3.0, id="s1", by="Dunlin"),
        Calibration(
            at=NOW - timedelta(days=2), id="c1", solvent="isopropanol", scale="brix_percent",
            points=points,
        ),
    ]  # fmt: skip
    record(store, ROOM, [*washes, *more], NOW)
    record(store, ROOM, [Withdrawal(at=NOW, id="x1", withdraws="w59")], NOW)
    return store


def ids(store: Store, **only: str) -> list[str]:
    """Ids of the stored entries, newest first."""
    with Session(store.reader) as session:
        rows = list(session.exec(select(EntryRow)).all())
    rows = [row for row in rows if all(getattr(row, name) == v for name, v in only.items())]
    return [row.uid for row in sorted(rows, key=lambda row: (-row.at_us, -(row.id or 0)))]


def walked(client: TestClient, address: str) -> list[str]:
    """The entries of a page and all older ones, by following its links."""
    found: list[str] = []
    step: str | None = address
    while step:
        page = client.get(step).text
        found += shown(page)
        older = link(page, "next")
        step = older and urljoin(step, older)
    return found


def test_every_entry_is_shown_once_newest_first(client: TestClient, busy: Store) -> None:
    assert walked(client, PAGE) == ids(busy)


@pytest.mark.parametrize(
    "only", [{"tank": "t2"}, {"kind": "wash"}, {"resin": "kiln"}, {"by": "Wren & Co"},
             {"tank": "t1", "kind": "wash", "resin": "slate", "by": "Dunlin"},
             {"kind": "calibration"}],
)  # fmt: skip
def test_filters_hold_on_every_page(client: TestClient, busy: Store, only: dict[str, str]) -> None:
    query = str(client.build_request("GET", PAGE, params=only).url)
    expected = ids(busy, **only)
    assert expected
    assert walked(client, query) == expected


@pytest.mark.usefixtures("busy")
def test_the_way_back_leads_to_the_newest(client: TestClient) -> None:
    first = client.get(PAGE, params={"kind": "wash"}).text
    older = link(first, "next")
    assert older is not None
    newer = link(client.get(urljoin(PAGE, older)).text, "prev")
    assert newer is not None
    assert shown(client.get(urljoin(PAGE, newer)).text) == shown(first)


@pytest.mark.usefixtures("busy")
def test_what_was_taken_back_is_marked_and_stays(client: TestClient) -> None:
    page = client.get(PAGE).text
    (voided,) = re.findall(r'<li[^>]* class="voided">(.*?)</li>', page, re.DOTALL)
    assert shown(voided) == ["w59"]
    assert "corrected or withdrawn" in voided


@pytest.mark.usefixtures("busy")
def test_each_line_names_its_tank(client: TestClient) -> None:
    page = client.get(PAGE, params={"tank": "t2", "kind": "wash"}).text
    assert len(re.findall(r'class="log-text">[^<]*T2\b', page)) == len(shown(page))


@pytest.mark.usefixtures("busy")
def test_what_cannot_be_chosen_is_not_filtered_by(client: TestClient) -> None:
    odd = {"tank": "t9", "kind": "party", "resin": "", "by": "<b>"}
    assert shown(client.get(PAGE, params=odd).text) == shown(client.get(PAGE).text)


@pytest.mark.usefixtures("busy")
def test_an_address_that_was_not_made_here_is_refused(client: TestClient) -> None:
    assert client.get(PAGE, params={"cursor": "zebra"}).status_code == 422


def test_a_script_gets_the_list_alone(client: TestClient, busy: Store) -> None:
    part = client.get(PAGE, params={"by": "Dunlin"}, headers={"HX-Request": "true"}).text
    assert part.lstrip().startswith('<section id="log"')
    assert "<html" not in part
    assert shown(part) == ids(busy, by="Dunlin")[:25]


@pytest.mark.usefixtures("busy")
def test_nothing_that_fits_is_said(client: TestClient) -> None:
    page = client.get(PAGE, params={"kind": "swap"}).text
    assert shown(page) == []
    assert "Nothing logged matches this." in page

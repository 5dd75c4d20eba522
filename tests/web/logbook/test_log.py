"""The log of the room: filters, how entries came, the file, the anchor."""

import csv
import io
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds.supplies import Item, StockUsed
from app.services.door import bring_in as record
from app.services.importing.storing import Origin, store_in_slices
from app.services.importing.undoing import undo
from app.services.rooms import find_room
from app.services.verifying import chained
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, wash, withdraw

LOG = f"/rooms/{ROOM}/log"


@pytest.fixture(autouse=True)
def a_past(store: Store) -> None:
    record(
        store, ROOM,
        [
            Item(at=START, id="i", item="gloves", name="Gloves", unit="pair",
                 category="protection"),
            StockUsed(at=NOW - timedelta(days=4), id="u1", item="gloves", quantity=2,
                      purpose="hand_out", by="Bo"),
            wash(3, id="w1", parts=7, by="Ada"),
            wash(2, id="w2", parts=8, by="Ada", note="=1+1"),
        ],
        NOW,
    )  # fmt: skip
    record(store, ROOM, [wash(3, id="c1", parts=9, by="Bo", corrects="w1")], NOW)
    withdraw(store, ROOM, "w2", "Bo", "twice", NOW, None)


def rows(client: TestClient, asked: str = "") -> list[dict[str, str]]:
    answer = client.get(f"{LOG}.csv{asked}")
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.text.removeprefix("\ufeff"))))


def test_a_correction_shows_what_was_before_and_after(client: TestClient) -> None:
    page = client.get(LOG).text
    assert "Parts: <del>7 parts</del> → <ins>9 parts</ins>" in page
    assert "Time: " not in page.split('id="line-c1"')[1].split("</li>")[0]


def test_a_withdrawal_shows_what_it_took_back(client: TestClient) -> None:
    line = client.get(f"{LOG}?kind=withdrawal").text.split("log-past")[1]
    assert "8 parts" in line


def test_a_late_entry_shows_when_it_was_recorded(client: TestClient) -> None:
    assert "recorded Mon 2 Mar 12:00" in client.get(f"{LOG}?kind=stock_used").text


def test_entries_of_an_import_show_its_file_and_so_does_taking_it_back(
    client: TestClient, store: Store
) -> None:
    done = store_in_slices(
        store, ROOM, [wash(1, id="x")], Origin(name="april <b>.csv"), lambda: NOW
    )
    assert "imported with april &lt;b&gt;.csv" in client.get(LOG).text
    undo(store, ROOM, done.token, "Ada", lambda: NOW)
    assert "taken back with april" in client.get(LOG).text
    assert rows(client, "?kind=wash")[0]["from"] == "imported with april <b>.csv"


@pytest.mark.parametrize(
    "asked, found",
    [
        ("?by=Bo&kind=wash", ["c1"]),
        ("?thing=item:gloves", ["u1", "i"]),
        ("?kind=wash&since=2026-02-28", ["w2"]),
        ("?kind=wash&until=2026-02-27", ["c1", "w1"]),
        ("?kind=wash&since=2026-02-27&until=2026-02-27", ["c1", "w1"]),
        ("?kind=wash&tank=t1&since=2027-01-01", []),
        ("?kind=wash&until=9999-12-31", ["w2", "c1", "w1"]),
        ("?kind=nothing&thing=none&by=nobody&tank=&since=&kind=wash", ["w2", "c1", "w1"]),
    ],
)
def test_filters_narrow_the_page_and_the_file_alike(
    client: TestClient, asked: str, found: list[str]
) -> None:
    assert [row["id"] for row in rows(client, asked)] == found
    page = client.get(LOG + asked).text
    shown = [part.split('"')[0] for part in page.split('id="line-')[1:]]
    assert shown == found


@pytest.mark.parametrize(
    "asked, said",
    [
        ("?since=soon", "“soon” is not a day. Enter it like 2026-03-02."),
        ("?since=2026-03-02&until=2026-03-01", "The last day is before the first."),
    ],
)
def test_days_that_are_none_are_said(client: TestClient, asked: str, said: str) -> None:
    answer = client.get(LOG + asked)
    assert answer.status_code == 200
    assert said in answer.text


def test_the_file_says_what_the_page_says(client: TestClient) -> None:
    by_id = {row["id"]: row for row in rows(client)}
    assert by_id["c1"]["changed"] == "Parts: 7 parts → 9 parts"
    assert (by_id["w1"]["replaced_or_withdrawn_by"], by_id["c1"]["corrects"]) == ("c1", "w1")
    assert by_id["w2"]["note"] == "'=1+1"
    assert by_id["w1"]["recorded_at"] == NOW.isoformat()
    assert all(row["sentence"] for row in by_id.values())


def test_the_file_has_every_entry_of_a_long_log(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1 - n / 1000, id=f"n{n}") for n in range(450)], NOW)
    found = [row["id"] for row in rows(client, "?kind=wash")]
    assert len(found) == len(set(found)) == 453


def test_the_page_shows_the_anchor(client: TestClient, store: Store) -> None:
    with Session(store.reader) as session:
        end = chained(session, find_room(session, ROOM))
    assert end is not None
    page = client.get(LOG).text
    assert f"<code>{end.code}</code>" in page
    assert f"--anchor {end.code}" in page
    assert "Chained since" not in page

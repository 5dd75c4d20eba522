"""Part lots on their pages and by the API: find one, its record, release, recall, files."""

import csv
import io
from datetime import timedelta
from typing import Any

import pytest

from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.site import CrewMember
from app.services.door import bring_in
from app.store.engine import Store
from tests.answers import sure
from tests.factories import NOW, ROOM, START, tank

AT = f"/rooms/{ROOM}"
API = f"/api/v1/rooms/{ROOM}"
NASTY = '<b>"B&1"</b>/../?x=#'
DAYS = {"since": "2026-02-20", "until": "2026-03-02"}


def washed(hours: float, tank: str, lot: str, **more: Any) -> Wash:
    at = NOW - timedelta(hours=hours)
    return Wash(at=at, tank=tank, resin="slate", parts=4, lot=lot, **more)


@pytest.fixture
def hot(store: Store) -> None:
    """A bath above its limit, a lot that was washed in it, and a lead."""
    crew = CrewMember(at=START, crew="crew", name="Ada", role="lead")
    bring_in(store, ROOM, [crew, tank("hot", saturation_percent=15.0)], NOW)
    bring_in(store, ROOM, [washed(5, "hot", "B-114", id="w1", by="Wren")], NOW)


def test_a_room_without_lots_is_not_asked_for_one(client: Any) -> None:
    page = client.get(f"{AT}/lots").text
    assert "No wash or cure names a part lot yet." in page
    form = client.get(f"{AT}/tanks/t1/log/wash").text
    assert "<summary>Part lot</summary>" in form
    assert "lot_offered" not in form
    answer = client.post(f"{AT}/tanks/t1/log/wash", data={"resin": "slate", "parts": "4"})
    assert "Saved:" in answer.text


def test_a_lot_is_typed_once_and_offered_with_one_touch(client: Any) -> None:
    sent = {"lot": "MX 7", "resin": "slate", "resin_lot": "R-7", "parts": "4", "by": "Wren"}
    answer = sure(client, f"{AT}/log/part-lot", sent)
    assert "Wren entered part lot MX 7: 4 parts of Slate, resin lot R-7" in answer.text
    form = client.get(f"{AT}/tanks/t1/log/wash").text
    assert 'name="lot_offered" value="MX 7"' in form
    sent = {"resin": "slate", "parts": "4", "lot_offered": "MX 7", "lot": ""}
    sure(client, f"{AT}/tanks/t1/log/wash", sent)
    record = client.get(f"{API}/part-lots/record?lot=mx%207").json()
    assert [wash["tank"] for wash in record["washes"]] == ["t1"]
    tile = client.get(f"{AT}/tanks/t2/log/wash").text
    assert 'name="lot_offered" value="MX 7"' in tile


@pytest.mark.usefixtures("hot")
def test_the_record_leads_from_the_entries_to_the_release(client: Any) -> None:
    assert f'{AT}/lots/record?lot=B-114"' in client.get(f"{AT}/entries/w1").text
    page = client.get(f"{AT}/lots/record", params={"lot": "b-114"}).text
    assert "Part lot B-114" in page
    assert "Above its limit" in page
    assert "No cure logged" in page
    form = client.get(f"{AT}/log/part-lot-release?lot=B-114").text
    assert "Bath over limit" in form
    sent = {"lot": "B-114", "lead": "Ada", "accept-0": "bath over limit", "reason": "Test piece"}
    refused = client.post(f"{AT}/log/part-lot-release", data=sent)
    assert refused.status_code == 422
    assert "Not released: no cure logged." in refused.text
    assert 'value="Test piece"' in refused.text
    answer = client.post(f"{AT}/log/part-lot-release", data={**sent, "accept-1": "no cure logged"})
    assert "Ada released part lot B-114, accepting bath over limit; no cure logged" in answer.text
    page = client.get(f"{AT}/lots/record?lot=B-114").text
    assert "Ada released it" in page
    client.post(f"{AT}/entries/w1/withdraw", data={"note": "wrong lot"})
    page = client.get(f"{AT}/lots/record?lot=B-114").text
    assert "The log has changed since then" in page
    assert "Released, look again" in page


def test_an_unknown_lot_says_what_to_do(client: Any) -> None:
    answer = client.get(f"{AT}/lots/record", params={"lot": NASTY})
    assert answer.status_code == 404
    assert "Check the label, type it again" in answer.text
    assert "<b>" not in answer.text.split("<h1>")[1].split("</h1>")[0]
    assert client.get(f"{API}/part-lots/record?lot=B-9").status_code == 404
    assert client.get(f"{AT}/lots/record").status_code == 200


def test_a_lot_with_markup_is_shown_as_typed(client: Any, store: Store) -> None:
    bring_in(store, ROOM, [washed(5, "t1", NASTY)], NOW)
    page = client.get(f"{AT}/lots").text
    assert "&lt;b&gt;" in page
    assert NASTY not in page
    record = client.get(f"{API}/part-lots/record", params={"lot": NASTY}).json()
    assert record["lot"] == NASTY
    assert client.get(f"{AT}/lots/record.csv", params={"lot": NASTY}).status_code == 200


def test_a_lot_of_300_characters_is_refused_beside_its_field(client: Any) -> None:
    sent = {"resin": "slate", "parts": "4", "lot": "B" * 300}
    answer = client.post(f"{AT}/tanks/t1/log/wash", data=sent)
    assert answer.status_code == 422
    assert "At most 200 characters; this has 300." in answer.text
    assert "B" * 300 in answer.text
    assert client.get(f"{API}/part-lots/record", params={"lot": "B" * 300}).status_code == 422


@pytest.mark.usefixtures("hot")
def test_a_recall_names_lots_with_reason_and_time(client: Any, store: Store) -> None:
    bring_in(store, ROOM, [washed(4, "t1", "B-115")], NOW)
    asked = {"reason": ["bath over limit", "tank on hold"], **DAYS}
    page = client.get(f"{AT}/lots/recall", params=asked).text
    assert "1 lot<" in page
    assert ">B-114</a>" in page
    assert "B-115" not in page
    assert "limit 10.0 %" in page
    found = client.get(f"{API}/part-lots/recall", params=asked).json()
    [lot] = found["lots"]
    assert (lot["lot"], lot["reasons"], lot["standing"]) == ("B-114", ["bath over limit"], "open")
    assert [one["entry"] for one in lot["touches"]] == ["w1"]
    table = client.get(f"{AT}/lots/recall.csv", params=asked)
    assert table.headers["content-type"].startswith("text/csv")
    [line] = csv.DictReader(io.StringIO(table.text))
    assert (line["lot"], line["reason"], line["tank"]) == ("B-114", "bath over limit", "hot")


@pytest.mark.usefixtures("hot")
def test_a_formula_in_a_lot_is_guarded_in_files(client: Any, store: Store) -> None:
    bring_in(store, ROOM, [washed(4, "hot", "=1+1")], NOW)
    asked = {"reason": "bath over limit", **DAYS}
    table = client.get(f"{AT}/lots/recall.csv", params=asked).text
    assert "\n=1+1" not in table
    assert "=1+1" in table


@pytest.mark.parametrize(
    "asked, message",
    [
        ({**DAYS}, "Choose a reason, or enter a lot."),
        ({"reason": "bath over limit", "since": "soon", "until": "2026-03-02"}, "Enter a day"),
        ({"reason": "bath over limit", "since": "2026-03-02", "until": "2026-03-01"},
         "The last day is before the first."),
        ({"resin_lot": "B" * 300, **DAYS}, "At most 200 characters"),
    ],
)  # fmt: skip
def test_a_recall_that_does_not_fit_says_why(client: Any, asked: Any, message: str) -> None:
    answer = client.get(f"{AT}/lots/recall", params=asked)
    assert answer.status_code == 422
    assert message in answer.text
    assert client.get(f"{AT}/lots/recall.csv", params=asked).status_code == 422
    assert client.get(f"{API}/part-lots/recall", params=asked).status_code == 422


def test_a_recall_by_a_lot_asks_for_it(client: Any) -> None:
    asked = {"reason": "resin lot", **DAYS}
    assert client.get(f"{API}/part-lots/recall", params=asked).status_code == 422
    page = client.get(f"{AT}/lots/recall", params={"resin_lot": "R-7", **DAYS}).text
    assert "No lot in these days." in page


@pytest.mark.usefixtures("hot")
def test_a_rejected_lot_is_marked(client: Any) -> None:
    sent = {"lot": "B-114", "reason": "White film", "by": "Wren"}
    client.post(f"{AT}/log/part-lot-reject", data=sent)
    page = client.get(f"{AT}/lots/record?lot=B-114").text
    assert "Wren rejected it" in page
    lots = client.get(f"{API}/part-lots").json()
    assert [one["lot"] for one in lots] == ["B-114"]

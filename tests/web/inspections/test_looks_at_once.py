"""A look at the full or refilled tank on one page: each question touched, signed at the end."""

import json
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.web.conftest import entries_of
from tests.web.inspections.looking import AT, inspection

FULL, REFILLED = f"{AT}/tanks/t1/look/full", f"{AT}/tanks/t1/look/refilled"
SEAL = "t1-shaft_seal-1"


def asked_on(page: str) -> list[str]:
    return list(dict.fromkeys(re.findall(r'<input type="radio" name="([\w.-]+)"', page)))


def all_no(page: str, **more: str) -> dict[str, str]:
    return dict.fromkeys(asked_on(page), "no") | {"by": "Wren"} | more


def test_all_questions_are_on_one_page_none_answered_beforehand(room: TestClient) -> None:
    page = room.get(FULL).text
    assert f"{SEAL}.seal_drop" in asked_on(page)
    assert re.search(r'value="(no|yes|unseen)" checked', page) is None
    assert "all in order" not in page.casefold()


def test_one_page_stores_the_look_with_its_answers_and_signature(
    room: TestClient, store: Store
) -> None:
    answer = room.post(FULL, data=all_no(room.get(FULL).text))
    assert answer.status_code == 200
    state = inspection(store)
    assert (state.when, state.is_closed, state.closed_by) == ("full", True, "Wren")
    assert {look.verdict for look in state.looks} == {"serviceable"}


def test_a_question_that_is_left_out_is_named_and_what_was_touched_stays(
    room: TestClient, store: Store
) -> None:
    sent = all_no(room.get(FULL).text)
    left_out = sent.pop(f"{SEAL}.seal_drop")
    before = len(entries_of(store))
    answer = room.post(FULL, data=sent)
    assert (left_out, answer.status_code) == ("no", 422)
    assert "Choose Yes, No or Cannot see it." in answer.text
    assert answer.text.count("checked") == len(sent) - 1
    assert len(entries_of(store)) == before


@pytest.mark.parametrize(
    "sent, message",
    [
        ({"by": ""}, "Enter who signs."),
        ({"second": "wren"}, "The second person must be somebody else."),
        ({f"{SEAL}.seal_drop": "maybe"}, "Choose Yes, No or Cannot see it."),
        ({"at": "never"}, "Nothing was stored"),
    ],
)
def test_bad_input_is_said_and_stores_nothing(
    room: TestClient, store: Store, sent: dict[str, str], message: str
) -> None:
    before = len(entries_of(store))
    room.cookies.delete("person")
    answer = room.post(FULL, data=all_no(room.get(FULL).text) | sent)
    assert answer.status_code == 422
    assert message in answer.text
    assert len(entries_of(store)) == before


def test_a_finding_holds_the_tank_at_once_and_asks_for_its_photo_before_the_signature(
    room: TestClient, store: Store
) -> None:
    sent = all_no(room.get(REFILLED).text) | {f"{SEAL}.seal_weeps_again": "yes"}
    answer = room.post(REFILLED, data=sent)
    assert "/inspections/" in answer.url.path
    assert "Out of service" in answer.text
    assert not inspection(store).is_closed
    assert [row.kind for row in entries_of(store)][-2:] == ["tank_held", "inspection_answered"]
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 2, "area_cm2": 300.0}
    assert room.post(f"/api/v1{AT}/entries", json=wash).status_code == 422
    assert "An inspection is open here" in room.get(REFILLED).text


def test_a_look_sent_twice_is_one(room: TestClient, store: Store) -> None:
    sent = all_no(room.get(FULL).text, submission="f1" * 8)
    room.post(FULL, data=sent)
    count = len(entries_of(store))
    assert room.post(FULL, data=sent).status_code == 200
    assert len(entries_of(store)) == count


def test_there_is_no_other_look_and_no_other_tank(room: TestClient) -> None:
    for path in (f"{AT}/tanks/t1/look/empty", f"{AT}/tanks/nowhere/look/full"):
        assert room.get(path).status_code == 404
        assert room.post(path, data={"by": "Wren"}).status_code == 404


def test_the_swap_leads_there_and_back_and_its_papers_name_it(
    room: TestClient, store: Store
) -> None:
    record(store, ROOM, [
        Drum(at=START, drum="d1", name="W-13", capacity_l=200, stream="isopropanol_resin",
             area="wash_station"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.8),
        StockReceived(at=START, item="ipa", quantity=60, lot="A7"),
    ], NOW)  # fmt: skip
    began = (NOW - timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    swap = f"{AT}/tanks/t1/swap"
    page = room.post(f"{swap}/start", data={"by": "Wren", "at": began}).text
    assert "Do it before you isolate the bath." in page
    assert f'href="{FULL}"' in page
    assert f'href="{FULL}"' in room.get(f"{swap}?step=drain").text  # the gate says so as well
    assert "does a drop hang under the shaft" in room.get(f"{swap}/paper").text
    back = room.post(FULL, data=all_no(room.get(FULL).text))
    assert back.url.path == swap
    assert "Do it before you isolate" not in back.text
    assert "while full</b>: signed" in room.get(f"{swap}?view=close").text
    key = json.loads(entries_of(store, "swap_opened")[0].fields)["swap"]
    record_page = room.get(f"{swap}/record?swap={key}").text
    assert "while full</b>: signed" in record_page

"""A part of which nothing could be seen was not looked at, and the room goes on saying so."""

from typing import Any

from fastapi.testclient import TestClient

from app.domain.inspections.conditions import CONDITIONS
from app.store.engine import Store
from tests.web.inspections.looking import AT, inspection, look, state


def unseen(room: TestClient, at: str, part: str) -> Any:
    answers = {one.key: "unseen" for one in CONDITIONS[part]}
    return room.post(f"{at}/parts/t1-{part}-1", data=answers | {"by": "Wren"})


def test_it_is_called_not_seen_and_is_no_look_at_the_part(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer", "washer_worn")
    page = unseen(room, at, "impeller").text
    assert "Not seen" in page
    assert "nobody has checked it yet" in page
    impeller = state(store, "component", "t1-impeller-1")
    assert impeller.seen == ()
    assert impeller.verdict == "not_seen"
    assert '<progress value="1" max="4">' in room.get(at).text
    assert "Not seen" in room.get(f"{AT}/inspections").text


def test_the_look_before_it_stands_and_a_later_one_settles_it(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "washer")
    unseen(room, at, "washer")  # the same inspection: the answers before it are gone
    assert state(store, "component", "t1-washer-1").seen == ()
    look(room, at, "washer")
    washer = state(store, "component", "t1-washer-1")
    assert (washer.verdict, washer.missed) == ("serviceable", None)


def test_it_can_be_signed_and_the_report_the_tank_and_the_room_say_so(
    room: TestClient, at: str, store: Store
) -> None:
    unseen(room, at, "washer")
    for part in ("impeller", "o_ring", "shaft_seal"):
        look(room, at, part)
    assert "nothing could be seen of Washer 1" in room.get(at).text
    room.post(f"{at}/close", data={"by": "Wren"})
    assert inspection(store).is_closed
    assert "Not seen" in room.get(f"{at}/report").text
    assert "washer 1 (not seen)" in room.get(AT).text


def test_a_lead_may_decide_over_it_but_not_to_not_seen(
    room: TestClient, at: str, store: Store
) -> None:
    unseen(room, at, "washer")
    to = f"{at}/parts/t1-washer-1/overrule"
    word = {"lead": "Curlew", "reason": "Changed last week", "by": "Curlew"}
    assert room.post(to, data=word | {"verdict": "not_seen"}).status_code == 422
    assert room.post(to, data=word | {"verdict": "watch"}).status_code == 200
    washer = state(store, "component", "t1-washer-1")
    assert washer.missed is None
    assert [(one.verdict, one.was_seen) for one in washer.seen] == [("watch", False)]


def test_after_the_last_part_the_page_says_what_was_saved_and_what_is_left(
    room: TestClient, at: str
) -> None:
    first = look(room, at, "impeller").text
    assert "<b>Impeller 1</b> is saved: serviceable." in first
    assert "This is another part: <b>Washer 1</b>." in first
    for part in ("washer", "o_ring"):
        look(room, at, part)
    last = look(room, at, "shaft_seal").text
    assert "<b>Shaft seal</b> is saved: serviceable." in last
    assert "All parts are done: sign" in last

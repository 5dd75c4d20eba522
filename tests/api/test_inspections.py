"""An inspection that a program sends is held to the rules of the pages."""

from typing import Any

import pytest

from app.domain.inspections.conditions import CONDITIONS
from app.services.rooms import find_room
from app.services.transaction import write
from app.store.room_photos import note_photos
from tests.factories import ROOM

URL = f"/api/v1/rooms/{ROOM}/entries"
PHOTO = "ab" * 32


def post(client: Any, kind: str, **values: Any) -> Any:
    return client.post(URL, json={"kind": kind, "by": "Wren", **values})


def refused(client: Any, kind: str, **values: Any) -> dict[str, str]:
    answer = post(client, kind, **values)
    assert answer.status_code == 422, answer.text
    return {one["field"]: one["message"] for one in answer.json()["errors"]}


@pytest.fixture
def begun(client: Any) -> Any:
    """A client whose room has an open inspection of a shaft seal, and a photo that came to it."""
    with write(client.app.state.store) as session:
        note_photos(session, find_room(session, ROOM).id or 0, [PHOTO])
    position = {"component": "seal", "part": "shaft_seal", "name": "Shaft seal"}
    made = post(client, "component", component="seal", part="shaft_seal", name="Seal", tank="t1")
    assert made.status_code == 201, made.text
    started = post(client, "inspection_started", inspection="i1", tank="t1", positions=[position])
    assert started.status_code == 201, started.text
    return client


def answered(client: Any, *yes: str, **more: Any) -> Any:
    answers = {one.key: "yes" if one.key in yes else "no" for one in CONDITIONS["shaft_seal"]}
    return post(
        client, "inspection_answered", inspection="i1", component="seal", answers=answers, **more
    )


def test_a_second_inspection_of_a_tank_waits_for_the_first(begun: Any) -> None:
    position = {"component": "seal", "part": "shaft_seal", "name": "Shaft seal"}
    again = {"inspection": "i2", "tank": "t1", "positions": [position]}
    assert "open here" in refused(begun, "inspection_started", **again)["tank"]


def test_an_inspection_that_nobody_began_takes_no_answer(client: Any) -> None:
    answer = answered(client)
    assert answer.status_code == 422
    assert "no inspection" in answer.json()["errors"][0]["message"]


def test_all_questions_are_answered_and_the_verdict_is_the_rules(begun: Any) -> None:
    some = {"inspection": "i1", "component": "seal", "answers": {"seal_hard": "no"}}
    assert "seal_leaks" in refused(begun, "inspection_answered", **some)
    assert answered(begun, "seal_hard", verdict="serviceable").status_code == 422
    assert answered(begun, "seal_hard", verdict="replace").status_code == 201


def test_nothing_is_signed_that_was_not_looked_at_or_lacks_its_photo(begun: Any) -> None:
    assert "Not inspected yet" in refused(begun, "inspection_closed", inspection="i1")["parts"]
    answered(begun, "seal_hard")
    assert "photo" in refused(begun, "inspection_closed", inspection="i1")["parts"]
    photo = {"inspection": "i1", "component": "seal", "photo": PHOTO, "view": "close"}
    assert post(begun, "inspection_photo", **photo).status_code == 201
    assert "Enter who signs" in refused(begun, "inspection_closed", inspection="i1", by="")["by"]
    twice = refused(begun, "inspection_closed", inspection="i1", second="wren")
    assert "somebody else" in twice["second"]
    assert post(begun, "inspection_closed", inspection="i1").status_code == 201
    again = {"inspection": "i1", "component": "seal", "photo": PHOTO, "view": "whole"}
    assert "closed" in refused(begun, "photo_labelled", **again)["inspection"]


def test_a_part_goes_out_of_service_only_with_its_tank_held(begun: Any) -> None:
    refusal = answered(begun, "seal_leaks", no_photo="Dark")
    assert refusal.status_code == 422
    assert "Send a tank_held of “t1”" in refusal.json()["errors"][0]["message"]
    hold = {"tank": "t1", "reason": "Shaft seal leaks", "cause": "inspection", "inspection": "i1"}
    assert post(begun, "tank_held", **hold).status_code == 201
    assert answered(begun, "seal_leaks", no_photo="Dark").status_code == 201
    assert post(begun, "inspection_closed", inspection="i1").status_code == 201


def test_only_a_lead_overrules_and_only_what_is_there_is_labelled(begun: Any) -> None:
    answered(begun, "seal_hard")
    word = {
        "inspection": "i1", "component": "seal", "verdict": "watch", "lead": "Wren",
        "reason": "Only just",
    }  # fmt: skip
    assert "lead" in refused(begun, "inspection_overruled", **word)
    photo = {"inspection": "i1", "component": "seal", "photo": PHOTO, "view": "close"}
    assert "no such photo" in refused(begun, "photo_labelled", **photo)["photo"]

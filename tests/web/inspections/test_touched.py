"""Answers that were touched and not saved yet stay over a reload and on the next tablet."""

import re
from typing import Any

from fastapi.testclient import TestClient

from app.store.engine import Store
from tests.web.inspections.looking import inspection, look

STEP = "/parts/t1-shaft_seal-1"


def touch(room: TestClient, at: str, name: str, value: str, over: str = "") -> Any:
    sent = {"name": name, "value": value, "over": over}
    return room.post(f"{at}{STEP}/touched", data=sent)


def checked(page: str) -> dict[str, str]:
    found = re.findall(r'<input type="radio" name="(\w+)" value="(\w+)" checked>', page)
    return dict(found)


def test_a_reload_inside_a_part_keeps_every_answer(room: TestClient, at: str, store: Store) -> None:
    assert touch(room, at, "seal_weeps", "no").status_code == 204
    assert touch(room, at, "seal_leaks", "yes").status_code == 204
    assert touch(room, at, "seal_leaks", "no").status_code == 204
    assert touch(room, at, "note", "Damp on the left").status_code == 204
    page = room.get(f"{at}{STEP}").text  # as another tablet shows it too
    assert checked(page) == {"seal_weeps": "no", "seal_leaks": "no"}
    assert 'value="Damp on the left"' in page
    assert "These answers are not saved yet" in page
    assert inspection(store).look("t1-shaft_seal-1").verdict == ""  # nobody has said it yet


def test_what_is_saved_is_no_draft_any_more(room: TestClient, at: str) -> None:
    touch(room, at, "seal_weeps", "yes")
    assert look(room, at, "shaft_seal").status_code == 200
    page = room.get(f"{at}{STEP}").text
    assert set(checked(page).values()) == {"no"}
    assert "not saved yet" not in page


def test_other_answers_touched_after_a_verdict_are_kept_too(
    room: TestClient, at: str, store: Store
) -> None:
    look(room, at, "shaft_seal")
    given = inspection(store).look("t1-shaft_seal-1").entry
    assert touch(room, at, "seal_weeps", "yes", given).status_code == 204
    page = room.get(f"{at}{STEP}").text
    assert checked(page)["seal_weeps"] == "yes"
    assert "not saved yet" in page


def test_a_touch_on_a_page_that_is_stale_changes_nothing(room: TestClient, at: str) -> None:
    look(room, at, "shaft_seal")
    assert touch(room, at, "seal_weeps", "yes").status_code == 409
    assert checked(room.get(f"{at}{STEP}").text)["seal_weeps"] == "no"


def test_what_is_no_answer_is_not_kept(room: TestClient, at: str) -> None:
    for name, value in (("seal_weeps", "maybe"), ("other", "yes"), ("note", "x" * 2001)):
        assert touch(room, at, name, value).status_code == 422
    assert checked(room.get(f"{at}{STEP}").text) == {}

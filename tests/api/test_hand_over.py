"""Handing over by programs: two names, one after the other."""

from typing import Any

from tests.factories import ROOM

BASE = f"/api/v1/rooms/{ROOM}"
HAND_OVER = {"hand_over": "room"}


def enter(client: Any, kind: str, **entry: Any) -> Any:
    return client.post(f"{BASE}/entries", json={"kind": kind, **entry})


def messages(answer: Any) -> str:
    assert answer.status_code == 422, answer.text
    return str(answer.json())


def test_the_same_name_does_not_sign_both(client: Any) -> None:
    (entry,) = enter(client, "handed_over", by="Wren", **HAND_OVER).json()["ids"]
    answer = enter(client, "taken_over", by="wren", signed=entry, **HAND_OVER)
    assert "Wren handed over. Someone else takes over." in messages(answer)
    assert enter(client, "taken_over", by="Dunlin", signed=entry, **HAND_OVER).status_code == 201
    state = client.get(f"{BASE}/books/hand_over/room").json()["state"]
    (one,) = state["hand_overs"]
    assert (one["handed"]["by"], one["taken"]["by"]) == ("Wren", "Dunlin")


def correct(client: Any, entry: str, **changed: Any) -> Any:
    stored = client.get(f"{BASE}/entries/{entry}").json()["entry"]
    sent = {name: value for name, value in stored.items() if name not in ("id", "entered_at")}
    return client.post(f"{BASE}/entries/{entry}/correction", json={**sent, **changed})


def test_a_correction_is_no_way_round(client: Any, clock: Any) -> None:
    (entry,) = enter(client, "handed_over", by="Wren", **HAND_OVER).json()["ids"]
    clock.wait(minutes=5)
    answer = enter(client, "taken_over", by="Dunlin", signed=entry, **HAND_OVER)
    (taken,) = answer.json()["ids"]
    answer = correct(client, entry, by="Dunlin")
    assert answer.status_code == 409, answer.text
    assert "Dunlin has taken over. This signature stays." in answer.text
    assert "Wren handed over. Someone else takes over." in messages(
        correct(client, taken, by="Wren")
    )
    assert client.post(f"{BASE}/entries/{entry}/withdrawal", json={"by": "Wren"}).status_code == 409


def test_a_late_signature_is_no_way_round(client: Any, clock: Any) -> None:
    early = (clock.now).isoformat()
    clock.wait(minutes=5)
    assert enter(client, "taken_over", by="Dunlin", **HAND_OVER).status_code == 201
    answer = enter(client, "handed_over", by="Dunlin", at=early, **HAND_OVER)
    assert "Dunlin took over. Someone else hands over." in messages(answer)


def test_nobody_signs_without_a_name(client: Any) -> None:
    assert "Enter who hands over." in messages(enter(client, "handed_over", **HAND_OVER))
    assert "Enter who takes over." in messages(enter(client, "taken_over", **HAND_OVER))


def test_a_hand_over_that_waits_is_taken_over_by_its_entry(client: Any) -> None:
    enter(client, "handed_over", by="Wren", **HAND_OVER)
    answer = enter(client, "taken_over", by="Dunlin", **HAND_OVER)
    assert "Read what is new, then take over." in messages(answer)
    answer = enter(client, "taken_over", by="Dunlin", signed="nothing", **HAND_OVER)
    assert "Reload the page." in messages(answer)


def test_what_nobody_handed_over_may_be_taken_over(client: Any) -> None:
    assert enter(client, "taken_over", by="Dunlin", **HAND_OVER).status_code == 201


def test_a_note_is_written_once_and_settled_once(client: Any) -> None:
    note = {"shift_note": "lid", "text": "The lid sticks"}
    assert enter(client, "shift_note", by="Wren", **note).status_code == 201
    assert "There is already a note with this key" in messages(
        enter(client, "shift_note", by="Finch", **note)
    )
    assert "There is no such note" in messages(
        enter(client, "shift_note_done", by="Finch", shift_note="lidd")
    )
    listed = client.get(f"{BASE}/books/shift_note?open_only=true").json()["states"]
    assert listed["lid"]["text"] == "The lid sticks"
    assert enter(client, "shift_note_done", by="Finch", shift_note="lid").status_code == 201
    assert "Finch settled this note" in messages(
        enter(client, "shift_note_done", by="Dunlin", shift_note="lid")
    )
    assert client.get(f"{BASE}/books/shift_note?open_only=true").json()["states"] == {}

"""A part out of service keeps its tank or station out of use from the answer on."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.curing import Station
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.photos import photo
from tests.web.inspections.looking import AT, inspection, look, pictures, said, state

BOX = Station(
    at=START, station="s1", name="Box", source="led", wavelength_nm=405.0,
    layout="centre_and_corners",
)  # fmt: skip
WASH = {"resin": "slate", "parts": "12", "by": "Wren"}


def held(store: Store) -> list[str]:
    """Why tank t1 is held."""
    hold = state(store, "hold", "t1")
    return [one.reason for one in hold.holds] if hold else []


def leak(room: TestClient, at: str, *more: str) -> Any:
    return look(room, at, "shaft_seal", "seal_leaks", *more, no_photo="Wet gloves")


def undo(room: TestClient, at: str, store: Store, part: str = "shaft_seal") -> Any:
    found = inspection(store).look(f"t1-{part}-1")
    entry = found.overrule_entry or found.entry
    return room.post(f"{at}/parts/t1-{part}-1/undo", data={"entry": entry})


def test_the_answer_itself_holds_the_tank_and_its_undo_lets_it_go(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    assert held(store) == ["Shaft seal: A leaking seal lets solvent out near a motor."]
    assert state(store, "hold", "t1").holds[0].inspection == inspection(store).key
    assert room.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 422
    assert "Held" in room.get(f"{AT}/tanks/t1").text
    board = room.get(AT).text
    assert "1 held" in board
    assert "out near a motor. Do not wash here." in board
    undo(room, at, store)
    assert held(store) == []
    assert room.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 200


def test_other_answers_let_it_go_and_taking_them_back_holds_it_again(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    look(room, at, "shaft_seal")
    assert held(store) == []
    undo(room, at, store)
    assert len(held(store)) == 1


def test_another_reason_takes_the_place_of_the_one_before(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    look(room, at, "shaft_seal", "seal_groove", no_photo="Wet gloves")
    assert held(store) == [
        "Shaft seal: A grooved shaft leaks at any seal. Replace it as its maker's instructions say."
    ]


def test_saying_it_twice_or_signing_holds_it_once(room: TestClient, at: str, store: Store) -> None:
    leak(room, at)
    look(room, at, "shaft_seal", "seal_leaks", files=pictures(photo()), note="drips")
    look(room, at, "impeller", "impeller_blade_broken", no_photo="Wet gloves")
    for part in ("o_ring", "washer"):
        look(room, at, part)
    assert room.post(f"{at}/close", data={"by": "Wren"}).url.path.endswith("/report")
    assert len(held(store)) == 2
    assert "until a lead releases it" in room.get(f"{at}/report").text


def test_a_leads_milder_word_lets_it_go_and_its_undo_holds_it_again(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    word = {"verdict": "watch", "lead": "Curlew", "reason": "Rain water", "by": "Curlew"}
    to = f"{at}/parts/t1-shaft_seal-1/overrule"
    for second in ("", "Curlew", "Nobody"):
        alone = room.post(to, data={**word, "second": second})
        assert alone.status_code == 422
        assert "A second person must agree, somebody else: Dunlin." in alone.text
    assert len(held(store)) == 1
    room.post(to, data={**word, "second": "Dunlin"})
    assert held(store) == []
    undo(room, at, store)
    assert len(held(store)) == 1


def test_a_leads_graver_word_holds_it(room: TestClient, at: str, store: Store) -> None:
    look(room, at, "shaft_seal")
    word = {
        "verdict": "take_out_of_service", "lead": "Curlew", "reason": "It smells", "by": "Curlew",
    }  # fmt: skip
    room.post(f"{at}/parts/t1-shaft_seal-1/overrule", data=word)
    assert held(store) == ["Shaft seal: It smells"]


def test_what_a_lead_has_released_is_not_held_again_by_the_signature(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    released = {"lead": "Curlew", "reason": "New seal fitted", "by": "Curlew"}
    alone = room.post(f"{AT}/tanks/t1/hold/release", data=released)
    assert "A second person must agree" in alone.text
    assert held(store) != []
    released["second"] = "Dunlin"
    assert room.post(f"{AT}/tanks/t1/hold/release", data=released).status_code == 200
    assert held(store) == []
    look(room, at, "shaft_seal", "seal_leaks", no_photo="Wet gloves", note="before the new one")
    for part in ("impeller", "o_ring", "washer"):
        look(room, at, part)
    room.post(f"{at}/close", data={"by": "Wren"})
    assert inspection(store).is_closed
    assert held(store) == []


def fit_and_release(room: TestClient, at: str, store: Store) -> None:
    """A new seal is fitted, and a lead lets the tank go before anybody looks at it."""
    room.post(f"{at}/parts/t1-shaft_seal-1/replace", data={"by": "Wren", "because": "finding"})
    released = {"lead": "Curlew", "reason": "New seal fitted", "by": "Curlew"}
    assert room.post(f"{AT}/tanks/t1/hold/release", data=released).status_code == 200
    assert held(store) == []


def test_a_new_part_that_fails_as_the_old_one_did_holds_the_tank_again(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    fit_and_release(room, at, store)
    leak(room, at)
    assert held(store) == ["Shaft seal: A leaking seal lets solvent out near a motor."]
    alone = {"lead": "Curlew", "reason": "Looks fine", "by": "Curlew"}
    refused = room.post(f"{AT}/tanks/t1/hold/release", data=alone)
    assert "A second person must agree" in refused.text
    leak(room, at)
    assert len(held(store)) == 1


def test_a_new_part_that_fails_before_a_release_holds_the_tank_once(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    room.post(f"{at}/parts/t1-shaft_seal-1/replace", data={"by": "Wren", "because": "finding"})
    leak(room, at)
    assert len(held(store)) == 1


def test_a_new_part_in_order_leaves_the_tank_free(room: TestClient, at: str, store: Store) -> None:
    leak(room, at)
    fit_and_release(room, at, store)
    look(room, at, "shaft_seal")
    assert held(store) == []


def test_an_older_page_does_not_lift_what_somebody_else_has_found(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    stale = said("shaft_seal", over="", by="Dunlin")
    refused = room.post(f"{at}/parts/t1-shaft_seal-1", data=stale)
    assert refused.status_code == 422
    assert "Wren was here meanwhile: take out of service." in refused.text
    assert len(held(store)) == 1
    shown = inspection(store).look("t1-shaft_seal-1").entry
    assert f'name="over" value="{shown}"' in refused.text
    again = room.post(f"{at}/parts/t1-shaft_seal-1", data=stale | {"over": shown})
    assert again.status_code == 422
    assert "The answers of Wren hold this" in again.text
    assert len(held(store)) == 1
    own = room.post(f"{at}/parts/t1-shaft_seal-1", data=stale | {"over": shown, "by": "Wren"})
    assert own.status_code == 200
    assert held(store) == []


def test_a_hold_of_another_cause_stays(room: TestClient, at: str, store: Store) -> None:
    why = {"reason": "Smells of acetone", "by": "Wren"}
    room.post(f"{AT}/tanks/t1/hold", data=why)
    leak(room, at)
    undo(room, at, store)
    assert held(store) == ["Smells of acetone"]


@pytest.mark.parametrize("part, finding", [("fan", "fan_stopped"), ("door_interlock", "")])
def test_a_stations_part_out_of_service_holds_the_station(
    room: TestClient, store: Store, part: str, finding: str
) -> None:
    record(store, ROOM, [BOX], NOW)
    room.post(f"{AT}/stations/s1/parts", data={f"with_{part}": "on", "by": "Wren"})
    begun = room.post(f"{AT}/stations/s1/inspection", data={"by": "Wren", "submission": "s7" * 8})
    to = f"{begun.url.path}/parts/s1-{part}-1"
    room.post(to, data=said(part, finding or "interlock_fails", no_photo="Dark"))
    hold = state(store, "station", "s1").hold
    assert (hold.is_held, hold.cause) == (True, "inspection")
    room.post(f"{to}/undo", data={"entry": inspection(store).looks[0].entry})
    assert not state(store, "station", "s1").hold.is_held

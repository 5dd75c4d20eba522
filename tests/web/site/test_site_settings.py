"""Site settings and people on their pages: stored as entries, or refused beside the field."""

from typing import Any

from sqlmodel import Session

from app.services.rooms import find_room
from app.store.site import crew, site
from tests.factories import ROOM

SETTINGS = f"/rooms/{ROOM}/site"
CREW = f"/rooms/{ROOM}/crew"


def state(client: Any) -> Any:
    store = client.app.state.store
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        return site(session, room_id), crew(session, room_id)


def filled(**changes: str) -> dict[str, str]:
    form = {
        "day1": "on", "day2": "on", "day3": "on", "day4": "on", "day5": "on",
        "swaps_per_day": "2", "swap_minutes": "90", "solvent_lead_days": "5",
        "pickup_lead_days": "15", "rinse_percent": "7", "squirt_bottle_l": "1",
        "heel_percent": "2", "loss_tolerance_percent": "5", "room_temperature_c": "20",
    }  # fmt: skip
    return form | changes


def test_only_what_was_changed_is_stored(client: Any) -> None:
    answer = client.post(SETTINGS, data=filled(pickup_lead_days="21", flammable_limit_l="450"))
    assert answer.status_code == 200
    assert "Saved" in answer.text
    found = state(client)[0]
    assert (found.pickup_lead_days, found.flammable_limit_l) == (21, 450.0)
    entries = client.get(f"/api/v1/rooms/{ROOM}/entries?kind=site_rules").json()["entries"]
    assert len(entries) == 1
    assert "heel_percent" not in entries[0]


def test_an_emptied_limit_is_no_longer_set(client: Any) -> None:
    client.post(SETTINGS, data=filled(flammable_limit_l="450"))
    client.post(SETTINGS, data=filled())
    assert state(client)[0].flammable_limit_l is None


def test_a_setting_that_cannot_be_is_refused_beside_its_field(client: Any) -> None:
    answer = client.post(SETTINGS, data=filled(pickup_lead_days="-3", swap_minutes="abc"))
    assert answer.status_code == 422
    assert "must be between 0 and 365" in answer.text
    assert 'value="-3"' in answer.text
    assert state(client)[0].pickup_lead_days == 15


def test_a_week_without_a_working_day_is_refused(client: Any) -> None:
    form = {name: value for name, value in filled().items() if not name.startswith("day")}
    answer = client.post(SETTINGS, data=form)
    assert answer.status_code == 422
    assert "Enter the days" in answer.text


def test_a_person_is_entered_and_leaves(client: Any) -> None:
    client.post(CREW, data={"name": "Curlew", "role": "lead"})
    assert state(client)[1].leads == ("Curlew",)
    client.post(CREW, data={"name": "Wren", "role": "lead"})  # nobody makes themself one
    assert state(client)[1].leads == ("Curlew",)
    client.cookies.set("person", "Curlew")
    client.post(CREW, data={"name": "Wren", "role": "lead"})  # the last lead may not leave
    answer = client.post(CREW, data={"name": "Curlew", "role": "lead", "has_left": "on"})
    assert "no longer here" in answer.text
    assert state(client)[1].leads == ("Wren",)


def test_a_person_without_a_name_is_refused(client: Any) -> None:
    answer = client.post(CREW, data={"name": " ", "role": "lead"})
    assert answer.status_code == 422
    assert "Name is missing" in answer.text

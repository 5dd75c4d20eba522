"""One entry: its history, its correction, its withdrawal."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds import PlannedWash
from app.domain.roomlog.kinds.incidents import TankHeld
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.contracts.forms import forms_of
from tests.factories import NOW, ROOM, START, sensor_reading, wash

ENTRY = f"/rooms/{ROOM}/entries/w1"


@pytest.fixture(autouse=True)
def a_wash(store: Store) -> None:
    record(store, ROOM, [wash(3, id="w1", parts=7, extra={"shift": "early"})], NOW)


def stored(store: Store, uid: str) -> EntryRow:
    with Session(store.reader) as session:
        return session.exec(select(EntryRow).where(EntryRow.uid == uid)).one()


def test_it_works(client: TestClient) -> None:
    page = client.get(ENTRY)
    assert page.status_code == 200
    assert "7 parts" in page.text


def test_a_correction_keeps_the_original_its_time_and_unknown_fields(
    client: TestClient, store: Store
) -> None:
    form = client.get(f"{ENTRY}/correct")
    assert 'value="7"' in form.text
    page = client.post(f"{ENTRY}/correct", data={"resin": "slate", "parts": "9", "at": ""})
    assert page.status_code == 200
    old = stored(store, "w1")
    assert old.voided_by is not None
    new = stored(store, old.voided_by)
    assert (new.corrects, new.at_us) == ("w1", old.at_us)
    assert '"parts":9' in new.fields
    assert '"shift":"early"' in new.fields
    history = client.get(f"/rooms/{ROOM}/entries/{new.uid}").text
    assert "7 parts" in history
    assert "9 parts" in history


def test_a_correction_keeps_an_instant_that_it_leaves_as_it_is(
    client: TestClient, store: Store
) -> None:
    known = NOW - timedelta(days=2, seconds=-7)
    plan = PlannedWash(
        at=NOW + timedelta(days=1), id="p1", tank="t1", resin="slate", parts=4, known_from=known
    )
    record(store, ROOM, [plan], NOW)
    at = f"/rooms/{ROOM}/entries/p1/correct"
    (form,) = [one for one in forms_of(client.get(at).text, at) if one.method == "post"]
    assert client.post(at, data=form.sent({"parts": "9"})).status_code == 200
    new = stored(store, str(stored(store, "p1").voided_by))
    assert '"parts":9' in new.fields
    assert known.isoformat() in new.fields


def test_a_bad_correction_stores_nothing(client: TestClient, store: Store) -> None:
    page = client.post(f"{ENTRY}/correct", data={"resin": "slate", "parts": "-1"})
    assert page.status_code == 422
    assert 'value="-1"' in page.text
    assert stored(store, "w1").voided_by is None


def test_a_second_correction_of_the_same_entry_is_refused(client: TestClient) -> None:
    client.post(f"{ENTRY}/correct", data={"resin": "slate", "parts": "9"})
    assert client.get(f"{ENTRY}/correct").status_code == 409
    assert client.post(f"{ENTRY}/correct", data={"resin": "slate", "parts": "8"}).status_code == 409


def test_a_withdrawn_entry_stays_in_the_history(client: TestClient, store: Store) -> None:
    page = client.post(f"{ENTRY}/withdraw", data={"note": "Wrong tank"})
    assert page.status_code == 200
    assert stored(store, "w1").voided_by is not None
    assert "Wrong tank" in client.get(ENTRY).text


def test_a_reading_is_corrected_with_its_instruments_fields(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [sensor_reading(1, 30.0, id="slip")], NOW)
    client.post(f"/rooms/{ROOM}/entries/slip/correct", data={"saturation_percent": "3.0"})
    old = stored(store, "slip")
    assert old.voided_by is not None
    assert '"saturation_percent":3.0' in stored(store, old.voided_by).fields


def test_an_unknown_entry_is_not_found(client: TestClient) -> None:
    assert client.get(f"/rooms/{ROOM}/entries/nothing").status_code == 404


def test_what_is_left_as_it_stands_is_kept_to_the_last_digit(
    client: TestClient, store: Store
) -> None:
    at = f"/rooms/{ROOM}/settings"
    (settings,) = [one for one in forms_of(client.get(at).text, at) if one.method == "post"]
    assert client.post(at, data=settings.sent({"area_unit": "in2"})).status_code == 200
    record(store, ROOM, [wash(2, id="w2", area_cm2=123.456789)], NOW)
    form = client.get(f"/rooms/{ROOM}/entries/w2/correct").text
    assert 'value="19.1358"' in form
    client.post(
        f"/rooms/{ROOM}/entries/w2/correct",
        data={"resin": "kiln", "area_cm2": "19.1358", "at": ""},
    )
    old = stored(store, "w2")
    assert old.voided_by is not None
    assert '"area_cm2":123.456789' in stored(store, old.voided_by).fields


def test_what_stands_says_so_and_offers_no_button_that_would_be_refused(
    client: TestClient, store: Store
) -> None:
    held = TankHeld(at=START, id="hold", tank="t1", reason="Leaks", cause="lead", by="Wren")
    record(store, ROOM, [held, wash(1, id="w9")], NOW - timedelta(hours=1))
    page = client.get(f"/rooms/{ROOM}/entries/hold").text
    assert "A lead releases it on its page, with a reason" in page
    assert "Withdraw" not in page
    assert "Correct it" not in page
    plain = client.get(f"/rooms/{ROOM}/entries/w9").text
    assert "Withdraw this entry" in plain
    assert "Correct it" in plain

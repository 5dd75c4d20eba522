"""What a lead decides bears a lead's name where nobody signs in: each kind, each address.

The kinds and addresses are those of the table of permissions, so a new one is tried without a line
here; a kind whose field names the lead is refused by its own rule, and stands below.
"""

import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import count
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, func, select

from app.domain.errors import DomainError, LeadNeeded
from app.domain.people.permissions import ADDRESSES, KINDS, LEAD
from app.domain.roomlog.kinds import KINDS as CLASSES
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.roomlog.lines import own_fields
from app.services.door import bring_in, enter
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.contracts.guarded_room import POSITION, STRANGER, visit_guarded
from tests.contracts.test_sentences import examples
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store

API = f"/api/v1/rooms/{ROOM}"
AGO = NOW - timedelta(minutes=30)
LED = tuple(kind for kind, action in KINDS.items() if action == LEAD)
NAMED_APART = tuple(kind for kind in LED if "lead" in CLASSES[kind].specs())
BY = tuple(kind for kind in LED if kind not in NAMED_APART)
WORD = {"reason": "It is fine"}
LINES: dict[str, dict[str, Any]] = {
    "drum_released": {"drum": "d2", **WORD},
    "lot_released": {"item": "gloves", "lot": "L1", **WORD},
    "part_lot_released": {"lot": "P1", "accepted": "no wash logged", **WORD},
    "incident_closed": {"incident": "i1", **WORD},
    "tank_released": {"tank": "t1", **WORD},
    "station_released": {"station": "s1", **WORD},
    "room_archived": {"archive": "archive", "room_name": "Test room", **WORD},
    "room_restored": {"archive": "archive"},
    "solvent_limit": {"solvent_limits": "solvent_limits", "solvent": "isopropanol",
                      "holds_for": "eight_hours", "limit_ppm": 100.0, "source": "Our own", **WORD},
    "inspection_overruled": {"inspection": "n2", "component": "c1", "verdict": "serviceable",
                             **WORD},
    "photo_rules": {"rules": "rules", "keep_originals": True},
    "reading_accepted": {"station": "s1", "reading": "w1", **WORD},
    "qualified": {"qualifications": "qualifications", "person": "Wren", "act": "swap",
                  "until_on": "2026-12-31", "supervised_times": 3},
    "qualification_ended": {"qualifications": "qualifications", "person": "Wren", "act": "swap"},
}  # fmt: skip
"""What a program sends of the kinds with a field for the lead."""
SENT = count()


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The tablet of a stranger, in a room whose lead is Curlew."""
    for tablet in visit_guarded(tmp_path_factory.mktemp("leads")):
        bring_in(store_of(tablet), ROOM, [
            wash(1, lot="P1"),
            InspectionStarted(at=AGO, inspection="n2", tank="t2", positions=[POSITION]),
        ], NOW)  # fmt: skip
        yield tablet


def store_of(client: TestClient) -> Store:
    return client.app.state.store  # type: ignore[attr-defined,no-any-return]


def counted(client: TestClient) -> int:
    with Session(store_of(client).reader) as session:
        return session.exec(select(func.count()).select_from(EntryRow)).one()


def example(kind: str, by: str) -> Entry:
    """An entry of a kind with what it must say."""
    _, few, *_ = examples(CLASSES[kind])
    return type(few)(**{**vars(few), "at": AGO, "by": by, "id": ""})


@pytest.mark.parametrize("kind", BY)
def test_a_kind_that_a_lead_enters_asks_for_a_leads_name(client: TestClient, kind: str) -> None:
    before = counted(client)
    for by in ("Wren", ""):
        with pytest.raises(LeadNeeded):
            enter(store_of(client), ROOM, [example(kind, by)], NOW)
    assert counted(client) == before
    try:
        enter(store_of(client), ROOM, [example(kind, "curlew")], NOW)
    except LeadNeeded:
        pytest.fail("a lead's own name does not count")
    except DomainError:
        pass  # the rest of it does not fit this room


@pytest.mark.parametrize("kind", NAMED_APART)
@pytest.mark.parametrize("lead", ["Wren", STRANGER])
def test_a_kind_with_a_field_for_the_lead_is_refused_there(
    client: TestClient, kind: str, lead: str
) -> None:
    before = counted(client)
    line = {"kind": kind, "by": "Wren", "lead": lead, **LINES[kind]}
    answer = client.post(f"{API}/entries", json=line)
    assert answer.status_code == 422, answer.text
    assert "lead" in [one["field"] for one in answer.json()["errors"]], answer.text
    assert counted(client) == before


def test_a_program_is_told_beside_the_name(client: TestClient) -> None:
    word = {"kind": "waste_rules", "waste_rules": "waste_rules", "rule_set": "europe",
            "category": "producer", "by": "Wren"}  # fmt: skip
    answer = client.post(f"{API}/entries", json=word)
    assert answer.status_code == 422
    assert answer.json()["errors"] == [
        {"field": "by", "message": "Only a lead or manager can do this: Curlew."}
    ]


def test_what_a_lead_said_is_neither_corrected_nor_taken_back_by_others(
    client: TestClient,
) -> None:
    word = {"kind": "site_rules", "site": "site", "flammable_limit_l": 100.0, "by": "Curlew"}
    (uid,) = client.post(f"{API}/entries", json=word).json()["ids"]
    for by in ("Wren", ""):
        with pytest.raises(LeadNeeded):
            enter(store_of(client), ROOM, [Withdrawal(at=NOW, by=by, withdraws=uid)], NOW)
    more = word | {"flammable_limit_l": 1000.0, "by": "Wren"}
    answer = client.post(f"{API}/entries/{uid}/correction", json=more)
    assert answer.status_code == 422
    page = client.post(
        f"/rooms/{ROOM}/entries/{uid}/withdraw", data={"by": "Wren", "note": "Wrong"}
    )
    assert page.status_code == 422
    assert "Which lead does this?" in page.text
    answer = client.post(f"{API}/entries/{uid}/withdrawal", json={"by": "Curlew", "note": "Wrong"})
    assert answer.status_code == 201


def test_a_form_asks_which_lead_and_keeps_what_was_typed(client: TestClient) -> None:
    typed = {"category": "california/ca_sqg", "by": "Wren", "submission": "rules"}
    page = client.post(f"/rooms/{ROOM}/waste/rules", data=typed, follow_redirects=False)
    assert page.status_code == 422
    assert "Which lead does this?" in page.text
    kept = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page.text))
    assert kept == typed
    answer = client.post(
        f"/rooms/{ROOM}/waste/rules", data={**kept, "as_lead": "Nobody"}, follow_redirects=False
    )
    assert answer.status_code == 422
    answer = client.post(
        f"/rooms/{ROOM}/waste/rules", data={**kept, "as_lead": "Curlew"}, follow_redirects=False
    )
    assert answer.status_code == 303, answer.text
    with Session(store_of(client).reader) as session:
        row = session.exec(
            select(EntryRow).where(EntryRow.kind == "waste_rules").order_by(EntryRow.id.desc())  # type: ignore[union-attr]
        ).first()
    assert row is not None
    assert row.by == "Curlew"


NO_ROOM = ("/rooms/new", "/api/v1/rooms")
"""A new room has nobody in it yet."""
OF_A_LEAD = sorted(
    address for address, action in ADDRESSES.items()
    if action == LEAD and not address.startswith("GET") and address.split()[1] not in NO_ROOM
)  # fmt: skip
THINGS = {"room": ROOM, "tank": "t2", "station": "s1", "drum": "d1", "inspection": "n1",
          "incident": "i1", "component": "c1", "item": "gloves", "resin": "slate"}  # fmt: skip


@pytest.mark.parametrize("address", OF_A_LEAD)
def test_no_address_of_a_lead_stores_a_strangers_word(client: TestClient, address: str) -> None:
    method, path = address.split()
    at = re.sub(r"\{(\w+)(?::\w+)?\}", lambda found: THINGS.get(found[1], "x"), path)
    before = counted(client)
    said = {
        "by": STRANGER, "lead": STRANGER, "as_lead": STRANGER, "reason": "It is fine",
        "note": "It is fine", "name": "Another", "rule_set": "europe", "category": "producer",
        "action": "release", "submission": f"led-{next(SENT)}", "time_zone": "UTC",
        "volume_unit": "l", "temperature_unit": "c", "mass_unit": "g", "area_unit": "cm2",
    }  # fmt: skip
    options: dict[str, Any] = {"json": {"name": "Another"}} if path.startswith("/api") else {
        "data": said
    }  # fmt: skip
    answer = client.request(method, at, follow_redirects=False, **options)
    assert answer.status_code in (404, 409, 422, 428), (answer.status_code, answer.text[:300])
    assert counted(client) == before
    assert own_fields(example("tank", STRANGER))  # the room's own name is no entry
    assert client.get(f"/api/v1/rooms/{ROOM}").json()["name"] != "Another"


def test_before_the_first_lead_anybody_sets_the_room_up(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    store = new_store(tmp_path_factory.mktemp("nobody"))
    furnish(store, tanks=1)
    word = CLASSES["site_rules"](at=NOW, by="Wren", site="site", flammable_limit_l=100.0)
    assert enter(store, ROOM, [word], NOW).ids
    store.close()

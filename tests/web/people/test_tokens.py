"""Programs: tokens made by a manager, shown once, with a role, revocable."""

import re

from fastapi.testclient import TestClient
from sqlmodel import select

from app.store.people_tables import TokenRow
from app.store.sessions import reading
from tests.factories import ROOM
from tests.web.people.conftest import Site

ENTRIES = f"/api/v1/rooms/{ROOM}/entries"
A_WASH = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}


def _token(site: Site, role: str = "technician", name: str = "Line server") -> str:
    answer = site.browser("Wren").post("/people/tokens", data={"name": name, "role": role})
    found = re.search(r"bk_[\w-]{40,}", answer.text)
    assert found is not None, answer.text
    return found[0]


def _program(site: Site, token: str) -> TestClient:
    client = site.browser()
    client.headers["Authorization"] = f"Bearer {token}"
    return client


def test_without_a_token_a_program_is_told_how_to_send_one(site: Site) -> None:
    for token in ("", "bk_made-up", "nonsense", "bk_" + "x" * 5000):
        answer = _program(site, token).get("/api/v1/rooms")
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")
        assert answer.headers["content-type"] == "application/problem+json"


def test_a_program_enters_under_its_own_name_only(site: Site) -> None:
    program = _program(site, _token(site))
    assert program.post(ENTRIES, json=A_WASH).status_code == 201
    refused = program.post(ENTRIES, json={**A_WASH, "by": "Kim"})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "by"
    batch = {"entries": [A_WASH, {**A_WASH, "by": "Kim"}]}
    assert program.post(f"{ENTRIES}/batch", json=batch).status_code == 422
    entries = program.get(ENTRIES, params={"kind": "wash"}).json()["entries"]
    assert [one["entry"]["by"] for one in entries] == ["Line server"]


def test_the_role_of_a_token_holds_for_kinds_of_entries_too(site: Site) -> None:
    technician = _program(site, _token(site))
    price = {"kind": "price_list", "prices": "prices", "currency": "EUR"}
    limit = {"kind": "tank_change", "tank": "t1", "limit_percent": 12}
    assert technician.post(ENTRIES, json=price).status_code == 403
    assert technician.post(ENTRIES, json=limit).status_code == 403
    lead = _program(site, _token(site, "lead", "Planner"))
    assert lead.post(ENTRIES, json=limit).status_code == 201
    assert lead.post(ENTRIES, json=price).status_code == 403
    screen = _program(site, _token(site, "screen", "Wall two"))
    assert screen.get(ENTRIES).status_code == 200
    assert screen.post(ENTRIES, json=A_WASH).status_code == 403
    assert screen.get(f"/api/v1/rooms/{ROOM}/export").status_code == 403


def test_a_technician_takes_back_nothing_that_is_a_leads(site: Site) -> None:
    lead, technician = _program(site, _token(site, "lead", "Planner")), _program(site, _token(site))
    limit = {"kind": "tank_change", "tank": "t1", "limit_percent": 12}
    (uid,) = lead.post(ENTRIES, json=limit).json()["ids"]
    answer = technician.post(f"{ENTRIES}/{uid}/withdrawal", json={"note": "no"})
    assert answer.status_code == 403
    assert lead.post(f"{ENTRIES}/{uid}/withdrawal", json={"note": "no"}).status_code < 300


def test_no_program_confirms_for_a_person(site: Site) -> None:
    held = {"kind": "tank_held", "tank": "t1", "cause": "lead", "reason": "Cracked lid"}
    lead = _program(site, _token(site, "lead", "Planner"))
    assert lead.post(ENTRIES, json=held).status_code == 201
    released = {"kind": "tank_released", "tank": "t1", "reason": "New lid", "lead": "Lee"}
    answer = lead.post(ENTRIES, json=released)
    assert answer.status_code == 422
    assert "confirms this with their own PIN" in answer.text


def test_a_token_is_for_the_api_alone(site: Site) -> None:
    program = _program(site, _token(site))
    assert program.get(f"/rooms/{ROOM}").status_code == 401
    assert program.get("/people").status_code == 401


def test_a_revoked_token_counts_no_more_and_its_name_stays_taken(site: Site) -> None:
    token, manager = _token(site), site.browser("Wren")
    with reading(site.store) as session:
        row = session.exec(select(TokenRow)).one()
    assert token not in repr(row)
    manager.post(f"/people/tokens/{row.id}/revoke")
    assert _program(site, token).get("/api/v1/rooms").status_code == 401
    for name in ("line SERVER", "kim"):
        answer = manager.post("/people/tokens", data={"name": name, "role": "lead"})
        assert answer.status_code == 422


def test_a_token_is_shown_once(site: Site) -> None:
    token = _token(site)
    page = site.browser("Wren").get("/people").text
    assert "Line server" in page
    assert token not in page


def test_no_secret_is_in_what_leaves_a_room(site: Site) -> None:
    token = _token(site)
    manager = site.browser("Wren")
    for address in (f"/rooms/{ROOM}/export.jsonl", f"/api/v1/rooms/{ROOM}/export",
                    f"/api/v1/rooms/{ROOM}/entries", f"/api/v1/rooms/{ROOM}/people"):  # fmt: skip
        text = manager.get(address).text
        assert "argon2" not in text
        assert token not in text

"""People and roles: the room keeps a lead, by every door."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.site import CrewMember
from tests.factories import ROOM, START
from tests.visiting import visiting

CREW, ENTRIES = f"/rooms/{ROOM}/crew", f"/api/v1/rooms/{ROOM}/entries"
LEAD: dict[str, Any] = {"name": "Curlew", "role": "lead"}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with visiting(tmp_path, [
        CrewMember(at=START, id="c1", crew="crew", by="Wren", **LEAD),
        CrewMember(at=START, crew="crew", by="Wren", name="Dunlin", role="technician"),
    ]) as client:  # fmt: skip
        yield client


@pytest.mark.parametrize(
    "change", [{"has_left": "on"}, {"role": "technician"}, {"role": "manager"}]
)
def test_the_last_lead_is_not_sent_away_by_one_touch(
    client: TestClient, change: dict[str, str]
) -> None:
    change["by"] = "Curlew"
    page = client.post(CREW, data={**LEAD, **change})
    assert page.status_code == 422
    assert "Curlew is the last lead" in page.text
    assert "Enter another lead first" in page.text
    assert client.post(CREW, data={"name": "Dunlin", "role": "lead", "by": "Curlew"}).is_success
    assert client.post(CREW, data={**LEAD, **change}).status_code == 200


def test_nobody_makes_themself_a_lead_where_there_is_one(client: TestClient) -> None:
    word = {"name": "Dunlin", "role": "lead"}
    for by in ("", "Dunlin", "Nobody Here"):
        page = client.post(CREW, data={**word, "by": by})
        assert page.status_code == 422
        assert "Only a lead or manager can enter or change one: Curlew." in page.text
        sent = {"kind": "crew_member", "crew": "crew", **word, "by": by}
        refused = client.post(ENTRIES, json=sent)
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["field"] == "role"
    assert "Who enters this" in client.get(CREW).text
    assert client.post(CREW, data={**word, "by": "Curlew"}).status_code == 200
    other = {"name": "Heron", "role": "manager", "by": "Wren"}
    assert client.post(CREW, data=other).status_code == 422
    other["by"] = "Curlew"
    assert client.post(CREW, data=other).status_code == 200
    named = {"name": "Wren", "role": "lead", "by": "Heron"}
    assert client.post(CREW, data=named).status_code == 200


def test_nobody_but_they_makes_a_lead_a_manager_or_a_manager_a_lead(client: TestClient) -> None:
    """A manager releases nothing: a lead who is made one is a lead less."""
    for name, role in (("Heron", "manager"), ("Plover", "lead")):
        named = {"name": name, "role": role, "by": "Curlew"}
        assert client.post(CREW, data=named).status_code == 200
    for name, role in (("Plover", "manager"), ("Heron", "lead")):
        sent = {"kind": "crew_member", "crew": "crew", "name": name, "role": role}
        for by in ("", "Dunlin"):
            assert client.post(CREW, data={"name": name, "role": role, "by": by}).status_code == 422
            assert client.post(ENTRIES, json={**sent, "by": by}).status_code == 422
        assert client.post(ENTRIES, json={**sent, "by": "Curlew"}).status_code == 201
    last = {"kind": "crew_member", "crew": "crew", "role": "manager", "by": "Curlew"}
    assert client.post(ENTRIES, json={**last, "name": "Heron"}).status_code == 201
    refused = client.post(ENTRIES, json={**last, "name": "Curlew"})
    assert (refused.status_code, "last lead" in refused.text) == (422, True)


def test_a_program_does_not_send_the_last_lead_away_either(client: TestClient) -> None:
    gone = {"kind": "crew_member", "crew": "crew", **LEAD, "has_left": True}
    answer = client.post(ENTRIES, json=gone)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "has_left"
    back = client.post(f"{ENTRIES}/c1/withdrawal", json={"by": "Dunlin"})
    assert back.status_code == 409
    assert "last lead" in back.text
    assert client.post(ENTRIES, json={**gone, "name": "Dunlin", "role": "technician"}).is_success


def test_a_name_stands_under_a_hold_and_a_follow_up(client: TestClient) -> None:
    hold = f"/rooms/{ROOM}/tanks/t1/hold"
    nameless = client.post(hold, data={"reason": "The lid sticks"})
    assert nameless.status_code == 422
    assert "Enter who is holding it" in nameless.text
    assert client.post(hold, data={"reason": "The lid sticks", "by": "Wren"}).status_code == 200
    client.cookies.clear()
    seen = {"done": "Rinsed the eye", "solvent": "bath", "by": "Wren"}
    page = client.post(f"/rooms/{ROOM}/problem/exposure", data=seen)
    assert "of a bath with resin in it" in page.text
    at = str(page.url).partition("?")[0]
    client.cookies.clear()
    step = page.text.partition('name="step" value="')[2].partition('"')[0]
    unsaid = client.post(f"{at}/step", data={"step": step})
    assert unsaid.status_code == 422
    assert "Say who did this" in unsaid.text
    assert client.post(f"{at}/step", data={"step": step, "by": "Dunlin"}).status_code == 200

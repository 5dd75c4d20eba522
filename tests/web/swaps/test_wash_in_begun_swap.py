"""A wash in a bath whose swap has begun: asked about at every door alike, refused once drained."""

import json
from datetime import timedelta

from fastapi.testclient import TestClient

from tests.answers import sure
from tests.factories import NOW, ROOM
from tests.web.swaps.test_swaps import SWAP, client, tick

__all__ = ("client",)
TANK, API = f"/rooms/{ROOM}/tanks/t1", f"/api/v1/rooms/{ROOM}"
SENT = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3, "by": "Wren"}
TYPED = {"resin": "slate", "parts": "3", "by": "Wren"}


def test_page_and_program_ask_the_same(client: TestClient) -> None:
    assert client.post(f"{API}/entries", json=SENT).status_code == 201
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    asked = client.post(f"{API}/entries", json=SENT)
    assert asked.status_code == 409
    assert [one["name"] for one in asked.json()["questions"]] == ["swap_begun"]
    assert "Wren began a swap" in asked.json()["questions"][0]["message"]
    page = client.post(f"{TANK}/log/wash", data=TYPED)
    assert page.status_code == 422
    assert "Wren began a swap of this bath" in page.text
    usual = client.post(TANK, data=TYPED)
    assert "Wren began a swap of this bath" in usual.text
    told = {"confirm": ["swap_begun"]}
    assert client.post(f"{API}/entries", json=SENT, params=told).status_code == 201
    assert sure(client, f"{TANK}/log/wash", {**TYPED, "parts": "4"}).status_code == 200


def test_with_the_power_off_the_question_says_so_and_a_drained_bath_takes_none(
    client: TestClient,
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    for step in ("prepare", "protect", "isolate"):
        tick(client, step)
    asked = client.post(f"{API}/entries", json=SENT)
    assert "hands in it" in asked.json()["questions"][0]["message"]
    before = {**SENT, "at": (NOW - timedelta(hours=5)).isoformat()}
    assert client.post(f"{API}/entries", json=before).status_code == 201
    tick(client, "choose_drum", drum="d1")
    tick(client, "bond")
    tick(client, "drain", drained_l="36", heel_l="0.5")
    told = {"confirm": ["swap_begun"]}
    assert client.post(f"{API}/entries", json=SENT, params=told).status_code == 422


def test_a_file_tells_of_a_wash_all_the_same(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    line = json.dumps({**SENT, "at": NOW.isoformat()})
    headers = {"content-type": "application/x-ndjson"}
    assert client.post(f"{API}/import", content=line, headers=headers).status_code == 201

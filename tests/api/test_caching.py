"""Reads that a client has already are not sent again (RFC 9110 sections 8.8.3 and 13.1.2)."""

import pytest
from starlette.testclient import TestClient

from tests.api.conftest import BASE
from tests.clocks import Clock

WASH = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 4}
READS = [
    "/api/v1/rooms", BASE, f"{BASE}/people", f"{BASE}/tanks", f"{BASE}/tanks/t1",
    f"{BASE}/tanks/t1/course", f"{BASE}/swaps", f"{BASE}/resins", f"{BASE}/rejects",
    f"{BASE}/entries", f"{BASE}/entries/w1",
]  # fmt: skip


@pytest.mark.parametrize("path", READS)
def test_what_is_unchanged_is_not_sent_again(client: TestClient, path: str) -> None:
    etag = client.get(path).headers["etag"]
    for known in (etag, f'"other", {etag}', "*"):
        answer = client.get(path, headers={"If-None-Match": known})
        assert (answer.status_code, answer.content) == (304, b"")
        assert answer.headers["etag"] == etag
    assert client.get(path, headers={"If-None-Match": 'W/"1-0"'}).status_code == 200


@pytest.mark.parametrize("path", READS)
def test_a_new_entry_makes_all_reads_new(client: TestClient, path: str) -> None:
    etag = client.get(path).headers["etag"]
    client.post(f"{BASE}/entries", json=WASH)
    assert client.get(path, headers={"If-None-Match": etag}).status_code == 200


def test_what_depends_on_the_hour_is_fresh_after_a_minute(client: TestClient, clock: Clock) -> None:
    tanks = client.get(f"{BASE}/tanks").headers["etag"]
    entries = client.get(f"{BASE}/entries").headers["etag"]
    clock.wait(minutes=1)
    assert client.get(f"{BASE}/tanks", headers={"If-None-Match": tanks}).status_code == 200
    assert client.get(f"{BASE}/entries", headers={"If-None-Match": entries}).status_code == 304


def test_a_room_that_is_not_there_is_not_unchanged(client: TestClient) -> None:
    answer = client.get("/api/v1/rooms/nowhere/tanks", headers={"If-None-Match": "*"})
    assert answer.status_code == 404

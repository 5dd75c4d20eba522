"""Forms that a script sends: as of their touch, by whoever touched them, and told as stored."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

from tests.factories import NOW, ROOM

WASH = f"/rooms/{ROOM}/tanks/t1/log/wash"
ENTRIES = f"/api/v1/rooms/{ROOM}/entries"
EARLIER = NOW - timedelta(hours=60)
"""Over a weekend (common practice, no source)."""
TOLD = {"X-Sent-By": "outbox"}


def send(client: TestClient, key: str = "k1", path: str = WASH, **more: Any) -> Response:
    """A wash as the script sends it; `headers` and fields may be others."""
    headers = TOLD | more.pop("headers", {})
    sent = {"resin": "slate", "parts": "12", "submission": key} | more
    return client.post(path, data=sent, headers=headers)


def washes(client: TestClient) -> list[dict[str, Any]]:
    """The washes that are stored, the last one first."""
    rows = client.get(ENTRIES, params={"kind": "wash"}).json()["entries"]
    return [{**row["entry"], "voided": row["voided_by"]} for row in rows]


def test_an_entry_is_stored_as_of_its_touch_and_entered_now(client: TestClient) -> None:
    answer = send(client, headers={"X-Touched-At": EARLIER.isoformat()})
    assert answer.status_code == 200
    assert answer.headers["X-Go-On-At"].startswith(f"/rooms/{ROOM}/tanks/t1?saved=")
    (stored,) = washes(client)
    assert datetime.fromisoformat(stored["at"]) == EARLIER
    assert datetime.fromisoformat(stored["entered_at"]) == NOW


def test_a_time_that_was_typed_goes_before_the_touch(client: TestClient) -> None:
    send(client, at="2026-03-01T08:00+00:00", headers={"X-Touched-At": EARLIER.isoformat()})
    assert washes(client)[0]["at"] == "2026-03-01T08:00:00+00:00"


@pytest.mark.parametrize(
    "text",
    [
        "", "soon", "2026-02-27", "9999-12-31T23:59:59Z", (NOW + timedelta(1)).isoformat(),
        "0001-01-01T00:00:00+23:00", "9999-12-31T23:59:59-23:00",
    ],
)  # fmt: skip
def test_a_touch_that_cannot_be_is_now(client: TestClient, text: str) -> None:
    assert send(client, headers={"X-Touched-At": text}).status_code == 200
    assert datetime.fromisoformat(washes(client)[0]["at"]) == NOW


def test_a_form_without_a_script_happens_now(client: TestClient) -> None:
    """Whatever else it says: the headers are the script's."""
    sent = {"resin": "slate", "parts": "12", "submission": "k1"}
    headers = {"X-Touched-At": EARLIER.isoformat()}
    assert client.post(WASH, data=sent, headers=headers, follow_redirects=False).status_code == 303
    assert datetime.fromisoformat(washes(client)[0]["at"]) == NOW


def test_a_correction_keeps_its_time(client: TestClient) -> None:
    send(client, headers={"X-Touched-At": EARLIER.isoformat()})
    entry = washes(client)[0]["id"]
    path = f"/rooms/{ROOM}/entries/{entry}/correct"
    later = {"X-Touched-At": (NOW - timedelta(hours=1)).isoformat()}
    assert send(client, "k2", path, parts="13", headers=later).status_code == 200
    (counts,) = [one for one in washes(client) if not one["voided"]]
    assert (counts["parts"], datetime.fromisoformat(counts["at"])) == (13, EARLIER)


def test_whoever_touched_it_entered_it_and_nobody_else_is_here_by_it(client: TestClient) -> None:
    client.cookies.set("person", "Sol")
    answer = send(client, headers={"X-Touched-By": "W%C3%ABn"})
    assert washes(client)[0]["by"] == "W\N{LATIN SMALL LETTER E WITH DIAERESIS}n"
    assert "set-cookie" not in answer.headers
    answer = send(client, "k2", parts="7", headers={"X-Sent-By": "script", "X-Touched-By": "Ada"})
    assert "Ada" in answer.headers["set-cookie"]


def test_what_was_stored_before_is_told_as_stored_whatever_the_room_says_now(
    client: TestClient,
) -> None:
    """Its answer was lost, and meanwhile the room went out of use."""
    send(client)
    name = client.get(f"/api/v1/rooms/{ROOM}").json()["name"]
    client.post(f"/rooms/{ROOM}/archive", data={"word": "archive", "by": "Sol", "room_name": name})
    refused = send(client, "k2", parts="5", headers={"X-Sent-Before": "k2"})
    assert refused.status_code >= 400
    again = send(client, resin="gone", headers={"X-Sent-Before": "k1"})
    assert (again.status_code, again.headers["X-Stored-Before"]) == (200, "yes")
    assert again.content == b""
    assert len(washes(client)) == 1


def test_a_key_that_was_not_sent_before_is_no_retry(client: TestClient) -> None:
    """Another form with the same key is refused, as it must be."""
    send(client)
    assert send(client, parts="99").status_code == 409
    assert len(washes(client)) == 1


def test_the_server_says_its_time_with_each_answer_to_a_script(client: TestClient) -> None:
    answer = client.get(f"/rooms/{ROOM}", headers={"X-Sent-By": "script"})
    assert datetime.fromisoformat(answer.headers["X-Server-Time"]) == NOW
    assert "X-Server-Time" not in client.get(f"/rooms/{ROOM}").headers

"""Reading the log over the API: pages, filters, what is not there."""

from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from tests.api.asking import ENTRIES, WASH, count, errors_of
from tests.api.conftest import BASE
from tests.factories import NOW


def test_the_log_is_read_newest_first(client: TestClient) -> None:
    entries = client.get(ENTRIES, params={"limit": 200}).json()["entries"]
    times = [item["entry"]["at"] for item in entries]
    assert times == sorted(times, reverse=True)
    assert len(entries) == 46


def test_pages_meet_without_gap_or_overlap(client: TestClient) -> None:
    whole = client.get(ENTRIES, params={"limit": 200}).json()["entries"]
    url, found, pages = f"{ENTRIES}?limit=7", [], 0
    while url:
        answer = client.get(url)
        found += answer.json()["entries"]
        pages += 1
        url = answer.links.get("next", {}).get("url", "")
    assert found == whole
    assert pages == 7
    assert answer.json()["older"] is None


def test_a_page_leads_back_to_the_one_before(client: TestClient) -> None:
    first = client.get(ENTRIES, params={"limit": 5}).json()
    second = client.get(ENTRIES, params={"limit": 5, "cursor": first["older"]}).json()
    back = client.get(ENTRIES, params={"limit": 5, "cursor": second["newer"]}).json()
    assert back["entries"] == first["entries"]


def test_the_next_page_keeps_the_filters(client: TestClient) -> None:
    link = client.get(ENTRIES, params={"limit": 3, "kind": "wash", "tank": "t1"}).links["next"]
    entries = client.get(link["url"]).json()["entries"]
    assert [item["entry"]["kind"] for item in entries] == ["wash"] * 3


@pytest.mark.parametrize(
    "shown, expected",
    [
        ({"kind": "reading"}, 1),
        ({"tank": "t2"}, 1),
        ({"resin": "kiln"}, 1),
        ({"kind": "wash", "from": (NOW - timedelta(days=3)).isoformat()}, 4),
        ({"kind": "wash", "to": (NOW - timedelta(days=12)).isoformat()}, 0),
        ({"kind": "wash", "from": (NOW - timedelta(days=12)).isoformat(),
          "to": (NOW - timedelta(days=11)).isoformat()}, 4),
    ],
)  # fmt: skip
def test_the_log_is_filtered(client: TestClient, shown: dict[str, str], expected: int) -> None:
    assert count(client, **shown) == expected


@pytest.mark.parametrize(
    "query",
    [
        "limit=0", "limit=201", "limit=-1", "limit=1e9", "limit=1_0", "limit=%D9%A1", "limit=+5",
        "limit=9223372036854775808", "limit=-9223372036854775809", "cursor=b1", "cursor=%00",
        "cursor=b99999999999999999999.1", "kind=sauna", "tank=%00", "tank=a%20b", "from=yesterday",
        "from=2026-03-02", "colour=red", "voided=maybe",
    ],
)  # fmt: skip
def test_a_query_that_does_not_fit_is_refused(client: TestClient, query: str) -> None:
    answer = client.get(f"{ENTRIES}?{query}")
    assert answer.status_code == 422
    assert query.split("=", maxsplit=1)[0] in errors_of(answer)


def test_what_is_not_there_is_not_found(client: TestClient) -> None:
    for path in (f"{ENTRIES}/nothing", "/api/v1/rooms/nowhere/entries", f"{ENTRIES}/%00"):
        assert client.get(path).status_code == 404
    assert client.post(f"{ENTRIES}/nothing/withdrawal", json={}).status_code == 404
    assert client.post(f"{ENTRIES}/nothing/correction", json=WASH).status_code == 404


@pytest.mark.parametrize(
    "path, words",
    [
        (f"{ENTRIES}?tank=t9", "There is no tank “t9” in this room."),
        (f"{ENTRIES}?resin=nothing&tank=t1", "There is no resin “nothing” in this room."),
        (f"{BASE}/litres/postings?account=tank:t9", "There is no account “tank:t9”"),
    ],
)
def test_a_list_narrowed_to_what_is_not_there_is_not_found(
    client: TestClient, path: str, words: str
) -> None:
    """RFC 9110, 15.5.5, as the address of the thing itself; a typing error is no empty list."""
    answer = client.get(path)
    assert answer.status_code == 404
    assert words in answer.json()["detail"]
    described = client.get("/api/v1/openapi.json").json()["paths"]
    route = "/v1/rooms/{room}/litres/postings" if "litres" in path else "/v1/rooms/{room}/entries"
    assert "404" in described[route]["get"]["responses"]


def test_a_list_narrowed_to_what_is_there_and_has_nothing_is_empty(client: TestClient) -> None:
    assert client.get(f"{ENTRIES}?tank=t2&resin=kiln&kind=reject").json()["entries"] == []

"""Books of things over the API: states with units in their names, and the entries behind them."""

from typing import Any

from tests.factories import ROOM

BASE = f"/api/v1/rooms/{ROOM}"


def post(client: Any, **entry: Any) -> Any:
    return client.post(f"{BASE}/entries", json={"kind": "site_rules", "site": "site"} | entry)


def test_a_book_has_its_state_and_its_entries(client: Any) -> None:
    assert post(client, pickup_lead_days=20).status_code == 201
    assert post(client, flammable_limit_l=450).status_code == 201
    answer = client.get(f"{BASE}/books/site/site").json()
    assert answer["state"]["pickup_lead_days"] == 20
    assert answer["state"]["flammable_limit_l"] == 450
    assert [entry["kind"] for entry in answer["entries"]] == ["site_rules", "site_rules"]
    listed = client.get(f"{BASE}/books/site?open_only=true").json()
    assert listed["states"] == {"site": answer["state"]}


def test_an_unknown_thing_is_said_to_be_so(client: Any) -> None:
    assert client.get(f"{BASE}/books/site/site").status_code == 404
    assert client.get(f"{BASE}/books/spaceship").status_code == 404
    assert client.get(f"{BASE}/books/site/site?limit=0").status_code == 422

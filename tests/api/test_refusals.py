"""What a program sends is held against the room as it stands, as on a page."""

from typing import Any

from tests.factories import ROOM

URL = f"/api/v1/rooms/{ROOM}/entries"


def post(client: Any, kind: str, **values: Any) -> Any:
    return client.post(URL, json={"kind": kind, **values})


def drum(client: Any) -> None:
    answer = post(
        client, "drum", drum="d1", name="Drum 1", capacity_l=55, stream="isopropanol_resin",
        area="central",
    )  # fmt: skip
    assert answer.status_code == 201, answer.text


def test_a_pour_beyond_the_fill_limit_is_refused(client: Any) -> None:
    drum(client)
    fits = post(client, "pour", drum="d1", volume_l=40, stream="isopropanol_resin")
    assert fits.status_code == 201, fits.text
    refused = post(client, "pour", drum="d1", volume_l=12, stream="isopropanol_resin")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "volume_l"


def test_a_pour_into_a_drum_that_is_not_there_is_refused(client: Any) -> None:
    refused = post(client, "pour", drum="d9", volume_l=12)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "drum"


def test_an_entry_sent_again_by_its_id_is_skipped_and_not_held_against_the_room(
    client: Any,
) -> None:
    drum(client)
    for status in (201, 200):
        answer = post(client, "pour", id="p1", drum="d1", volume_l=40, stream="isopropanol_resin")
        assert answer.status_code == status, answer.text


def test_stock_that_is_not_on_the_shelf_is_not_used(client: Any) -> None:
    refused = post(client, "stock_used", item="gloves", quantity=2)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "item"


def test_a_held_tank_is_not_washed_in(client: Any) -> None:
    said = {"tank": "t1", "reason": "The shaft seal leaks.", "cause": "lead"}
    nameless = post(client, "tank_held", **said)
    assert nameless.json()["errors"][0]["field"] == "by"
    held = post(client, "tank_held", by="Wren", **said)
    assert held.status_code == 201, held.text
    refused = post(client, "wash", tank="t1", resin="slate", parts=3)
    assert refused.status_code == 422
    assert "held" in refused.json()["errors"][0]["message"]
    assert post(client, "wash", tank="t2", resin="slate", parts=3).status_code == 201

"""A room without resins names its first one in the form of its first wash."""

import pytest
from fastapi.testclient import TestClient

ROOM = "/api/v1/rooms/new-hall"
AT = "/rooms/new-hall"
WASH = {
    "submission": "a" * 32, "resin_name": "Slate grey", "density_g_ml": "1.12", "parts": "12",
    "by": "Wren",
}  # fmt: skip


@pytest.fixture(name="room")
def new_room(client: TestClient) -> TestClient:
    """A room with one tank and nothing else."""
    client.post("/rooms/new", data={"name": "New hall", "time_zone": "UTC"})
    tank = {"name": "Oak", "capacity_l": "20", "solvent": "isopropanol", "limit_value": "10",
            "limit_basis": "mass_percent", "by": "Wren"}  # fmt: skip
    sent = client.post(f"{AT}/tanks/new", data=tank, follow_redirects=False)
    assert sent.status_code == 303, sent.text
    return client


def entries(room: TestClient, kind: str) -> list[dict[str, object]]:
    """What the log holds of a kind."""
    found = room.get(f"{ROOM}/entries", params={"kind": kind, "voided": "false"}).json()
    return [one["entry"] for one in found["entries"]]


def save(room: TestClient, **values: str) -> int:
    """Send the form of a wash."""
    data = {**WASH, **values}
    answer = room.post(f"{AT}/tanks/Oak/log/wash", data=data, follow_redirects=False)
    assert answer.status_code in (303, 422)
    return answer.status_code


def test_the_first_wash_brings_its_resin_along(room: TestClient) -> None:
    assert "Name of the resin" in room.get(f"{AT}/tanks/Oak/log/wash").text
    assert save(room) == 303
    (resin,), (wash,) = entries(room, "resin"), entries(room, "wash")
    assert (resin["name"], resin["density_g_ml"]) == ("Slate grey", 1.12)
    assert wash["resin"] == resin["resin"]
    assert "Name of the resin" not in room.get(f"{AT}/tanks/Oak/log/wash").text


def test_sent_again_it_counts_once(room: TestClient) -> None:
    assert (save(room), save(room)) == (303, 303)
    assert (len(entries(room, "resin")), len(entries(room, "wash"))) == (1, 1)


def test_two_people_who_name_the_same_resin_make_one(room: TestClient) -> None:
    assert save(room) == 303
    assert save(room, submission="b" * 32, parts="40", by="Kim") == 303
    assert (len(entries(room, "resin")), len(entries(room, "wash"))) == (1, 2)


@pytest.mark.parametrize(
    "field, typed",
    [("density_g_ml", ""), ("density_g_ml", "112"), ("parts", "none"), ("parts", "")],
)
def test_what_does_not_fit_stores_neither(room: TestClient, field: str, typed: str) -> None:
    assert save(room, **{field: typed}) == 422
    assert (entries(room, "resin"), entries(room, "wash")) == ([], [])


def test_the_undo_of_the_page_takes_the_wash_back_and_leaves_the_resin(room: TestClient) -> None:
    answer = room.post(f"{AT}/tanks/Oak/log/wash", data=WASH, follow_redirects=False)
    saved = answer.headers["location"].partition("saved=")[2]
    undone = room.post(f"{AT}/tanks/Oak/undo/{saved}", data={"by": "Wren"})
    assert undone.status_code == 200
    assert (len(entries(room, "resin")), len(entries(room, "wash"))) == (1, 0)


def test_before_there_are_data_nothing_is_called_calm(room: TestClient) -> None:
    for page in (AT, f"{AT}/wall"):
        text = room.get(page).text
        assert "All calm" not in text
        assert "Too early to say" in text

"""Whatever is sent to an address, what keeps people safe stands until somebody may lift it.

The addresses are those of the application itself: a new one is tried without a line here.
"""

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import count
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.lines import own_fields
from app.store.engine import Store
from tests.contracts.guarded_room import (
    AGO,
    GUARDED,
    STRANGER,
    moved,
    troubles,
    visit_guarded,
    writing_routes,
)
from tests.factories import NOW, ROOM

THINGS = {
    "room": ROOM, "tank": "t1", "station": "s1", "drum": "d1", "inspection": "n1",
    "incident": "i1", "component": "c1", "item": "gloves", "pickup": "p1", "duty": "interlock",
    "resin": "slate", "instrument": "m1",
}  # fmt: skip
NAMED = re.compile(r"\{(\w+)(?::\w+)?\}")
SUBMISSIONS = count()


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The tablet of a stranger."""
    yield from visit_guarded(tmp_path_factory.mktemp("guarded"))


def store_of(client: TestClient) -> Store:
    return client.app.state.store  # type: ignore[attr-defined,no-any-return]


def addresses(path: str, target: str, entry: Entry) -> list[str]:
    """A path with the target for each name that is no thing's, and with it for every name."""
    of_entry = {name: str(key) for name, key in own_fields(entry).items() if name in THINGS}
    things = THINGS | of_entry

    def filled(known: dict[str, str]) -> str:
        return NAMED.sub(lambda found: known.get(found[1], target), path)

    return list(dict.fromkeys([filled(things), filled({"room": ROOM})]))


def forms(target: str, entry: Entry) -> list[dict[str, str]]:
    """Bodies of a page's form: what such forms hold, and the entry itself said of another thing."""
    said = {
        "entry": target, "withdraws": target, "corrects": target, "id": target, "lead": STRANGER,
        "by": STRANGER, "reason": "It is fine", "note": "It is fine", "confirmed": "on",
        "action": "release", "because": "finding",
    }  # fmt: skip
    changed = {
        name: value if isinstance(value, str) else json.dumps(value)
        for name, value in moved(entry).items()
    }
    same = {name: changed[name] if name == "reason" else str(value) for name, value in
            own_fields(entry).items() if isinstance(value, str | int | float)}  # fmt: skip
    at = (NOW - timedelta(minutes=1)).strftime("%Y-%m-%dT%H:%M")
    return [said, said | changed, said | same | {"at": at, "lead": STRANGER}]


def bodies(target: str, entry: Entry) -> list[Any]:
    """Bodies of the API: a withdrawal, corrections, and the same among other entries."""
    plain = {"kind": entry.kind, "by": STRANGER}
    word = {"lead": STRANGER, "reason": "It is fine", "by": STRANGER}
    lifted = [
        {"kind": "tank_released", "tank": "t1", **word},
        {"kind": "station_released", "station": "s1", **word},
        {"kind": "drum_released", "drum": "d2", **word},
        {"kind": "incident_closed", "incident": "i1", **word},
    ]
    fixes = [
        plain | moved(entry),
        plain | own_fields(entry) | {"at": "2026-02-17T10:00:00Z"},
        plain | own_fields(entry) | {"at": (AGO + timedelta(minutes=30)).isoformat()},
    ]
    return [
        {"by": STRANGER, "note": "It is fine"},
        *fixes,
        {"kind": "withdrawal", "withdraws": target},
        *lifted,
        {"entries": lifted[-1:]},
        *({"entries": [one | {"id": target}, one | {"corrects": target}]} for one in fixes),
    ]


def throw(client: TestClient, method: str, path: str, target: str) -> list[tuple[str, int]]:
    """Send all bodies to the addresses of a route, to all but the first only one; with statuses."""
    entry, found = GUARDED[target], []
    for number, address in enumerate(addresses(path, target, entry)):
        if path.startswith("/api"):
            sent: list[Any] = [{"json": one} for one in bodies(target, entry)]
        else:
            sent = [
                {"data": one | {"submission": f"thrown-{next(SUBMISSIONS)}"}}
                for one in forms(target, entry)
            ]
        for one in sent[: 1 if number else None]:
            answer = client.request(method, address, follow_redirects=False, **one)
            found.append((address, answer.status_code))
    return found


def test_the_addresses_that_write_are_found_by_themselves(client: TestClient) -> None:
    found = set(writing_routes(client.app))
    for path in (
        "/rooms/{room}/tanks/{tank}/undo/{entry_id}", "/rooms/{room}/shelf/take-back/{submission}",
        "/api/v1/rooms/{room}/entries/{entry_id}/withdrawal",
    ):  # fmt: skip
        assert ("POST", path) in found
    assert len(found) > 90, sorted(found)


@pytest.mark.parametrize("target", list(GUARDED))
def test_every_address_that_writes_leaves_standing_what_is_guarded(
    client: TestClient, target: str
) -> None:
    assert troubles(store_of(client)) == []
    for method, path in sorted(set(writing_routes(client.app))):
        answers = throw(client, method, path, target)
        assert troubles(store_of(client)) == [], (method, answers)
        assert [one for one in answers if one[1] >= 500] == []

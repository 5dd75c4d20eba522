"""What names something that is not there is answered 404 (RFC 9110, 15.5.5), never with a page or
a file that is only empty; every address that is read is tried."""

import re
from itertools import product

import pytest
from fastapi.testclient import TestClient

from app.domain.people.permissions import ADDRESSES
from tests.factories import ROOM

READ = sorted(
    path
    for address in ADDRESSES
    if (method := address.partition(" "))[0] == "GET" and "{" in (path := method[2])
)
KNOWN = {"room": ROOM, "tank": "t1", "resin": "slate", "thing_name": "drum", "size": "thumb"}
"""What there is; what else an address names is not there."""


def tries(path: str) -> list[str]:
    """An address with each choice of what is there and what is not, one at least unknown."""
    names = re.findall(r"{(\w+)(?::\w+)?}", path)
    ways = [[KNOWN[name], "nothing-here"] if name in KNOWN else ["nothing-here"] for name in names]
    found = []
    for values in product(*ways):
        if "nothing-here" in values:
            given = iter(values)
            found.append(re.sub(r"{[^}]+}", lambda _, given=given: next(given), path))  # type: ignore[misc]
    return found


@pytest.mark.parametrize("path", READ)
def test_what_is_not_there_is_not_found(client: TestClient, path: str) -> None:
    for address in tries(path):
        answer = client.get(address, follow_redirects=False)
        assert answer.status_code == 404, address


ASKED = (
    "/rooms/{}/lots/record?lot=nothing-here",
    "/rooms/{}/lots/record.csv?lot=nothing-here",
    "/rooms/{}/lots/record.csv",
    "/api/v1/rooms/{}/part-lots/record?lot=nothing-here",
    "/rooms/{}/log?tank=nothing-here",
    "/rooms/{}/log?resin=nothing-here",
    "/rooms/{}/log?thing=drum:nothing-here",
    "/rooms/{}/log.csv?tank=nothing-here",
    "/rooms/{}/tanks/t1?resin=nothing-here",
    "/rooms/{}/litres?account=tank:nothing-here",
    "/api/v1/rooms/{}/entries?tank=nothing-here",
    "/api/v1/rooms/{}/entries?resin=nothing-here",
    "/api/v1/rooms/{}/litres/postings?account=tank:nothing-here",
)
"""The thing that an address behind the question mark is about, by its key. What people type there,
such as a name or a lot, is a search, which may find nothing."""


@pytest.mark.parametrize("address", ASKED)
def test_what_is_asked_for_and_is_not_there_is_not_found(client: TestClient, address: str) -> None:
    answer = client.get(address.format(ROOM))
    assert answer.status_code == 404, answer.text[:200]

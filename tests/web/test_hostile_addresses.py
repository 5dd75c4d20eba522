"""Hostile text in every place of every address of the pages: keys, what is asked, what is sent.

Each of the addresses gets each of the values at night, in an ordinary run one in turn. Never 5xx,
no trace of the program, and no redirect that leaves the site (CWE-601).
"""

import re
from urllib.parse import quote, urlsplit

import pytest
from fastapi.testclient import TestClient

from app.domain.people.permissions import ADDRESSES
from tests.factories import ROOM
from tests.web.test_hostile import hold

VALUES = (
    "\0", "\u202e", "9" * 400, "../../x", "-1", "null", "%00", "a" * 1000, "' OR 1=1", "{{7*7}}",
    "//elsewhere.test/x", "https://elsewhere.test", "/\\elsewhere.test", "\ud7ff\uffff",
    "a\r\nb: c",
)  # fmt: skip
ASKED = (
    "saved", "undone", "cursor", "days", "week", "span", "back", "step", "tank", "view", "q", "to",
    "method", "kind", "month", "sheet", "from", "until", "by", "reason", "case", "part", "order",
)  # fmt: skip
SENT = (
    "by", "note", "at", "parts", "volume_l", "tank", "resin", "submission", "confirmed", "back",
    "pin", "who", "name", "to", "kept", "drum", "item", "amount", "limit_percent", "second",
)  # fmt: skip
LARGE_OR_ENDLESS = ("/live", "/openapi.json")
PLACES = sorted(address for address in ADDRESSES if not address.endswith(LARGE_OR_ENDLESS))


def tried(nightly: bool) -> list[tuple[str, str]]:
    """Addresses, each with a value."""
    if nightly:
        return [(place, value) for place in PLACES for value in VALUES]
    return [(place, VALUES[number % len(VALUES)]) for number, place in enumerate(PLACES)]


def test_no_address_fails_or_leads_away(client: TestClient, pytestconfig: pytest.Config) -> None:
    client.headers["accept"] = "text/html"
    asked = 0
    for place, value in tried(pytestconfig.getoption("nightly")):
        method, path = place.split()
        given = re.sub(
            r"{(\w+)(?::\w+)?}",
            lambda found, value=value: ROOM if found[1] == "room" else quote(value, safe=""),  # type: ignore[misc]
            path,
        )
        more = {"params" if method == "GET" else "data": dict.fromkeys(ASKED + SENT, value)}
        answer = client.request(method, given, follow_redirects=False, **more)  # type: ignore[arg-type]
        hold(answer)
        to = urlsplit(answer.headers.get("location", ""))
        assert to.netloc in ("", "room.test"), (place, value)
        assert not answer.headers.get("location", "").startswith(("//", "/\\")), (place, value)
        asked += 1
    assert asked >= len(PLACES) > 300

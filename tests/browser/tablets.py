"""A tablet at a tank, and a server that it may lose: for the tests of what is sent and kept."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from app.clock import VARIABLE as CLOCK
from tests.browser.places import SECOND_TOUCH_MS, say_who
from tests.days import ahead_s
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store
from tests.running import RunningServer

expect: Any = pytest.importorskip("playwright.sync_api").expect

TANKS = 30
PATIENCE_MS = 8_000
"""How long the page waits for an answer; with as much again for a busy machine."""
expect.set_options(timeout=2 * PATIENCE_MS)
HOSTS = ["127.0.0.1", "room.test"]
"""The second is no secure context (W3C Secure Contexts): there is no crypto.randomUUID."""


@dataclass
class Place:
    """A tank of a running server, of one test alone."""

    server: RunningServer
    tank: str
    ahead_s: float

    def now(self) -> datetime:
        """The time by its server's clock."""
        return datetime.now(UTC) + timedelta(seconds=self.ahead_s)

    def entries(self, kind: str = "wash") -> list[dict[str, Any]]:
        """The entries of a kind that are stored about it."""
        return entries_of(self.server, kind, f"&tank={self.tank}")

    def stored(self, kind: str = "wash") -> int:
        """How many there are."""
        return len(self.entries(kind))

    def parts(self) -> list[int]:
        """How many parts its washes had, in the order in which they happened."""
        found = sorted(self.entries(), key=lambda one: one["at"])
        return [one["parts"] for one in found]


def entries_of(server: RunningServer, kind: str, more: str = "") -> list[dict[str, Any]]:
    """The entries of a kind that a server has."""
    path = f"{server.url}/api/v1/rooms/{ROOM}/entries?kind={kind}&limit=200{more}"
    rows: list[dict[str, Any]] = []
    place: str | None = ""
    while place is not None:
        with urlopen(path + place) as answer:
            found = json.load(answer)
        rows += [{**row["entry"], "recorded_at": row["recorded_at"]} for row in found["entries"]]
        place = found["older"] and f"&cursor={found['older']}"
    return rows


def serve_tanks(serve: Any, folder: Path) -> Iterator[Place]:
    """The tanks of a room on a server of its own, as many as there are tests."""
    store = new_store(folder)
    furnish(store, tanks=TANKS)
    store.close()
    ahead = ahead_s(NOW + timedelta(minutes=1))
    variables = {"BATHKEEPER_HOSTS": ",".join(HOSTS), CLOCK: ahead}
    server = serve("serve", data_dir=folder, variables=variables)
    with urlopen(f"{server.url}/rooms/{ROOM}", timeout=60) as answer:
        assert answer.status == 200
    return (Place(server, f"t{number}", float(ahead)) for number in range(1, TANKS + 1))


def serve_again(serve: Any, place: Place, moved: timedelta = timedelta()) -> RunningServer:
    """Start a server of the same data at the same address; its clock may have moved."""
    ahead = str(place.ahead_s + moved.total_seconds())
    variables = {"BATHKEEPER_HOSTS": ",".join(HOSTS), CLOCK: ahead}
    port = int(place.server.url.rpartition(":")[2])
    started: RunningServer = serve(
        "serve", data_dir=place.server.data_dir, port=port, variables=variables
    )
    return started


def open_wash(page: Any, place: Place, address: str = "", parts: int = 12) -> None:
    """The form of a wash, filled in."""
    page.goto(f"{address or place.server.url}/rooms/{ROOM}/tanks/{place.tank}/log/wash")
    fill_wash(page, parts)


def fill_wash(page: Any, parts: int) -> None:
    """Type a wash into the form that is open."""
    page.get_by_role("radio", name="Slate").check()
    page.get_by_label(re.compile("^Parts")).fill(str(parts))


def kept(page: Any) -> Any:
    """What the tablet says it keeps."""
    return page.locator("#kept")


def log_in_gap(page: Any, parts: int, waiting: int = 1) -> None:
    """Save a wash that cannot be sent, on the form that is open."""
    page.wait_for_timeout(SECOND_TOUCH_MS)
    fill_wash(page, parts)
    page.get_by_role("button", name="Save the wash").click()
    expect(kept(page)).to_contain_text(f"{waiting} waiting", timeout=2 * PATIENCE_MS)


def expect_sent(page: Any) -> None:
    """All that was kept has arrived."""
    expect(kept(page)).to_be_hidden(timeout=5 * PATIENCE_MS)


def start_looking(page: Any, tank: str) -> None:
    """Say nothing is wrong with a part of a tank at that address; all but the touch that saves."""
    page.goto(f"{tank}/parts")
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Add these parts").click()
    expect(page).not_to_have_url(re.compile("/parts$"))
    page.goto(f"{tank}/inspection")
    say_who(page, "Who looks", "Wren")
    page.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).click()
    page.get_by_role("link", name=re.compile("^Look at")).first.click()
    page.locator(".question").first.wait_for()
    for tile in page.locator(".question .tile:has(input[value=no])").all():
        tile.click()

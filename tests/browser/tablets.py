"""A tablet at a tank, and a server that it may lose: for the tests of what is sent and kept."""

import json
import re
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen

from app.clock import VARIABLE as CLOCK
from tests.days import ahead_s
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store
from tests.running import RunningServer

PATIENCE_MS = 8_000
"""How long the page waits for an answer; with as much again for a busy machine."""
HOSTS = ["127.0.0.1", "room.test"]
"""The second is no secure context (W3C Secure Contexts): there is no crypto.randomUUID."""


@dataclass(frozen=True)
class Place:
    """A tank of a running server, of one test alone."""

    server: RunningServer
    tank: str

    def entries(self, kind: str = "wash") -> list[dict[str, Any]]:
        """The entries of a kind that are stored about it."""
        path = f"/api/v1/rooms/{ROOM}/entries?kind={kind}&tank={self.tank}&limit=200"
        with urlopen(self.server.url + path) as answer:
            found: list[dict[str, Any]] = json.load(answer)["entries"]
        return found

    def stored(self, kind: str = "wash") -> int:
        """How many there are."""
        return len(self.entries(kind))


def serve_tanks(serve: Any, folder: Path) -> RunningServer:
    """A server of a room with as many tanks as there are tests."""
    store = new_store(folder)
    furnish(store, tanks=30)
    store.close()
    variables = {"BATHKEEPER_HOSTS": ",".join(HOSTS), CLOCK: ahead_s(NOW + timedelta(minutes=1))}
    started: RunningServer = serve("serve", data_dir=folder, variables=variables)
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

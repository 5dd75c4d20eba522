"""A server that is killed at any moment: what was touched is stored once, with no error page."""

import random
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.browser.places import say_who
from tests.browser.tablets import (
    Place,
    entries_of,
    expect_sent,
    fill_wash,
    serve_again,
    serve_tanks,
    start_looking,
)
from tests.factories import ROOM
from tests.photos import photo

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

ROUNDS = [pytest.param(3, id="few"), pytest.param(17, id="many", marks=pytest.mark.nightly)]
"""Of three acts each: about ten kills in an ordinary run, fifty in the night."""
LATEST_KILL_S = 0.5
"""After the touch: by then the answer of an idle machine is there, and the next page on its way."""
SEED = 8730


@dataclass
class Tablet:
    """A page at a server that is killed and started again."""

    page: Any
    place: Place
    file: Path

    def at(self, path: str = "") -> None:
        """Go to a page of the room."""
        self.page.goto(f"{self.place.server.url}/rooms/{ROOM}{path}")

    def wash(self, turn: int) -> None:
        """All but the touch that saves a wash."""
        self.at(f"/tanks/t{turn}/log/wash")
        fill_wash(self.page, turn)

    def tick(self, turn: int) -> None:
        """All but the touch that ticks the first step of a swap."""
        self.at(f"/tanks/t{turn}/swap")
        say_who(self.page, "Who does this", "Wren")
        self.page.get_by_role("button", name="Start the swap").click()
        self.page.locator(".confirm-row").first.wait_for()
        for row in self.page.locator(".confirm-row").all():
            row.click()

    def photo(self, turn: int) -> None:
        """All but the touch that saves what was seen of a part, with a photo of it."""
        start_looking(self.page, f"{self.place.server.url}/rooms/{ROOM}/tanks/t{turn}")
        self.page.set_input_files("#f-photos", self.file)


ACTS: dict[str, tuple[Callable[[Tablet, int], None], str, tuple[str, ...]]] = {
    "wash": (Tablet.wash, "Save the wash", ("wash",)),
    "tick": (Tablet.tick, "Place is clear", ("step_done",)),
    "photo": (Tablet.photo, "Save", ("inspection_answered", "inspection_photo")),
}
"""What is prepared, the button that is touched, and the kinds of which one entry each comes."""


@pytest.fixture
def tablet(page: Any, serve: Any, tmp_path: Path, console_errors: list[str]) -> Iterator[Tablet]:
    """A tablet and a server of its own."""
    file = tmp_path / "part.jpg"
    file.write_bytes(photo("jpg", 6, 1600, 1200))
    folder = tmp_path / "data"
    folder.mkdir()
    yield Tablet(page, next(serve_tanks(serve, folder)), file)
    console_errors.clear()  # the browser tells of each request that was not answered


@pytest.mark.parametrize("rounds", ROUNDS)
@pytest.mark.parametrize("act", ACTS)
def test_what_was_touched_is_stored_once(tablet: Tablet, serve: Any, act: str, rounds: int) -> None:
    prepare, button, kinds = ACTS[act]
    chance, page, place = random.Random(f"{SEED} {act}"), tablet.page, tablet.place
    seen: list[str] = []
    page.on("framenavigated", lambda frame: seen.append(frame.url))
    for turn in range(1, rounds + 1):
        prepare(tablet, turn)
        before = [len(entries_of(place.server, kind)) for kind in kinds]
        page.get_by_role("button", name=re.compile(f"^{button}")).last.click()
        time.sleep(after_s := chance.uniform(0, LATEST_KILL_S))
        place.server.process.kill()
        place.server.process.wait()
        place.server = serve_again(serve, place)
        expect_sent(page)
        expect(page.locator("#sending")).to_be_hidden(timeout=20_000)
        stored = [len(entries_of(place.server, kind)) for kind in kinds]
        assert stored == [count + 1 for count in before], (turn, after_s)
        expect(page.locator("body.error-page")).to_have_count(0)
    assert [url for url in seen if not url.startswith(("http", "about:blank"))] == []

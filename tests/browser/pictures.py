"""Makes the pictures of README anew, from the demo room as it is today.

    python -m tests.browser.pictures

Each is a tablet on its side, 1280 x 800, in few colours, so that it stays small.
"""

import io
import re
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

from app.installation import browser
from tests.conftest import BROWSER_FLAGS
from tests.running import ROOT, start_server

SIZE = {"width": 1280, "height": 800}
COLOURS = 128
SLOWEST_LOADING_S = 300
FOLDER = ROOT / "docs" / "pictures"
Act = Callable[[Any], None]


def _nothing(page: Any) -> None:
    page.wait_for_timeout(500)


def _type_a_reading(page: Any) -> None:
    page.locator("input[inputmode=decimal]").first.fill("8.9")
    page.locator("#preview").filter(has_text="by mass").wait_for()
    page.wait_for_timeout(500)


def _look_at_a_washer(page: Any) -> None:
    go_on = page.get_by_role("link", name="Go on with the inspection")
    if go_on.count():
        go_on.click()
    else:
        page.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).first.click()
    page.locator(".looks a", has_text="Washer").first.click()
    page.locator(".question").first.wait_for()


PICTURES: dict[str, tuple[str, Act]] = {
    "room": ("", _nothing),
    "tank": ("/tanks/alder", _nothing),
    "reading": ("/tanks/alder/log/reading?method=sensor", _type_a_reading),
    "plan": ("/plan", _nothing),
    "swap": ("/tanks/fir/swap?step=rinse", _nothing),
    "waste": ("/waste", _nothing),
    "curing": ("/stations/lamp-house-1", _nothing),
    "shelf": ("/shelf", _nothing),
    "spend": ("/spend", _nothing),
    "what-if": ("/spend/what-if?a_baths=paired", _nothing),
    "inspection": ("/tanks/fir/inspection", _look_at_a_washer),
}
"""By the name of the file: the page of the room, and what is done there first."""


def make(folder: Path) -> None:
    """Take every picture and put it into the folder."""
    with TemporaryDirectory() as data, sync_playwright() as driver:
        server = start_server("demo", data_dir=Path(data) / "demo", within_s=SLOWEST_LOADING_S)
        made = driver.chromium.launch(
            executable_path=browser.find_chromium(), args=list(BROWSER_FLAGS)
        )
        try:
            context = made.new_context(viewport=SIZE, color_scheme="light")
            context.add_cookies([{"name": "person", "value": "Wren", "url": server.url}])
            page = context.new_page()
            page.set_default_timeout(60_000)
            for name, (path, act) in PICTURES.items():
                page.goto(f"{server.url}/rooms/larkmoor{path}")
                act(page)
                _keep(page.screenshot(), folder / f"{name}.png")
        finally:
            made.close()
            server.stop()


def _keep(png: bytes, path: Path) -> None:
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    make(FOLDER)

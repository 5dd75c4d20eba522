"""Labels with codes, read back by an independent decoder."""

import io
import re

import pytest
import zxingcpp
from fastapi.testclient import TestClient
from PIL import Image

from app.domain.roomlog.kinds.supplies import Item
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM

AT = f"/rooms/{ROOM}/codes"


@pytest.fixture(autouse=True)
def things(store: Store) -> None:
    """An item, a drum; the room has tanks."""
    record(
        store, ROOM,
        [
            Item(at=NOW, item="gloves", name="Gloves <M>", category="protection", unit="pair",
                 location="Cabinet 1"),
            Drum(at=NOW, drum="d1", name="Drum 1", capacity_l=200, stream="isopropanol_resin",
                 area="central"),
        ], NOW,
    )  # fmt: skip


@pytest.mark.parametrize(
    "sort, key, page",
    [
        ("i", "gloves", "shelf/items/gloves"),
        ("t", "t1", "tanks/t1"),
        ("d", "d1", "waste/drums/d1"),
        ("w", "t1", "tanks/t1/log/wash"),
        ("r", "t1", "tanks/t1/log/reading"),
        ("x", "t1", "tanks/t1/log/reject"),
        ("h", "t1", "tanks/t1/hold"),
        ("l", "t1", "tanks/t1"),
    ],
)
def test_a_scanned_code_opens_the_page_of_its_thing(
    client: TestClient, sort: str, key: str, page: str
) -> None:
    answer = client.get(f"{AT}/{sort}/{key}.png")
    assert answer.headers["content-type"] == "image/png"
    [read] = zxingcpp.read_barcodes(Image.open(io.BytesIO(answer.content)))
    assert read.text == f"http://room.test/q/{ROOM}/{sort}/{key}"
    opened = client.get(read.text)
    assert opened.status_code == 200
    assert opened.url.path == f"/rooms/{ROOM}/{page}"


def test_the_drawing_holds_the_modules_of_the_picture(client: TestClient) -> None:
    drawing = client.get(f"{AT}/i/gloves.svg")
    assert drawing.headers["content-type"].startswith("image/svg+xml")
    size = re.search(r'width="(\d+)" height="(\d+)"', drawing.text)
    assert size
    picture = Image.open(io.BytesIO(client.get(f"{AT}/i/gloves.png").content))
    assert picture.size == (int(size[1]), int(size[2]))


@pytest.mark.parametrize("path", ["i/none.png", "x/gloves.svg", "d/gloves.png"])
def test_there_is_no_code_of_nothing(client: TestClient, path: str) -> None:
    assert client.get(f"{AT}/{path}").status_code == 404


def test_the_sheet_has_a_code_for_each_thing_of_a_sort(client: TestClient) -> None:
    page = client.get(AT).text
    assert "Gloves &lt;M&gt;" in page
    assert "Cabinet 1" in page
    assert page.count('class="qr"') == 1
    assert client.get(f"{AT}?sort=t").text.count('class="qr"') == 2
    acts = client.get(f"{AT}?sort=acts").text
    assert acts.count('class="qr"') == 5 * 2
    for act in ("Wash as last", "Another wash", "Tacky or rejected parts", "Hold the tank"):
        assert act in acts
    assert "none of these yet" in client.get(f"{AT}?sort=s").text

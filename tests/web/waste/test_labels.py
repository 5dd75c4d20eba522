"""Labels of drums and their codes, read by a decoder of another hand."""

from datetime import timedelta
from typing import Any

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.waste import DrumMoved, WasteRules
from app.services.door import bring_in as record
from app.web.codes.qr import qr_svg
from tests.factories import NOW, ROOM
from tests.web.waste.test_waste import WASTE, drum, pour


def decoded(svg: str) -> str:
    """What zxing-cpp reads from the code, drawn from its path as a browser would."""
    import re

    size = int(re.search(r'viewBox="0 0 (\d+) \d+"', svg)[1])  # type: ignore[index]
    path = re.search(r'stroke="[^"]*"[^>]*d="([^"]+)"|d="(M4[^"]+)"', svg)
    assert path is not None
    image = Image.new("L", (size * 8, size * 8), 255)
    draw, x, y = ImageDraw.Draw(image), 0.0, 0.0
    for command, first, _, second in re.findall(
        r"([Mmh])\s*(-?[\d.]+)([ ,]?)(-?[\d.]+)?", path[1] or path[2]
    ):
        if command == "M":
            x, y = float(first), float(second)
        elif command == "m":
            x, y = x + float(first), y + float(second)
        else:
            draw.rectangle(
                (x * 8, (y - 0.5) * 8, (x + float(first)) * 8 - 1, (y + 0.5) * 8 - 1), fill=0
            )
            x += float(first)
    found = zxingcpp.read_barcodes(image)
    assert len(found) == 1
    return found[0].text


@pytest.mark.parametrize("text", ["http://room.test/q/test-room/d/d1", "Ö ä 55 US gal", "x" * 200])
def test_a_code_says_what_went_in(text: str) -> None:
    assert decoded(qr_svg(text)) == text


@settings(max_examples=25, deadline=None)
@given(st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}", fullmatch=True))
def test_a_code_of_any_key_is_read(key: str) -> None:
    text = f"http://192.168.4.20:8000/q/larkmoor/d/{key}"
    assert decoded(qr_svg(text)) == text


def test_the_code_keeps_to_the_content_security_policy() -> None:
    svg = qr_svg("https://room.test/q/r/d/1")
    assert "style" not in svg
    assert "<script" not in svg
    assert svg.startswith("<svg")


def test_the_label_has_what_rules_commonly_ask_for(client: Any, store: Any) -> None:
    """40 CFR 262.15(a)(5), 262.16(b)(6): the words, the hazards, the day in the central area."""
    rules = SiteRules(
        at=NOW, site="site", site_address="Unit 4, Heathside", generator_id="LPW-0417",
        emergency_number="112",
    )  # fmt: skip
    moved = DrumMoved(at=NOW - timedelta(days=2), drum="d1", area="central")
    record(store, ROOM, [rules, drum(area="wash_station"), pour(5), moved], NOW)
    page = client.get(f"{WASTE}/drums/d1/label").text
    for text in (
        "HAZARDOUS WASTE", "Ignitable", "Isopropanol, dissolved acrylate resin",
        "Unit 4, Heathside", "LPW-0417", "112", "Sat 28 Feb 2026", "Wed 25 Feb 2026",
    ):  # fmt: skip
        assert text in page, text
    assert "The label lacks" not in page


def test_a_label_without_an_address_says_what_it_lacks(client: Any, store: Any) -> None:
    record(store, ROOM, [drum()], NOW)
    assert "The label lacks the address of the site" in client.get(f"{WASTE}/drums/d1/label").text


def test_the_excess_day_stands_on_the_drum_that_holds_it(client: Any, store: Any) -> None:
    """40 CFR 262.15(a)(6)(ii): marked with the date on which the excess began."""
    chosen = WasteRules(at=NOW, waste_rules="waste_rules", category="sqg")
    here = {"area": "wash_station"}
    record(
        store, ROOM,
        [chosen, drum(**here), drum("d2", **here), pour(4, 180.0), pour(2, 40.0, "d2")], NOW,
    )  # fmt: skip
    full, other = (client.get(f"{WASTE}/drums/{key}/label").text for key in ("d1", "d2"))
    line = "<dt>Over the limit at the wash station since</dt><dd>{}</dd>"
    assert line.format("Sat 28 Feb 2026") in other
    assert line.format("__________") in full


def test_the_code_on_the_label_opens_the_drum(client: Any, store: Any) -> None:
    record(store, ROOM, [drum()], NOW)
    page = client.get(f"{WASTE}/drums/d1/label").text
    svg = page[page.index('<svg xmlns="http') if '<svg xmlns="http' in page else
               page.index('class="qr"') - 60 :]  # fmt: skip
    svg = svg[svg.index("<svg") : svg.index("</svg>") + 6]
    address = decoded(svg)
    assert address == f"http://room.test/q/{ROOM}/d/d1"
    opened = client.get(address)
    assert opened.url.path == f"{WASTE}/drums/d1"
    assert "Drum 1" in opened.text


@pytest.mark.parametrize("path", ["d/none", "x/d1", "d/..", "nowhere"])
def test_a_code_of_nothing_leads_to_a_plain_answer(client: Any, path: str) -> None:
    answer = client.get(f"/q/{ROOM}/{path}")
    assert answer.status_code == 404
    assert "Traceback" not in answer.text

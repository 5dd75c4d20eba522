"""An inspection on a tablet: answers by touch, a photo, a verdict, a mark, the signature."""

import re
from pathlib import Path
from typing import Any

import pytest

from tests.browser.places import say_who
from tests.browser.test_accessibility import AXE, RULES, RUN
from tests.browser.test_layout import (
    OVERFLOWING,
    PRIMARY,
    PRIMARY_PX,
    TOO_SMALL,
    VIEWPORTS,
    name_of,
)
from tests.photos import photo

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def tap_all(page: Any, answer: str) -> None:
    """The same answer to every question."""
    page.wait_for_load_state()
    expect(page.locator(".question").first).to_be_visible()
    for tile in page.locator(f".question .tile:has(input[value={answer}])").all():
        tile.tap()


def save(page: Any) -> None:
    with page.expect_navigation():
        page.locator(".step-bar").get_by_role("button", name=re.compile("^Save")).tap()


def begin(page: Any, address: str) -> None:
    """An inspection is started, unless a test before did, and its first part opened."""
    page.goto(address)
    go_on = page.get_by_role("link", name="Go on with the inspection")
    if go_on.count():
        go_on.tap()
    else:
        say_who(page, "Who looks", "Wren")
        page.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).tap()
    page.get_by_role("link", name=re.compile("^Look at")).tap()
    expect(page.locator(".question").first).to_be_visible()
    page.wait_for_load_state()


def test_a_tank_is_inspected_and_signed_with_a_photo_that_proves_it(
    tablet: Any, demo: str, tmp_path: Path
) -> None:
    file = tmp_path / "washer.jpg"
    file.write_bytes(photo("jpg", 6, 1600, 1200))
    begin(tablet, f"{demo}/tanks/cedar/inspection")
    for _ in range(6):
        is_washer = tablet.get_by_role("heading", name="Washer 1").count() == 1
        tap_all(tablet, "no")
        if is_washer:
            tablet.locator("#f-washer_lobe_cracked input[value=yes]").tap()
            tablet.set_input_files("#f-photos", file)
            save(tablet)
            expect(tablet.locator("#decided")).to_contain_text("Replace with its mate")
            tablet.get_by_role("link", name=re.compile("photo of Washer 1")).tap()
            mark_the_crack(tablet)
            tablet.get_by_role("button", name="Save, and back to Washer 1").tap()
            tablet.get_by_role("link", name=re.compile("^Next part")).tap()
            expect(tablet.get_by_role("heading", level=1)).not_to_have_text("Washer 1")
        else:
            save(tablet)
    tap_all(tablet, "no")
    save(tablet)
    say_who(tablet, "Who signs", "Wren")
    tablet.get_by_role("button", name="Sign").tap()
    expect(tablet.get_by_role("heading", level=1)).to_contain_text("Inspection of")
    report = tablet.locator("main")
    expect(report).to_contain_text("Cracked connections break next")
    expect(report).to_contain_text("Arrow: crack")
    shown = tablet.locator(".report-photos img").first
    assert shown.evaluate("image => image.decode().then(() => image.naturalWidth)") == 360


def test_a_reload_inside_a_part_keeps_what_was_touched_on_every_tablet(
    tablet: Any, new_page: Any, demo: str
) -> None:
    begin(tablet, f"{demo}/tanks/elder/inspection")
    for key in ("no", "yes"):
        with tablet.expect_response(re.compile("/touched$")):
            tablet.locator(f".question .tile:has(input[value={key}])").first.tap()
    with tablet.expect_response(re.compile("/touched$")):
        tablet.get_by_label("Note").fill("Nick at the tip")
    tablet.reload()
    expect(tablet.locator(".question input[value=yes]").first).to_be_checked()
    expect(tablet.get_by_label("Note")).to_have_value("Nick at the tip")
    other = new_page(viewport={"width": 800, "height": 1280})
    other.goto(tablet.url)
    expect(other.locator(".question input[value=yes]").first).to_be_checked()
    expect(other.locator("main")).to_contain_text("These answers are not saved yet")


def mark_the_crack(page: Any) -> None:
    """An arrow in the middle of the photo, drawn where it was touched."""
    page.locator("label", has=page.locator("input[name=shape][value=arrow]")).tap()
    image = page.locator("input[type=image]")
    box = image.bounding_box()
    with page.expect_navigation():
        image.click(position={"x": box["width"] / 2, "y": box["height"] / 2})
    expect(page.get_by_label("1: what the arrow shows")).to_be_focused()
    page.keyboard.type("crack")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.get_by_label("1: what the arrow shows")).to_have_value("crack")
    stage, marks = page.locator(".photo-stage"), page.locator("svg.marks")
    assert marks.first.bounding_box()["width"] == pytest.approx(
        stage.bounding_box()["width"], abs=8
    )
    assert re.search(
        r"L(49.9|50.0|50.1) (49|50|51)", marks.first.locator("path.mark").get_attribute("d")
    )


UNSTUCK = (
    "document.querySelectorAll('.step-bar').forEach((bar) => { bar.style.position = 'static'; })"
)


def fits(page: Any, name: str) -> None:
    """Nothing runs off the side, targets are large, no rule of accessibility is broken."""
    assert page.evaluate(OVERFLOWING) == [], name
    assert page.evaluate(TOO_SMALL, [PRIMARY, PRIMARY_PX]) == [], name
    # What scrolls behind the bar of a step is whole a moment later: the rules count it as cut.
    page.evaluate(UNSTUCK)
    page.evaluate(AXE.read_text("utf-8"))
    assert page.evaluate(RUN, RULES) == [], name


def open_the_seal(page: Any, address: str) -> None:
    """The page of the shaft seal in an inspection that is begun, or was by a test before."""
    page.goto(address)
    fits(page, "before the start")
    go_on = page.get_by_role("link", name=re.compile("^Go on"))
    if go_on.count():
        go_on.click()
    else:
        say_who(page, "Who looks", "Wren")
        with page.expect_navigation():
            page.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).click()
    page.wait_for_load_state()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    fits(page, "all parts")
    page.get_by_role("link", name="Shaft seal").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Shaft seal")
    undo = page.get_by_role("button", name="Undo these answers")
    if undo.count():
        with page.expect_navigation():
            undo.click()


@pytest.mark.parametrize("viewport", VIEWPORTS, ids=name_of)
def test_the_pages_of_an_open_inspection_fit_and_break_no_rule(
    new_page: Any, demo: str, tmp_path: Path, viewport: dict[str, int]
) -> None:
    file = tmp_path / "seal.jpg"
    file.write_bytes(photo("jpg", 1, 1600, 1200))
    page = new_page(viewport=viewport)
    open_the_seal(page, f"{demo}/tanks/elder/inspection")
    for answer in page.locator(".question input[value=no]").all():
        answer.check(force=True)
    page.locator("#f-seal_hard input[value=yes]").check(force=True)
    page.set_input_files("#f-photos", file)
    expect(page.get_by_alt_text("Photo 1, not stored yet")).to_be_visible()
    fits(page, "the questions")
    page.get_by_label("Shows it").select_option("scale")
    with page.expect_navigation():
        page.locator(".step-bar").get_by_role("button", name="Save").click()
    for folded in page.locator("main details").all():
        folded.evaluate("one => { one.open = true; }")
    fits(page, "the verdict")
    page.get_by_role("link", name=re.compile("With a scale photo of Shaft seal")).first.click()
    expect(page.get_by_role("button", name=re.compile("to set a mark"))).to_be_visible()
    page.get_by_role("button", name=re.compile("to set a mark")).focus()
    page.keyboard.press("ArrowRight")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    fits(page, "the photo")
    assert "L55.0 50.0" in page.locator("svg.marks path.mark").first.get_attribute("d")
    page.get_by_role("button", name=re.compile("^Remove")).first.click()
    expect(page.locator("#mark-1")).to_have_count(0)


def test_a_file_that_is_no_photo_is_said_beside_the_field_and_the_answers_stay(
    tablet: Any, demo: str, tmp_path: Path, console_errors: list[str]
) -> None:
    file = tmp_path / "notes.jpg"
    file.write_text("These are my notes.")
    begin(tablet, f"{demo}/tanks/dogwood/inspection")
    tap_all(tablet, "no")
    tablet.set_input_files("#f-photos", file)
    save(tablet)
    expect(tablet.locator("#e-photos")).to_contain_text("not a readable photo")
    asked = tablet.locator(".question").count()
    expect(tablet.locator(".question input[value=no]:checked")).to_have_count(asked)
    assert all("422" in line for line in console_errors)  # the browser tells of refusals
    console_errors.clear()


def test_a_file_that_is_too_large_is_refused_before_it_is_sent(
    tablet: Any, demo: str, tmp_path: Path
) -> None:
    file = tmp_path / "film.jpg"
    with file.open("wb") as sparse:
        sparse.truncate(200 * 1024 * 1024)
    begin(tablet, f"{demo}/tanks/fir/inspection")
    tablet.set_input_files("#f-photos", file)
    message = tablet.locator("#f-photos").evaluate("field => field.validationMessage")
    assert "larger than 25 MB" in message

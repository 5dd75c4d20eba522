"""The shelf on a tablet: hand out, count through, order, receive."""

import io
import re
from datetime import timedelta
from typing import Any

import pytest
import zxingcpp
from PIL import Image

from app.clock import utc_now
from tests.browser.places import as_lead, toast

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def add(page: Any, demo: str, name: str, start: str) -> str:
    """An item of this test's own, with so many pairs on the shelf; its page's address."""
    with as_lead(page, demo):
        page.goto(f"{demo}/shelf/new")
        page.get_by_label(re.compile("^Name")).fill(name)
        page.get_by_label(re.compile("^Usual supplier")).fill(f"{name} Supply")
        page.get_by_role("button", name="Add the item").click()
        expect(page.get_by_role("heading", level=1)).to_have_text(name)
    address = page.url
    page.get_by_role("link", name="Received", exact=True).click()
    page.get_by_label(re.compile("^How much")).fill(start)
    page.get_by_label(re.compile("^Lot")).fill("T1")
    page.get_by_role("button", name="Put it on the shelf").click()
    expect(page.locator(".figure")).to_contain_text(f"{start} pairs on hand")
    return str(address)


def test_gloves_are_handed_out_in_two_touches_and_taken_back(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Test gloves", "40")
    tablet.goto(address)  # as the code on the shelf opens it
    tablet.get_by_role("button", name="1 more").tap()
    tablet.get_by_role("button", name="Save the use").tap()
    expect(toast(tablet)).to_contain_text("Saved: stock used 2 pairs, handed out")
    expect(tablet.locator(".figure")).to_contain_text("38 pairs")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text("Taken back")
    expect(tablet.locator(".figure")).to_contain_text("40 pairs")


def test_a_use_of_more_than_there_is_says_so_and_keeps_what_was_typed(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    address = add(tablet, demo, "Few gloves", "3")
    tablet.goto(address)
    tablet.get_by_label(re.compile("^How much")).fill("30")
    tablet.get_by_role("button", name="Save the use").tap()
    expect(tablet.locator("#e-quantity")).to_contain_text("The books have 3 pairs on the shelf")
    expect(tablet.get_by_label(re.compile("^How much"))).to_have_value("30")
    [refusal] = console_errors  # the browser notes the status of the page that asks
    assert "422" in refusal
    console_errors.clear()


def test_the_shelf_is_counted_item_by_item(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Counted gloves", "20")
    tablet.goto(f"{demo}/shelf")
    tablet.get_by_role("link", name="Count the shelf").tap()
    heading = tablet.get_by_role("heading", level=1)
    expect(heading).to_have_text("Counted gloves")  # by place: what has none comes first
    tablet.get_by_label(re.compile("^What is there")).fill("17")
    tablet.get_by_role("button", name="Next").tap()
    expect(heading).not_to_have_text("Counted gloves")
    tablet.get_by_role("button", name="Skip").tap()
    expect(tablet.locator(".count-where")).to_contain_text("item 3 of")
    expect(tablet.locator(".count-where")).to_contain_text("1 counted")
    tablet.get_by_role("button", name="See the differences now").tap()
    expect(heading).to_have_text("Differences of the count")
    line = tablet.locator("tr", has_text="Counted gloves")
    expect(line).to_contain_text("\N{MINUS SIGN}3 pairs")
    tablet.get_by_role("button", name="Save the count").tap()
    expect(heading).to_have_text("Shelf")
    tablet.goto(address)
    expect(tablet.locator(".figure")).to_contain_text("17 pairs")


def test_an_order_is_placed_and_comes_in_parts(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Ordered gloves", "5")
    tablet.goto(f"{demo}/shelf/orders?show=all")
    group = tablet.locator("form.order-group", has_text="Ordered gloves Supply")
    group.locator("label.check", has_text="Ordered gloves").tap()
    group.get_by_label(re.compile("^Quantity")).fill("60")
    group.get_by_role("button", name="I ordered the ticked items").tap()
    expect(tablet.get_by_role("group", name=re.compile("60 pairs to come"))).to_be_visible()
    tablet.get_by_label(re.compile("^Received")).fill("25")
    tablet.get_by_role("button", name="Put it on the shelf").tap()
    expect(tablet.get_by_role("group", name=re.compile("35 pairs to come of 60"))).to_be_visible()
    tablet.goto(address)
    expect(tablet.locator(".figure")).to_contain_text("30 pairs on hand, 35 pairs on order")


@pytest.mark.parametrize("width, height", [(800, 1280), (1280, 800)])
def test_long_unbroken_names_fit_every_page_and_the_printed_ones(
    new_page: Any, demo: str, width: int, height: int
) -> None:
    page = new_page(viewport={"width": width, "height": height})
    key = f"long-{width}"
    room = demo.rsplit("/", 1)[1]
    api = f"{demo.split('/rooms/', maxsplit=1)[0]}/api/v1/rooms/{room}/entries"
    names = {"name": "W" * 200, "supplier": "S" * 80, "location": "L" * 120}
    for line in (
        {"kind": "item", "item": key, "category": "protection", "unit": "pair", "reorder_at": 9,
         "container_sizes": [100, 50, 25], **names},
        {"kind": "stock_received", "item": key, "quantity": 25, "lot": "9" * 100,
         "supplier": "S" * 80},
        {"kind": "order_placed", "item": key, "quantity": 25, "order": f"{'o' * 50}-{width}",
         "supplier": "S" * 80},
    ):  # fmt: skip
        answer = page.request.post(api, data={**line, "at": utc_now().isoformat(), "by": "Curlew"})
        assert answer.status == 201, answer.text()
    item = f"shelf/items/{key}"
    for path in (
        "shelf", item, f"{item}/settings", f"{item}/receive", f"{item}/scrap", f"{item}/open",
        f"shelf/count?only={key}", "shelf/orders?show=all", f"shelf/orders/{'o' * 50}-{width}",
        "codes",
    ):  # fmt: skip
        page.goto(f"{demo}/{path}")
        for media in ("screen", "print"):
            page.emulate_media(media=media)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, media)
        page.emulate_media(media="screen")


def test_a_count_with_differences_is_saved_and_taken_back(tablet: Any, demo: str) -> None:
    first, second = add(tablet, demo, "Aa gloves", "20"), add(tablet, demo, "Ab gloves", "8")
    tablet.goto(f"{demo}/shelf/count")
    heading = tablet.get_by_role("heading", level=1)
    for name, found in (("Aa gloves", "18"), ("Ab gloves", "11")):
        expect(heading).to_have_text(name)
        tablet.get_by_label(re.compile("^What is there")).fill(found)
        tablet.get_by_role("button", name="Next").tap()
    tablet.get_by_role("button", name="Skip").tap()
    tablet.get_by_role("button", name="See the differences now").tap()
    expect(tablet.locator("tr", has_text="Aa gloves")).to_contain_text("\N{MINUS SIGN}2 pairs")
    expect(tablet.locator("tr", has_text="Ab gloves")).to_contain_text("+3 pairs")
    tablet.get_by_role("button", name="Save the count").tap()
    expect(toast(tablet)).to_contain_text("The count is saved.")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text("The count was taken back.")
    for address, pairs in ((first, "20 pairs"), (second, "8 pairs")):
        tablet.goto(address)
        expect(tablet.locator(".figure")).to_contain_text(pairs)


def test_what_expired_is_scrapped_and_comes_back_when_undone(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Scrapped gloves", "12")
    tablet.goto(address)
    tablet.get_by_role("link", name="Scrapped", exact=True).tap()
    tablet.get_by_label(re.compile("^How much")).fill("5")
    tablet.locator("label", has_text=re.compile("^damaged$")).tap()
    tablet.get_by_role("button", name="Take it off the shelf").tap()
    expect(tablet.locator(".figure")).to_contain_text("7 pairs")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(tablet.locator(".figure")).to_contain_text("12 pairs")


def test_a_delivery_is_put_on_the_shelf_once_and_taken_back(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Twice gloves", "5")
    tablet.goto(f"{demo}/shelf/orders?show=all")
    group = tablet.locator("form.order-group", has_text="Twice gloves Supply")
    group.locator("label.check", has_text="Twice gloves").tap()
    group.get_by_label(re.compile("^Quantity")).fill("60")
    group.get_by_role("button", name="I ordered the ticked items").tap()
    expect(toast(tablet)).to_contain_text("The order was entered.")
    order = tablet.url.split("?")[0]
    tablet.get_by_role("button", name="Put it on the shelf").tap()
    expect(toast(tablet)).to_contain_text("What came is on the shelf.")
    received = tablet.url
    answer = tablet.request.post(  # the same form, filled in on a second tablet
        f"{order}/receive", form={f"quantity.{address.rsplit('/', 1)[1]}": "60"},
        headers={"origin": demo.split("/rooms/", maxsplit=1)[0]},
    )  # fmt: skip
    assert answer.status == 422
    assert "was received in full on" in answer.text()
    tablet.goto(address)
    expect(tablet.locator(".figure")).to_contain_text("65 pairs on hand")
    tablet.goto(received)
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text("Taken back: the order is as it was.")
    tablet.goto(address)
    expect(tablet.locator(".figure")).to_contain_text("5 pairs on hand, 60 pairs on order")


@pytest.mark.parametrize(
    "move, fields, said",
    [
        ("receive", {"How much": "-3"}, "Enter more than 0."),
        ("receive", {"How much": "2 L"}, "Enter just the number"),
    ],
)
def test_what_cannot_come_is_said_beside_its_field(
    tablet: Any, demo: str, console_errors: list[str], move: str, fields: dict[str, str], said: str
) -> None:
    address = add(tablet, demo, f"Odd gloves {len(said)}", "3")
    tablet.goto(f"{address}/{move}")
    for label, text in fields.items():
        tablet.get_by_label(re.compile(f"^{label}")).fill(text)
    tablet.get_by_role("button", name="Put it on the shelf").tap()
    expect(tablet.locator(".field-error").first).to_contain_text(said)
    [refusal] = console_errors
    assert "422" in refusal
    console_errors.clear()


def test_a_count_of_less_than_nothing_is_refused(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    address = add(tablet, demo, "Minus gloves", "3")
    tablet.goto(f"{demo}/shelf/count?only={address.rsplit('/', 1)[1]}")
    tablet.get_by_label(re.compile("^What is there")).fill("-3")
    tablet.get_by_role("button", name="See the differences").tap()
    expect(tablet.locator("#e-quantity")).to_contain_text("Enter 0 or more")
    expect(tablet.get_by_label(re.compile("^What is there"))).to_have_value("-3")
    [refusal] = console_errors
    assert "422" in refusal
    console_errors.clear()


def test_gloves_in_litres_are_refused(tablet: Any, demo: str, console_errors: list[str]) -> None:
    tablet.goto(f"{demo}/shelf/new")
    tablet.get_by_label(re.compile("^Name")).fill("Litre gloves")
    tablet.get_by_label(re.compile("^Counted in")).select_option("L")
    tablet.get_by_role("button", name="Add the item").click()
    expect(tablet.locator(".field-error").first).to_contain_text("does not suit the category")
    [refusal] = console_errors
    assert "422" in refusal
    console_errors.clear()


def test_the_printed_order_list_has_its_items_to_sign_and_no_form(new_page: Any, demo: str) -> None:
    page = new_page(viewport={"width": 794, "height": 1123})
    add(page, demo, "Printed gloves", "4")
    page.goto(f"{demo}/shelf/orders?show=all")
    page.emulate_media(media="print")
    expect(page.locator("form.order-form").first).to_be_hidden()
    table = page.locator("table.order-print", has_text="Printed gloves")
    expect(table).to_be_visible()
    expect(table.get_by_role("columnheader").last).to_have_text("Ordered, initials")
    expect(page.locator("p.order-print")).to_contain_text("As of")
    assert page.pdf(format="A4").startswith(b"%PDF-")


def test_every_code_of_the_printed_sheet_opens_its_item(new_page: Any, demo: str) -> None:
    page = new_page(viewport={"width": 794, "height": 1123})
    page.goto(f"{demo}/codes")
    page.emulate_media(media="print")
    shown = page.locator(".sticker small").all_inner_texts()
    image = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("L")
    read = {found.text for found in zxingcpp.read_barcodes(image)}
    assert read == set(shown)
    page.goto(next(text for text in read if text.endswith("/i/wipes")))
    expect(page.get_by_role("heading", level=1)).to_have_text("Lint-free wipes")


def test_a_lot_that_will_expire_is_said_and_scrapped(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Old gloves", "6")
    tablet.goto(f"{address}/receive")
    tablet.get_by_label(re.compile("^How much")).fill("9")
    tablet.get_by_label(re.compile("^Lot")).fill("OLD")
    soon = (utc_now() + timedelta(days=2)).date()
    tablet.get_by_label(re.compile("^Use by")).fill(soon.isoformat())
    tablet.get_by_role("button", name="Put it on the shelf").tap()
    expect(tablet.locator(".outlook")).to_contain_text("9 pairs of lot OLD will not be used by")
    tablet.get_by_role("link", name="Scrapped", exact=True).tap()
    tablet.get_by_label(re.compile("^How much")).fill("9")
    tablet.locator("label", has_text=re.compile("^expired$")).tap()
    tablet.get_by_label(re.compile("^Lot")).select_option("OLD")
    tablet.get_by_role("button", name="Take it off the shelf").tap()
    expect(tablet.locator(".figure")).to_contain_text("6 pairs on hand")
    expect(tablet.locator(".lots-table")).not_to_contain_text("OLD")

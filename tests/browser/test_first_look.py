"""What must be done first stands on the first screen; nothing that belongs together is torn apart.

The screens are those of a 10.1 inch tablet, on its side and upright.
"""

import re
from typing import Any

import pytest

from app.web.unbroken import KEEPER, UNITS
from tests.browser.pages import PROBLEMS, every_page
from tests.browser.test_layout import UPRIGHT, WIDE, name_of

pytestmark = pytest.mark.browser

SIZES = [WIDE, UPRIGHT]
OFFICE = ("pickup_cancelled", "near_miss")
"""Problems that hurt nobody now: they have no touch that holds or records at once."""


@pytest.mark.parametrize("size", SIZES, ids=name_of)
def test_the_first_act_of_a_problem_is_seen_without_scrolling(
    new_page: Any, demo: str, size: dict[str, int]
) -> None:
    page = new_page(viewport=size)
    for problem in PROBLEMS:
        page.goto(f"{demo}/problem/{problem}?tank=dogwood")
        first = page.locator(".caution-line").last.bounding_box()
        assert first["y"] + first["height"] <= size["height"], problem
        if problem in OFFICE:
            continue
        buttons = page.locator(".one-touch button")
        assert buttons.count() >= 1, problem
        for button in (buttons.first, buttons.last):
            box = button.bounding_box()
            assert box["y"] + box["height"] <= size["height"], (problem, button.inner_text())


def test_the_tank_that_was_asked_about_is_offered_first(page: Any, demo: str) -> None:
    page.goto(f"{demo}/problem/leak?tank=dogwood")
    assert page.locator(".one-touch button").first.inner_text() == "Hold 4 Dogwood"


# Figures whose unit stands on the next line. Behind them may be a space that does not break.
TORN = """(units) => {
  const longestFirst = units.sort((a, b) => b.length - a.length);
  const unit = longestFirst.map((one) => one.replace(/[/]/g, '\\/')).join('|');
  const pair = new RegExp(`\\\\d[ \\\\u00a0\\\\n](?:${unit})(?![\\\\w/²³])`, 'g');
  const found = [];
  const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode, parent = text.parentElement;
    if (parent.closest('textarea, pre, script, option, svg, .unseen')) continue;
    if (!parent.checkVisibility()) continue;
    for (const one of text.data.matchAll(pair)) {
      const range = document.createRange();
      range.setStart(text, one.index);
      range.setEnd(text, one.index + one[0].length);
      const boxes = [...range.getClientRects()].filter((box) => box.width);
      if (new Set(boxes.map((box) => Math.round(box.top / 4))).size < 2) continue;
      found.push(text.data.slice(Math.max(0, one.index - 8), one.index + 12));
    }
  }
  return found;
}"""
TWICE = """() => {
  const ids = [...document.querySelectorAll('[id]')].map((one) => one.id);
  return [...new Set(ids.filter((id, place) => ids.indexOf(id) !== place))];
}"""
TOLD = """() => {
  for (const one of document.querySelectorAll('details')) one.open = true;
  const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
  const found = [];
  while (walk.nextNode()) {
    const parent = walk.currentNode.parentElement;
    if (parent.closest('script, style, pre, textarea, .code-address')) continue;
    found.push(walk.currentNode.data);
  }
  return found;
}"""
RAW = re.compile(
    r"\b(?:lamp-house|uv-meter|thermometer|hydrometer|[a-z]+-(?:washer|look|impeller))-\d"
)
UNROUNDED = re.compile(r"(?<![\d.])\d+\.\d{5,}")
DOUBLED = re.compile(r"\b([A-Za-z]{2,}) \1\b", re.IGNORECASE)
SECTION = re.compile(r"\b\d+ CFR \S+|\b1910\.\d+")
"""Paragraphs of a regulation look like figures."""


def test_every_page_reads_whole(new_page: Any, demo: str) -> None:
    """No torn figure, no id twice, no key of a thing, no raw figure, no word twice."""
    page = new_page(viewport=UPRIGHT)
    faults = {}
    for name, address in every_page(page, demo).items():
        page.goto(address)
        found = page.evaluate(TORN, list(UNITS)) + page.evaluate(TWICE)
        for text in page.evaluate(TOLD):
            said = SECTION.sub("", text.replace(KEEPER, " "))
            found += [said.strip() for rule in (RAW, UNROUNDED, DOUBLED) if rule.search(said)]
        if found:
            faults[name] = found
    assert faults == {}


@pytest.mark.parametrize("path", ["/duties", "/tanks/t1/swap", "/tanks/t1", "/hand-over", "/cure"])
def test_no_id_is_there_twice_in_a_room_without_people(page: Any, rooms: str, path: str) -> None:
    page.goto(f"{rooms}/room-6{path}")
    assert page.evaluate(TWICE) == []


def test_what_was_saved_lies_over_nothing_and_litres_stand_above_the_bar(
    new_page: Any, demo: str
) -> None:
    page = new_page(viewport=WIDE)
    swap = f"{demo}/tanks/fir/swap"
    origin, _, room = demo.partition("/rooms/")
    ticks = page.request.get(f"{origin}/api/v1/rooms/{room}/entries?kind=step_done&limit=1")
    last = ticks.json()["entries"][0]["entry"]["id"]
    for step, field in (("inspect", ""), ("rinse", "rinse_l"), ("fill", "")):
        page.goto(f"{swap}?step={step}&saved={last}")
        toast, count = page.locator(".toast"), page.locator(".step-count")
        assert toast.is_visible()
        assert not count.is_visible() or _apart(toast.bounding_box(), count.bounding_box())
        assert _apart(toast.bounding_box(), page.locator(".problem-link").bounding_box())
        if field:
            box = page.locator(f"#f-{field}").bounding_box()
            bar = page.locator(".step-bar").bounding_box()
            assert box["y"] + box["height"] <= bar["y"], step


def _apart(one: dict[str, float], other: dict[str, float]) -> bool:
    return (
        one["x"] + one["width"] <= other["x"]
        or other["x"] + other["width"] <= one["x"]
        or one["y"] + one["height"] <= other["y"]
        or other["y"] + other["height"] <= one["y"]
    )

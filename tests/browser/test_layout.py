"""Where things stand: nothing runs off the side, targets are large, any room is seen whole."""

from typing import Any

import pytest

from tests.browser.pages import every_page
from tests.browser.rooms import SIZES, TROUBLED

pytestmark = pytest.mark.browser

WIDE, UPRIGHT = {"width": 1280, "height": 800}, {"width": 800, "height": 1280}
VIEWPORTS = [WIDE, UPRIGHT, {"width": 1920, "height": 1080}, {"width": 390, "height": 844}]
TABLETS = [WIDE, UPRIGHT]
PRIMARY_PX = 118
"""20 mm on a 10.1 inch tablet of 1280 CSS pixels: Duff et al. 2010 (Human Factors and Ergonomics
Society, 54th meeting) found little gain above 20 mm for kiosk buttons."""
SECONDARY_PX = 58
"""Well above the 44 CSS pixels of WCAG 2.2, success criterion 2.5.5 (Target Size, Enhanced)."""


def name_of(viewport: dict[str, int]) -> str:
    return f"{viewport['width']}x{viewport['height']}"


OVERFLOWING = """() => {
  const edge = document.documentElement.clientWidth;
  const scrolls = (e) => e.closest('.table-scroll, pre, .unseen, .skip');
  const found = document.documentElement.scrollWidth > edge ? ['the page'] : [];
  for (const e of document.querySelectorAll('main *, header *')) {
    const box = e.getBoundingClientRect();
    if (e.closest('svg') || scrolls(e) || !e.checkVisibility() || box.width === 0) continue;
    if (box.right > edge + 1 || box.left < -1) found.push(e.tagName + '.' + e.className);
  }
  return found;
}"""


@pytest.mark.parametrize("viewport", VIEWPORTS, ids=name_of)
def test_nothing_runs_off_the_side(new_page: Any, demo: str, viewport: dict[str, int]) -> None:
    page = new_page(viewport=viewport)
    for name, address in every_page(page, demo).items():
        page.goto(address)
        assert page.evaluate(OVERFLOWING) == [], name
    page.goto(demo)
    page.get_by_text("Menu", exact=True).click()
    assert page.evaluate(OVERFLOWING) == [], "menu"


TOO_SMALL = """([selector, least]) => {
  const found = [];
  for (const e of document.querySelectorAll(selector)) {
    const box = (e.closest('label.tile, label.check') || e).getBoundingClientRect();
    const isHidden = e.getAttribute('aria-hidden') === 'true';  // what the Enter key presses
    if (isHidden || !e.checkVisibility() || !box.width || box.height >= least) continue;
    found.push(`${e.tagName}.${e.className} ${box.height}`);
  }
  return found;
}"""
PRIMARY = "main .button.primary, .task-row .button, .tile-button, .tile > span.primary"
SECONDARY = (
    "main button, main .button, main select, main input:not([type=hidden]), "
    ".switch a, .site-nav > a"
)


@pytest.mark.parametrize("viewport", TABLETS, ids=name_of)
def test_targets_are_large_enough_for_a_glove(
    new_page: Any, demo: str, viewport: dict[str, int]
) -> None:
    page = new_page(viewport=viewport)
    small = {}
    for name, address in every_page(page, demo).items():
        page.goto(address)
        found = [
            *page.evaluate(TOO_SMALL, [PRIMARY, PRIMARY_PX]),
            *page.evaluate(TOO_SMALL, [SECONDARY, SECONDARY_PX]),
        ]
        if found:
            small[name] = found
    assert small == {}


OUT_OF_REACH = """() => {
  const found = [];
  for (const tank of document.querySelectorAll('a.tank')) {
    tank.scrollIntoView({ block: 'center', behavior: 'instant' });
    const box = tank.getBoundingClientRect();
    const hit = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    if (!tank.contains(hit)) found.push(tank.getAttribute('href'));
  }
  scrollTo(0, 0);
  return found;
}"""

# The boxes of all texts of all tanks, cut to what their own box shows of them.
TEXTS = """
  const textsOf = (tank) => {
    const boxes = [];
    const walk = document.createTreeWalker(tank, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const parent = walk.currentNode.parentElement;
      if (!walk.currentNode.data.trim() || parent.closest('.unseen')) continue;
      const range = document.createRange();
      range.selectNodeContents(walk.currentNode);
      const isCut = getComputedStyle(parent).overflowX === 'hidden';
      const seen = isCut ? parent.getBoundingClientRect() : { left: -Infinity, right: Infinity };
      for (const box of range.getClientRects()) {
        boxes.push({ text: walk.currentNode.data.trim(), top: box.top, bottom: box.bottom,
          left: Math.max(box.left, seen.left), right: Math.min(box.right, seen.right) });
      }
    }
    return boxes;
  };
"""
COLLIDING = (
    "() => {"
    + TEXTS
    + """
  const tanks = [...document.querySelectorAll('a.tank')].map(textsOf);
  const found = [];
  tanks.forEach((boxes, index) => {
    for (const other of tanks.slice(index + 1).flat()) for (const box of boxes) {
      const across = Math.min(box.right, other.right) - Math.max(box.left, other.left);
      const down = Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top);
      if (across > 1 && down > 3) found.push(`${box.text} on ${other.text}`);
    }
  });
  return found;
}"""
)
OUTSIDE = (
    "() => {"
    + TEXTS
    + """
  const found = [];
  for (const tank of document.querySelectorAll('a.tank')) {
    const column = tank.getBoundingClientRect();
    const boxes = textsOf(tank);
    for (const tag of tank.querySelectorAll('.tag')) {
      const { left, right, top, bottom } = tag.getBoundingClientRect();
      boxes.push({ text: 'tag ' + tag.textContent, left, right, top, bottom });
    }
    for (const box of boxes) {
      const isIn = box.left >= column.left - 1 && box.right <= column.right + 1
        && box.top >= column.top - 3 && box.bottom <= column.bottom + 3;
      if (!isIn) found.push(`${tank.getAttribute('href')}: ${box.text}`);
    }
  }
  return found;
}"""
)
ROOM_VIEWPORTS = [*TABLETS, {"width": 1920, "height": 1080}, {"width": 390, "height": 844}]


@pytest.mark.parametrize("viewport", ROOM_VIEWPORTS, ids=name_of)
@pytest.mark.parametrize("tanks", SIZES)
def test_a_room_of_any_size_is_seen_whole(
    new_page: Any, rooms: str, tanks: int, viewport: dict[str, int]
) -> None:
    page = new_page(viewport=viewport)
    for address in (f"{rooms}/room-{tanks}", f"{rooms}/room-{tanks}?show=all"):
        page.goto(address)
        assert page.evaluate(OVERFLOWING) == []
        assert page.evaluate(OUT_OF_REACH) == []
        assert page.evaluate(COLLIDING) == []
        assert page.evaluate(OUTSIDE) == []
    assert page.locator("a.tank").count() == tanks


BROKEN_WORDS = """() => {
  const found = [], rows = [...document.querySelectorAll('#board .need-row')];
  for (const row of rows) {
    const box = row.getBoundingClientRect();
    for (const span of row.querySelectorAll('.name span, .need-act span, .need-reason')) {
      const text = span.firstChild;
      if (!text || text.nodeType !== 3 || !span.checkVisibility()) continue;
      for (const word of text.data.matchAll(/\\S+/g)) {
        const range = document.createRange();
        range.setStart(text, word.index);
        range.setEnd(text, word.index + word[0].length);
        const lines = new Set([...range.getClientRects()].map((one) => Math.round(one.top)));
        if (lines.size > 1) found.push(`${word[0]} is broken`);
        const { left, right, bottom } = range.getBoundingClientRect();
        if (left < box.left - 1 || right > box.right + 1) found.push(`${word[0]} is beside it`);
        if (bottom > box.bottom + 1) found.push(`${word[0]} is below its tank`);
      }
    }
  }
  return rows.length ? found : ['no tank'];
}"""


@pytest.mark.parametrize("screen", [(1280, 800), (1024, 768), (960, 600), (800, 1280)])
def test_words_of_tanks_that_need_somebody_are_whole(
    new_page: Any, demo: str, rooms: str, screen: tuple[int, int]
) -> None:
    page = new_page(viewport={"width": screen[0], "height": screen[1]})
    for address in (demo, f"{rooms}/room-6", f"{rooms}/{TROUBLED}"):
        page.goto(address)
        assert page.evaluate(BROKEN_WORDS) == [], address

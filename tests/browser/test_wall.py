"""The wall page on screens of several sizes: all of it is seen, nothing scrolls, nothing is cut."""

from typing import Any

import pytest

from tests.browser.rooms import SIZES, TROUBLED

pytestmark = pytest.mark.browser

SCREENS = [(800, 1280), (1280, 800), (1920, 1080), (1080, 1920), (800, 600)]

RUNS_OFF = """() => {
  const page = document.documentElement;
  const found = [];
  if (page.scrollWidth > page.clientWidth) found.push(`${page.scrollWidth} wide`);
  if (page.scrollHeight > page.clientHeight) found.push(`${page.scrollHeight} high`);
  const shown = [...document.querySelectorAll('#wall p, #wall h1, #wall time')]
    .filter((one) => !one.closest('.unseen') && one.checkVisibility());
  const boxes = shown.map((one) => {
    const range = document.createRange();
    range.selectNodeContents(one);
    const { left, right, top, bottom } = range.getBoundingClientRect();
    const isCut = getComputedStyle(one).overflowX === 'hidden';
    const own = one.getBoundingClientRect();
    return { words: one.textContent.trim(), top, bottom,
      left: isCut ? Math.max(left, own.left) : left,
      right: isCut ? Math.min(right, own.right) : right };
  });
  for (const one of boxes) {
    if (one.left < -1 || one.right > page.clientWidth + 1) found.push(`${one.words} runs off`);
    if (one.top < -9 || one.bottom > page.clientHeight + 9) found.push(`${one.words} is below`);
  }
  boxes.forEach((one, index) => {
    for (const other of boxes.slice(index + 1)) {
      const across = Math.min(one.right, other.right) - Math.max(one.left, other.left);
      const down = Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top);
      if (across > 1 && down > 30) found.push(`${one.words} on ${other.words}`);
    }
  });
  return found;
}"""


@pytest.mark.parametrize("screen", SCREENS, ids=lambda one: f"{one[0]}x{one[1]}")
def test_the_wall_is_seen_whole(
    new_page: Any, demo: str, rooms: str, screen: tuple[int, int]
) -> None:
    page = new_page(viewport={"width": screen[0], "height": screen[1]})
    for address in (demo, *(f"{rooms}/room-{tanks}" for tanks in SIZES), f"{rooms}/{TROUBLED}"):
        page.goto(f"{address}/wall")
        assert page.locator("#wall li").count() >= 1
        assert page.evaluate(RUNS_OFF) == [], address

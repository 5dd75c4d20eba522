"""What a step does stands in sight at every step, and nothing that has the focus lies under it.

WCAG 2.2, success criterion 2.4.11 (Focus Not Obscured, Minimum): what has the focus is not hidden
by what the page lays over it; here no part of it is, as 2.4.12 (Enhanced) has it.
"""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.places import say_who
from tests.browser.test_layout import UPRIGHT, WIDE, name_of

pytestmark = pytest.mark.browser

SIZES = [WIDE, UPRIGHT]
INSPECTED = "alder"
LEAST_STEPS = 16
SAVES = "main > .form > .actions"
FORMS = ("wash", "reading", "reading?method=sensor", "top-up", "removal", "solids")

# Boxes of the bars, and how much of the page the last one covers at the very end.
BARS = """() => {
  const found = [];
  const edge = document.documentElement.clientHeight;
  const bars = [...document.querySelectorAll('.step-bar')];
  const last = () => {
    for (const bar of bars) {
      const { top, bottom } = bar.getBoundingClientRect();
      if (top < 0 || bottom > edge + 1) found.push(`${Math.round(scrollY)}: ${top} to ${bottom}`);
      for (const one of bar.querySelectorAll('button, a')) {
        const box = one.getBoundingClientRect();
        if (!one.checkVisibility()) continue;
        const hit = document.elementFromPoint((box.left + box.right) / 2, box.top + box.height / 2);
        if (!one.contains(hit)) found.push(`something lies over ${one.textContent.trim()}`);
      }
    }
  };
  if (bars.length !== 1) found.push(`${bars.length} bars`);
  for (const at of [0, document.documentElement.scrollHeight / 2, 1e6]) {
    scrollTo({ top: at, behavior: 'instant' });
    last();
  }
  const bar = bars[0]?.getBoundingClientRect();
  for (const one of document.querySelectorAll('main p, main label, main summary, main button')) {
    if (!bar || one.closest('.step-bar, .toast') || !one.checkVisibility()) continue;
    const box = one.getBoundingClientRect();
    const isBeside = box.right <= bar.left || box.left >= bar.right;
    const isUnder = box.height && !isBeside && box.bottom > bar.top + 1;
    if (isUnder) found.push(`under it: ${one.outerHTML.slice(0, 60)}`);
  }
  scrollTo({ top: 0, behavior: 'instant' });
  return found;
}"""

COVERED = """() => {
  const found = [];
  const bars = [...document.querySelectorAll('.step-bar')];
  const all = 'input:not([type=hidden]), select, textarea, summary, a[href], button';
  for (const one of document.querySelector('main').querySelectorAll(all)) {
    if (one.closest('.step-bar') || !one.checkVisibility()) continue;
    one.focus();
    if (document.activeElement !== one) continue;
    const seen = (one.closest('label') ?? one).getBoundingClientRect();
    for (const bar of bars) {
      const box = bar.getBoundingClientRect();
      const deep = Math.min(seen.bottom, box.bottom) - Math.max(seen.top, box.top);
      const wide = Math.min(seen.right, box.right) - Math.max(seen.left, box.left);
      if (deep > 1 && wide > 1) found.push(`${one.name || one.textContent.trim()} ${deep}`);
    }
  }
  return found;
}"""


@pytest.fixture(scope="module")
def steps(demo: str, browser: Any) -> list[str]:
    """Every page on which a step is done: of a swap under way, of an inspection, of looks."""
    page = browser.new_page(viewport=WIDE)
    page.goto(f"{demo}/tanks/fir/swap")
    origin = demo.partition("/rooms/")[0]
    swap = f"{demo}/tanks/fir/swap"
    found = [origin + one.get_attribute("href") for one in page.locator(".rail-steps a").all()]
    assert len(found) >= LEAST_STEPS
    found += [f"{swap}?view={view}" for view in ("all", "close", "problem")]
    found += [f"{demo}/tanks/fir/contents?view={view}" for view in ("ask", "pause", "give-up")]
    found += [*_inspection(page, demo, origin), f"{demo}/tanks/birch/look/full"]
    page.close()
    return found


def _inspection(page: Any, demo: str, origin: str) -> Iterator[str]:
    page.goto(f"{demo}/tanks/{INSPECTED}/inspection")
    say_who(page, "Who looks", "Wren")
    page.get_by_role("button", name=re.compile("^Start: ")).first.click()
    page.wait_for_url("**/inspections/*")
    yield page.url
    parts = [one.get_attribute("href") for one in page.locator(".looks a").all()]
    assert len(parts) > 3
    for one in parts:
        yield origin + one
    page.goto(f"{demo}/inspections/birch-look-1/parts/birch-washer-1")
    yield page.url


def faults_of(page: Any, steps: list[str], script: str) -> dict[str, Any]:
    """What a script finds on the page of each step, by address; none where all is well."""
    faults = {}
    for address in steps:
        page.goto(address)
        if found := page.evaluate(script):
            faults[address.partition("/rooms/")[2]] = found
    return faults


@pytest.mark.parametrize("size", SIZES, ids=name_of)
def test_the_act_of_every_step_is_in_sight(
    new_page: Any, steps: list[str], size: dict[str, int]
) -> None:
    assert faults_of(new_page(viewport=size), steps, BARS) == {}


@pytest.mark.parametrize("size", SIZES, ids=name_of)
def test_nothing_with_the_focus_lies_under_the_bar(
    new_page: Any, steps: list[str], size: dict[str, int]
) -> None:
    assert faults_of(new_page(viewport=size), steps, COVERED) == {}


@pytest.mark.parametrize("size", SIZES, ids=name_of)
def test_what_saves_a_form_is_in_sight_and_covers_nothing_that_has_the_focus(
    new_page: Any, demo: str, size: dict[str, int]
) -> None:
    forms = [f"{demo}/tanks/alder/log/{task}" for task in FORMS]
    page = new_page(viewport=size)
    for script in (BARS, COVERED):
        assert faults_of(page, forms, script.replace(".step-bar", SAVES)) == {}


def test_the_bar_stands_above_what_waits_to_be_sent(new_page: Any, demo: str) -> None:
    page = new_page(viewport=WIDE)
    page.goto(f"{demo}/tanks/fir/swap?step=fill")
    page.evaluate("document.getElementById('sending').hidden = false")
    page.wait_for_timeout(200)
    strip, bar = page.locator("#sending").bounding_box(), page.locator(".step-bar").bounding_box()
    assert bar["y"] + bar["height"] <= strip["y"] + 1
    assert page.evaluate(BARS) == []


def test_the_bar_is_not_printed(new_page: Any, demo: str) -> None:
    page = new_page(viewport=WIDE)
    page.goto(f"{demo}/tanks/fir/swap?step=fill")
    page.emulate_media(media="print")
    assert not page.locator(".step-bar").is_visible()
    assert page.get_by_role("heading", level=1).is_visible()

"""People are tiles: nobody types a name where somebody is entered already.

A name that has no tile is typed in a fold of its own; on the pages where people are entered it is
the thing itself.
"""

from typing import Any

import pytest

from tests.browser.pages import every_page

pytestmark = pytest.mark.browser

ENTERS_PEOPLE = {"people and roles", "who", "first page of a site"}
"""Where a person is entered, or says a name for the first time."""

# Fields in which the name of one person would be typed. Who was there at an accident may be
# strangers, by initials: that field is a list, and stays.
TYPED = """() => {
  const of = ['by', 'by_other', 'lead', 'second', 'person', 'closed_by', 'who'];
  const asks = /^(who|lead|second person|another name|released by|signed by|name of the person)/i;
  const found = [];
  for (const one of document.querySelectorAll('main input, main textarea, main select')) {
    if (['hidden', 'radio', 'checkbox', 'submit'].includes(one.type)) continue;
    const label = (one.labels?.[0]?.textContent ?? '').trim().replace(/\\s+/g, ' ');
    const isName = of.includes(one.name) || (asks.test(label) && one.name !== 'people');
    if (!isName) continue;
    const fold = one.closest('details.more');
    if (one.name === 'by_other' && fold) continue;
    if (one.tagName === 'SELECT') continue;
    const form = one.closest('form');
    found.push(`${form?.getAttribute('action') ?? 'form'} asks to type “${label}” (${one.name})`);
  }
  return found;
}"""


def test_no_form_asks_to_type_a_name_of_somebody_who_is_known(new_page: Any, demo: str) -> None:
    page = new_page()
    typed = {}
    pages = every_page(page, demo) | _more(page, demo)
    for name, address in pages.items():
        page.goto(address)
        if name not in ENTERS_PEOPLE and (found := page.evaluate(TYPED)):
            typed[name] = found
    assert typed == {}


def _more(page: Any, demo: str) -> dict[str, str]:
    """Pages that show a form only once something was begun."""
    page.goto(f"{demo}/incidents")
    incident = page.locator("main a[href*='/incidents/']").first
    found = {
        "step of a swap": f"{demo}/tanks/fir/swap?step=drain",
        "close of a swap": f"{demo}/tanks/fir/swap?view=close",
        "what is in a tank": f"{demo}/tanks/fir/contents",
        "giving up a swap": f"{demo}/tanks/fir/contents?view=give-up",
        "start of an inspection": f"{demo}/tanks/alder/inspection",
        "quarantine of a drum": f"{demo}/waste/drums/d-05?act=quarantine",
    }
    if incident.count():
        origin = demo.partition("/rooms/")[0]
        found["open problem"] = origin + incident.get_attribute("href")
    return found


@pytest.mark.parametrize(
    "path, group",
    [
        ("/tanks/alder/look/full", "Who inspected and signs"),
        ("/waste/drums/d-05?act=quarantine", "Who says so"),
        ("/plan/alder", "Lead who decides"),
        ("/waste/check", "Who"),
        ("/tanks/alder/log/plan", "Who"),
        ("/problem/spill", "Who"),
    ],
)
def test_the_people_of_the_room_are_offered(
    new_page: Any, demo: str, path: str, group: str
) -> None:
    page = new_page()
    page.goto(demo + path)
    tiles = page.get_by_role("group", name=group, exact=True)
    if not tiles.is_visible():
        for fold in page.locator("details.more:not(.another-name) > summary").all():
            fold.click()
    assert tiles.first.get_by_role("radio").count() >= 1

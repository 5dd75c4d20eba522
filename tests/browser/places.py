"""Where things stand on the pages: used by several journeys."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

LAY_BARS_DOWN = """() => {
  const bars = document.querySelectorAll('.step-bar, main > .form > .actions');
  for (const bar of bars) bar.style.position = 'static';
}"""
"""Bars of acts follow the foot of the screen; so they lie where they do once all is read."""
SECOND_TOUCH_MS = 500
"""After this long a touch is one of its own: a quicker one answers no question."""


def board_tank(page: Any, key: str) -> Any:
    """A tank's column on the room page."""
    return page.locator(f"a.tank[href$='/tanks/{key}']")


def saturation_percent(page: Any) -> float:
    """The estimate that a tank's page states."""
    figure = page.locator(".figure").inner_text()
    return float(re.search(r"([\d.]+) %", figure)[1])  # type: ignore[index]


def log_lines(page: Any, having: str = "") -> Any:
    """The lines of a tank's log, or those that hold some text."""
    return page.locator(".log-list li").filter(has_text=having)


def toast(page: Any) -> Any:
    """What was just saved, with the offer to take it back."""
    return page.locator(".toast")


def say_who(page: Any, label: str, name: str) -> None:
    """Say who does it, where the page asks: by the tile of that person, else typed."""
    group = page.get_by_role("group", name=label, exact=True)
    if not group.count():
        field = page.get_by_role("textbox", name=label)
        if field.count():  # else the tablet knows
            field.fill(name)
        return
    tile = group.get_by_role("radio", name=name, exact=True)
    if tile.count():
        tile.check()
        return
    other = page.get_by_label("Another name")
    if not other.is_visible():
        page.locator("details.more > summary").filter(has_text="Another name").click()
    other.fill(name)


@contextmanager
def as_lead(page: Any, room: str) -> Iterator[None]:
    """The tablet is Curlew's, the demo's lead, meanwhile: what a lead decides asks for no name."""
    page.context.add_cookies([{"name": "person", "value": "Curlew", "url": room}])
    yield
    page.context.clear_cookies(name="person")

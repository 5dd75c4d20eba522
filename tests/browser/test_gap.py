"""A swap and an inspection go on while the server is away, on plain http: the next step comes from
what was fetched before, what is ticked waits on the tablet, and a step that must not begin without
the server's word waits for it.
"""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.places import say_who
from tests.browser.tablets import Place, entries_of, expect_sent, kept, serve_again
from tests.factories import ROOM

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

STEPS = 16
FETCHED = """async () => new Promise((resolve) => {
  const asked = indexedDB.open('ahead', 1);
  asked.onerror = () => resolve([]);
  asked.onupgradeneeded = () => { asked.transaction.abort(); };
  asked.onsuccess = () => {
    const keys = asked.result.transaction('pages').objectStore('pages').getAllKeys();
    keys.onsuccess = () => { asked.result.close(); resolve(keys.result); };
  };
})"""
SOON_MS = 40_000


@pytest.fixture
def gap(place: Place, page: Any, console_errors: list[str]) -> Iterator[Any]:
    """A page at the place's room, by a name that is no secure context."""
    port = place.server.url.rpartition(":")[2]
    page.room = f"http://room.test:{port}/rooms/{ROOM}"
    yield page
    page.goto("about:blank")
    console_errors.clear()  # the browser tells of each request that was not answered


def wait_for_copies(page: Any, least: int, *having: str) -> list[str]:
    """Until the pages that come next lie on the tablet."""
    found: list[str] = []
    for _ in range(SOON_MS // 250):
        found = page.evaluate(FETCHED)
        if len(found) >= least and all(any(part in one for one in found) for part in having):
            return found
        page.wait_for_timeout(250)
    raise AssertionError(f"Only {len(found)} pages were fetched: {found}")


def start_swap(page: Any, place: Place) -> None:
    page.goto(f"{page.room}/tanks/{place.tank}/swap")
    assert not page.evaluate("isSecureContext")
    say_who(page, "Who does this", "Wren")
    page.get_by_role("button", name="Start the swap").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Clear the place")


def tick(page: Any, said: str) -> None:
    for row in page.locator(".confirm-row input").all():
        row.check()
    page.wait_for_timeout(450)  # a touch of its own
    page.get_by_role("button", name=re.compile(f"^{said}")).click()


def reload_in_gap(gap: Any) -> None:
    """Keys that reload show the page from the tablet; the browser's own button asks first."""
    gap.keyboard.press("F5")  # shows the page anew, from the tablet
    expect(gap.locator(".rail-count")).to_have_text("3 of 16 done, 3 not sent yet")
    expect(gap.locator("#copied")).to_contain_text("This page is from")
    gap.get_by_role(
        "heading", level=1
    ).click()  # a browser asks only where somebody touched the page
    asked: list[str] = []
    gap.once("dialog", lambda one: (asked.append(one.type), one.dismiss()))
    gap.evaluate("setTimeout(() => location.reload(), 0)")
    gap.wait_for_timeout(1000)
    assert asked == ["beforeunload"]


def test_steps_go_on_while_the_server_is_dead_and_arrive_once(
    gap: Any, place: Place, serve: Any
) -> None:
    start_swap(gap, place)
    wait_for_copies(gap, STEPS, "step=close_out", "/problem/spill?tank=")
    place.server.process.kill()
    place.server.process.wait()

    tick(gap, "Place is clear")
    title = gap.get_by_role("heading", level=1)
    expect(title).to_contain_text("gloves", timeout=SOON_MS)
    expect(gap.locator("#copied")).to_contain_text("This page is from")
    expect(gap.locator(".rail-count")).to_have_text("1 of 16 done, 1 not sent yet")
    expect(gap.locator("#rail .is-kept")).to_contain_text("not sent yet")
    expect(kept(gap)).to_contain_text("1 waiting")
    tick(gap, "Protected")
    expect(title).to_contain_text("isolate")
    tick(gap, "Isolated")

    expect(title).to_have_text("Choose and ready the drum")
    expect(gap.locator("#copied")).to_contain_text(
        "the server must say which drum may take this waste"
    )
    expect(gap.locator(".step-bar button")).to_be_disabled()
    expect(gap.locator("#rail .is-kept")).to_have_count(3)

    gap.get_by_role("link", name=re.compile("Bond and earth")).click()
    expect(title).to_contain_text("Bond")
    gap.get_by_role("link", name="Clear the place").click()
    expect(gap.locator("#copied")).to_contain_text("This step is kept on this tablet")
    expect(gap.get_by_role("button", name=re.compile("^Place is clear"))).to_have_count(0)
    gap.get_by_role("link", name="Next open step").click()
    expect(title).to_have_text("Choose and ready the drum")

    reload_in_gap(gap)
    expect(title).to_have_text("Choose and ready the drum")

    place.server = serve_again(serve, place)
    expect_sent(gap)
    expect(gap.locator("#copied")).to_have_count(0, timeout=SOON_MS)
    expect(title).to_have_text("Choose and ready the drum")
    expect(gap.locator("#rail")).to_contain_text("3 of 16 done")
    expect(gap.locator(".step-bar button")).to_be_enabled()
    ticked = [one for one in entries_of(place.server, "step_done") if one["swap"]]
    mine = [one["step"] for one in reversed(ticked)][-3:]
    assert sorted(mine) == sorted(["prepare", "protect", "isolate"])
    assert {one["by"] for one in ticked} == {"Wren"}


def test_steps_that_the_server_has_count_on_a_page_that_was_fetched_before(
    gap: Any, place: Place
) -> None:
    start_swap(gap, place)
    wait_for_copies(gap, STEPS, "step=close_out")
    for said in ("Place is clear", "Protected"):
        tick(gap, said)
        gap.wait_for_timeout(1500)
    expect(gap.locator(".rail-count")).to_have_text("2 of 16 done")
    gap.context.set_offline(True)
    gap.get_by_role("link", name=re.compile("Bond and earth")).click()
    expect(gap.locator("#copied")).to_contain_text("This page is from", timeout=SOON_MS)
    expect(gap.locator(".rail-count")).to_have_text("2 of 16 done")
    gap.context.set_offline(False)


def test_a_problem_is_reported_from_a_step_without_the_server(gap: Any, place: Place) -> None:
    start_swap(gap, place)
    wait_for_copies(gap, STEPS, "step=close_out", "/problem/spill?tank=")
    gap.context.set_offline(True)
    gap.get_by_role("link", name="Cannot do this step").click()
    expect(gap.get_by_role("heading", level=1)).to_contain_text("Cannot do", timeout=SOON_MS)
    gap.get_by_role("link", name="Problem", exact=True).click()
    expect(gap.get_by_role("heading", level=1)).to_have_text("What went wrong?")
    gap.get_by_role("link", name=re.compile("^Spill")).first.click()
    expect(gap.get_by_role("heading", level=1)).to_have_text("Spill", timeout=SOON_MS)
    expect(gap.locator("#copied")).to_contain_text("This page is from")
    before = len(entries_of(place.server, "incident"))
    gap.get_by_label(re.compile("^How much")).first.fill("1")
    gap.get_by_role("button", name=re.compile("^(Save|Record)")).last.click()
    expect(kept(gap)).to_contain_text("1 waiting", timeout=SOON_MS)
    gap.context.set_offline(False)
    expect_sent(gap)
    assert len(entries_of(place.server, "incident")) == before + 1


def test_parts_are_looked_at_one_after_the_other_offline(gap: Any, place: Place) -> None:
    at = f"{gap.room}/tanks/{place.tank}"
    gap.goto(f"{at}/parts")
    for box in gap.get_by_role("checkbox").all()[:3]:
        box.check()
    gap.get_by_role("button", name="Add these parts").click()
    expect(gap).not_to_have_url(re.compile("/parts$"))
    gap.goto(f"{at}/inspection")
    say_who(gap, "Who looks", "Wren")
    gap.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).click()
    look = gap.get_by_role("link", name=re.compile("^Look at"))
    expect(look).to_be_visible()
    parts = gap.locator(".looks a").count()
    wait_for_copies(gap, parts + 1, "/problem/spill", "/parts/")
    look.click()
    expect(gap.locator(".question").first).to_be_visible()
    gap.context.set_offline(True)
    seen = []
    for number in range(1, parts + 1):
        title = gap.get_by_role("heading", level=1)
        seen.append(title.inner_text())
        for tile in gap.locator(".question .tile:has(input[value=no])").all():
            tile.click()
        gap.wait_for_timeout(450)
        gap.locator(".step-bar").get_by_role("button", name=re.compile("^Save")).click()
        expect(kept(gap)).to_contain_text(f"{number} waiting", timeout=SOON_MS)
        expect(title).not_to_have_text(seen[-1])
    assert len(set(seen)) == parts
    expect(gap.locator("#copied")).to_contain_text("All steps are done")
    gap.context.set_offline(False)
    expect_sent(gap)
    expect(gap.locator("#copied")).to_have_count(0, timeout=SOON_MS)
    expect(gap.get_by_role("heading", name=re.compile("^All parts are done"))).to_be_visible()
    answered = [one["component"] for one in entries_of(place.server, "inspection_answered")]
    assert len(answered) == len(set(answered)) >= parts

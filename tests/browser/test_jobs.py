"""The day's twelve jobs take no more touches than docs/touches.md says."""

import re
from typing import Any

import pytest

pytest.importorskip("playwright.sync_api")
from tests.browser.jobs import JOBS, PAGE, UPRIGHT, done

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("job", JOBS)
def test_a_job_takes_no_more_touches_than_written(
    new_page: Any, demo: str, job: str, console_errors: list[str]
) -> None:
    page = new_page(viewport=UPRIGHT, has_touch=True)
    page.context.add_cookies([{"name": "person", "value": "Wren", "url": demo}])
    hand = done(page, demo, job)
    if "Yes, store it" in hand.taps:
        [refusal] = console_errors  # the browser notes the status of the page that asks
        assert "422" in refusal
        console_errors.clear()
    told = re.search(rf"^\| {re.escape(job)} \| (\d+) \|", PAGE.read_text("utf-8"), re.MULTILINE)
    assert told is not None
    assert len(hand.taps) == int(told[1]) <= JOBS[job][1], hand.taps


def test_the_page_has_twelve_jobs_and_no_other() -> None:
    rows = re.findall(r"^\| ([A-Z][^|]*) \| \d", PAGE.read_text("utf-8"), re.MULTILINE)
    assert rows == list(JOBS)
    assert len(rows) == 12

"""What a page costs on the way: requests and bytes, as Chromium counts them."""

from typing import Any
from urllib.parse import urlsplit

import pytest

pytestmark = pytest.mark.browser

MOST_REQUESTS = 6
MOST_BYTES = 90_000
SETTLED_MS = 1500  # less than the page waits before it asks whether the server is there


class Traffic:
    """What goes over the network for a page; what the browser has kept does not count."""

    def __init__(self, page: Any) -> None:
        self._asked: dict[str, str] = {}
        self._bytes: dict[str, int] = {}
        self._session = page.context.new_cdp_session(page)
        self._session.on("Network.requestWillBeSent", self._sent)
        self._session.on("Network.requestServedFromCache", self._cached)
        self._session.on("Network.responseReceived", self._answered)
        self._session.on("Network.loadingFinished", self._finished)
        self._session.send("Network.enable")

    @property
    def paths(self) -> list[str]:
        """The paths that were asked for, in order."""
        return [urlsplit(url).path for url in self._asked.values()]

    @property
    def bytes(self) -> int:
        """Heads and bodies of the answers, as they were sent."""
        return sum(self._bytes.get(key, 0) for key in self._asked)

    def _sent(self, event: Any) -> None:
        if event["request"]["url"].startswith("http"):
            self._asked[event["requestId"]] = event["request"]["url"]

    def _cached(self, event: Any) -> None:
        self._asked.pop(event["requestId"], None)

    def _answered(self, event: Any) -> None:
        if event["response"].get("fromDiskCache"):
            self._asked.pop(event["requestId"], None)

    def _finished(self, event: Any) -> None:
        self._bytes[event["requestId"]] = event["encodedDataLength"]


def traffic_of(page: Any, address: str) -> Traffic:
    """Load a page, and see what that took."""
    found = Traffic(page)
    page.goto(address)
    page.wait_for_timeout(SETTLED_MS)
    return found


def test_the_first_visit_of_the_room_takes_few_requests_and_bytes(page: Any, demo: str) -> None:
    traffic = traffic_of(page, demo)
    assert traffic.paths[0] == urlsplit(demo).path
    assert len(traffic.paths) <= MOST_REQUESTS, traffic.paths
    assert 20_000 < traffic.bytes <= MOST_BYTES


def test_later_visits_ask_for_the_page_and_its_stream_alone(page: Any, demo: str) -> None:
    traffic_of(page, demo)
    for path in ("", "/tanks/alder", "/tanks/alder/log/wash", "/log", ""):
        other = page.context.new_page()
        traffic = traffic_of(other, demo + path)
        stream = [f"{urlsplit(demo).path}/live"] if path in ("", "/tanks/alder") else []
        assert sorted(traffic.paths) == sorted([urlsplit(demo).path + path, *stream])
        other.close()


def test_a_room_page_that_is_as_it_was_is_not_sent_again(page: Any, demo: str) -> None:
    page.goto(demo)
    tag = page.request.get(demo).headers["etag"]
    again = page.request.get(demo, headers={"If-None-Match": tag})
    assert again.status in (200, 304)  # a minute may have passed
    if again.status == 304:
        assert again.body() == b""


def test_the_stream_is_neither_compressed_nor_held_back(page: Any, demo: str) -> None:
    page.goto(demo)
    first = page.evaluate(
        """async (address) => {
            const stop = new AbortController();
            const answer = await fetch(address, { signal: stop.signal });
            const { value } = await answer.body.getReader().read();
            stop.abort();
            return [answer.headers.get("content-encoding"), new TextDecoder().decode(value)];
        }""",
        f"{demo}/live",
    )
    assert first[0] is None
    assert first[1].startswith(":")

"""Following every link of the pages, as a reader would who looks at all of them."""

import sys
import tempfile
from collections import Counter, deque
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urldefrag, urljoin, urlsplit

from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from app.web.pages import PAGES
from tests.contracts.demo_room import visit_demo
from tests.contracts.seen_room import STREAM

LEADING = {"a": "href", "area": "href", "link": "href", "img": "src", "script": "src",
           "source": "srcset", "use": "href", "iframe": "src"}  # fmt: skip
REDIRECTS = (301, 302, 303, 307, 308)

ROUTES = [
    route
    for task in PAGES
    for route in task.router.routes
    if isinstance(route, APIRoute) and "GET" in route.methods
]


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.posts: list[str] = []

    def handle_starttag(self, tag: str, given: list[tuple[str, str | None]]) -> None:
        attrs = dict(given)
        self.found += [
            value for name in ("hx-get", LEADING.get(tag)) if (value := attrs.get(name or ""))
        ]
        if tag == "form":
            is_get = (attrs.get("method") or "get").lower() == "get"
            (self.found if is_get else self.posts).append(attrs.get("action") or "")


@dataclass
class Crawl:
    """What was found by following links from the front page.

    Attributes:
        seen: how many addresses of each route were asked for, by the path of the route.
        troubles: what did not answer as it should, and the page that leads there.
        asked: the addresses that were asked for.
        posts: where the forms lead that store something; none of them is sent.
    """

    client: TestClient
    most_of_a_route: int
    seen: Counter[str] = field(default_factory=Counter)
    troubles: list[str] = field(default_factory=list)
    asked: set[str] = field(default_factory=set)
    posts: set[str] = field(default_factory=set)

    @property
    def led_to(self) -> set[str]:
        """Where links and forms lead, without what is asked for there."""
        return {address.partition("?")[0] for address in self.asked | self.posts}

    def follow(self, *starts: str) -> None:
        """Ask for these addresses and for all that they lead to."""
        waiting = deque((start, "the test") for start in starts)
        while waiting:
            address, origin = waiting.popleft()
            route = route_of(address)
            if address in self.asked or route == STREAM or self.seen[route] >= self.most_of_a_route:
                continue
            self.asked.add(address)
            self.seen[route] += 1
            waiting.extend((link, address) for link in self._ask(address, origin))

    def _ask(self, address: str, origin: str) -> list[str]:
        try:
            answer = self.client.get(address, follow_redirects=False)
        except Exception as error:
            self.troubles.append(f"{address} (from {origin}): {error!r}")
            return []
        if answer.status_code in REDIRECTS:
            return [_within(address, answer.headers["location"])]
        if answer.status_code != 200:
            self.troubles.append(f"{address} (from {origin}): {answer.status_code}")
        if "text/html" not in answer.headers.get("content-type", ""):
            return []
        links = _Links()
        links.feed(answer.text)
        self.posts |= {_within(address, link) for link in links.posts}
        return [found for link in links.found if (found := _within(address, link))]


def route_of(address: str) -> str:
    """The path of the route that answers an address; the address where none of ours does."""
    path = urlsplit(address).path
    return next((route.path for route in ROUTES if route.path_regex.match(path)), path)


def _within(address: str, link: str) -> str:
    """Where a link leads within the program; empty where it leads out of it."""
    parts = urlsplit(urldefrag(urljoin(f"http://room.test{address}", link)).url)
    if parts.scheme not in ("http", "https") or parts.netloc != "room.test":
        return ""
    return parts.path + (f"?{parts.query}" if parts.query else "")


def main() -> int:
    """Follow every link of the demo room, however many lead to the same page."""
    with tempfile.TemporaryDirectory() as folder:
        for client in visit_demo(Path(folder)):
            found = Crawl(client, sys.maxsize)
            found.follow("/")
    asked, routes = found.seen.total(), len(found.seen)
    print(f"{asked:,} addresses of {routes} routes, {len(found.troubles)} troubles")
    print("\n".join(found.troubles))
    return bool(found.troubles)


if __name__ == "__main__":
    sys.exit(main())

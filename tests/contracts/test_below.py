"""Every page below a path of a proxy: no address that any of them holds leads out of it.

As a proxy passes it on (RFC 9110, section 7.6; RFC 3986, section 5.2, for what an address that
begins with a slash means): only requests below the path come through, and what an answer names is
held against it before the walk goes on.
"""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

from app.web.below import Below
from tests.contracts.crawling import ROUTES, Crawl
from tests.contracts.demo_room import ROOM, visit_demo
from tests.contracts.test_demo_pages import PAGES_OF_A_ROUTE, SCANNED, UNLINKED

WAYS = [("/baths", False), ("/rooms", True)]
"""Paths, and whether the proxy takes them off. The second is also the first segment of most of the
program's own addresses, so that one taken off too often shows."""
OWN = {"static", "api", *(route.path.split("/")[1] for route in ROUTES)}
"""First segments of the program's own addresses."""
TYPED = {"value", "content", "placeholder", "title", "alt", "data-person", "d"}
"""Attributes that hold no address: words, and the paths of drawings."""
NAMES_ADDRESSES = ("location", "link", "x-go-on-at", "x-sign-in")
ROOTED = re.compile(r"(?<![\w.:/])/(?:rooms|static|api|q|people|sign-in|tablets)\b[^\s\"'<>;,]*")


class _Rooted(HTMLParser):
    """All values of a page that begin at the root of the host."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, _: str, given: list[tuple[str, str | None]]) -> None:
        self.found += [
            value
            for name, value in given
            if value and name not in TYPED and re.match(r"/(?!/)\S*$", value)
        ]


class Proxied:
    """A browser behind a proxy: asks below the path, and gives the answer as if it were not.

    Attributes:
        outside: addresses that led out of the path, with the page that had them.
    """

    def __init__(self, client: TestClient, at: str, is_stripped: bool) -> None:
        self.client, self.at, self.is_stripped = client, at, is_stripped
        self.outside: list[str] = []
        self.kinds: set[str] = set()

    def get(self, address: str, **more: Any) -> Response:
        """The answer, held against the path."""
        return self._seen(address, self.client.get(self._to(address), **self._head(more)))

    def post(self, address: str, **more: Any) -> Response:
        """The answer, held against the path."""
        return self._seen(address, self.client.post(self._to(address), **self._head(more)))

    def _to(self, address: str) -> str:
        return address if self.is_stripped else self.at + address

    def _head(self, more: dict[str, Any]) -> dict[str, Any]:
        headers = {"X-Forwarded-Prefix": self.at} if self.is_stripped else {}
        return {**more, "headers": headers}

    def _seen(self, address: str, answer: Response) -> Response:
        kind = answer.headers.get("content-type", "").partition(";")[0]
        self.kinds.add(kind)
        found = [
            answer.headers[name].strip("<") for name in NAMES_ADDRESSES if name in answer.headers
        ]
        if kind == "text/html":
            page = _Rooted()
            page.feed(answer.text)
            found += page.found
        elif kind == "text/css":
            found += re.findall(r"url\([\"']?(/[^)\"']*)", answer.text)
        elif kind.endswith("json"):
            found += ROOTED.findall(answer.text) if "openapi" not in address else []
        self.outside += [
            f"{address}: {one}"
            for one in found
            if one.startswith("/") and not _is_within(self.at, one)
        ]
        cookies = answer.headers.get_list("set-cookie")
        self.outside += [f"{address}: {one}" for one in cookies if f"Path={self.at}" not in one]
        return _unproxied(self.at, answer)


def _is_within(at: str, address: str) -> bool:
    """Whether an address is below the path, and what follows is one of the program's own."""
    inner = address.removeprefix(at)
    first = re.split("[/?#]", inner.removeprefix("/"))[0]
    return inner != address and (not first or (inner.startswith("/") and first in OWN))


def _unproxied(at: str, answer: Response) -> Response:
    headers = {name: value for name, value in answer.headers.items() if name != "content-encoding"}
    if "location" in headers:
        headers["location"] = headers["location"].removeprefix(at)
    if "text" not in headers.get("content-type", ""):
        return Response(answer.status_code, headers=headers, content=answer.content)
    text = re.sub(rf'="{at}(?=/)', '="', answer.text)
    return Response(answer.status_code, headers=headers, text=text)


@pytest.fixture(params=WAYS, ids=["as they are", "taken off"], scope="module")
def proxied(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Proxied]:
    at, is_stripped = request.param
    for client in visit_demo(tmp_path_factory.mktemp("below"), at=at):
        yield Proxied(client, at, is_stripped)


@pytest.mark.slow
def test_no_page_leads_out_of_the_path(proxied: Proxied) -> None:
    most = PAGES_OF_A_ROUTE if not proxied.is_stripped else 1
    crawl = Crawl(proxied, most)  # type: ignore[arg-type]
    crawl.follow("/", "/api/", *UNLINKED, *SCANNED)
    assert crawl.troubles == []
    assert proxied.outside == []
    assert len(crawl.seen) > 100
    assert {"text/html", "application/manifest+json", "text/csv", "text/css"} <= proxied.kinds


def test_forms_and_the_api_answer_with_addresses_below_it(proxied: Proxied) -> None:
    room = f"/rooms/{ROOM}"
    said = proxied.post(
        f"{room}/who", data={"by": "Wren", "back": f"{room}/plan"}, follow_redirects=False
    )
    assert (said.status_code, said.headers["location"]) == (303, f"{room}/plan")
    assert f"Path={proxied.at}" in said.headers["set-cookie"]
    resin = proxied.get(f"/api/v1{room}/resins").json()["resins"][0]["key"]
    wash = {"kind": "wash", "tank": "alder", "resin": resin, "area_cm2": 900.0, "by": "Wren"}
    stored = proxied.post(f"/api/v1{room}/entries", json=wash)
    assert stored.status_code == 201, stored.text
    assert "/entries/" in stored.headers["location"]
    listed = proxied.get(f"/api/v1/rooms/{ROOM}/entries?limit=2")
    assert "link" in listed.headers
    described = proxied.get("/api/v1/openapi.json").json()
    assert described["servers"] == [{"url": f"{proxied.at}/api"}]
    assert proxied.outside == []


def test_a_code_leads_below_it(proxied: Proxied) -> None:
    sheet = proxied.client.get(
        proxied._to(f"/rooms/{ROOM}/codes"), headers=proxied._head({})["headers"]
    ).text
    assert f"http://room.test{proxied.at}/q/{ROOM}/" in sheet


def test_the_way_back_is_asked_for_without_the_path(proxied: Proxied) -> None:
    """What a browser says it came from has the path; what the program goes on with has it not."""
    came_from = f"http://room.test{proxied.at}/rooms/{ROOM}/plan"
    for header in ("Referer", "HX-Current-URL"):
        seen = dict(Below(_never, proxied.at)._within(_asked(header, came_from))["headers"])
        assert seen[header.lower().encode()] == f"http://room.test/rooms/{ROOM}/plan".encode()
        kept = _asked(header, "http://room.test/other")
        assert Below(_never, proxied.at)._within(kept)["headers"] == kept["headers"]
    assert proxied.outside == []


async def _never(*_: Any) -> None:
    raise AssertionError


def _asked(header: str, url: str) -> dict[str, Any]:
    return {"path": "/", "headers": [(header.lower().encode(), url.encode())]}


def test_another_prefix_of_a_client_does_not_count(proxied: Proxied) -> None:
    headers = {"X-Forwarded-Prefix": '/evil"><script>'}
    text = proxied.client.get(f"{proxied.at}/rooms/{ROOM}", headers=headers).text
    assert "evil" not in text
    assert f'href="{proxied.at}/rooms/{ROOM}' in text

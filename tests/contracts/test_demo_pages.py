"""Every page and every link of the demo room, and every read of the API on it, answers."""

import io
import re
from collections.abc import Iterator
from datetime import datetime
from html import unescape
from itertools import product

import pytest
from fastapi.testclient import TestClient

from app.domain.books import THINGS
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.curing import CURE_RECIPE
from app.domain.roomlog.life import Page
from app.services.acts.rooms import RoomForm, add_room
from tests.contracts.crawling import Crawl, route_of
from tests.contracts.demo_room import ROOM, visit_demo
from tests.contracts.part_lots import QUESTIONS
from tests.contracts.seen_room import STREAM, page_paths, visit_room
from tests.contracts.ways_in import is_reached
from tests.factories import ROOM as SEEN

PAGES_OF_A_ROUTE = 12  # of thousands of entries; `python -m tests.contracts.crawling` follows all
NO_PHOTOS = {
    "/rooms/{room}/photos/{photo}/{size}",
    "/rooms/{room}/tanks/{tank}/swap/photo",
    "/rooms/{room}/inspections/{inspection}/parts/{component}/photos/{photo}",
}
# The form pages of all kinds: none is at a drum yet.
NO_KINDS = {"/rooms/{room}/waste/drums/{drum}/log/{task}"}
FOR_MACHINES = {"/healthz", "/readyz", "/metrics"}  # asked by what watches; no page links there
WITH_HTTPS = {"/tablets/site.crt"}
ONCE_ARCHIVED = {"/rooms/{room}/delete"}
NO_IMPORTS = {"/rooms/{room}/imports/{run}"}
UNLINKED = (
    "/styleguide",
    f"/rooms/{ROOM}/imports/under-way",
    f"/rooms/{ROOM}/clock",
    f"/rooms/{ROOM}/stations/lamp-house-1/aside",
    f"/rooms/{ROOM}/tanks/alder/look/full",  # a gate of a swap leads there
    f"/rooms/{ROOM}/lots/recall?reason=tank+on+hold",
    f"/rooms/{ROOM}/lots/recall.csv?reason=tank+on+hold",
    *("/sign-in", "/first-manager", "/own-secret"),  # linked where people sign in; here they say so
)
BELOW_A_ROOM = "/v1/rooms/{room}"
SCANNED = tuple(f"/q/{ROOM}/{key}" for key in ("t/alder", "i/ipa-99", "s/drawer", "d/d-02"))


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A browser on the demo room as it is first shown."""
    yield from visit_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def crawl(client: TestClient) -> Crawl:
    """All that the front page leads to, what is scanned or typed, and a file under way."""
    file = {"log": ("log.csv", io.BytesIO(b"Date,Bath,Parts\n2026-03-04 10:00,alder,3\n"))}
    importing = client.post(f"/rooms/{ROOM}/import", files=file, follow_redirects=False)
    found = Crawl(client, PAGES_OF_A_ROUTE)
    found.follow("/", "/api", *UNLINKED, *SCANNED, importing.headers["location"])
    return found


@pytest.mark.slow
def test_every_page_answers_and_no_link_leads_nowhere(crawl: Crawl) -> None:
    assert not crawl.troubles, "\n".join(crawl.troubles)


@pytest.mark.slow
def test_every_route_of_the_pages_was_asked_for(crawl: Crawl) -> None:
    missing = NO_PHOTOS | NO_IMPORTS | NO_KINDS | FOR_MACHINES | WITH_HTTPS | ONCE_ARCHIVED
    assert set(page_paths()) - set(crawl.seen) == missing
    assert STREAM not in crawl.seen


@pytest.mark.slow
def test_every_kind_is_entered_by_clicks_or_says_when(
    crawl: Crawl, tmp_path_factory: pytest.TempPathFactory
) -> None:
    reached = crawl.led_to - set(UNLINKED)
    for client in visit_room(tmp_path_factory.mktemp("seen")):
        seen = Crawl(client, PAGES_OF_A_ROUTE)
        seen.follow(f"/rooms/{SEEN}")
        reached |= seen.led_to
    missed = {key for key, kind in KINDS.items() if not is_reached(kind.reached, reached)}
    assert missed == {
        key
        for key, kind in KINDS.items()
        if isinstance(kind.reached, Page) and kind.reached.only_where
    }


def test_the_demo_has_no_photos_that_could_be_asked_for(client: TestClient) -> None:
    photos = client.get(f"/api/v1/rooms/{ROOM}/entries?kind=inspection_photo").json()
    assert photos["entries"] == []


# The API ------------------------------------------------------------------------------------------


def reads(client: TestClient) -> list[str]:
    """The path of each read of the API, as it describes itself."""
    document = client.get("/api/v1/openapi.json").json()
    return [path for path, methods in document["paths"].items() if "get" in methods]


def keys(client: TestClient) -> dict[str, list[str]]:
    """What stands for a name in a path: each room, tank, thing and resin, an entry of each kind."""
    base = f"/api/v1/rooms/{ROOM}"
    tanks = [tank["key"] for tank in client.get(f"{base}/tanks").json()["tanks"]]
    entries: dict[str, str] = {}
    cursor = None
    while True:
        asked = {"limit": 200} | ({"cursor": cursor} if cursor else {})
        page = client.get(f"{base}/entries", params=asked).json()
        for line in page["entries"]:
            entries.setdefault(line["entry"]["kind"], line["entry"]["id"])
        cursor = page["older"]
        if not cursor:
            break
    resins = list(client.get(f"{base}/books/{CURE_RECIPE}").json()["states"])
    return {"room": [ROOM], "tank": tanks, "entry_id": list(entries.values()), "resin": resins}


def addresses(client: TestClient, path: str, known: dict[str, list[str]]) -> list[str]:
    """The addresses of a read, with the keys of the demo in it."""
    if "{thing_name}" in path:
        found = []
        for thing in THINGS:
            listed = client.get(f"/api/v1/rooms/{ROOM}/books/{thing}").json()["states"]
            own = list(listed) if "{key}" in path else [""]
            found += [path.format(room=ROOM, thing_name=thing, key=key) for key in own]
        return found
    names = [name for name in known if f"{{{name}}}" in path]
    asked = QUESTIONS.get(path.removeprefix(BELOW_A_ROOM), "")
    return [
        path.format(**dict(zip(names, values, strict=True))) + asked
        for values in product(*(known[name] for name in names))
    ]


@pytest.mark.slow
def test_every_read_of_the_api_answers(client: TestClient) -> None:
    known, troubles, asked = keys(client), [], set()
    for path in reads(client):
        for address in addresses(client, path, known):
            answer = client.get(f"/api{address}")
            asked.add(path)
            if answer.status_code != 200:
                troubles.append(f"{address}: {answer.status_code} {answer.text[:200]}")
    assert not troubles, "\n".join(troubles)
    assert asked == set(reads(client))


@pytest.mark.parametrize("weeks", [1, 8, 26])
def test_the_plan_of_the_demo_answers_for_program_and_person(
    client: TestClient, weeks: int
) -> None:
    plan = client.get(f"/api/v1/rooms/{ROOM}/plan?weeks={weeks}")
    assert plan.status_code == 200
    assert "look" in {line["subject"] for swap in plan.json()["swaps"] for line in swap["lines"]}
    assert client.get(f"/rooms/{ROOM}/plan?weeks={weeks}").status_code == 200


def test_whatever_can_be_found_has_a_page_that_answers(client: TestClient) -> None:
    """One of each sort: their links are made by hand, not by a template that the crawl reads."""
    sorts = {}
    for asked in ("a", "e", "i", "o", "1", "2", "d", "s", "sw", "ins", "pro", "pic", "lot", "ord"):
        page = client.get(f"/rooms/{ROOM}/find", params={"q": asked}).text
        for path, sort in re.findall(r'<a href="([^"]+)"><b>[^<]*</b> <span>([\w ]*)', page):
            sorts.setdefault(sort, unescape(path))
    assert len(sorts) >= 10, sorts
    assert {path: client.get(path).status_code for path in sorts.values()} == dict.fromkeys(
        sorts.values(), 200
    )


# Another room -----------------------------------------------------------------------------------

OTHER = "elsewhere"
OF_THE_PROGRAM = {"task", "sort", "duty", "what", "solvent", "week", "size", "month", "day"}
"""What stands in an address and is no thing of a room: the same in all rooms."""


@pytest.mark.slow
def test_nothing_of_a_room_opens_under_the_address_of_another(
    client: TestClient, crawl: Crawl
) -> None:
    """OWASP ASVS 4.0.3, 4.2.1 (from memory): pages, files, codes, forms, API alike."""
    add_room(client.app.state.store, RoomForm(name="Elsewhere", key=OTHER), crawl_now(client))  # type: ignore[attr-defined]
    known = keys(client)
    asked = [one for one in crawl.asked if f"/{ROOM}/" in one and of_things(route_of(one))]
    asked += [
        address
        for path in reads(client)
        if of_things(path)
        for address in addresses(client, path, known)
    ]
    assert len(asked) > 300
    open_ = {}
    for address in asked:
        answer = client.get(address.replace(f"/{ROOM}/", f"/{OTHER}/"))
        if answer.status_code != 404:
            open_[address] = answer.status_code
    assert open_ == {}, "\n".join(f"{at} {code}" for at, code in sorted(open_.items()))


def of_things(path: str) -> bool:
    """Whether an address names a thing of a room besides the room."""
    named = set(re.findall(r"{(\w+)", path)) - {"room"} - OF_THE_PROGRAM
    return "{room}" in path and bool(named)


def crawl_now(client: TestClient) -> datetime:
    """The instant at which the demo stands."""
    return client.app.state.clock()  # type: ignore[attr-defined, no-any-return]

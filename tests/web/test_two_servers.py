"""Two servers in processes of their own on one PostgreSQL database and one shared folder.

What one stores, the other shows: nothing is taken to the one and the same server by a balancer.
"""

import http.client
import json
import re
import time
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

import pytest

from app.clock import utc_now
from app.services.baths.states import baths_of
from app.services.rooms import find_room
from app.services.verifying import verify
from app.store.engine import open_store
from app.store.migrations import upgrade
from app.store.sessions import reading
from tests.factories import ROOM, believe_clock, furnish
from tests.many_pages import live_pages
from tests.postgres import temporary_database
from tests.running import RunningServer, start_server
from tests.services.law import check_states, true_order

pytestmark = [pytest.mark.postgres, pytest.mark.ordered]
WITHIN_S = 1.0
"""A change is on the other server's open pages within a second."""

Pair = tuple[RunningServer, RunningServer]


@pytest.fixture(scope="module")
def address(postgres_server: str) -> Iterator[str]:
    """A database with the test room."""
    with temporary_database(postgres_server) as url:
        store = open_store(url)
        upgrade(store)
        furnish(store, tanks=2)
        believe_clock(store, utc_now())
        store.close()
        yield url


@pytest.fixture(scope="module")
def pair(address: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pair]:
    """Two servers on it, with one folder."""
    folder = tmp_path_factory.mktemp("shared")
    running = [_start(address, folder) for _ in range(2)]
    yield running[0], running[1]
    for server in running:
        server.stop()


def _start(address: str, folder: Path, *options: str) -> RunningServer:
    return start_server(
        "serve", *options, data_dir=folder, variables={"BATHKEEPER_DATABASE": address}
    )


def ask(
    server: RunningServer, method: str, path: str, body: Any = None, **headers: str
) -> tuple[int, dict[str, str], str]:
    """Status, headers and text of an answer; a mapping is sent as JSON, text as a form."""
    connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=30)
    sent = {name.replace("_", "-"): value for name, value in headers.items()}
    if isinstance(body, str):
        sent |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": server.url}
    elif body is not None:
        body = json.dumps(body)
        sent |= {"Content-Type": "application/json", "Idempotency-Key": uuid.uuid4().hex}
    try:
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        said = dict[str, str]()
        for name, value in answer.getheaders():
            said[name.lower()] = f"{said.get(name.lower(), '')} {value}".strip()
        return answer.status, said, answer.read().decode()
    finally:
        connection.close()


def enter(server: RunningServer, **values: Any) -> int:
    """The status of an entry that a program sends."""
    return ask(server, "POST", f"/api/v1/rooms/{ROOM}/entries", values)[0]


def wash(server: RunningServer, area_cm2: float = 900.0, tank: str = "t1") -> int:
    """Log a wash."""
    return enter(server, kind="wash", tank=tank, resin="slate", area_cm2=area_cm2)


def percent(server: RunningServer, tank: str = "t1") -> float:
    """What is in a bath, as a program reads it."""
    found = json.loads(ask(server, "GET", f"/api/v1/rooms/{ROOM}/tanks/{tank}")[2])
    return float(found["estimate"]["mean"]["mass_percent"])


def soon(what: Callable[[], bool], within_s: float = WITHIN_S) -> bool:
    """Whether something comes true in time."""
    give_up_at_s = time.monotonic() + within_s
    while not what():
        if time.monotonic() > give_up_at_s:
            return False
        time.sleep(0.01)
    return True


def is_settled(server: RunningServer) -> bool:
    """Whether the forecasts of what was entered are made: they change pages once more."""
    tanks = json.loads(ask(server, "GET", f"/api/v1/rooms/{ROOM}/tanks")[2])["tanks"]
    return all(tank["forecast"]["newer_due_at"] is None for tank in tanks)


def test_pages_of_a_server_show_at_once_what_the_other_stored(pair: Pair) -> None:
    one, two = pair
    assert wash(one) == 201
    kept = {path: ask(two, "GET", path) for path in (f"/rooms/{ROOM}", f"/rooms/{ROOM}/tanks/t1")}
    assert {status for status, _, _ in kept.values()} == {200}
    before = percent(two)
    assert wash(one, 1_500.0) == 201
    for path, (_, _, text) in kept.items():
        assert ask(two, "GET", path)[2] != text, path
    assert percent(two) == percent(one)
    assert percent(two) > before


def test_a_copy_that_a_browser_keeps_holds_at_both_until_one_of_them_stores(pair: Pair) -> None:
    """RFC 9110, section 13.1.2: 304 where nothing has changed, whoever is asked."""
    one, two = pair
    path = f"/api/v1/rooms/{ROOM}/tanks"
    assert soon(lambda: is_settled(one), 10)
    tag = ask(one, "GET", path)[1]["etag"]
    assert ask(two, "GET", path, If_None_Match=tag)[0] == 304
    assert ask(two, "GET", path)[1]["etag"] == tag
    assert wash(two) == 201
    assert ask(one, "GET", path, If_None_Match=tag)[0] == 200
    page = f"/rooms/{ROOM}"

    def is_kept_at_both() -> bool:  # but for the turn of a minute, which the page shows
        tag = ask(one, "GET", page)[1]["etag"]
        return {ask(server, "GET", page, If_None_Match=tag)[0] for server in pair} == {304}

    assert soon(lambda: is_settled(one), 10)
    assert is_kept_at_both() or is_kept_at_both()
    tag = ask(one, "GET", page)[1]["etag"]
    assert wash(two) == 201
    assert ask(one, "GET", page, If_None_Match=tag)[0] == 200


def test_an_open_page_hears_within_a_second_of_what_the_other_server_stored(pair: Pair) -> None:
    for writer, listener in (pair, pair[::-1]):
        assert soon(lambda writer=writer: is_settled(writer), 10)
        with live_pages(listener.url, ROOM, 1) as pages:
            time.sleep(1.2)  # what was told just before is over
            heard = pages.notices
            assert wash(writer) == 201
            assert soon(lambda pages=pages, heard=heard: pages.notices > heard)  # type: ignore[misc]


def test_what_one_sets_up_the_other_finds(pair: Pair) -> None:
    one, two = pair
    look = f"/rooms/{ROOM}/find?q=Quartz"
    assert "/tanks/t9" not in ask(two, "GET", look)[2]
    tank = {"kind": "tank", "tank": "t9", "name": "Quartz", "capacity_l": 30, "min_l": 20,
            "solvent": "isopropanol", "fresh_purity_percent": 99, "limit_percent": 10}  # fmt: skip
    assert enter(one, **tank) == 201
    assert "/tanks/t9" in ask(two, "GET", look)[2]


def test_settings_changed_on_one_hold_on_the_other(pair: Pair) -> None:
    one, two = pair
    path = f"/api/v1/rooms/{ROOM}"
    tag = ask(two, "GET", path)[1]["etag"]
    room = json.loads(ask(one, "GET", path)[2])
    names = ("name", "time_zone", "volume_unit", "temperature_unit", "mass_unit", "area_unit")
    sent = {name: room[name] for name in names if name in room} | {"name": "Renamed"}
    assert ask(one, "PUT", path, sent, If_Match=tag)[0] == 200
    assert ask(two, "PUT", path, sent, If_Match=tag)[0] == 412, "what it knew is of before"
    assert "Renamed" in ask(two, "GET", f"/rooms/{ROOM}")[2]


def test_a_tank_held_on_one_takes_no_wash_on_the_other_until_it_is_released(pair: Pair) -> None:
    one, two = pair
    assert enter(one, kind="crew_member", crew="crew", name="Kim", role="lead", by="Kim") == 201
    assert wash(two, tank="t2") == 201
    held = {"kind": "tank_held", "tank": "t2", "reason": "Smells odd", "cause": "lead", "by": "Kim"}
    assert enter(one, **held) == 201
    assert wash(two, tank="t2") in (409, 422)
    released = {
        "kind": "tank_released",
        "tank": "t2",
        "reason": "Aired",
        "by": "Kim",
        "lead": "Kim",
    }
    status, _, text = ask(two, "POST", f"/api/v1/rooms/{ROOM}/entries", released)
    assert status == 201, text
    assert wash(one, tank="t2") == 201


def test_corrections_on_one_server_and_washes_on_the_other_give_the_estimate_of_the_log(
    pair: Pair, address: str
) -> None:
    one, two = pair
    first = uuid.uuid4().hex
    values = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 800}
    assert enter(one, id=first, **values) == 201
    assert wash(one) == 201
    fixed = {**values, "area_cm2": 1_500}
    path = f"/api/v1/rooms/{ROOM}/entries/{first}/correction"
    status, _, text = ask(two, "POST", path, fixed)
    assert status in (200, 201), text
    assert wash(one) == 201
    assert percent(one) == percent(two)
    store = open_store(address)
    with reading(store) as session:
        room = find_room(session, ROOM)
        check_states(session, room, baths_of(room), true_order(session, room))
    store.close()


def test_a_server_that_is_killed_while_it_writes_leaves_all_that_it_acknowledged_to_the_other(
    pair: Pair, address: str
) -> None:
    _, two = pair
    third = _start(address, two.data_dir)
    acknowledged: list[str] = []

    def write(number: int) -> None:
        for count in range(60):
            uid = f"killed-{number}-{count}"
            try:
                status = enter(third, id=uid, kind="wash", tank="t1", resin="slate", area_cm2=500)
            except (OSError, http.client.HTTPException):
                return
            if status == 201:
                acknowledged.append(uid)

    with ThreadPoolExecutor(4) as pool:
        done = [pool.submit(write, number) for number in range(4)]
        assert soon(lambda: len(acknowledged) >= 8, 30)
        third.process.kill()
        third.process.wait()
        for one in done:
            one.result()
    assert wash(two) == 201, "a dead server holds no room"
    for uid in acknowledged:
        assert ask(two, "GET", f"/api/v1/rooms/{ROOM}/entries/{uid}")[0] == 200
    store = open_store(address)
    with reading(store) as session:
        assert verify(session, find_room(session, ROOM)).wrong == ""
    store.close()


def test_who_signs_in_on_one_is_known_on_the_other_and_signed_out_of_both(
    address: str, tmp_path: Path
) -> None:
    folder = tmp_path / "shared"
    folder.mkdir()
    one, two = (_start(address, folder, "--sign-in", "on") for _ in range(2))
    try:
        _sign_in_and_out(one, two)
    finally:
        one.stop()
        two.stop()


def _sign_in_and_out(one: RunningServer, two: RunningServer) -> None:
    found = re.search(r"type (\S+)", one.log.read_text())
    assert found is not None
    given = {"code": found[1], "name": "Ada", "secret": "four plain words here"}
    status, headers, _ = ask(one, "POST", "/first-manager", urlencode(given))
    assert status == 303
    cookie = re.findall(r"(?:sign_in|device)=[^;]+", headers["set-cookie"])
    sent = {"Cookie": "; ".join(cookie), "Accept": "text/html"}
    page = f"/rooms/{ROOM}"
    for server in (one, two):
        assert ask(server, "GET", page, Accept="text/html")[0] == 303, "signed out, to the tiles"
        assert ask(server, "GET", page, **sent)[0] == 200
    other = re.search(r"type (\S+)", two.log.read_text())
    assert other is not None
    again = {**given, "code": other[1], "name": "Eve"}
    status = ask(two, "POST", "/first-manager", urlencode(again))[0]
    assert status in (409, 422), "its code was for the first manager, whom another server made"
    assert ask(two, "POST", "/sign-out", "", **sent)[0] == 303
    assert ask(one, "GET", page, **sent)[0] == 303

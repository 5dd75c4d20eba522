"""Every route times every role: the table answers for each, and the program does as it says."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.routing import APIRoute

from app.api import reference
from app.api.application import OPENAPI_PATH, PARTS
from app.domain.errors import NotAllowed
from app.domain.people.actors import Actor
from app.domain.people.permissions import (
    ADDRESSES,
    ALLOWED,
    ANYBODY,
    KINDS,
    LOOK,
    ROLES,
    action_at,
)
from app.domain.roomlog.kinds import KINDS as ALL_KINDS
from app.domain.roomlog.kinds import Entry
from app.services.signatures import signed
from app.store.acting import acted_by
from app.store.sessions import reading
from app.web.pages import PAGES
from tests.web.people.conftest import PEOPLE, Site

NAME_OF = {role: name for name, role in PEOPLE.items()}


def routes() -> Iterator[tuple[str, str]]:
    """Method and path of every route of pages and API, as the routers have them."""
    for part, before in [(page, "") for page in PAGES] + [(one, "/api") for one in PARTS]:
        for route in part.router.routes:
            assert isinstance(route, APIRoute)
            for method in route.methods:
                yield method, before + route.path
    for route in reference.router.routes:
        yield "GET", f"/api{route.path}"
    yield "GET", f"/api{OPENAPI_PATH}"


ROUTES = sorted(set(routes()))


def test_there_are_routes() -> None:
    assert len(ROUTES) > 250


def test_every_route_has_an_answer() -> None:
    assert [route for route in ROUTES if action_at(*route) is None] == []


def test_no_answer_is_left_of_a_route_that_is_gone() -> None:
    assert set(ADDRESSES) == {f"{method} {path}" for method, path in ROUTES}


def test_every_kind_that_the_table_names_is_one() -> None:
    assert set(KINDS) <= set(ALL_KINDS)


def _address(path: str) -> str:
    """An address of the route in a room that is not there: what is allowed ends in 404."""
    return re.sub(r"\{(\w+)\}", lambda found: "0" if found[1] == "account" else "nowhere", path)


@pytest.mark.parametrize("role", ROLES)
def test_each_role_is_let_in_where_the_table_says_so_and_nowhere_else(
    site: Site, role: str
) -> None:
    client, wrong = site.browser(NAME_OF[role]), []
    for method, path in ROUTES:
        if path == "/sign-out":
            continue  # its own test: it ends the session
        action = action_at(method, path) or ""
        may = action == ANYBODY or role in ALLOWED[action]
        sent = {"json": {}} if path.startswith("/api") and method != "GET" else {}
        answer = client.request(method, _address(path), **sent)
        is_in = answer.status_code not in (401, 403)
        if is_in is not may or answer.status_code >= 500:
            wrong.append(f"{method} {path}: {answer.status_code}, {action}")
    assert wrong == []


def test_nobody_is_let_in_who_is_not_signed_in(site: Site) -> None:
    client, wrong = site.browser(), []
    for method, path in ROUTES:
        answer = client.request(method, _address(path))
        is_in = answer.status_code != 401
        if is_in is not (action_at(method, path) == ANYBODY):
            wrong.append(f"{method} {path}: {answer.status_code}")
    assert wrong == []


def test_an_address_that_the_table_does_not_name_is_refused_to_everybody(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delitem(ADDRESSES, "GET /rooms")  # type: ignore[arg-type]
    assert site.browser("Wren").get("/rooms").status_code == 403


def test_the_guide_names_tests_that_are_there() -> None:
    root = Path(__file__).parents[3]
    guide = (root / "docs/people.md").read_text("utf-8")
    named = set(re.findall(r"`(test_\w+)`", guide))
    files = set(re.findall(r"`(tests/[\w/.]+)`", guide))
    there = {
        name
        for folder in ("web", "domain", "services")
        for path in (root / "tests" / folder / "people").glob("test_*.py")
        for name in re.findall(r"^def (test_\w+)", path.read_text("utf-8"), re.MULTILINE)
    }
    assert len(named) > 10
    assert named <= there, named - there
    assert all((root / name).exists() for name in files)


def test_a_screen_only_reads() -> None:
    for method, path in ROUTES:
        action = action_at(method, path)
        if action != ANYBODY and method != "GET" and path not in ("/sign-out", "/own-secret"):
            assert "screen" not in ALLOWED[action or ""], (method, path)


def test_only_a_manager_sets_prices_and_looks_after_people() -> None:
    for method, path in ROUTES:
        if "/spend/prices" in path and method == "POST":
            assert ALLOWED[action_at(method, path) or ""] == ("manager",)
        if path.startswith("/people"):
            assert ALLOWED[action_at(method, path) or ""] == ("manager",)


MANAGERS_OWN = {"price_list", "other_cost", "crew_member"}
AGREED_TO_BY_A_LEAD = {"pour", "drum_transfer", "tank_build"}
"""Logged by anybody, with a lead's word at a limit."""


def _bare(kind: type[Entry], by: str) -> Entry:
    """An entry of that kind with nothing but whose it is."""
    made = object.__new__(kind)
    given = {"by": by, "lead": None, "second": None, "withdraws": "", "drum": "none"}
    for name, value in given.items():
        object.__setattr__(made, name, value)
    return made


@pytest.mark.parametrize("kind", sorted(ALL_KINDS))
def test_the_door_asks_the_role_for_every_kind(
    site: Site, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.services.signatures.entry_row", lambda *_: None)
    let_in = set()
    for role in ROLES:
        actor = Actor("Kim", role)
        with reading(site.store) as session, acted_by(actor):
            try:
                signed(session, 1, [_bare(ALL_KINDS[kind], "Kim")], None)
                let_in.add(role)
            except NotAllowed:
                pass
    assert "screen" not in let_in
    assert "manager" in let_in
    if kind in MANAGERS_OWN:
        assert let_in == {"manager"}
    if "lead" in ALL_KINDS[kind].specs() and kind not in AGREED_TO_BY_A_LEAD:
        assert "technician" not in let_in, "it bears a lead's name"
    if kind in ("wash", "reading", "swap_started", "step_done", "incident", "tank_held", "cure"):
        assert let_in == {"technician", "lead", "manager"}


def test_with_sign_in_off_nothing_is_asked(make_site: Callable[..., Site]) -> None:
    client = make_site(sign_in=None, with_people=False).browser()
    for method, path in ROUTES:
        if method == "GET" and action_at(method, path) == LOOK and "{" not in path:
            assert client.get(path).status_code in (200, 303), path

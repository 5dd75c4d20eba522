"""A site whose people sign in: a manager, a lead, a technician and a screen."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.config import Settings
from app.main import create_app
from app.services.people.hashing import slow_digest
from app.services.people.signing import open_session
from app.services.people.throttling import Client
from app.services.transaction import write
from app.store.engine import Store
from app.store.instants import to_us
from app.store.people_tables import AccountRow
from tests.clocks import Clock
from tests.connections import watched
from tests.factories import NOW, furnish
from tests.furnished import prepare

PEOPLE = {"Wren": "manager", "Lee": "lead", "Kim": "technician", "Wall": "screen"}
SECRETS = {"Wren": "four plain words here", "Lee": "9355", "Kim": "4071", "Wall": "2846"}
DIGESTS: dict[str, str] = {}
HOST = "http://room.test"


@dataclass
class Site:
    """A site whose people sign in, and browsers that do."""

    app: FastAPI
    clock: Clock
    numbers: dict[str, int] = field(default_factory=dict)

    @property
    def store(self) -> Store:
        return self.app.state.store

    def browser(self, name: str = "", address: str = "192.0.2.7") -> TestClient:
        """A browser without scripts; of a name one in which that person is signed in."""
        client = TestClient(
            self.app, base_url=HOST, follow_redirects=False, client=(address, 50000)
        )
        if name:
            opened = open_session(self.store, self.numbers[name], Client(address), self.clock())
            client.cookies.set("sign_in", opened.token, domain="room.test", path="/")
        return client

    def sign_in(self, client: TestClient, name: str, secret: str = "", **more: str) -> Any:
        """Type somebody's PIN or password."""
        sent = {"who": str(self.numbers[name]), "secret": secret or SECRETS[name], **more}
        return client.post("/sign-in", data=sent)


def add_people(store: Store) -> dict[str, int]:
    """The people, who have chosen their secrets; their numbers."""
    numbers = {}
    with write(store) as session:
        for name, role in PEOPLE.items():
            digest = DIGESTS.get(name) or DIGESTS.setdefault(name, slow_digest(SECRETS[name]))
            row = AccountRow(
                name=name, folded=name.casefold(), role=role, secret=digest, must_change=False,
                made_at_us=to_us(NOW),
            )  # fmt: skip
            session.add(row)
            session.flush()
            assert row.id is not None
            numbers[name] = row.id
    return numbers


@pytest.fixture
def make_site(tmp_path: Path) -> Iterator[Callable[..., Site]]:
    """Make a site with sign-in on; `with_people=False`: as it starts for the first time."""
    open_ones: list[Any] = []

    def make(*, with_people: bool = True, **settings: Any) -> Site:
        prepare(tmp_path)
        clock = Clock()
        settings = {"sign_in": True, "allowed_hosts": ("room.test",), **settings}
        app = create_app(Settings(data_dir=tmp_path, **settings), clock=clock)
        furnish(app.state.store, tanks=2)
        site = Site(app, clock)
        if with_people:
            site.numbers = add_people(app.state.store)
        held = watched(app)
        held.__enter__()
        open_ones.append((held, app))
        return site

    yield make
    for held, app in open_ones:
        held.__exit__(None, None, None)
        app.state.store.close()


@pytest.fixture
def site(make_site: Callable[..., Site]) -> Site:
    """A site whose people sign in."""
    return make_site()

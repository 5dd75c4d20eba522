"""Signing in on PostgreSQL: the same tables, and tries that are counted one by one there too."""

import threading
from datetime import timedelta

import pytest

from app.domain.errors import TooSoon
from app.services.people import accounts, signing
from app.services.people.throttling import Client, tried
from app.store.engine import open_store
from app.store.migrations import upgrade
from tests.factories import NOW

pytestmark = pytest.mark.postgres
CLIENT = Client("192.0.2.7", label="a test")
IDLE = timedelta(minutes=30)


def test_people_sign_in_and_out_on_postgres(postgres_url: str) -> None:
    store = open_store(postgres_url)
    upgrade(store)
    manager = accounts.make_first_manager(store, "Ada", "four plain words here", CLIENT, NOW)
    number = accounts.add(store, "Kim", "technician", "4071", "Ada", CLIENT, NOW)
    assert signing.sign_in(store, number, "4072", CLIENT, NOW) is None
    opened = signing.sign_in(store, number, "4071", CLIENT, NOW)
    assert opened is not None
    assert opened.must_change
    here = signing.who_is(store, opened.token, NOW, IDLE)
    assert here is not None
    signing.touch(store, here.session_id, NOW + timedelta(minutes=20))
    assert not signing.who_is(store, opened.token, NOW + timedelta(minutes=45), IDLE).is_idle
    accounts.change_own_secret(store, number, "4071", "8302", CLIENT, NOW)
    assert signing.who_is(store, opened.token, NOW, IDLE) is None
    accounts.change_role(store, number, "manager", "other plain words", "Ada", CLIENT, NOW)
    accounts.leave(store, manager, "Kim", CLIENT, NOW)
    with pytest.raises(accounts.Conflict, match="only manager"):
        accounts.leave(store, number, "Kim", CLIENT, NOW)
    store.close()


def test_tries_on_two_servers_at_once_are_counted_one_by_one(postgres_url: str) -> None:
    servers = [open_store(postgres_url) for _ in range(2)]
    upgrade(servers[0])
    number = accounts.make_first_manager(servers[0], "Ada", "four plain words here", CLIENT, NOW)
    for store in servers:  # the count begins
        assert not tried(store, number, CLIENT, NOW, lambda: False)
    looked_at: list[int] = []
    refused: list[int] = []

    def guess(n: int) -> None:
        try:
            tried(servers[n % 2], number, CLIENT, NOW, lambda: bool(looked_at.append(n)))
        except TooSoon:
            refused.append(n)

    threads = [threading.Thread(target=guess, args=(n,)) for n in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(looked_at) == 3, "two before, three now: five in all"
    assert len(refused) == 9
    for store in servers:
        store.close()

"""A log is what was stored, also once its database came from an older version, or was restored."""

from pathlib import Path

import pytest
from alembic import command
from sqlmodel import Session

from app.services.chaining import chain_up
from app.services.deleting import deleted
from app.services.door import bring_in
from app.services.rebuilding import rebuild_outdated
from app.services.rooms import find_room
from app.services.verifying import verify
from app.store.backups import back_up, restore
from app.store.engine import Store, open_store
from app.store.migrations import HEAD, alembic_config, known_revisions, upgrade
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store

OLDER = sorted(known_revisions() - {HEAD})


def is_well(store: Store) -> int:
    """How many entries verify; all of them do."""
    with Session(store.reader) as session:
        walked = verify(session, find_room(session, ROOM))
    assert walked.wrong == ""
    return walked.count


@pytest.fixture
def logged(tmp_path: Path) -> Store:
    """A room with some washes."""
    store = new_store(tmp_path / "data")
    furnish(store, tanks=2)
    bring_in(store, ROOM, [wash(number / 10, id=f"w{number}") for number in range(1, 9)], NOW)
    return store


@pytest.mark.parametrize("revision", OLDER)
def test_a_log_that_comes_from_an_older_version_verifies(logged: Store, revision: str) -> None:
    count = is_well(logged)
    with logged.writer.begin() as connection:
        command.downgrade(alembic_config(connection), revision)
    logged.committed()
    assert upgrade(logged)
    rebuild_outdated(logged, NOW)
    chain_up(logged, NOW)
    assert is_well(logged) == count
    bring_in(logged, ROOM, [wash(0.01, id="afterwards")], NOW)
    assert is_well(logged) == count + 1
    logged.close()


def test_a_restored_log_verifies(logged: Store, tmp_path: Path) -> None:
    count = is_well(logged)
    logged.close()
    made = back_up(tmp_path / "data", tmp_path / "backups", NOW)
    restore(made, tmp_path / "again")
    store = open_store(f"sqlite:///{tmp_path / 'again' / 'bathkeeper.sqlite3'}")
    assert is_well(store) == count
    with Session(store.reader) as session:
        assert deleted(session) == []
    store.close()

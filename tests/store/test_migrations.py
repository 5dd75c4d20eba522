"""A database is brought to the newest form, and one from a newer program is refused."""

from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text
from sqlmodel import SQLModel

from app.domain.errors import DomainError
from app.store import migrations
from app.store.engine import open_store
from tests.factories import new_store


def test_an_empty_database_is_brought_up_once(tmp_path: Path) -> None:
    store = open_store(f"sqlite:///{tmp_path / 'x.sqlite3'}")
    assert migrations.upgrade(store)
    assert not migrations.upgrade(store)
    store.close()


def test_the_migrations_make_the_tables(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    with store.writer.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), SQLModel.metadata)
    assert differences == []
    store.close()


def test_the_newest_form_is_the_last_migration() -> None:
    assert max(migrations.known_revisions()) == migrations.HEAD


def test_a_database_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    with store.writer.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(DomainError, match="newer version"):
        migrations.upgrade(store)
    store.close()


def test_the_tables_can_be_taken_back(tmp_path: Path) -> None:
    from alembic import command

    store = new_store(tmp_path)
    with store.writer.begin() as connection:
        command.downgrade(migrations.alembic_config(connection), "base")
    with store.writer.connect() as connection:
        assert migrations.present_revision(connection) is None
    store.close()

"""Empty databases on a PostgreSQL server, for tests."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import Connection, Engine, create_engine, make_url, text
from sqlalchemy.exc import OperationalError


@contextmanager
def temporary_database(server_url: str, like: str | None = None) -> Iterator[str]:
    """The address of a new database, dropped at the end; skips where the server is away.

    It is empty, or a copy of the one whose address is `like`. What it acknowledges need not
    outlive a failure of the machine, which no test of a server waits for.
    """
    copied = f" TEMPLATE {make_url(like).database}" if like else ""
    name = f"bathkeeper_test_{secrets.token_hex(6)}"
    engine = create_engine(server_url, isolation_level="AUTOCOMMIT")
    try:
        connection = _connect(engine)
        connection.execute(text(f"CREATE DATABASE {name}{copied}"))
        try:
            connection.execute(text(f"ALTER DATABASE {name} SET synchronous_commit = off"))
            yield make_url(server_url).set(database=name).render_as_string(hide_password=False)
        finally:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
            connection.close()
    finally:
        engine.dispose()


def _connect(engine: Engine) -> Connection:
    try:
        return engine.connect()
    except OperationalError as error:
        pytest.skip(f"no PostgreSQL: {error}")

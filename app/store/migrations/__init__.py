"""Bringing a database to the present form, and refusing one from a newer program.

Alembic is configured in code and only imported when there is something to do.
"""

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, inspect, text

from app.domain.errors import DomainError
from app.store.across import hold_against_others
from app.store.engine import Store

HEAD = "0017"
_HERE = Path(__file__).parent


def upgrade(store: Store) -> bool:
    """Bring the database to the newest form; True when anything was done.

    Raises:
        DomainError: the database was made by a newer version of the program.
    """
    with store.writer.connect() as connection:
        present = present_revision(connection)
    if present == HEAD:
        store.mark_in_use()
        return False
    if present is not None and present not in known_revisions():
        raise DomainError(
            f"The database has form {present}, which this version does not know: it was made by a "
            "newer version of the program. Start that version, or name another data folder."
        )
    from alembic import command  # noqa: PLC0415  (a start without migrations is quicker)

    with store.writer.begin() as connection:
        hold_against_others(connection, "migrations")  # of those that start at once, one does it
        command.upgrade(alembic_config(connection), HEAD)
    store.committed()
    store.mark_in_use()
    return True


def present_revision(connection: Connection) -> str | None:
    """The form the database is in, None when it is empty."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def known_revisions() -> set[str]:
    """All forms this version can start from."""
    return {path.name.split("_")[0] for path in (_HERE / "versions").glob("[0-9]*.py")}


def alembic_config(connection: Connection) -> Any:
    """Alembic's configuration, working on an open connection."""
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(_HERE))
    config.attributes["connection"] = connection
    return config

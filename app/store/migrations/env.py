"""Entry point of Alembic; it works on the connection that the program hands over."""

from typing import Any, Literal

from alembic import context
from sqlmodel import SQLModel
from sqlmodel.sql.sqltypes import AutoString

import app.store.chain_tables
import app.store.import_tables
import app.store.litres_tables
import app.store.people_tables
import app.store.photo_tables
import app.store.spend.tables
import app.store.tables  # noqa: F401  (fills the metadata)


def render_item(kind: str, item: Any, _: Any) -> str | Literal[False]:
    """Write SQLModel's text type as plain SQLAlchemy, so that migrations need no SQLModel."""
    if kind == "type" and isinstance(item, AutoString):
        return f"sa.String(length={item.length})"
    return False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    render_item=render_item,
)
with context.begin_transaction():
    context.run_migrations()

"""Entry point of Alembic; it works on the connection that the program hands over."""

from alembic import context
from sqlmodel import SQLModel

import app.store.tables  # noqa: F401  (fills the metadata)

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()

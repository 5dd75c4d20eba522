"""photos of rooms, files that are read

Which photos a room has: those that its log names so far. And how far a server is with a file.
"""

import re

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

PHOTO = re.compile(r'"photo": ?"([0-9a-f]{64})"|photo:([0-9a-f]{64})')
PAGE = 2000


def upgrade() -> None:
    """Apply."""
    table = op.create_table(
        "room_photo",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("photo", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_room_photo_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "photo", name=op.f("pk_room_photo")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_room_photo_photo"), "room_photo", ["photo"])
    _note_named(table)
    op.create_table(
        "import_job",
        sa.Column("token", sa.String(length=100), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("owner", sa.String(length=40), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("phase", sa.String(length=40), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("stored", sa.Integer(), nullable=False),
        sa.Column("run", sa.String(length=100), nullable=False),
        sa.Column("is_cancelled", sa.Boolean(), nullable=False),
        sa.Column("touched_at_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("token", name=op.f("pk_import_job")),
    )


def _note_named(table: sa.Table) -> None:
    bind = op.get_bind()
    entry = sa.table("entry", sa.column("room_id"), sa.column("fields"))
    named = set[tuple[int, str]]()
    rows = bind.execute(
        sa.select(entry.c.room_id, entry.c.fields).where(entry.c.fields.contains("photo")),
        execution_options={"yield_per": PAGE},
    )
    for room_id, fields in rows:
        named |= {(room_id, one or other) for one, other in PHOTO.findall(fields)}
    if named:
        op.bulk_insert(table, [{"room_id": room, "photo": one} for room, one in sorted(named)])


def downgrade() -> None:
    """Take back."""
    op.drop_table("import_job")
    op.drop_table("room_photo")

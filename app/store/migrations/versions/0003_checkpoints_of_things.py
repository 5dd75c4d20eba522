"""states of things at earlier places of their books"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

COUNTED = """
UPDATE thing SET entries = (
    SELECT count(*) FROM link JOIN entry ON entry.id = link.entry_id
    WHERE link.room_id = thing.room_id AND link.thing = thing.thing AND link.key = thing.key
    AND entry.voided_by IS NULL
)
"""


def upgrade() -> None:
    """Apply."""
    op.add_column(
        "thing", sa.Column("entries", sa.BigInteger(), nullable=False, server_default="0")
    )
    op.execute(COUNTED)
    op.create_table(
        "thing_checkpoint",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("thing", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id"], ["room.id"], name=op.f("fk_thing_checkpoint_room_id_room")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_thing_checkpoint")),
    )
    op.create_index(
        op.f("ix_thing_checkpoint_room_id_thing_key_entries"),
        "thing_checkpoint",
        ["room_id", "thing", "key", "entries"],
        unique=False,
    )


def downgrade() -> None:
    """Take back."""
    op.drop_table("thing_checkpoint")
    op.drop_column("thing", "entries")

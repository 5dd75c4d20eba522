"""books of things, and which entries stand in them"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "link",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("thing", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_link_entry_id_entry")),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_link_room_id_room")),
        sa.PrimaryKeyConstraint("entry_id", "thing", "key", name=op.f("pk_link")),
    )
    op.create_index(
        op.f("ix_link_room_id_thing_key_moment_us_rank_sequence"),
        "link",
        ["room_id", "thing", "key", "moment_us", "rank", "sequence"],
        unique=False,
    )
    op.create_table(
        "thing",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("thing", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_thing_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "thing", "key", name=op.f("pk_thing")),
    )
    op.create_index(
        op.f("ix_thing_room_id_thing_is_open"),
        "thing",
        ["room_id", "thing", "is_open"],
        unique=False,
    )


def downgrade() -> None:
    """Take back."""
    op.drop_table("thing")
    op.drop_table("link")

"""book of litres

Its states and postings. Nothing is said of what is there: at the next start the book is posted
from the log.
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def _place() -> list[sa.Column[int]]:
    return [
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
    ]


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "litres_head",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        *_place(),
        sa.Column("state", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_litres_head_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_litres_head")),
    )
    op.create_table(
        "litres_mark",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        *_place(),
        sa.Column("state", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_litres_mark_room_id_room")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_litres_mark")),
    )
    op.create_index(
        op.f("ix_litres_mark_room_id_moment_us"), "litres_mark", ["room_id", "moment_us"]
    )
    op.create_table(
        "litres_posting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        *_place(),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(length=300), nullable=False),
        sa.Column("target", sa.String(length=300), nullable=False),
        sa.Column("amount_ul", sa.BigInteger(), nullable=False),
        sa.Column("why", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name=op.f("fk_litres_posting_entry_id_entry")
        ),
        sa.ForeignKeyConstraint(
            ["room_id"], ["room.id"], name=op.f("fk_litres_posting_room_id_room")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_litres_posting")),
    )
    for columns in (
        ["room_id", "moment_us", "rank", "sequence"],
        ["room_id", "source", "moment_us"],
        ["room_id", "target", "moment_us"],
    ):
        name = "_".join(["ix_litres_posting", *columns])
        op.create_index(op.f(name), "litres_posting", columns)


def downgrade() -> None:
    """Take back."""
    for table in ("litres_posting", "litres_mark", "litres_head"):
        op.drop_table(table)
    op.execute("DELETE FROM projection WHERE name = 'litres'")

"""deleted rooms

What stays of a room that was deleted: who, when, how many entries, the end of its chain.
"""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "deleted_room",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("created_at_us", sa.BigInteger(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("photos", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_deleted_room")),
    )


def downgrade() -> None:
    """Take back."""
    op.drop_table("deleted_room")

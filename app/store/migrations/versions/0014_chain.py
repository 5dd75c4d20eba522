"""chain

A digest for each entry, over it and the digest before. The first start fills them in.
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "chain",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("since_us", sa.BigInteger(), nullable=False),
        sa.Column("before", sa.BigInteger(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_chain_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_chain")),
    )
    op.create_table(
        "chain_link",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_chain_link_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "number", name=op.f("pk_chain_link")),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    """Take back."""
    for table in ("chain_link", "chain"):
        op.drop_table(table)

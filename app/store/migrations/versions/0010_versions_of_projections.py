"""versions of projections

Which version kept what, for books as for estimates and costs. Nothing is said of what is there:
at the next start all of it is worked out anew from the log.
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "projection",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("version", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_projection_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "name", "kind", name=op.f("pk_projection")),
    )
    with op.batch_alter_table("spend_head") as table:
        table.drop_column("format")
        table.drop_column("time_zone")


def downgrade() -> None:
    """Take back."""
    op.execute("DELETE FROM spend_head")
    with op.batch_alter_table("spend_head") as table:
        table.add_column(sa.Column("format", sa.String(length=16), nullable=False))
        table.add_column(sa.Column("time_zone", sa.String(length=64), nullable=False))
    op.drop_table("projection")

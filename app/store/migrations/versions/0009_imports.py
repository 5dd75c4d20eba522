"""imports"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    _runs()
    op.create_table(
        "import_part",
        sa.Column("import_id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=False),
        sa.Column("last_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_import_part_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("import_id", "first_id", name=op.f("pk_import_part")),
    )
    op.create_table(
        "behind",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("late_us", sa.BigInteger(), nullable=True),
        sa.Column("late_rank", sa.Integer(), nullable=True),
        sa.Column("late_sequence", sa.BigInteger(), nullable=True),
        sa.Column("is_estimated", sa.Boolean(), nullable=False),
        sa.Column("owner", sa.String(length=40), nullable=False),
        sa.Column("touched_at_us", sa.BigInteger(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_behind_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_behind")),
    )


def _runs() -> None:
    op.create_table(
        "import_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(length=100), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("undoes", sa.Integer(), nullable=True),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("owner", sa.String(length=40), nullable=False),
        sa.Column("started_at_us", sa.BigInteger(), nullable=False),
        sa.Column("touched_at_us", sa.BigInteger(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.Column("kept", sa.Integer(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_import_run_room_id_room")),
        sa.ForeignKeyConstraint(
            ["undoes"], ["import_run.id"], name=op.f("fk_import_run_undoes_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_run")),
        sa.UniqueConstraint("token", name=op.f("uq_import_run_token")),
    )
    op.create_index(
        op.f("ix_import_run_room_id_state"), "import_run", ["room_id", "state"], unique=False
    )


def downgrade() -> None:
    """Take back."""
    for table in ("behind", "import_part", "import_run"):
        op.drop_table(table)

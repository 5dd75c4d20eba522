"""roll-ups of costs"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "spend_head",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("format", sa.String(length=16), nullable=False),
        sa.Column("time_zone", sa.String(length=64), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_spend_head_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_spend_head")),
    )
    op.create_table(
        "spend_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("part", sa.String(length=80), nullable=False),
        sa.Column("week", sa.Integer(), nullable=False),
        sa.Column("side", sa.String(length=8), nullable=False),
        sa.Column("entry", sa.String(length=64), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("category", sa.String(length=16), nullable=False),
        sa.Column("cents", sa.BigInteger(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("tank", sa.String(length=64), nullable=False),
        sa.Column("item", sa.String(length=64), nullable=False),
        sa.Column("solvent", sa.String(length=64), nullable=False),
        sa.Column("quantity", sa.Float(), nullable=False),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("purpose", sa.String(length=32), nullable=False),
        sa.Column("swap", sa.String(length=64), nullable=False),
        sa.Column("is_swap", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_spend_line_room_id_room")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spend_line")),
    )
    op.create_index(
        op.f("ix_spend_line_room_id_part_week"),
        "spend_line",
        ["room_id", "part", "week"],
        unique=False,
    )
    op.create_index(
        op.f("ix_spend_line_room_id_swap"), "spend_line", ["room_id", "swap"], unique=False
    )
    op.create_index(
        op.f("ix_spend_line_room_id_tank_at_us"),
        "spend_line",
        ["room_id", "tank", "at_us"],
        unique=False,
    )
    op.create_index(
        op.f("ix_spend_line_room_id_week_side"),
        "spend_line",
        ["room_id", "week", "side"],
        unique=False,
    )
    op.create_table(
        "spend_parts",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Integer(), nullable=False),
        sa.Column("washes", sa.Integer(), nullable=False),
        sa.Column("mass_ug", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_spend_parts_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "week", name=op.f("pk_spend_parts")),
    )
    op.create_table(
        "spend_state",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("part", sa.String(length=80), nullable=False),
        sa.Column("week", sa.Integer(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_spend_state_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "part", "week", name=op.f("pk_spend_state")),
    )
    op.create_table(
        "spend_wash",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Integer(), nullable=False),
        sa.Column("tank", sa.String(length=64), nullable=False),
        sa.Column("fill", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("resin", sa.String(length=64), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("late", sa.Integer(), nullable=False),
        sa.Column("resin_in_ug", sa.BigInteger(), nullable=False),
        sa.Column("resin_out_ug", sa.BigInteger(), nullable=False),
        sa.Column("evaporated_ug", sa.BigInteger(), nullable=False),
        sa.Column("liquid_out_ug", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_spend_wash_room_id_room")),
        sa.PrimaryKeyConstraint(
            "room_id", "week", "tank", "fill", "kind", "resin", name=op.f("pk_spend_wash")
        ),
    )
    op.create_index(
        op.f("ix_spend_wash_room_id_tank_fill_week"),
        "spend_wash",
        ["room_id", "tank", "fill", "week"],
        unique=False,
    )
    op.create_table(
        "spend_week",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Integer(), nullable=False),
        sa.Column("side", sa.String(length=8), nullable=False),
        sa.Column("category", sa.String(length=16), nullable=False),
        sa.Column("is_swap", sa.Boolean(), nullable=False),
        sa.Column("solvent", sa.String(length=64), nullable=False),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("is_item", sa.Boolean(), nullable=False),
        sa.Column("lines", sa.Integer(), nullable=False),
        sa.Column("cents", sa.BigInteger(), nullable=False),
        sa.Column("quantity", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_spend_week_room_id_room")),
        sa.PrimaryKeyConstraint(
            "room_id",
            "week",
            "side",
            "category",
            "is_swap",
            "solvent",
            "unit",
            "is_item",
            name=op.f("pk_spend_week"),
        ),
    )


def downgrade() -> None:
    """Take back."""
    op.drop_table("spend_week")
    op.drop_table("spend_wash")
    op.drop_table("spend_state")
    op.drop_table("spend_parts")
    op.drop_table("spend_line")
    op.drop_table("spend_head")

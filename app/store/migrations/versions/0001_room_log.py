"""room log and what is worked out from it"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "room",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("time_zone", sa.String(length=64), nullable=False),
        sa.Column("volume_unit", sa.String(length=8), nullable=False),
        sa.Column("temperature_unit", sa.String(length=8), nullable=False),
        sa.Column("mass_unit", sa.String(length=8), nullable=False),
        sa.Column("area_unit", sa.String(length=8), nullable=False),
        sa.Column("created_at_us", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_room")),
        sa.UniqueConstraint("key", name=op.f("uq_room_key")),
    )
    op.create_table(
        "submission",
        sa.Column("key", sa.String(length=100), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_submission")),
    )
    op.create_index(op.f("ix_submission_at_us"), "submission", ["at_us"], unique=False)
    op.create_table(
        "checkpoint",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_checkpoint_room_id_room")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checkpoint")),
    )
    op.create_index(
        op.f("ix_checkpoint_room_id_moment_us"),
        "checkpoint",
        ["room_id", "moment_us"],
        unique=False,
    )
    op.create_table(
        "entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("tank", sa.String(length=64), nullable=True),
        sa.Column("resin", sa.String(length=64), nullable=True),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("entered_at_us", sa.BigInteger(), nullable=True),
        sa.Column("recorded_at_us", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("corrects", sa.String(length=64), nullable=True),
        sa.Column("fields", sa.Text(), nullable=False),
        sa.Column("voided_by", sa.String(length=64), nullable=True),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_entry_room_id_room")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entry")),
    )
    op.create_index(
        op.f("ix_entry_room_id_at_us_id"), "entry", ["room_id", "at_us", "id"], unique=False
    )
    op.create_index(
        op.f("ix_entry_room_id_kind_at_us_id"),
        "entry",
        ["room_id", "kind", "at_us", "id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_entry_room_id_moment_us_rank_sequence"),
        "entry",
        ["room_id", "moment_us", "rank", "sequence"],
        unique=False,
    )
    op.create_index(
        op.f("ix_entry_room_id_tank_at_us_id"),
        "entry",
        ["room_id", "tank", "at_us", "id"],
        unique=False,
    )
    op.create_index(op.f("ix_entry_room_id_uid"), "entry", ["room_id", "uid"], unique=True)
    op.create_table(
        "head",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_head_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_head")),
    )
    op.create_table(
        "person",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("last_at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_person_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "name", name=op.f("pk_person")),
    )
    op.create_table(
        "resin",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("density_g_ml", sa.Float(), nullable=False),
        sa.Column("is_filled", sa.Boolean(), nullable=False),
        sa.Column("filler_percent", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_resin_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "key", name=op.f("pk_resin")),
    )
    op.create_table(
        "tank",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("is_retired", sa.Boolean(), nullable=False),
        sa.Column("started_at_us", sa.BigInteger(), nullable=False),
        sa.Column("capacity_l", sa.Float(), nullable=False),
        sa.Column("min_l", sa.Float(), nullable=True),
        sa.Column("solvent", sa.String(length=64), nullable=False),
        sa.Column("fresh_purity_percent", sa.Float(), nullable=False),
        sa.Column("pair", sa.String(length=64), nullable=True),
        sa.Column("swap_started_at_us", sa.BigInteger(), nullable=True),
        sa.Column("fill", sa.Integer(), nullable=False),
        sa.Column("fill_started_at_us", sa.BigInteger(), nullable=False),
        sa.Column("washes_since_fill", sa.Integer(), nullable=False),
        sa.Column("life_days", sa.Float(), nullable=True),
        sa.Column("life_washes", sa.Integer(), nullable=True),
        sa.Column("life_washes_at_us", sa.BigInteger(), nullable=True),
        sa.Column("limit_percent", sa.Float(), nullable=False),
        sa.Column("limit_basis", sa.String(length=16), nullable=False),
        sa.Column("limit_entered", sa.Float(), nullable=False),
        sa.Column("stop_percent", sa.Float(), nullable=False),
        sa.Column("stop_basis", sa.String(length=16), nullable=False),
        sa.Column("stop_entered", sa.Float(), nullable=False),
        sa.Column("mean_percent", sa.Float(), nullable=False),
        sa.Column("p05_percent", sa.Float(), nullable=False),
        sa.Column("p95_percent", sa.Float(), nullable=False),
        sa.Column("tomorrow_percent", sa.Float(), nullable=True),
        sa.Column("volume_l", sa.Float(), nullable=False),
        sa.Column("resin_g", sa.Float(), nullable=False),
        sa.Column("solvent_density_g_ml", sa.Float(), nullable=False),
        sa.Column("resin_density_g_ml", sa.Float(), nullable=False),
        sa.Column("estimated_at_us", sa.BigInteger(), nullable=False),
        sa.Column("flags", sa.String(length=400), nullable=False),
        sa.Column("last_entry_kind", sa.String(length=32), nullable=True),
        sa.Column("last_entry_at_us", sa.BigInteger(), nullable=True),
        sa.Column("last_reading_at_us", sa.BigInteger(), nullable=True),
        sa.Column("last_wash_at_us", sa.BigInteger(), nullable=True),
        sa.Column("limit_is_passed", sa.Boolean(), nullable=False),
        sa.Column("limit_p10_us", sa.BigInteger(), nullable=True),
        sa.Column("limit_p50_us", sa.BigInteger(), nullable=True),
        sa.Column("limit_p90_us", sa.BigInteger(), nullable=True),
        sa.Column("limit_chance", sa.Float(), nullable=False),
        sa.Column("limit_passed_at_us", sa.BigInteger(), nullable=True),
        sa.Column("stop_is_passed", sa.Boolean(), nullable=False),
        sa.Column("stop_p50_us", sa.BigInteger(), nullable=True),
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("forecast_at_us", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("capacity_l > 0", name=op.f("ck_tank_capacity")),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_tank_room_id_room")),
        sa.PrimaryKeyConstraint("room_id", "key", name=op.f("pk_tank")),
    )
    op.create_table(
        "course",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("tank", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("resin", sa.String(length=64), nullable=True),
        sa.Column("fill", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("moment_us", sa.BigInteger(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("mean_before_percent", sa.Float(), nullable=False),
        sa.Column("mean_percent", sa.Float(), nullable=False),
        sa.Column("p05_percent", sa.Float(), nullable=False),
        sa.Column("p95_percent", sa.Float(), nullable=False),
        sa.Column("resin_in_g", sa.Float(), nullable=False),
        sa.Column("resin_out_g", sa.Float(), nullable=False),
        sa.Column("evaporated_g", sa.Float(), nullable=False),
        sa.Column("correction_g", sa.Float(), nullable=False),
        sa.Column("measured_percent", sa.Float(), nullable=True),
        sa.Column("measured_sd_percent", sa.Float(), nullable=True),
        sa.Column("slip_weight", sa.Float(), nullable=True),
        sa.Column("is_set_aside", sa.Boolean(), nullable=False),
        sa.Column("is_apparent", sa.Boolean(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_course_entry_id_entry")),
        sa.ForeignKeyConstraint(["room_id"], ["room.id"], name=op.f("fk_course_room_id_room")),
        sa.PrimaryKeyConstraint("entry_id", name=op.f("pk_course")),
    )
    op.create_index(
        op.f("ix_course_room_id_moment_us_rank_sequence"),
        "course",
        ["room_id", "moment_us", "rank", "sequence"],
        unique=False,
    )
    op.create_index(
        op.f("ix_course_room_id_tank_at_us"), "course", ["room_id", "tank", "at_us"], unique=False
    )
    op.create_index(
        op.f("ix_course_room_id_tank_fill_at_us"),
        "course",
        ["room_id", "tank", "fill", "at_us"],
        unique=False,
    )


def downgrade() -> None:
    """Take back."""
    op.drop_index(op.f("ix_course_room_id_tank_fill_at_us"), table_name="course")
    op.drop_index(op.f("ix_course_room_id_tank_at_us"), table_name="course")
    op.drop_index(op.f("ix_course_room_id_moment_us_rank_sequence"), table_name="course")
    op.drop_table("course")
    op.drop_table("tank")
    op.drop_table("resin")
    op.drop_table("person")
    op.drop_table("head")
    op.drop_index(op.f("ix_entry_room_id_uid"), table_name="entry")
    op.drop_index(op.f("ix_entry_room_id_tank_at_us_id"), table_name="entry")
    op.drop_index(op.f("ix_entry_room_id_moment_us_rank_sequence"), table_name="entry")
    op.drop_index(op.f("ix_entry_room_id_kind_at_us_id"), table_name="entry")
    op.drop_index(op.f("ix_entry_room_id_at_us_id"), table_name="entry")
    op.drop_table("entry")
    op.drop_index(op.f("ix_checkpoint_room_id_moment_us"), table_name="checkpoint")
    op.drop_table("checkpoint")
    op.drop_index(op.f("ix_submission_at_us"), table_name="submission")
    op.drop_table("submission")
    op.drop_table("room")

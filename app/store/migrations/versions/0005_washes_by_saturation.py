"""washes by saturation"""

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_index(
        op.f("ix_course_room_id_tank_mean_before_percent"),
        "course",
        ["room_id", "tank", "mean_before_percent"],
        unique=False,
    )


def downgrade() -> None:
    """Take back."""
    op.drop_index(op.f("ix_course_room_id_tank_mean_before_percent"), table_name="course")

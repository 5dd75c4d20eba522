"""when the last entry of a room was recorded"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.add_column("room", sa.Column("last_recorded_us", sa.BigInteger(), nullable=True))


def downgrade() -> None:
    """Take back."""
    op.drop_column("room", "last_recorded_us")

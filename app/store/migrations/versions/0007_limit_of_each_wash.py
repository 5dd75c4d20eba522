"""limit of each wash"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.add_column("course", sa.Column("limit_percent", sa.Float(), nullable=True))


def downgrade() -> None:
    """Take back."""
    op.drop_column("course", "limit_percent")

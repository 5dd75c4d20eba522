"""limit of each wash"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    with op.batch_alter_table("course", schema=None) as batch_op:
        batch_op.add_column(sa.Column("limit_percent", sa.Float(), nullable=True))


def downgrade() -> None:
    """Take back."""
    with op.batch_alter_table("course", schema=None) as batch_op:
        batch_op.drop_column("limit_percent")

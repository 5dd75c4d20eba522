"""forecasts that wait

Of each tank, since when its forecast is to be made anew and at which version of its room that was
said; of each room, how often forecasts were made apart from an entry.
"""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    forecasts = sa.Column("forecasts", sa.BigInteger(), nullable=False, server_default="0")
    op.add_column("room", forecasts)
    op.add_column("tank", sa.Column("forecast_due_us", sa.BigInteger(), nullable=True))
    op.add_column("tank", sa.Column("forecast_due_version", sa.BigInteger(), nullable=True))
    op.create_index(op.f("ix_tank_forecast_due_us"), "tank", ["forecast_due_us"])


def downgrade() -> None:
    """Take back."""
    op.drop_index(op.f("ix_tank_forecast_due_us"), table_name="tank")
    op.drop_column("tank", "forecast_due_version")
    op.drop_column("tank", "forecast_due_us")
    op.drop_column("room", "forecasts")

"""people

Who signs in, their sessions, the tokens of programs, and what was changed about them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

TABLES = ("people_note", "api_token", "failure", "known_device", "sign_in", "account")


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("folded", sa.String(length=240), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("secret", sa.String(length=200), nullable=False),
        sa.Column("must_change", sa.Boolean(), nullable=False),
        sa.Column("made_at_us", sa.BigInteger(), nullable=False),
        sa.Column("left_at_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("folded", name=op.f("uq_account_folded")),
    )
    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("folded", sa.String(length=240), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("made_at_us", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.String(length=80), nullable=False),
        sa.Column("revoked_at_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_token")),
        sa.UniqueConstraint("digest", name=op.f("uq_api_token_digest")),
        sa.UniqueConstraint("folded", name=op.f("uq_api_token_folded")),
    )
    op.create_table(
        "people_note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(length=80), nullable=False),
        sa.Column("client", sa.String(length=160), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_people_note")),
    )
    op.create_index(op.f("ix_people_note_at_us"), "people_note", ["at_us"], unique=False)
    op.create_table(
        "failure",
        sa.Column("key", sa.String(length=100), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_failure_account_id_account")
        ),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_failure")),
    )
    op.create_index(op.f("ix_failure_account_id"), "failure", ["account_id"], unique=False)
    op.create_table(
        "known_device",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_known_device_account_id_account")
        ),
        sa.PrimaryKeyConstraint("account_id", "digest", name=op.f("pk_known_device")),
    )
    op.create_table(
        "sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("made_at_us", sa.BigInteger(), nullable=False),
        sa.Column("seen_at_us", sa.BigInteger(), nullable=False),
        sa.Column("client", sa.String(length=160), nullable=False),
        sa.Column("ended_at_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_sign_in_account_id_account")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("digest", name=op.f("uq_sign_in_digest")),
    )
    op.create_index(
        op.f("ix_sign_in_account_id_ended_at_us"),
        "sign_in",
        ["account_id", "ended_at_us"],
        unique=False,
    )


def downgrade() -> None:
    """Take back."""
    for table in TABLES:
        op.drop_table(table)

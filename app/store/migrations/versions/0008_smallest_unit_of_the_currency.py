"""amounts in the smallest unit of the room's currency

They were hundredths whatever the currency. Rooms whose currency has no decimals, or more of them,
have their amounts written anew in its own smallest unit (to the nearest where there is none so
small); what is worked out from the log is worked out anew when the program starts.
"""

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

OTHERS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}
DIGITS = {currency: digits for digits, some in OTHERS.items() for currency in some.split()}
AMOUNTS = (
    "cost_cents", "price_cents", "list_price_cents", "order_cost_cents", "weekly_budget_cents",
    "labour_cents_per_hour", "solvent_cents_per_l", "disposal_cents_per_drum",
    "disposal_cents_per_kg",
)  # fmt: skip
COLUMNS = ("id", "room_id", "kind", "voided_by", "moment_us", "rank", "sequence", "fields")
ENTRY = sa.table("entry", *(sa.column(name) for name in COLUMNS))
ROOM = sa.table("room", sa.column("id"), sa.column("currency"))


def upgrade() -> None:
    """Apply."""
    op.add_column(
        "room", sa.Column("currency", sa.String(length=3), nullable=False, server_default="")
    )
    bind = op.get_bind()
    for room_id, currency in _currencies(bind).items():
        bind.execute(ROOM.update().where(ROOM.c.id == room_id).values(currency=currency))
        if (digits := DIGITS.get(currency, 2)) != 2:
            _rescale(bind, room_id, digits - 2)


def downgrade() -> None:
    """Take back."""
    bind = op.get_bind()
    for room_id, currency in _currencies(bind).items():
        if (digits := DIGITS.get(currency, 2)) != 2:
            _rescale(bind, room_id, 2 - digits)
    op.drop_column("room", "currency")


def _currencies(bind: sa.Connection) -> dict[int, str]:
    """The currency of each room: the first that its price lists name."""
    query = (
        sa.select(ENTRY.c.room_id, ENTRY.c.fields)
        .where(ENTRY.c.kind == "price_list", ENTRY.c.voided_by.is_(None))
        .order_by(ENTRY.c.moment_us, ENTRY.c.rank, ENTRY.c.sequence)
    )
    found: dict[int, str] = {}
    for room_id, fields in bind.execute(query):
        if currency := json.loads(fields).get("currency"):
            found.setdefault(room_id, currency)
    return found


def _rescale(bind: sa.Connection, room_id: int, shift: int) -> None:
    """Move the point of all amounts of a room by so many places, to the nearest whole number."""
    query = sa.select(ENTRY.c.id, ENTRY.c.fields).where(
        ENTRY.c.room_id == room_id, ENTRY.c.fields.like("%cents%")
    )
    for id_, fields in bind.execute(query).all():
        values: dict[str, Any] = json.loads(fields)
        for name in AMOUNTS:
            if isinstance(value := values.get(name), int):
                values[name] = value * 10**shift if shift > 0 else _nearest(value, 10**-shift)
        text = json.dumps(values, separators=(",", ":"))
        bind.execute(ENTRY.update().where(ENTRY.c.id == id_).values(fields=text))


def _nearest(value: int, parts: int) -> int:
    return (2 * value + parts) // (2 * parts)

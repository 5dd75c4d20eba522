"""part lots

Entries are found by the lot of parts, resin or solvent that they name; baths above their limit at
a wash are found without reading the others.
"""

import hashlib
import json
import unicodedata

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

WHERE = sa.text("mean_before_percent > limit_percent")
PART_LOT, SOLVENT_LOT = "part_lot", "solvent_lot"
SOME = 2000


def upgrade() -> None:
    """Apply."""
    op.create_index(
        "ix_course_above_limit", "course", ["room_id", "at_us"], unique=False,
        sqlite_where=WHERE, postgresql_where=WHERE,
    )  # fmt: skip
    _link_lots()


def downgrade() -> None:
    """Take back."""
    link = sa.table("link", sa.column("thing", sa.String))
    op.execute(link.delete().where(link.c.thing.in_((PART_LOT, "resin_lot", SOLVENT_LOT))))
    op.drop_index("ix_course_above_limit", table_name="course")


def _link_lots() -> None:
    """Link what older versions stored with a lot."""
    names = ("id", "room_id", "kind", "tank", "fields", "moment_us", "rank", "sequence")
    entry = sa.table("entry", *(sa.column(name) for name in names))
    places = ("entry_id", "thing", "key", "room_id", "moment_us", "rank", "sequence")
    link = sa.table("link", *(sa.column(name) for name in places))
    things = {"wash": PART_LOT, "cure": PART_LOT, "stock_used": SOLVENT_LOT}
    database, last = op.get_bind(), 0
    query = (
        sa.select(entry)
        .where(entry.c.kind.in_(tuple(things)), entry.c.fields.like('%"lot"%'))
        .order_by(entry.c.id)
        .limit(SOME)
    )
    while rows := database.execute(query.where(entry.c.id > last)).all():
        last = rows[-1].id
        found = []
        for row in rows:
            fields = json.loads(row.fields)
            key = _key(fields.get("lot"))
            is_poured = row.kind != "stock_used" or fields.get("tank") is not None
            if key and is_poured:
                found.append({
                    "entry_id": row.id, "thing": things[row.kind], "key": key,
                    "room_id": row.room_id, "moment_us": row.moment_us, "rank": row.rank,
                    "sequence": row.sequence,
                })  # fmt: skip
        if found:
            database.execute(link.insert(), found)


def _key(lot: object) -> str:
    """As `domain/lot_keys` made it when this was written."""
    if not isinstance(lot, str):
        return ""
    folded = " ".join(unicodedata.normalize("NFKC", lot).split()).casefold()
    if len(folded) <= 64:
        return folded
    return f"{folded[:39]}~{hashlib.sha256(folded.encode()).hexdigest()[:24]}"

"""Reading all that swaps ahead need in one statement."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import or_, select
from sqlmodel import Session, col

from app.domain.books import THINGS
from app.store.instants import to_us
from app.store.tables import ThingRow
from app.store.things import adapter


def going_on(
    session: Session, room_id: int, kinds: Collection[str], since: datetime,
    whole: Collection[str] = (),
) -> dict[str, dict[str, Any]]:  # fmt: skip
    """The things of these kinds that are open, or of which something was entered since, by kind
    and key; of the kinds in `whole` all. A kind that the room keeps no books of has none."""
    known = [kind for kind in kinds if kind in THINGS]
    query = (
        select(col(ThingRow.thing), col(ThingRow.key), col(ThingRow.state))
        .where(col(ThingRow.room_id) == room_id, col(ThingRow.thing).in_(known))
        .where(
            or_(
                col(ThingRow.is_open).is_(True),
                col(ThingRow.moment_us) >= to_us(since),
                col(ThingRow.thing).in_(whole),
            )
        )
        .order_by(col(ThingRow.moment_us), col(ThingRow.sequence), col(ThingRow.key))
    )
    found: dict[str, dict[str, Any]] = {kind: {} for kind in kinds}
    for kind, key, state in session.execute(query):
        found[kind][key] = adapter(kind).validate_json(state)
    return found

"""The levels of tanks whose swap is under way, or stopped with nobody saying what is in them.

The estimate of a bath goes on until its swap says by an entry what was drained and filled. Until
then the rows that pages read hold what the steps of the swap say stands there: from the drain on
the heel, since the rest stands in the drum.
"""

from collections.abc import Iterable

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import standing
from app.domain.roomlog.kinds.checklists import SWAP
from app.services.changes import Changes
from app.services.litres.told_late import with_told_late
from app.store.site import site
from app.store.tables import TankRow
from app.store.things import thing, things


def lay_over(session: Session, room_id: int, rows: Iterable[TankRow]) -> None:
    """Set the level of each row whose tank a swap under way has emptied or filled."""
    by_key = {row.key: row for row in rows}
    states: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    concerned = [
        (state, row)
        for state in states
        for key in (state.tank, state.from_tank)
        if key and (row := by_key.get(key)) is not None
    ]
    if not concerned:
        return
    heel_percent = site(session, room_id).heel_percent
    for state, row in concerned:
        found = standing(with_told_late(session, room_id, state), row.key, heel_percent)
        if found is not None:
            row.resin_g *= found.litres / row.volume_l if row.volume_l > 0 else 0.0
            row.volume_l = found.litres
            session.add(row)


def tanks_of_swaps(session: Session, room_id: int, changes: Changes) -> set[str]:
    """The tanks of swaps that changes are about."""
    keys = {key for entry in changes.entries for kind, key in entry.things() if kind == SWAP}
    states = (thing(session, room_id, SWAP, key) for key in sorted(keys))
    return {
        tank
        for state in states
        if state is not None
        for tank in (state.tank, state.from_tank)
        if tank
    }

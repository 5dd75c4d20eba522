"""A bath whose swap was given up before anybody looked for leaks.

Its tank was opened, and what is in it may run out while nobody is looking: a wash there is asked
about until somebody looks. The look at the empty tank says nothing of that.
"""

from collections.abc import Iterable
from datetime import datetime

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.holds import HoldState
from app.domain.inspections.components import ComponentState
from app.domain.inspections.conditions import asked
from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.inspections import COMPONENT
from app.services.swaps.looks import REFILLED, cloth_from, looked_since
from app.services.swaps.under_way import local
from app.store.instants import from_us
from app.store.tables import TankRow
from app.store.things import thing, things


def leak_words(session: Session, room_id: int, entry: Wash) -> str:
    """What is asked of a wash while nobody has looked for leaks since the swap of its tank was
    given up; empty where that is not so."""
    held: HoldState | None = thing(session, room_id, HOLD, entry.tank)
    over_at = held.given_up_at if held is not None else None
    if held is None or over_at is None or entry.at < over_at:
        return ""
    state: SwapState | None = thing(session, room_id, SWAP, held.given_up)
    if state is None or not _is_unseen(state, entry.tank):
        return ""
    if _is_seen_since(session, room_id, state, entry.tank, over_at):
        return ""
    when = local(session, room_id, over_at)
    return (
        f"A swap of this bath was given up at {when}, and nobody has looked for leaks since. Look "
        "under the tank and at its joints: are they dry?"
    )


def _is_unseen(state: SwapState, tank: str) -> bool:
    """It was given up with the tank opened and no leak check behind that."""
    if state.end != "abandoned":
        return False
    if any(state.tick(step.key) is not None for step in state.with_role("leak_check")):
        return False  # a fill or a move after it has taken that tick back
    last = next((one for one in reversed(state.said) if one.tank == tank), None)
    return last is None or last.found != "as_before"


def _is_seen_since(
    session: Session, room_id: int, state: SwapState, tank: str, over_at: datetime
) -> bool:
    """A later bath, or a look at the refilled tank; where no part shows a leak there is no such
    look, and whoever washed first since has answered."""
    row = session.get(TankRow, (room_id, tank))
    if row is None or from_us(row.fill_started_at_us) > over_at:
        return True
    parts: Iterable[ComponentState] = things(session, room_id, COMPONENT, only_open=True).values()
    if not any(one.tank == tank and one.part and asked(one.part, REFILLED) for one in parts):
        return row.last_wash_at_us is not None and from_us(row.last_wash_at_us) >= over_at
    since = cloth_from(session, room_id, state, tank) or over_at
    return looked_since(session, room_id, tank, since)

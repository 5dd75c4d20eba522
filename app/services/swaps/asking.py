"""Which tanks of a swap are asked about, and what is known of each beforehand."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.domain.checklists.gates import may_flow
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import (
    FILLED,
    MOVED,
    Standing,
    before_l,
    capacity_l,
    drained_l,
    empty_l,
    standing,
)
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import SWAP, TankContents
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.waste import DRUM
from app.store.site import site
from app.store.tables import TankRow
from app.store.things import thing, things


@dataclass(frozen=True)
class Asked:
    """A tank of which somebody is asked what is in it.

    Attributes:
        prefix: of its fields on a form: the drained tank has none.
        before_l: what it held as the swap began; `stands` what its steps say is there now.
        out_l: drained into drums, or moved away; `drums` names those it went into.
        heel_l: what it keeps when it is empty.
        unticked: the step by which its liquid may have been moved though nobody has ticked it;
            empty where the steps say what was moved.
    """

    tank: str
    name: str
    prefix: str
    before_l: float
    capacity_l: float
    stands: Standing
    out_l: float
    heel_l: float
    drums: str = ""
    unticked: str = ""

    @property
    def is_filled(self) -> bool:
        """The new bath is in it by the steps that are done."""
        return self.stands.stage == FILLED or (self.stands.stage == MOVED and not self.prefix)


def asked_of(session: Session, room_id: int, state: SwapState) -> list[Asked]:
    """The tanks whose liquid the swap has moved, or may have: somebody may stop in the middle of a
    drain that nobody has ticked. All while it is under way, those that nobody has said anything of
    once it was given up. The drained one stands first."""
    heel_percent = site(session, room_id).heel_percent
    found = []
    for tank, prefix in ((state.tank, ""), (state.from_tank, "clean_")):
        if tank is None or (state.end and tank not in state.asks):
            continue
        stands, unticked = standing(state, tank, heel_percent), ""
        if stands is None:
            step, began_at = may_flow(state, tank), state.started_at
            if step is None or began_at is None:
                continue
            stands = Standing(before_l(state, tank), False, "", began_at)
            unticked = step.key
        row = session.get(TankRow, (room_id, tank))
        is_dirty = tank == state.tank
        out_l = drained_l(state) if is_dirty else state.amount_l("move", "moved_l")
        found.append(
            Asked(
                tank, f"{row.place} {row.name}" if row else tank, prefix, before_l(state, tank),
                capacity_l(state, tank), stands, out_l, empty_l(state, tank, heel_percent),
                _drums(session, room_id, state) if is_dirty else "", unticked,
            )
        )  # fmt: skip
    return found


def swap_that_asks(session: Session, room_id: int, tank: str) -> SwapState | None:
    """The swap because of which somebody is asked what is in a tank; None where nobody is."""
    found: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    return next((state for state in found if tank in state.asks), None)


def swap_that_moved(session: Session, room_id: int, tank: str) -> SwapState | None:
    """The swap under way that has moved a tank's liquid; None where none has."""
    heel_percent = site(session, room_id).heel_percent
    found: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    for state in found:
        if state.is_open and standing(state, tank, heel_percent) is not None:
            return state
    return None


def with_question(session: Session, room_id: int, entries: Iterable[Entry]) -> list[Entry]:
    """Entries with the question what is in a tank that they hold in the middle of its swap."""
    found = list(entries)
    for one in tuple(found):
        if isinstance(one, TankHeld):
            state = _that_asks_at_a_hold(session, room_id, one.tank)
            if state is not None and one.tank not in state.asks:
                found.append(question(state, one.tank, one.at, one.by))
    return found


def _that_asks_at_a_hold(session: Session, room_id: int, tank: str) -> SwapState | None:
    """The swap under way that has moved a tank's liquid, or may be about it."""
    if (moved := swap_that_moved(session, room_id, tank)) is not None:
        return moved
    found: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    return next((one for one in found if one.is_open and may_flow(one, tank)), None)


def question(state: SwapState, tank: str, at: datetime, by: str) -> TankContents:
    """That somebody is asked what is in a tank of a swap."""
    return TankContents(at=at, by=by, tank=tank, swap=state.key, found="asked")


def _drums(session: Session, room_id: int, state: SwapState) -> str:
    """The names of the drums the bath went into."""
    keys = dict.fromkeys(one.drum for one in state.pours)
    named = ((key, thing(session, room_id, DRUM, key)) for key in keys)
    return " and ".join(drum.name if drum and drum.name else key for key, drum in named)

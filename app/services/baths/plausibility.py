"""What is odd about an entry that would otherwise be stored: reasons to ask again, in words."""

import math
from datetime import datetime, timedelta

from sqlmodel import Session

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.estimator.taking import NOT_FRESH_PERCENT
from app.domain.checklists.run import SwapState
from app.domain.errors import FieldError
from app.domain.instruments import (
    FILTER_SD_PERCENT,
    Measured,
    doubts,
    fresh_doubts,
    liquid_of_fresh,
    measure,
)
from app.domain.roomlog.kinds import Entry, Reading, Wash
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.lines import own_fields
from app.domain.solvents import SOLVENTS
from app.services.baths.states import load_filter
from app.services.entries import entry_of
from app.services.incidents.doubts import poured_at
from app.store.instants import from_us
from app.store.queries import LOW_SHARE, last_entries
from app.store.tables import RoomRow, TankRow
from app.store.things import things

SAME_AGAIN_WITHIN = timedelta(minutes=2)
GREAT_STEP = 0.3  # of the first limit
SPOILED = (
    "A wrong solvent was poured into this bath. Until the bath is swapped, this reading says "
    "nothing about its resin."
)


class SameAgain(str):
    """A doubt whether an entry was made already; its sentence."""


class Preview:
    """A reading before it is saved: what it measures, what was expected, what is odd about it."""

    def __init__(self, measured: Measured, mean_percent: float, sd_percent: float) -> None:
        self.measured = measured
        self.expected_percent = mean_percent
        self.sd_percent = math.hypot(
            sd_percent, max(measured.sd_percent, FILTER_SD_PERCENT[measured.channel])
        )
        self.doubts = doubts(measured, mean_percent, sd_percent)


def preview_reading(session: Session, room: RoomRow, reading: Reading, now: datetime) -> Preview:
    """Convert a reading with the tank's present bath, and compare it with the estimate.

    Raises:
        FieldError: the instrument cannot tell resin in this bath.
    """
    state = load_filter(session, room)
    preview = _preview(state, reading, now)
    if not reading.of_fresh and _is_spoiled(session, room, reading.tank):
        preview.doubts = (*preview.doubts, SPOILED)
    is_used = reading.of_fresh and preview.expected_percent > NOT_FRESH_PERCENT
    if is_used and _is_of_standing_bath(session, room, reading):
        preview.doubts = (*preview.doubts, _not_fresh(preview.expected_percent))
    return preview


def _is_of_standing_bath(session: Session, room: RoomRow, reading: Reading) -> bool:
    """The estimate is of the bath that is read: no swap fills its tank, nothing came later."""
    row = session.get(TankRow, (room.id, reading.tank))
    last_us = row.last_entry_at_us if row is not None else None
    if last_us is None or from_us(last_us) > reading.at:
        return False
    swaps: list[SwapState] = list(things(session, room.id or 0, SWAP, only_open=True).values())
    return not any(reading.tank in (one.tank, one.from_tank) for one in swaps)


def _not_fresh(percent: float) -> str:
    return (
        f"Parts have been washed in this bath since its fill: about {percent:.1f} % by the "
        "estimate. Was the sample fresh liquid, and not from the bath? "
        "Later readings are compared with it."
    )


def unreadable(
    session: Session, room: RoomRow, reading: Reading, now: datetime
) -> list[FieldError]:
    """Why a reading tells nothing of a liquid that no table knows; only of such is it refused."""
    row = session.get(TankRow, (room.id, reading.tank))
    known = SOLVENTS.get(row.solvent) if row is not None else None
    if known is None or not known.needs_fresh_index:
        return []
    try:
        _preview(load_filter(session, room), reading, now)
    except FieldError as error:
        return [error]
    return []


def _is_spoiled(session: Session, room: RoomRow, tank: str) -> bool:
    row = session.get(TankRow, (room.id, tank))
    filled_at = from_us(row.fill_started_at_us) if row is not None else None
    return filled_at is not None and poured_at(session, room, tank, filled_at) is not None


def _preview(state: RoomFilter, reading: Reading, now: datetime) -> Preview:
    reading, liquid = state.as_certified(reading), state.liquid(reading.tank)
    if reading.of_fresh:
        liquid = liquid_of_fresh(reading.method, reading.values, liquid)
    measured = measure(reading.method, reading.values, liquid)
    belief = state.belief(reading.tank, max(now, state.last_at or now))
    preview = Preview(measured, belief.mean_percent, belief.sd_percent)
    if reading.of_fresh:
        preview.doubts = fresh_doubts(reading.method, reading.values, liquid)
    return preview


def entry_doubts(session: Session, room: RoomRow, entry: Entry, now: datetime) -> tuple[str, ...]:
    """What is odd about an entry; nothing where it is as usual."""
    if entry.corrects:
        return ()
    if isinstance(entry, Reading):
        return preview_reading(session, room, entry, now).doubts
    found = _same_again(session, room, entry)
    if isinstance(entry, Wash):
        found += _swap_under_way(session, room, entry) or _nearly_empty(session, room, entry)
        found += _great_step(session, room, entry)
    return tuple(found)


def _same_again(session: Session, room: RoomRow, entry: Entry) -> list[str]:
    """The same thing entered moments ago, perhaps on another tablet."""
    assert room.id is not None
    tank = getattr(entry, "tank", None)
    for row in last_entries(session, room.id, tank or "", entry.kind, 3):
        last = entry_of(row)
        is_same = own_fields(last) == own_fields(entry)
        if is_same and abs(entry.at - last.at) < SAME_AGAIN_WITHIN:
            seconds = abs(entry.at - last.at).total_seconds()
            who = last.by or "Someone"
            return [SameAgain(f"{who} entered the same {seconds:.0f} s earlier.")]
    return []


def _swap_under_way(session: Session, room: RoomRow, wash: Wash) -> list[str]:
    tank = session.get(TankRow, (room.id, wash.tank))
    if tank is None or tank.swap_started_at_us is None:
        return []
    return [
        "A swap of this tank is under way, so nobody washes in it. Was this wash before the swap?"
    ]


def _nearly_empty(session: Session, room: RoomRow, wash: Wash) -> list[str]:
    tank = session.get(TankRow, (room.id, wash.tank))
    if tank is None or tank.volume_l >= (tank.min_l or LOW_SHARE * tank.capacity_l) / 2:
        return []
    return [f"Only about {tank.volume_l:.1f} L are in this tank. Was it washed here?"]


def _great_step(session: Session, room: RoomRow, wash: Wash) -> list[str]:
    """A load that would move the bath by a great part of its limit, by what is learned so far."""
    tank = session.get(TankRow, (room.id, wash.tank))
    state = load_filter(session, room)
    if tank is None or wash.tank not in state.tanks or (state.last_at or wash.at) > wash.at:
        return []
    effect = state.apply(wash)  # on a copy of our own, that is thrown away
    if effect is None:
        return []
    wrong = state.tanks[wash.tank].wrong_entry
    if wrong and wrong[:2] == [wash.id, wash.at.isoformat()]:
        return [
            f"This is about {wrong[2]:,.0f} times what is usual here. Is there a zero too many?"
        ]
    before, after = effect.mean_before_percent, effect.belief.mean_percent
    if after - before < GREAT_STEP * tank.limit_percent:
        return []
    return [f"This one wash would take the bath from {before:.1f} to {after:.1f} %."]

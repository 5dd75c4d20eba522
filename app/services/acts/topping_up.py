"""Topping up a bath from the shelf: the lot is looked at before anything is poured."""

import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlmodel import Session

from app.domain.calendar_words import day_words
from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry, TopUp
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.roomlog.lines import own_fields
from app.domain.solvents.fit import weaker, why_not
from app.domain.supplies.state import ItemState
from app.services import door
from app.services.door import Recorded
from app.services.supplies.stock import use_problems
from app.store.engine import Store
from app.store.queries import TankView
from app.store.tables import RoomRow
from app.store.things import thing, things

BETWEEN = "|"  # no key of an item holds it


@dataclass(frozen=True)
class Bottle:
    """A lot of the shelf as the top-up form offers it."""

    value: str
    text: str


def bottles(session: Session, room_id: int, tank: TankView, today: date) -> list[Bottle]:
    """The solvents on the shelf by lot, those that fit the bath first; only good ones.

    Another solvent stays on the list, last and marked: who has it in hand finds it there and is
    told to stop, where a list without it leaves only "Not from the shelf".
    """
    found: list[tuple[tuple[bool, bool, str], Bottle]] = []
    for item in things(session, room_id, ITEM).values():
        if item.category != "solvent" or item.on_hand <= 0:
            continue
        is_other = bool(why_not(tank.solvent, item.solvent or ""))
        is_weaker = bool(weaker(tank.fresh_purity_percent, item.purity_percent))
        for lot in item.lots:
            if lot.quantity > 0 and lot.standing(item.rules, today) == "good":
                end = lot.use_by(item.rules)
                day = f", use by {day_words(end)}" if end is not None else ""
                not_here = ": not for this bath" if is_other else ""
                text = f"{item.name}, lot {lot.lot}{day}{not_here}"
                bottle = Bottle(f"{item.key}{BETWEEN}{lot.lot}", text)
                found.append(((is_other, is_weaker, text), bottle))
    return [bottle for _, bottle in sorted(found, key=lambda one: one[0])]


def use_of(top_up: TopUp, bottle: str) -> StockUsed:
    """What a top-up takes from the shelf."""
    item, _, lot = bottle.partition(BETWEEN)
    return StockUsed(
        at=top_up.at, by=top_up.by, entered_at=top_up.entered_at, item=item or "?",
        lot=lot or None, quantity=top_up.volume_l, tank=top_up.tank, purpose="top_up",
    )  # fmt: skip


def stops(session: Session, room_id: int, use: StockUsed, now: datetime) -> list[FieldError]:
    """Why it may not be poured: another solvent, expired, not so much there."""
    names = {"item": "bottle", "lot": "bottle", "quantity": "volume_l"}
    found = use_problems(session, room_id, use, now)
    return [FieldError(names.get(error.field, error.field), error.message) for error in found]


def doubts(session: Session, room_id: int, use: StockUsed, tank: TankView) -> tuple[str, ...]:
    """What to ask about before it is poured: a lot weaker than what the bath was filled with."""
    item: ItemState | None = thing(session, room_id, ITEM, use.item)
    said = weaker(tank.fresh_purity_percent, item.purity_percent if item else None)
    return (said,) if said else ()


def record_top_up(
    store: Store, room: str, top_up: TopUp, use: StockUsed, now: datetime, submission: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Store the top-up and what it takes from the shelf, both or neither.

    Raises:
        FieldErrors: the lot does not fit the bath or the shelf.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        if errors := stops(session, row.id or 0, use, now):
            raise FieldErrors(errors)
        poured = replace(top_up, id=top_up.id or uuid.uuid4().hex)
        return [poured, replace(use, id=f"{poured.id}.1")]  # undone together

    at = "now" if top_up.at == now else top_up.at.isoformat()
    sent = [own_fields(top_up), own_fields(use), top_up.by, top_up.note, at]
    return door.enter(
        store, room, door.Act(decide, {"top_up": sent}), now, submission, confirmed=confirmed
    )

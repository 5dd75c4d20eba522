"""The swap of a bath, led by its checklist: taken up, its steps undone."""

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session, col, select

from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Template, as_data
from app.domain.errors import Conflict, FieldError, FieldErrors, NotFound
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import Entry, SwapStarted
from app.domain.roomlog.kinds.checklists import (
    SWAP,
    SwapOpened,
)
from app.domain.roomlog.kinds.incidents import HOLD
from app.services import door
from app.services.door import Recorded
from app.services.entries import entry_of
from app.services.swaps.checklists import checklist
from app.services.swaps.under_way import Hand, open_swap, under_way, withdrawals
from app.store.engine import Store
from app.store.tables import EntryRow, RoomRow, TankRow
from app.store.things import thing


def past_swaps(session: Session, room_id: int, tank: str, most: int = 20) -> list[SwapState]:
    """The swaps of a tank that had a checklist, the latest first."""
    rows = session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room_id, EntryRow.tank == tank)
        .where(EntryRow.kind == SwapOpened.kind, col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(most)
    )
    keys = [entry.swap for row in rows if isinstance(entry := entry_of(row), SwapOpened)]
    found = (thing(session, room_id, SWAP, key) for key in keys)
    return [state for state in found if state is not None]


def start(
    store: Store,
    room: str,
    tank: str,
    from_tank: str | None,
    hand: Hand,
    now: datetime,
    submission: str | None = None,
    *,
    confirmed: Collection[str] = (),
) -> Recorded:
    """Take up the checklist for a tank, which is out of use from then on.

    With `from_tank` the liquid of that clean bath will be moved here; both are out of use.

    Raises:
        NotFound: there is no such tank.
        FieldErrors: the clean bath is not this tank's.
        Doubtful: something is not in order, and nobody has confirmed to go on.
        Conflict: a swap is under way already.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        dirty = _tank(session, row.id, tank)
        clean = _clean_bath(session, row.id, dirty, from_tank) if from_tank else None
        for each in filter(None, (dirty, clean)):
            _refuse_second(session, row.id, each)
        key = _new_key(session, row.id, tank, now)
        entry = _opening(dirty, clean, checklist(session, row.id), key, hand)
        started = [
            SwapStarted(at=hand.at, by=hand.by, tank=each.key, swap=key)
            for each in filter(None, (dirty, clean))
            if each.swap_started_at_us is None
        ]
        return [*started, entry]

    sent = {"start": tank, "from": from_tank, "by": hand.by, "note": hand.note}
    return door.enter(store, room, door.Act(decide, sent), now, submission, confirmed=confirmed)


def undo(
    store: Store,
    room: str,
    key: str,
    step: str,
    hand: Hand,
    now: datetime,
    submission: str | None = None,
) -> Recorded:
    """Take a tick back, with all that followed from it; it stays in the history.

    Raises:
        NotFound, Conflict: there is no such swap, it has ended, or the step is not done.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        tick = under_way(session, row.id, key).tick(step)
        if tick is None:
            raise Conflict("This step is not done, or has already been taken back.")
        return withdrawals(session, row.id, [tick.id, *tick.wrote], hand)

    return door.enter(
        store, room, door.Act(decide, {"undo": key, "step": step, "by": hand.by}), now, submission
    )


def _tank(session: Session, room_id: int, key: str) -> TankRow:
    row = session.get(TankRow, (room_id, key))
    if row is None:
        raise NotFound(f"There is no tank “{key[:64]}” in this room.")
    return row


def _clean_bath(session: Session, room_id: int, dirty: TankRow, key: str) -> TankRow:
    clean = _tank(session, room_id, key)
    if dirty.pair != key:
        raise FieldErrors([FieldError("from_tank", f"{clean.name} is not its clean bath.")])
    if clean.solvent != dirty.solvent:
        message = f"{clean.name} holds another solvent. Do not move it here."
        raise FieldErrors([FieldError("from_tank", message)])
    return clean


def _refuse_second(session: Session, room_id: int, tank: TankRow) -> None:
    if tank.is_retired:
        raise Conflict(f"{tank.name} is out of use.")
    state = open_swap(session, room_id, tank.key)
    if state is not None:
        raise Conflict(f"A swap of {tank.name} is under way, started by {state.started_by}.")
    held: HoldState | None = thing(session, room_id, HOLD, tank.key)
    if held is not None and held.asks_contents:
        raise Conflict(f"First say what is in {tank.name}. Its last swap stopped part-way.")


def _new_key(session: Session, room_id: int, tank: str, now: datetime) -> str:
    stem = f"{tank[:40]}-{now:%Y%m%d-%H%M}"
    key, number = stem, 1
    while thing(session, room_id, SWAP, key) is not None:
        number += 1
        key = f"{stem}-{number}"
    return key


def _opening(
    dirty: TankRow, clean: TankRow | None, template: Template, key: str, hand: Hand
) -> SwapOpened:
    return SwapOpened(
        at=hand.at, by=hand.by, note=hand.note, swap=key, tank=dirty.key,
        checklist=template.key, version=template.version, steps=as_data(template.steps),
        estimated_l=round(dirty.volume_l, 3), capacity_l=dirty.capacity_l, min_l=dirty.min_l,
        solvent=dirty.solvent,
        from_tank=clean.key if clean else None,
        from_estimated_l=round(clean.volume_l, 3) if clean else None,
        from_capacity_l=clean.capacity_l if clean else None,
        from_min_l=clean.min_l if clean else None,
    )  # fmt: skip

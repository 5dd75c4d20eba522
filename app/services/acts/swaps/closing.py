"""A swap is completed: the new baths, the balance and the drum, in one transaction."""

import uuid
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from app.domain.checklists.closing import Reconciliation, reconcile
from app.domain.checklists.run import SwapState, Tick
from app.domain.checklists.tank_contents import standing
from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry, Removal, Swap, SwapAbandoned
from app.domain.roomlog.kinds.checklists import SWAP, SwapClosed, TankContents
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DrumClosed
from app.domain.supplies.state import ItemState
from app.services import door
from app.services.door import Recorded
from app.services.swaps.under_way import (
    Hand,
    next_of,
    questions_again,
    swap_state,
    under_way,
    withdrawals,
)
from app.services.waste import act_problems
from app.store.engine import Store
from app.store.site import site
from app.store.tables import RoomRow, TankRow
from app.store.things import book, thing

TAKEN_BACK = tuple(
    kind.kind for kind in (SwapAbandoned, Swap, Removal, TankContents)
)  # what a giving up brings about
LEAST_L = 0.01  # less is no entry
BEFORE = timedelta(microseconds=1)


def balance_of(session: Session, room_id: int, state: SwapState) -> Reconciliation:
    """Where each litre of a swap went, so far."""
    rules = site(session, room_id)
    return reconcile(state, rules.heel_percent, rules.loss_tolerance_percent)


def complete(
    store: Store,
    room: str,
    key: str,
    hand: Hand,
    closes_drum: bool,
    now: datetime,
    submission: str | None = None,
    *,
    confirmed: Collection[str] = (),
) -> Recorded:
    """Complete a swap: what each bath is now, the balance, and the drum closed where asked.

    `closes_drum` says as well that its contents are cool and quiet.

    Raises:
        FieldErrors: a required step is open, or the difference wants a note.
        NotFound: there is no such swap.
        Conflict: it has ended; the message says by whom and when.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        state = under_way(session, row.id, key)
        found = balance_of(session, row.id, state)
        if errors := _problems(state, found, hand):
            raise FieldErrors(errors)
        baths = new_baths(session, row.id, state, found, hand)
        entries: list[Entry] = [*baths, *_gone_since(session, row.id, state, baths, hand)]
        drum = str(state.answer("drum", "drum") or "") or None
        if closes_drum and drum is not None:
            shut = DrumClosed(at=hand.at, by=hand.by, drum=drum, is_cool=True)
            if errors := act_problems(session, row.id, shut, now):
                raise FieldErrors([FieldError("closes_drum", one.message) for one in errors])
            entries.append(shut)
        stem = uuid.uuid4().hex
        entries = [replace(one, id=f"{stem}.{place}") for place, one in enumerate(entries, 1)]
        wrote = [one.id for one in entries]
        return [*entries, replace(_closing(state, found, drum, hand), id=stem, wrote=wrote)]

    sent = {"complete": key, "by": hand.by, "note": hand.note, "closes_drum": closes_drum}
    return door.enter(store, room, door.Act(decide, sent), now, submission, confirmed=confirmed)


def take_up_again(
    store: Store, room: str, key: str, hand: Hand, now: datetime, submission: str | None = None
) -> Recorded:
    """Take a giving up back, with what was said then of its tanks: the swap is under way again,
    and what is in them is asked anew.

    Raises:
        NotFound: there is no such swap.
        Conflict: it was not given up, or the next swap of its tank has begun.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        state = swap_state(session, row.id, key)
        if state.end != "abandoned":
            raise Conflict("This swap was not given up.")
        _refuse_next(session, row.id, state)
        rows = [one for one in book(session, row.id, SWAP, key) if one.voided_by is None]
        first = min(one.sequence for one in rows if one.kind == SwapAbandoned.kind)
        gone = [one.uid for one in rows if one.sequence >= first and one.kind in TAKEN_BACK]
        return [
            *withdrawals(session, row.id, gone, hand),
            *questions_again(state, hand.at, hand.by),
        ]

    act = door.Act(decide, {"again": key, "by": hand.by})
    return door.enter(store, room, act, now, submission)


def reopen(
    store: Store, room: str, key: str, hand: Hand, now: datetime, submission: str | None = None
) -> Recorded:
    """Take a completion back: its swap is under way again, with all its steps as they were, and
    what is in its tanks is asked: they may have been used meanwhile.

    Raises:
        NotFound: there is no such swap.
        Conflict: it was not completed by its list, or the next swap of its tank has begun, or the
            next bath is in it.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        state = swap_state(session, row.id, key)
        if state.end != "closed":
            raise Conflict("This swap is not completed, or was entered without its list.")
        _refuse_next(session, row.id, state)
        if words := next_of(session, row.id, state):
            raise Conflict(words)
        gone = withdrawals(session, row.id, [state.close_id, *state.wrote], hand)
        return [*gone, *questions_again(state, hand.at, hand.by)]

    act = door.Act(decide, {"reopen": key, "by": hand.by}, frozenset({"a drum is opened"}))
    return door.enter(store, room, act, now, submission)


def _refuse_next(session: Session, room_id: int, state: SwapState) -> None:
    for tank in filter(None, (state.tank, state.from_tank)):
        present = session.get(TankRow, (room_id, tank))
        if present is not None and present.swap_started_at_us is not None:
            raise Conflict(f"The next swap of {present.name} has begun.")


def _problems(state: SwapState, found: Reconciliation, hand: Hand) -> list[FieldError]:
    errors = []
    if state.asks:
        errors.append(FieldError("contents", "First say what is in the tank now."))
    if state.open_required:
        titles = ", ".join(f"“{step.title}”" for step in state.open_required)
        errors.append(FieldError("steps", f"Still open: {titles}."))
    elif found.needs_note and not hand.note.strip():
        message = "The difference is past the tolerance. Say in the note where it may have gone."
        errors.append(FieldError("note", message))
    if state.started_at is not None and hand.at < state.started_at:
        errors.append(FieldError("at", "This swap began later."))
    return errors


def new_baths(
    session: Session, room_id: int, state: SwapState, found: Reconciliation, hand: Hand
) -> list[Swap]:
    """What the baths are from the fill on, as the balance has it. The dirty one first: it takes
    the clean one's liquid."""
    balance, at = found.balance, _filled_at(state, hand)
    heel: dict[str, Any] = {
        "heel_l": balance.heel_l, "heel_basis": "seen" if found.heel_is_seen else "assumed"
    }  # fmt: skip
    fresh = Swap(
        at=at, by=hand.by, note=hand.note, tank=state.filled_tank, drained_l=balance.drained_l,
        filled_l=balance.filled_l or None, solvent=state.solvent, swap=state.key, **heel,
        **_label(session, room_id, state),
    )  # fmt: skip
    if state.from_tank is None:
        return [fresh]
    moved = Swap(
        at=at, by=hand.by, note=hand.note, tank=state.tank, drained_l=balance.drained_l,
        filled_l=balance.moved_l or None, from_tank=state.from_tank, swap=state.key, **heel,
    )  # fmt: skip
    return [
        moved,
        replace(
            fresh, drained_l=balance.moved_l, heel_l=found.clean_heel_l,
            heel_basis="seen" if found.clean_heel_is_seen else "assumed",
        ),
    ]  # fmt: skip


def made_l(bath: Swap) -> float:
    """Litres in a new bath as its entry makes it."""
    return (bath.heel_l or 0.0) + (bath.filled_l or 0.0)


def _gone_since(
    session: Session, room_id: int, state: SwapState, baths: Sequence[Swap], hand: Hand
) -> list[Entry]:
    """What somebody saw missing of a new bath between its fill and the completion."""
    found: list[Entry] = []
    heel_percent = site(session, room_id).heel_percent
    for bath in baths:
        stands = standing(state, bath.tank, heel_percent)
        gone_l = made_l(bath) - stands.litres if stands else 0.0
        if stands is not None and gone_l >= LEAST_L:
            found.append(
                Removal(
                    at=hand.at, by=hand.by, note=hand.note, tank=bath.tank, swap=state.key,
                    volume_l=round(gone_l, 4), left_l=round(stands.litres, 4),
                )
            )  # fmt: skip
    return found


def _filled_at(state: SwapState, hand: Hand) -> datetime:
    """When the new bath began: at the fill, and before the reading that was taken of it."""
    times = [hand.at]
    for role, less in (("fill", timedelta()), ("reading", BEFORE)):
        ticks = [tick for step in state.with_role(role) if (tick := state.tick(step.key))]
        times += [tick.at - less for tick in ticks]
    return max(min(times), state.started_at or min(times))


def _label(session: Session, room_id: int, state: SwapState) -> dict[str, Any]:
    """Purity of what was filled as it was read off the label, else by mass as it is known."""
    for name in ("fresh_purity_volume_percent", "fresh_purity_percent"):
        typed = state.answer("fill", name)
        if isinstance(typed, int | float):
            return {name: float(typed)}
    return {"fresh_purity_percent": _purity(session, room_id, state)}


def _purity(session: Session, room_id: int, state: SwapState) -> float | None:
    """Mass percent of what was filled: of its lots by volume, or as before."""
    tick = next((t for s in state.with_role("fill") if (t := state.tick(s.key))), None)
    before = session.get(TankRow, (room_id, state.filled_tank))
    usual = before.fresh_purity_percent if before else None
    if tick is None:
        return usual
    shares = _shares(tick)
    items: list[tuple[ItemState | None, float]] = [
        (thing(session, room_id, ITEM, key), litres) for key, litres in shares
    ]
    known = [(item.purity_percent, part) for item, part in items if item and item.purity_percent]
    total_l = sum(part for _, part in known)
    if not known or len(known) < len(shares) or total_l <= 0:
        return usual
    return round(sum(purity * part for purity, part in known) / total_l, 2)


def _shares(tick: Tick) -> list[tuple[str, float]]:
    second_l = float(tick.answers.get("lot_2_l") or 0.0)
    parts = (("lot", float(tick.answers.get("filled_l") or 0.0) - second_l), ("lot_2", second_l))
    return [
        (str(tick.answers[name]).partition("|")[0], litres)
        for name, litres in parts
        if tick.answers.get(name) and litres > 0
    ]


def _closing(state: SwapState, found: Reconciliation, drum: str | None, hand: Hand) -> SwapClosed:
    balance = found.balance
    return SwapClosed(
        at=hand.at, by=hand.by, note=hand.note, swap=state.key, tank=state.tank,
        estimated_l=balance.estimated_l, drained_l=balance.drained_l, rinsed_l=balance.rinsed_l,
        heel_l=balance.heel_l, moved_l=balance.moved_l, filled_l=balance.filled_l,
        loss_l=balance.loss_l, drum=drum,
    )  # fmt: skip

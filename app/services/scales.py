"""Weights that scales send themselves: those of a drum or of a tank's container, and why one is
refused."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session, col, select

from app.domain.checklists.run import SwapState
from app.domain.errors import FieldError
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.waste import ScaleWeight
from app.domain.waste.drums import DrumState
from app.domain.waste.weighing import (
    FRESH,
    FULL_KG_L,
    LESS_KG,
    Weighed,
    into_drum,
    out_of_container,
)
from app.services.entries import entry_of
from app.services.waste import drum_of
from app.store.instants import to_us
from app.store.tables import EntryRow, TankRow
from app.store.things import things
from app.units import volume_words

LOOK_BACK = timedelta(hours=12)
"""How old a weight before pouring may be: a long pour, not yesterday's."""
MOST = 500
OLD = (
    f"This weight is more than {FRESH.seconds // 60} minutes old. Weigh again, or enter the litres."
)
NEWER = "The scale has sent another weight since. Look at that one."


def weights(session: Session, room_id: int, now: datetime) -> list[ScaleWeight]:
    """What scales sent lately, from the oldest on."""
    since = now - LOOK_BACK
    query = (
        select(EntryRow)
        .where(EntryRow.room_id == room_id, EntryRow.kind == ScaleWeight.kind)
        .where(EntryRow.at_us >= to_us(since), EntryRow.at_us <= to_us(now))
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(MOST)
    )
    found = [entry_of(row) for row in session.exec(query)]
    return [one for one in reversed(found) if isinstance(one, ScaleWeight)]


def of_drum(
    session: Session, room_id: int, drum: DrumState, kg_l: float, now: datetime,
    tanks: Collection[str] = (),
) -> Weighed | None:  # fmt: skip
    """What went into a drum since it was last poured into, by its last weight.

    Args:
        tanks: out of which it is poured; weights that name another do not count. Any where empty.
    """
    since = drum.last_pour_at
    mine = [
        one
        for one in weights(session, room_id, now)
        if one.drum == drum.key and (since is None or one.at >= since)
        if one.tank is None or not tanks or one.tank in tanks
    ]
    books_kg = None if drum.tare_kg is None else drum.tare_kg + drum.mass_kg
    return into_drum(mine, books_kg, kg_l, now)


def of_container(
    session: Session, room_id: int, tank: str, kg_l: float, since: datetime | None, now: datetime
) -> Weighed | None:
    """What was poured into a tank from the container on a scale, since an instant."""
    mine = [
        one
        for one in weights(session, room_id, now)
        if one.tank == tank and one.drum is None and (since is None or one.at >= since)
    ]
    return out_of_container(mine, kg_l, now)


def within(found: Weighed | None, most_l: float, unit: str, says: str, what: str) -> Weighed | None:
    """A weight whose litres fit; of more than `most_l` the problem, because something else stands
    on the scale: nobody is to take it with one touch.

    Args:
        says: what gives, takes or holds at most so much, with its verb: "the tank holds".
        what: what may be the wrong one: a drum or a container.
    """
    if found is None or found.problem or found.litres <= most_l:
        return found
    said, most = (volume_words(one, unit) for one in (found.litres, most_l))
    problem = f"This comes to {said}, but {says} {most}. Is it the right {what}?"
    return replace(found, litres=0.0, problem=problem)


def other_drum(session: Session, room_id: int, drum: DrumState, now: datetime) -> str:
    """Name of another drum that a scale names, where its weight is fresh and the last one."""
    fresh = [one for one in weights(session, room_id, now) if one.drum and now - one.at <= FRESH]
    if not fresh or fresh[-1].drum in (None, drum.key):
        return ""
    other = drum_of(session, room_id, fresh[-1].drum or "")
    return other.name if other is not None and other.name else ""


def take(found: Weighed | None, uid: str) -> tuple[Weighed | None, list[FieldError]]:
    """The weight that was taken by its id, or why it cannot be."""
    if found is None:
        return None, [FieldError("weighed", OLD)]
    if found.id != uid:
        return None, [FieldError("weighed", NEWER)]
    return found, [FieldError("weighed", found.problem)] if found.problem else []


def scale_problems(session: Session, room_id: int, entry: ScaleWeight) -> list[FieldError]:
    """Why a weight is refused: a drum that is not here, another than the swap's, less than it
    weighs empty or more than full."""
    if entry.tank is not None and session.get(TankRow, (room_id, entry.tank)) is None:
        return [FieldError("tank", f"There is no tank “{entry.tank}”.")]
    if entry.drum is None:
        return []
    drum = drum_of(session, room_id, entry.drum)
    if drum is None or not drum.name:
        return [FieldError("drum", f"There is no drum “{entry.drum}”.")]
    if drum.is_shipped or drum.is_closed:
        return [FieldError("drum", f"{drum.name} is {'gone' if drum.is_shipped else 'closed'}.")]
    if message := _empty_or_full(entry, drum):
        return [FieldError("shown_kg", message)]
    return _other_than_chosen(session, room_id, entry, drum)


def _empty_or_full(entry: ScaleWeight, drum: DrumState) -> str:
    """Why a drum does not weigh that, where its empty weight is on file."""
    if drum.tare_kg is None:
        return ""
    if entry.shown_kg < drum.tare_kg - LESS_KG:
        return (
            f"{drum.name} weighs {drum.tare_kg:g} kg empty; this is less. Is another drum on the "
            "scale, or was it set to zero with the drum on it?"
        )
    full_kg = drum.tare_kg + drum.capacity_l * FULL_KG_L
    if entry.shown_kg > full_kg:
        return (
            f"{drum.name} weighs at most about {full_kg:.0f} kg full; this is more. Does the scale "
            "send kilograms?"
        )
    return ""


def _other_than_chosen(
    session: Session, room_id: int, entry: ScaleWeight, drum: DrumState
) -> list[FieldError]:
    led = _swap_at(session, room_id, entry.tank or "")
    if led is None:
        return []
    chosen = {str(led.answer("drum", "drum") or ""), str(led.answer("drain", "drum_2") or "")}
    if chosen == {""} or drum.key in chosen:
        return []
    first = drum_of(session, room_id, str(led.answer("drum", "drum") or ""))
    name = first.name if first is not None else "another drum"
    return [FieldError("drum", f"The swap of this tank drains into {name}, not {drum.name}.")]


def _swap_at(session: Session, room_id: int, tank: str) -> SwapState | None:
    found: Mapping[str, Any] = things(session, room_id, SWAP, only_open=True) if tank else {}
    mine = (one for one in found.values() if one.is_open and tank in (one.tank, one.from_tank))
    return next(mine, None)

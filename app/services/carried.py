"""Flammable solvent in slow and water-based baths: came over on parts, or stayed behind.

The film on the parts is the estimator's own, as it has learned it in this room. Parts come from the
dirty bath of a pair, or from the bath in which the same load of the same resin was washed shortly
before. Where a tank was filled with another solvent, what stayed behind of the one before counts.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from importlib import import_module
from typing import Any

from sqlmodel import Session, col, select

from app.domain.baths.carried import SOON, Carried, Film, carried_over, share_after
from app.domain.roomlog.kinds import Swap, Tank, Wash
from app.domain.solvents import SOLVENTS
from app.services.caching import kept
from app.services.entries import entry_of
from app.services.stays import Stay, stays_of
from app.store.instants import from_us, to_us
from app.store.queries import TankView
from app.store.site import site
from app.store.tables import EntryRow, RoomRow, TankRow

SOME = 500  # entries in one statement
FLASH_LOWERED = "flash_lowered"
"""The flag of a slow bath that is to be treated as flammable."""


def carried_into(session: Session, room: RoomRow, tank: str) -> Carried | None:
    """What came over into a tank's bath; None where nothing is known to have come."""
    return all_carried(session, room).get(tank)


def carried_before(session: Session, room: RoomRow, tank: str, until: datetime) -> Carried | None:
    """What had come over by an instant into the bath that stands in a tank now; None where nothing
    had, or it was filled since."""
    row = session.get(TankRow, (room.id, tank))
    if row is None or not is_slow(row.solvent) or from_us(row.fill_started_at_us) >= until:
        return None
    return _into(session, room, row, _quick(session, room), until)


def all_carried(session: Session, room: RoomRow) -> Mapping[str, Carried]:
    """What came over into each slow bath; worked out anew where something was entered."""
    assert room.id is not None
    return kept(session, room.id, "carried over", room.version, lambda: _worked_out(session, room))


def with_flash(session: Session, room: RoomRow, tanks: Sequence[TankView]) -> list[TankView]:
    """The tanks, with a flag on each slow bath that is to be treated as flammable."""
    found = all_carried(session, room)
    return [
        replace(tank, flags=(*tank.flags, FLASH_LOWERED))
        if (one := found.get(tank.key)) is not None and one.is_flammable
        else tank
        for tank in tanks
    ]


def is_slow(solvent: str) -> bool:
    """Whether a bath of a solvent is one whose flash point others bring down: it has a high one, or
    none as water."""
    base = SOLVENTS.get(solvent)
    return base is not None and not base.is_flammable


def _worked_out(session: Session, room: RoomRow) -> dict[str, Carried]:
    quick = _quick(session, room)
    found = {}
    for row in session.exec(select(TankRow).where(TankRow.room_id == room.id)).all():
        if not is_slow(row.solvent):
            continue
        if (one := _into(session, room, row, quick)) is not None:
            found[row.key] = one
    return found


def _quick(session: Session, room: RoomRow) -> dict[str, TankRow]:
    rows = session.exec(select(TankRow).where(TankRow.room_id == room.id)).all()
    return {row.key: row for row in rows if _is_quick(row)}


def _is_quick(row: TankRow) -> bool:
    solvent = SOLVENTS.get(row.solvent)
    return solvent is not None and solvent.is_flammable


def _into(
    session: Session,
    room: RoomRow,
    row: TankRow,
    quick: Mapping[str, TankRow],
    until: datetime | None = None,
) -> Carried | None:
    """What came over into one slow bath since its fill, or from its fill to before an instant."""
    stood = stays_of(session, room, row.key, from_us(row.fill_started_at_us))
    left, share = _stayed(session, room, stood)
    fed = _films(session, room, stood, quick) if quick else []
    if until is not None:
        fed = [(key, film) for key, film in fed if film.at < until]
    solvents = [*([left] if left else []), *(quick[key].solvent for key, _ in fed)]
    if not solvents:
        return None
    films = [film for _, film in fed]
    volume_l = row.volume_l if row.volume_l > 0 else row.capacity_l
    return carried_over(
        row.solvent, _worst(solvents), share_after(films, volume_l, share), (key for key, _ in fed)
    )


def _worst(solvents: Sequence[str]) -> str:
    """Of several the one that flashes first."""
    return min(solvents, key=lambda key: SOLVENTS[key].flash_point_c or 0.0)


def _films(
    session: Session, room: RoomRow, stood: Sequence[Stay], quick: Mapping[str, TankRow]
) -> list[tuple[str, Film]]:
    """The films that came in with the washes where the bath stood, in the order of time, with the
    tank each came from."""
    mine = {
        wash.id: wash
        for stay in stood
        for wash in _washes(session, room, [stay.tank], stay.since_at)
        if stay.holds(wash.tank, wash.at)
    }
    if not mine:
        return []
    dirty = {one.pair: key for key, one in reversed(list(quick.items())) if one.pair}
    washed = sorted(mine.values(), key=lambda one: one.at)
    before = _washes_before(session, room, list(quick), washed)
    fed = [(_source(wash, before) or dirty.get(wash.tank), wash) for wash in washed]
    if not any(source for source, _ in fed):
        return []
    # What holds a bath asks this, and baths ask what holds them: the filter is fetched late.
    state = import_module("app.services.baths.track_record").run_of(session, room).state
    found = []
    for source, wash in fed:
        if source is not None:
            share = max(0.0, 1 - quick[source].mean_percent / 100)
            found.append((source, Film(wash.at, state.film_ml(wash), share)))
    return found


def _source(wash: Wash, before: list[Wash]) -> str | None:
    """The tank in which the same load was washed shortly before; that wash is used up."""
    for place in range(bisect_right(before, wash.at, key=lambda one: one.at) - 1, -1, -1):
        one = before[place]
        if wash.at > one.at + SOON:
            return None
        is_same = (one.resin, one.parts, one.area_cm2, one.mass_g) == (
            wash.resin, wash.parts, wash.area_cm2, wash.mass_g,
        )  # fmt: skip
        if is_same:
            return before.pop(place).tank
    return None


def _washes_before(
    session: Session, room: RoomRow, tanks: Sequence[str], washed: Sequence[Wash]
) -> list[Wash]:
    """The washes in some tanks of the same resin as one of these, shortly before it; by time.

    A slow bath stands for months beside busy ones: of their washes only the times are read.
    """
    by_resin: dict[str, list[int]] = {}
    for wash in washed:
        by_resin.setdefault(wash.resin, []).append(to_us(wash.at))
    soon_us = SOON // timedelta(microseconds=1)
    times = session.exec(
        _of_washes(
            select(EntryRow.id, EntryRow.resin, EntryRow.at_us),
            room, tanks, washed[0].at - SOON,
        ).where(
            EntryRow.at_us <= to_us(washed[-1].at), col(EntryRow.resin).in_(sorted(by_resin))
        )
    )  # fmt: skip
    near = []
    for number, resin, at_us in times:
        after = by_resin.get(resin or "", [])
        place = bisect_left(after, at_us)
        if place < len(after) and after[place] <= at_us + soon_us:
            near.append(number)
    found: list[Wash] = []
    for start in range(0, len(near), SOME):
        rows = session.exec(
            select(EntryRow)
            .where(col(EntryRow.id).in_(near[start : start + SOME]))
            .order_by(col(EntryRow.at_us), col(EntryRow.id))
        )
        found += [entry for row in rows if isinstance(entry := entry_of(row), Wash)]
    return found


def _washes(session: Session, room: RoomRow, tanks: Sequence[str], since: datetime) -> list[Wash]:
    rows = session.exec(_of_washes(select(EntryRow), room, tanks, since))
    return [entry for row in rows if isinstance(entry := entry_of(row), Wash)]


def _of_washes(query: Any, room: RoomRow, tanks: Sequence[str], since: datetime) -> Any:
    return (
        query.where(EntryRow.room_id == room.id, EntryRow.kind == Wash.kind)
        .where(col(EntryRow.tank).in_(tanks), EntryRow.at_us >= to_us(since))
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us), col(EntryRow.id))
    )


def _stayed(session: Session, room: RoomRow, stood: Sequence[Stay]) -> tuple[str, float]:
    """The flammable solvent that stayed behind at a fill of the tanks where the bath stood, and its
    share: the largest, of several."""
    found = [_left_behind(session, room, stay) for stay in stood]
    return max(found, key=lambda each: each[1], default=("", 0.0))


def _left_behind(session: Session, room: RoomRow, stay: Stay) -> tuple[str, float]:
    """The flammable solvent of the bath before that stayed in the tank at its fill, and its
    share."""
    row = session.get(TankRow, (room.id, stay.tank))
    rows = session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room.id, EntryRow.tank == stay.tank)
        .where(col(EntryRow.kind).in_((Swap.kind, Tank.kind)))
        .where(EntryRow.at_us <= to_us(stay.since_at), col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
    )
    past = [entry_of(one) for one in rows]
    named = [getattr(one, "solvent", None) for one in past]
    earlier = next((key for key in named[1:] if key), None)
    if row is None or earlier is None or named[0] in (None, earlier):
        return "", 0.0
    before = SOLVENTS.get(earlier)
    if before is None or not before.is_flammable:
        return "", 0.0
    heel_l = getattr(past[0], "heel_l", None)
    if heel_l is None:
        heel_l = site(session, room.id or 0).heel_percent / 100 * row.capacity_l
    return earlier, min(1.0, heel_l / row.capacity_l)

"""The law of projections: what is kept is a fold of the true order from scratch, bit for bit.

The log is read here by a query of its own and sorted in Python; what projects it has no part in it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import Session, col, select

from app.domain.baths.fold import BATHS
from app.domain.books import THINGS
from app.domain.folds import Key
from app.domain.litres.told_late import ACTS, Moved, litres_at_start
from app.domain.lot_keys import lot_key
from app.domain.part_lots.recall import LIMIT
from app.domain.roomlog.kinds import Entry, Wash
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.spend.cost_folds import JOB
from app.domain.spend.forecast import is_of_swap
from app.domain.spend.weeks import IsoWeek
from app.services.baths.states import baths_of, course_row
from app.services.books import BOOKS
from app.services.entries import Place, entry_of, place_of
from app.services.fold_states import States
from app.services.litres.keeping import BOOK, posting_row
from app.services.part_lots.recall import Recall, recall
from app.services.projecting import Kept
from app.services.rooms import find_room
from app.services.spend.cost_lines import CostFold, calendar_of, named
from app.services.spend.projection import basis_from, rebuild_spend, whole_basis
from app.services.spend.weekly_costs import spend_of
from app.store.engine import Store
from app.store.litres_tables import LitresPostingRow
from app.store.spend.lines import line_row
from app.store.spend.tables import SpendHeadRow, SpendLineRow, SpendStateRow, SpendWashRow
from app.store.tables import (
    CourseRow,
    EntryRow,
    LinkRow,
    RoomRow,
    TankRow,
    ThingRow,
)
from tests.factories import NOW, ROOM
from tests.services.spend.whole_log import quantities, rolled_up, whole_log


@dataclass(frozen=True)
class Told:
    """An entry that counts, with its row and its place."""

    place: Place
    entry: Entry
    row: EntryRow


def true_order(session: Session, room: RoomRow) -> list[Told]:
    """All entries that count, in the order of truth."""
    rows = session.exec(select(EntryRow).where(EntryRow.room_id == room.id)).all()
    told = [Told(place_of(row), entry_of(row), row) for row in rows if row.voided_by is None]
    return sorted(told, key=lambda one: one.place)


def check(store: Store, key: str = ROOM) -> None:
    """All that is kept of a room."""
    with Session(store.writer) as session:
        room = find_room(session, key)
        told = true_order(session, room)
        check_baths(session, room, told)
        check_recall(session, room, told)
        check_books(session, room, told)
        check_parts(session, room, told)
        check_litres(session, room, told)
        check_costs(session, room)
        session.rollback()


def check_baths(session: Session, room: RoomRow, told: Sequence[Told]) -> None:
    """The filter's state, the states kept on the way, the course, the rows of tanks."""
    found = check_states(session, room, baths_of(room), told)
    [(run, outs)] = found.values()
    course = {
        one.row.id: course_row(room.id or 0, one.row.id or 0, one.place, one.entry, effect)
        for one, effect in outs
    }
    assert {row.entry_id: row.model_dump() for row in _all(session, CourseRow, room)} == course
    for row in _all(session, TankRow, room):
        # Another tank's entry moves this one's belief in the last digit only; its row stays.
        belief = run.belief(row.key, NOW)
        assert row.mean_percent == pytest.approx(belief.mean_percent, rel=1e-9)
        assert row.p95_percent == pytest.approx(belief.p95_percent, rel=1e-9)
        facts = run.tanks[row.key]
        assert (row.fill, row.washes_since_fill) == (facts.fill, facts.washes_since_fill)


def check_recall(session: Session, room: RoomRow, told: Sequence[Told]) -> None:
    """Lots that were washed above the limit: those of the true order from scratch, at once."""
    fold = baths_of(room).fold
    state, expected = fold.empty(BATHS), set()
    for one in told:
        if BATHS not in fold.concerns(one.entry):
            continue
        state, effects = fold.take(BATHS, state, one.entry)
        if isinstance(one.entry, Wash) and one.entry.lot:
            [effect] = effects
            limit = effect.belief.limit_percent
            if limit is not None and effect.mean_before_percent > limit:
                expected.add((lot_key(one.entry.lot), one.entry.id))
    asked = Recall(frozenset({LIMIT}), NOW - timedelta(days=99), NOW + timedelta(days=99))
    found = recall(session, room, asked)
    assert not found.is_behind
    assert {(lot.key, one.entry) for lot in found.lots for one in lot.touches} == expected


def check_books(session: Session, room: RoomRow, told: Sequence[Told]) -> None:
    """Each thing's state, the states kept on the way, and who stands in its book."""
    found = check_states(session, room, BOOKS, told)
    rows = {(row.thing, row.key): row.is_open for row in _all(session, ThingRow, room)}
    assert rows == {key: THINGS[key[0]].is_open(state) for key, (state, _) in found.items()}
    links = {(row.entry_id, row.thing, row.key) for row in _all(session, LinkRow, room)}
    counting = {(one.row.id, *named) for one in told for named in one.entry.things()}
    assert counting <= links


def check_litres(session: Session, room: RoomRow, told: Sequence[Told]) -> None:
    """The book's state, the states kept on the way, and every posting; nothing is lost."""
    found = check_states(session, room, BOOK, [_by_now(session, room, one) for one in told])
    rows = [
        posting_row(room.id or 0, one.row.id or 0, one.place, 0, posting)
        for _, outs in found.values()
        for one, posting in outs
    ]
    stored = [row.model_dump(exclude={"id"}) for row in _all(session, LitresPostingRow, room)]
    assert _in_order(stored) == _in_order(rows)
    for state, _ in found.values():
        assert sum(state.balances_ul.values()) == 0


def _by_now(session: Session, room: RoomRow, told: Told) -> Told:
    """The opening of a swap with what was told of its baths since, from all rows of the log."""
    entry, number = told.entry, told.row.id or 0
    if not isinstance(entry, SwapOpened):
        return told
    rows = sorted(_all(session, EntryRow, room), key=place_of)
    numbers = {row.uid: row.id for row in rows}

    def litres(tank: str | None, estimated_l: float | None, capacity_l: float) -> float | None:
        if tank is None or estimated_l is None:
            return estimated_l
        acts = [
            Moved(entry_of(row), row.id, numbers.get(row.voided_by or ""))
            for row in rows
            if row.tank == tank and isinstance(entry_of(row), ACTS) and place_of(row) < told.place
        ]
        return litres_at_start(estimated_l, capacity_l, number, acts)

    brought = replace(
        entry,
        estimated_l=litres(entry.tank, entry.estimated_l, entry.capacity_l),
        from_estimated_l=litres(
            entry.from_tank, entry.from_estimated_l, entry.from_capacity_l or entry.capacity_l
        ),
    )
    return replace(told, entry=brought)


def _in_order(rows: Iterable[dict[str, Any]]) -> list[str]:
    return sorted(repr(dict(sorted({**row, "line": 0}.items()))) for row in rows)


def check_states(
    session: Session, room: RoomRow, kept: Kept[Any, Any], told: Iterable[Told]
) -> dict[Key, tuple[Any, list[tuple[Told, Any]]]]:
    """Every state of a fold, bit for bit; each with what its entries did, from scratch."""
    fold, states = kept.fold, kept.states
    own: dict[Key, list[Told]] = {}
    for one in told:
        for key in fold.concerns(one.entry):
            own.setdefault(key, []).append(one)
    heads = {_key(states, row): row for row in _all(session, states.heads, room)}
    assert heads.keys() == own.keys()
    marks: dict[tuple[Key, int], Any] = {
        (_key(states, row), row.entries): row for row in _all(session, states.marks, room)
    }
    found: dict[Key, tuple[Any, list[tuple[Told, Any]]]] = {}
    for key, entries in own.items():
        state, outs = fold.empty(key), list[tuple[Told, Any]]()
        for count, one in enumerate(entries, 1):
            state, effects = fold.take(key, state, one.entry)
            outs += [(one, effect) for effect in effects]
            if (mark := marks.pop((key, count), None)) is not None:
                assert (place_of(mark), mark.state) == (one.place, fold.dump(key, state))
        head = heads[key]
        assert (place_of(head), head.entries) == (entries[-1].place, len(entries))
        assert head.state == fold.dump(key, state)
        found[key] = state, outs
    assert not marks
    return found


def _key(states: States, row: Any) -> Key:
    if not states.names:
        return BATHS
    kind, key = (getattr(row, name) for name in states.names)
    return kind, key


def check_costs(session: Session, room: RoomRow) -> None:
    """The lines of costs are those of the whole log read at once; all else follows from them."""
    lines, bought, bare = whole_log(session, room)
    spend = spend_of(session, room)
    assert dict(spend.lines) == lines
    assert dict(spend.bought) == bought
    for week in lines:
        cents = sum(line.cents for line in lines[week])
        assert spend.cents(week, week) == {week: cents}
        assert spend.uncovered_in(week) == [
            fill for fill in bare if IsoWeek.at(fill.at, ZoneInfo(room.time_zone)) == week
        ]
    check_washes(session, room)
    kept, sums = rolled_up(session, room), quantities(session, room)
    head = session.get_one(SpendHeadRow, room.id)
    assert basis_from(head.basis) == whole_basis(session, room.id or 0)
    rebuild_spend(session, room)
    assert rolled_up(session, room) == kept
    assert quantities(session, room) == pytest.approx(sums, abs=1e-6)
    session.rollback()


def check_parts(session: Session, room: RoomRow, told: Iterable[Told]) -> None:
    """Each part's state at the end of each of its weeks, and its lines, folded from scratch."""
    room_id, calendar = room.id or 0, calendar_of(room.time_zone)
    fold = CostFold(whole_basis(session, room_id))
    states: dict[Key, Any] = {}
    kept: dict[tuple[str, int], tuple[Place, Any]] = {}
    lines = []
    for one in told:
        week = calendar.week_of(one.place.moment_us)
        for key in fold.concerns(one.entry):
            state = states.get(key)
            state = fold.empty(key) if state is None else state
            states[key], more = fold.take(key, state, one.entry)
            kept[named(key), week] = one.place, fold.dump(key, states[key])
            lines += [line_row(room_id, named(key), week, line, is_of_swap(line.line))
                      for line in more]  # fmt: skip
    found = {
        (row.part, row.week): (place_of(row), row.state)
        for row in _all(session, SpendStateRow, room)
        if not row.part.startswith("within:")
    }
    assert found == kept
    stored = [row.model_dump(exclude={"id"}) for row in _all(session, SpendLineRow, room)]
    own = [row for row in stored if not row["part"].startswith(f"{JOB}:")]
    assert sorted(own, key=repr) == sorted(
        [{name: row[name] for name in own[0]} for row in lines], key=repr
    )


def check_washes(session: Session, room: RoomRow) -> None:
    """The sums of a week's baths are those of the course."""
    zone = ZoneInfo(room.time_zone)
    sums: dict[tuple[Any, ...], list[int]] = {}
    for row in _all(session, CourseRow, room):
        at = NOW.fromtimestamp(row.moment_us / 1e6, zone)
        key = IsoWeek.at(at, zone).count, row.tank, row.fill, row.kind, row.resin or ""
        own = sums.setdefault(key, [0, 0])
        own[0] += 1
        own[1] += round(row.resin_in_g * 1_000_000)
    found = {
        (row.week, row.tank, row.fill, row.kind, row.resin): [row.count, row.resin_in_ug]
        for row in _all(session, SpendWashRow, room)
    }
    assert found == sums


def _all(session: Session, table: Any, room: RoomRow) -> list[Any]:
    return list(session.exec(select(table).where(col(table.room_id) == room.id)))

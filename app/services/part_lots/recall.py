"""The recall: one query over the course of the baths and the entries that name a lot.

What a bath was at a wash is the course, which the driver keeps in step with late, corrected and
withdrawn entries; holds, readings set aside and checks are read from their books. So a recall keeps
nothing of its own that could be old.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, bindparam, func, select, text
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.domain.lot_keys import PART_LOT, RESIN_LOT, SOLVENT_LOT, lot_key
from app.domain.part_lots.recall import (
    ASIDE,
    HELD,
    LIMIT,
    OVERDUE,
    RESIN,
    SOLVENT,
    RecalledLot,
    Touch,
    by_lot,
)
from app.domain.roomlog.kinds import Swap, Wash
from app.domain.roomlog.kinds.curing import STATION, Cure
from app.domain.roomlog.kinds.part_lots import PartLot, PartLotRejected, PartLotReleased
from app.domain.roomlog.kinds.supplies import StockUsed
from app.services.part_lots.spans import Span, asides, holds, overdue_checks
from app.store.import_tables import BehindRow
from app.store.instants import from_us, to_us
from app.store.tables import ABOVE_LIMIT, CourseRow, EntryRow, LinkRow, RoomRow

SOME = 500  # keys in one statement
DECISIONS = (PartLotReleased.kind, PartLotRejected.kind)


@dataclass(frozen=True)
class Recall:
    """What is asked: for which reasons, between which instants (the second not included)."""

    reasons: frozenset[str]
    since: datetime
    until: datetime
    resin_lot: str = ""
    solvent_lot: str = ""


@dataclass(frozen=True)
class Recalled:
    """The answer.

    Attributes:
        lots: the one touched last in front; `more` is how many others there are.
        is_behind: what was brought in is still being worked out: baths may be missing.
    """

    lots: tuple[RecalledLot, ...]
    more: int = 0
    is_behind: bool = False


@dataclass(frozen=True)
class _Fill:
    """A fill of a tank that something got into, from an instant on."""

    tank: str
    fill: int
    since_us: int


def recall(session: Session, room: RoomRow, asked: Recall, most: int | None = None) -> Recalled:
    """The part lots that touched what is asked for, each with when and why.

    Args:
        most: lots that are told, those touched last; of the others nothing more is read. None tells
            all.
    """
    look = _Look(session, room, asked)
    found: list[Touch] = []
    for reason, touches in look.by_reason().items():
        if reason in asked.reasons:
            found += touches()
    lots = by_lot(found)
    told = _with_decisions(session, room.id or 0, lots[:most])
    return Recalled(tuple(told), len(lots) - len(told), session.get(BehindRow, room.id) is not None)


@dataclass(frozen=True)
class _Look:
    session: Session
    room: RoomRow
    asked: Recall

    @property
    def room_id(self) -> int:
        assert self.room.id is not None
        return self.room.id

    def by_reason(self) -> Mapping[str, Any]:
        """How each reason is looked for."""
        return {
            LIMIT: self.above, HELD: self.held, ASIDE: self.aside, OVERDUE: self.overdue,
            RESIN: self.resin, SOLVENT: self.solvent,
        }  # fmt: skip

    def above(self) -> Iterator[Touch]:
        """Washes in baths above their limit: rows that an index of their own holds."""
        columns = ("tank", "fill", "mean_before_percent", "limit_percent")
        query = (
            _named(*(col(getattr(CourseRow, name)) for name in columns))
            .join(CourseRow, col(CourseRow.entry_id) == col(EntryRow.id))
            .where(*self._of_course(), text(f"course.{ABOVE_LIMIT.replace('> ', '> course.')}"))
        )
        for at_us, uid, fields, key, tank, fill, percent, limit in self.session.execute(query):
            yield Touch(
                key, _lot(fields), LIMIT, from_us(at_us), uid, tank, percent=percent,
                limit_percent=limit, fill=fill,
            )  # fmt: skip

    def held(self) -> Iterator[Touch]:
        """Washes in tanks on hold."""
        for span, since, until in self._within(holds(self.session, self.room_id)):
            query = _named().where(
                col(EntryRow.room_id) == self.room_id, col(EntryRow.tank) == span.key,
                col(EntryRow.kind) == Wash.kind, *_between(EntryRow.at_us, since, until),
            )  # fmt: skip
            for at_us, uid, fields, key in self.session.execute(query):
                yield Touch(
                    key, _lot(fields), HELD, from_us(at_us), uid, span.key,
                    since_at=span.since_at, why=span.why,
                )  # fmt: skip

    def aside(self) -> Iterator[Touch]:
        """Cures in stations with a reading that was set aside."""
        of_station = aliased(LinkRow)
        for span, since, until in self._within(asides(self.session, self.room_id)):
            query = (
                _named()
                .join(of_station, col(of_station.entry_id) == col(EntryRow.id))
                .where(
                    col(of_station.room_id) == self.room_id, col(of_station.thing) == STATION,
                    col(of_station.key) == span.key, col(EntryRow.kind) == Cure.kind,
                    *_between(of_station.moment_us, since, until),
                )
            )  # fmt: skip
            for at_us, uid, fields, key in self.session.execute(query):
                yield Touch(
                    key, _lot(fields), ASIDE, from_us(at_us), uid, station=span.key,
                    since_at=span.since_at,
                )  # fmt: skip

    def overdue(self) -> Iterator[Touch]:
        """Cures while the check of the instruments was overdue."""
        for span, since, until in self._within(overdue_checks(self.session, self.room)):
            query = _named().where(
                col(EntryRow.room_id) == self.room_id,
                col(EntryRow.kind) == Cure.kind,
                *_between(EntryRow.at_us, since, until),
            )
            for at_us, uid, fields, key in self.session.execute(query):
                values = json.loads(fields)
                yield Touch(
                    key, values.get("lot", ""), OVERDUE, from_us(at_us), uid,
                    station=values.get("station", ""), since_at=span.since_at,
                )  # fmt: skip

    def resin(self) -> Iterator[Touch]:
        """What was made from a lot of resin, and what was washed in a fill after it."""
        lots = self._part_lots_of(lot_key(self.asked.resin_lot))
        fills: dict[tuple[str, int], int] = {}
        for some in _some(sorted(lots)):
            query = (
                select(col(CourseRow.tank), col(CourseRow.fill), func.min(CourseRow.at_us))
                .join(LinkRow, col(LinkRow.entry_id) == col(CourseRow.entry_id))
                .where(
                    col(LinkRow.room_id) == self.room_id, col(LinkRow.thing) == PART_LOT,
                    col(LinkRow.key).in_(some), col(CourseRow.kind) == Wash.kind,
                )
                .group_by(col(CourseRow.tank), col(CourseRow.fill))
            )  # fmt: skip
            for tank, fill, at_us in self.session.execute(query):
                fills[tank, fill] = min(at_us, fills.get((tank, fill), at_us))
        return self._washed_in([_Fill(*named, at_us) for named, at_us in fills.items()], RESIN)

    def solvent(self) -> Iterator[Touch]:
        """What was washed in a fill after a lot of solvent went into it."""
        query = (
            select(EntryRow.at_us, EntryRow.tank, EntryRow.fields)  # type: ignore[call-overload]
            .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
            .where(
                col(LinkRow.room_id) == self.room_id, col(LinkRow.thing) == SOLVENT_LOT,
                col(LinkRow.key) == lot_key(self.asked.solvent_lot),
                col(EntryRow.kind) == StockUsed.kind, col(EntryRow.voided_by).is_(None),
            )
        )  # fmt: skip
        fills: dict[tuple[str, int], int] = {}
        for at_us, tank, fields in self.session.execute(query).all():
            fill = self._fill_of(tank, at_us, json.loads(fields).get("swap"))
            if fill is not None:
                fills[tank, fill] = min(at_us, fills.get((tank, fill), at_us))
        return self._washed_in([_Fill(*named, at_us) for named, at_us in fills.items()], SOLVENT)

    def _part_lots_of(self, key: str) -> set[str]:
        """The part lots that are printed from a lot of resin."""
        of_resin = aliased(LinkRow)
        query = (
            select(col(LinkRow.key))
            .join(of_resin, col(of_resin.entry_id) == col(LinkRow.entry_id))
            .join(EntryRow, col(EntryRow.id) == col(LinkRow.entry_id))
            .where(
                col(of_resin.room_id) == self.room_id, col(of_resin.thing) == RESIN_LOT,
                col(of_resin.key) == key, col(LinkRow.thing) == PART_LOT,
                col(EntryRow.kind) == PartLot.kind, col(EntryRow.voided_by).is_(None),
            )
        )  # fmt: skip
        return {str(row[0]) for row in self.session.execute(query)}

    def _fill_of(self, tank: str, at_us: int, swap: str | None) -> int | None:
        """The fill that a use of solvent went into: its swap's, else the one of that time."""
        query = select(col(CourseRow.fill)).where(
            col(CourseRow.room_id) == self.room_id, col(CourseRow.tank) == tank
        )
        if swap is not None:
            of_swap = (
                query.join(LinkRow, col(LinkRow.entry_id) == col(CourseRow.entry_id))
                .where(col(LinkRow.thing) == "swap", col(LinkRow.key) == swap)
                .where(col(CourseRow.kind) == Swap.kind)
            )
            if (found := self.session.execute(of_swap.limit(1)).scalar()) is not None:
                return int(found)
        before = query.where(col(CourseRow.at_us) <= at_us).order_by(col(CourseRow.at_us).desc())
        found = self.session.execute(before.limit(1)).scalar()
        return None if found is None else int(found)

    def _washed_in(self, fills: Sequence[_Fill], reason: str) -> Iterator[Touch]:
        query = (
            _named()
            .join(CourseRow, col(CourseRow.entry_id) == col(EntryRow.id))
            .where(
                col(CourseRow.room_id) == self.room_id,
                col(CourseRow.tank) == bindparam("tank"), col(CourseRow.fill) == bindparam("fill"),
                col(CourseRow.kind) == Wash.kind,
                col(CourseRow.at_us) >= bindparam("since_us"),
                col(CourseRow.at_us) < to_us(self.asked.until),
            )
        )  # fmt: skip
        asked_us = to_us(self.asked.since)
        for fill in self._with_moved(fills):
            since_at = from_us(fill.since_us)
            named = {
                "tank": fill.tank, "fill": fill.fill, "since_us": max(fill.since_us, asked_us),
            }  # fmt: skip
            for at_us, uid, fields, key in self.session.execute(query, named):
                yield Touch(
                    key, _lot(fields), reason, from_us(at_us), uid, fill.tank, fill=fill.fill,
                    since_at=since_at,
                )  # fmt: skip

    def _with_moved(self, fills: Sequence[_Fill]) -> list[_Fill]:
        """The fills, and those that their liquid was moved into by a swap."""
        found = {(one.tank, one.fill): one for one in fills}
        moved = self._moves() if fills else []
        is_new = True
        while is_new:
            is_new = False
            for source, target in moved:
                here, there = found.get((source.tank, source.fill)), (target.tank, target.fill)
                if here is None or there in found or target.since_us < here.since_us:
                    continue
                found[there] = target
                is_new = True
        return list(found.values())

    def _moves(self) -> list[tuple[_Fill, _Fill]]:
        """Which fill became which other one, as clean baths are moved to dirty tanks."""
        query = (
            select(CourseRow.tank, CourseRow.fill, CourseRow.at_us, EntryRow.fields)  # type: ignore[call-overload]
            .join(EntryRow, col(EntryRow.id) == col(CourseRow.entry_id))
            .where(
                col(EntryRow.room_id) == self.room_id, col(EntryRow.kind) == Swap.kind,
                col(EntryRow.voided_by).is_(None), col(EntryRow.fields).like('%"from_tank"%'),
            )
            .order_by(col(CourseRow.at_us))
        )  # fmt: skip
        found = []
        for tank, fill, at_us, fields in self.session.execute(query).all():
            source = json.loads(fields).get("from_tank")
            before = self._fill_of(source, at_us - 1, None) if source else None
            if before is not None:
                found.append((_Fill(source, before, at_us), _Fill(tank, fill, at_us)))
        return found

    def _of_course(self) -> tuple[ColumnElement[bool], ...]:
        return (
            col(CourseRow.room_id) == self.room_id,
            col(CourseRow.kind) == Wash.kind,
            *_between(CourseRow.at_us, to_us(self.asked.since), to_us(self.asked.until)),
        )

    def _within(self, spans: Iterable[Span]) -> Iterator[tuple[Span, int, int]]:
        """The spans that lie in the days asked for, with what of them does, in microseconds."""
        for span in spans:
            since = max(span.since_at, self.asked.since)
            until = min(span.until_at or self.asked.until, self.asked.until)
            if since < until:
                yield span, to_us(since), to_us(until)


def _named(*more: Any) -> Select[Any]:
    """Entries that count and name a part lot: time, id, fields, key of the lot."""
    query: Select[Any] = (
        select(EntryRow.at_us, EntryRow.uid, EntryRow.fields, LinkRow.key, *more)  # type: ignore[call-overload]
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(col(LinkRow.thing) == PART_LOT, col(EntryRow.voided_by).is_(None))
    )
    return query


def _between(column: Any, since_us: int, until_us: int) -> tuple[Any, Any]:
    return col(column) >= since_us, col(column) < until_us


def _lot(fields: str) -> str:
    return str(json.loads(fields).get("lot", ""))


def _some(keys: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(keys), SOME):
        yield keys[start : start + SOME]


def _with_decisions(
    session: Session, room_id: int, lots: Sequence[RecalledLot]
) -> list[RecalledLot]:
    """Lots with whether each was released or rejected, by the last word."""
    decided: dict[str, Any] = {}
    for some in _some([one.key for one in lots]):
        query = (
            select(LinkRow.key, EntryRow.kind, EntryRow.at_us, EntryRow.by, EntryRow.fields)  # type: ignore[call-overload]
            .join(EntryRow, col(EntryRow.id) == col(LinkRow.entry_id))
            .where(
                col(LinkRow.room_id) == room_id, col(LinkRow.thing) == PART_LOT,
                col(LinkRow.key).in_(some), col(EntryRow.kind).in_(DECISIONS),
                col(EntryRow.voided_by).is_(None),
            )
            .order_by(col(LinkRow.moment_us), col(LinkRow.sequence))
        )  # fmt: skip
        decided |= {row.key: row for row in session.execute(query)}
    return [_decided(one, decided.get(one.key)) for one in lots]


def _decided(lot: RecalledLot, row: Any | None) -> RecalledLot:
    if row is None:
        return lot
    is_release = row.kind == PartLotReleased.kind
    by = json.loads(row.fields).get("lead", "") if is_release else row.by
    standing = "released" if is_release else "rejected"
    return replace(lot, standing=standing, decided_at=from_us(row.at_us), decided_by=by)

"""Following the parts of a room's costs entry by entry, week by week."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from itertools import groupby
from typing import Any, ClassVar

from pydantic import TypeAdapter
from sqlmodel import Session, col

from app.domain.folds import Key
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import ITEM as ITEM_THING
from app.domain.spend.cost_folds import (
    BATH,
    BATHS,
    ITEM,
    JOB,
    OTHER_PART,
    PARTS,
    WASTE,
    WASTE_PART,
    Line,
    PartName,
    parts_of,
)
from app.domain.spend.forecast import is_of_swap
from app.domain.spend.price_book import Basis
from app.services.entries import START, Place, after, entry_of, place_of
from app.services.spend.calendar import Calendar
from app.store.instants import to_us
from app.store.spend_lines import (
    drop_from,
    drop_states,
    drop_weeks_of,
    line_row,
    put_lines,
    put_states,
    states_from,
    states_of,
    sum_more,
    sum_weeks,
)
from app.store.tables import EntryRow, LinkRow

FORMAT = "5"
FIRST_PAGE, PAGE_GROWS = 250, 4
NOT_KEPT = frozenset({"prices", "solvents"})  # what entries are charged by is no state
KINDS_OF_PART: Mapping[str, frozenset[str]] = {
    BATH: BATHS, WASTE_PART: WASTE, OTHER_PART: frozenset({OtherCost.kind}),
}  # fmt: skip

Taken = tuple[Place, Entry]


def named(part: PartName) -> str:
    """A part's name as it is stored."""
    return f"{part[0]}:{part[1]}"


@cache
def _adapter(kind: str) -> TypeAdapter[Any]:
    return TypeAdapter(PARTS[kind].state)


def state_of(kind: str, text: bytes | str) -> Any:
    """A part's state as it was stored."""
    return _adapter(kind).validate_json(text)


@dataclass(frozen=True)
class CostFold:
    """The parts of a room's costs, each a state; what an entry leaves are lines.

    The labour of swaps and inspections is none of it: a job's line is worked out from all of its
    entries together (jobs.py).
    """

    basis: Basis
    name: ClassVar[str] = "costs"
    versions: ClassVar[Mapping[str, str]] = {"": FORMAT}

    def concerns(self, entry: Entry) -> Iterable[Key]:
        """The parts that take an entry."""
        return (part for part in parts_of(entry) if part[0] != JOB)

    def empty(self, key: Key) -> Any:
        """A part that nothing has happened to."""
        return PARTS[key[0]].start(key[1])

    def take(self, key: Key, state: Any, entry: Entry) -> tuple[Any, Sequence[Line]]:
        """The part after an entry, moved on in place, and the entry's lines."""
        return state, PARTS[key[0]].take(state, entry, self.basis)

    def dump(self, key: Key, state: Any) -> str:
        """JSON; what entries are charged by is the basis, not the part's own."""
        return _adapter(key[0]).dump_json(state, exclude=set(NOT_KEPT)).decode()

    def load(self, key: Key, kept: bytes | str) -> Any:
        """The state of `dump`."""
        return state_of(key[0], kept)


class Follower:
    """Moves parts on week by week, and stores their lines and states.

    A state is kept at the end of each week that a part has entries in, since lines are summed and
    dropped by the week; and a part that was changed is followed only until its state at a week's
    end is again the one that was kept. That is why it goes back by weeks, not as the driver does.

    Attributes:
        touched: weeks whose lines are to be summed anew.
        came, gone: lines of other weeks that their sums have yet to take in, or out.
    """

    def __init__(self, session: Session, room_id: int, calendar: Calendar, basis: Basis) -> None:
        self.session, self.room_id = session, room_id
        self.calendar, self.basis, self.fold = calendar, basis, CostFold(basis)
        self.touched: set[int] = set()
        self.came: list[dict[str, Any]] = []
        self.gone: list[dict[str, Any]] = []

    def week_of(self, place: Place) -> int:
        """The week of a place."""
        return self.calendar.week_of(place.moment_us)

    def week_at(self, moment: datetime) -> int:
        """The week of an instant."""
        return self.calendar.week_of(to_us(moment))

    def rewind(self, moment: datetime) -> int:
        """Drop all lines and states from the week of an instant on; that week."""
        week = self.calendar.week_of(to_us(moment))
        self.touched |= drop_from(self.session, self.room_id, week)
        return week

    def follow(
        self, news: Mapping[PartName, list[Taken]], gone: Mapping[PartName, list[Place]]
    ) -> None:
        """Take entries in, in whatever order they are given, and out what no longer counts."""
        parts = sorted(news.keys() | gone.keys())
        heads = states_of(self.session, self.room_id, [named(part) for part in parts])
        states: list[dict[str, Any]] = []
        for part in parts:
            own = sorted(news.get(part, ()), key=lambda taken: taken[0])
            head = heads.get(named(part))
            left = gone.get(part, ())
            if not left and (head is None or own[0][0] > place_of(head)):
                states += self._append(part, head, own)
            else:
                weeks = [self.week_of(place) for place in [*left, *(place for place, _ in own)]]
                self._again(part, min(weeks), max(weeks))
        if states:
            put_states(self.session, states)

    def _append(self, part: PartName, head: Any, entries: Iterable[Taken]) -> list[dict[str, Any]]:
        """Take entries behind the last one; the states to be stored."""
        state, states = self._state(part, head), []
        rows: list[dict[str, Any]] = []
        for week, lines, kept in self._weeks(part, state, entries):
            rows += self.rows(named(part), [(week, line) for line in lines])
            states.append(kept)
        self.change(rows)
        return states

    def _again(self, part: PartName, first: int, reach: int) -> None:
        """Follow a part anew from a week on, at least to another, until nothing differs."""
        name = named(part)
        head = states_of(self.session, self.room_id, [name], before=first).get(name)
        kept = states_from(self.session, self.room_id, part=name, week=first)
        entries = self._entries(part, self.calendar.start_us(first))
        done: list[int] = []
        for week, lines, row in self._weeks(part, self._state(part, head), entries):
            done.append(week)
            drop_weeks_of(self.session, self.room_id, name, [week])
            put_lines(self.session, self.rows(name, [(week, line) for line in lines]))
            put_states(self.session, [row])
            if week >= reach and kept.get(week) == row["state"]:
                gone = [one for one in kept if one < week and one not in done]
                break
        else:
            gone = [one for one in kept if one not in done]
        drop_weeks_of(self.session, self.room_id, name, gone)
        for week in gone:
            drop_states(self.session, self.room_id, [name], week)
        self.touched.update(gone, done)

    def _weeks(
        self, part: PartName, state: Any, entries: Iterable[Taken]
    ) -> Iterator[tuple[int, list[Line], dict[str, Any]]]:
        """Week by week: the lines of the entries, and the state after them."""
        for week, some in groupby(entries, key=lambda taken: self.week_of(taken[0])):
            lines: list[Line] = []
            place = START
            for place, entry in some:  # noqa: B007  (the last one is kept)
                state, more = self.fold.take(part, state, entry)
                lines += more
            yield week, lines, self._row(part, week, place, state)

    def _row(self, part: PartName, week: int, place: Place, state: Any) -> dict[str, Any]:
        text = self.fold.dump(part, state)
        return {
            "room_id": self.room_id, "part": named(part), "week": week, "state": text,
            **vars(place),
        }  # fmt: skip

    def _state(self, part: PartName, head: Any) -> Any:
        return self.fold.empty(part) if head is None else self.fold.load(part, head.state)

    def change(self, came: Sequence[dict[str, Any]], gone: Sequence[dict[str, Any]] = ()) -> None:
        """Store lines, where those that are `gone` have been dropped."""
        put_lines(self.session, came)
        self.came += came
        self.gone += gone

    def sum_up(self) -> None:
        """Bring the sums of weeks up to the lines."""
        sum_weeks(self.session, self.room_id, self.touched)
        came, gone = (
            [row for row in rows if row["week"] not in self.touched]
            for rows in (self.came, self.gone)
        )
        sum_more(self.session, self.room_id, came, gone)

    def rows(self, name: str, lines: Iterable[tuple[int, Line]]) -> list[dict[str, Any]]:
        """Lines of a part as they are stored."""
        return [
            line_row(self.room_id, name, week, line, is_of_swap(line.line)) for week, line in lines
        ]

    def _entries(self, part: PartName, since_us: int) -> Iterator[Taken]:
        """A part's entries that count, from an instant on, in the order of truth.

        Read a page at a time, each larger than the one before: most often the first is enough.
        """
        table = EntryRow.__table__  # type: ignore[attr-defined]
        query = table.select().where(
            table.c.room_id == self.room_id, table.c.voided_by.is_(None),
        )  # fmt: skip
        source: Any = EntryRow
        if part[0] == ITEM:
            source = LinkRow
            query = query.join(LinkRow, col(LinkRow.entry_id) == table.c.id).where(
                col(LinkRow.room_id) == self.room_id, col(LinkRow.thing) == ITEM_THING,
                col(LinkRow.key) == part[1], col(LinkRow.moment_us) >= since_us,
            )  # fmt: skip
        else:
            query = query.where(table.c.kind.in_(KINDS_OF_PART[part[0]]))
            if part[0] == BATH:
                query = query.where(table.c.tank == part[1])
        query = query.order_by(source.moment_us, source.rank, source.sequence)
        place, page = START, FIRST_PAGE
        while True:
            here = query.where(after(source, place)).limit(page)
            if part[0] != ITEM:
                here = here.where(table.c.at_us >= max(since_us, place.moment_us))
            rows = self.session.execute(here).all()
            yield from ((place_of(row), entry_of(row)) for row in rows)
            if len(rows) < page:
                return
            place, page = place_of(rows[-1]), page * PAGE_GROWS

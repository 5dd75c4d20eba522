"""The cost lines of a room, followed entry by entry and week by week.

The labour of a swap or an inspection is worked out from all entries of the job together.
"""

import json
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from itertools import groupby
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from sqlalchemy import bindparam
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.folds import Key
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import ITEM as ITEM_THING
from app.domain.spend.cost_folds import (
    BATH,
    BATHS,
    ENTRY_JOB,
    INSPECTION_JOB,
    ITEM,
    JOB,
    LABOUR,
    OTHER_PART,
    PARTS,
    SWAP_JOB,
    WASTE,
    WASTE_PART,
    Line,
    PartName,
    job_lines,
    parts_of,
)
from app.domain.spend.forecast import is_of_swap
from app.domain.spend.price_book import Basis
from app.domain.spend.weeks import IsoWeek
from app.services.entries import START, Place, after, entry_of, place_of
from app.store.instants import to_us
from app.store.spend.lines import (
    drop_from,
    drop_lines,
    drop_states,
    drop_weeks_of,
    line_row,
    put_lines,
    put_states,
    rows_of,
    states_from,
    states_in,
    states_of,
    sum_more,
    sum_weeks,
)
from app.store.tables import EntryRow, LinkRow

FIRST_YEAR, LAST_YEAR = 1990, 2100

FORMAT = "7"
FIRST_PAGE, PAGE_GROWS = 250, 4
NOT_KEPT = frozenset({"prices", "solvents"})  # what entries are charged by is no state
KINDS_OF_PART: Mapping[str, frozenset[str]] = {
    BATH: BATHS, WASTE_PART: WASTE, OTHER_PART: frozenset({OtherCost.kind}),
}  # fmt: skip
Taken = tuple[Place, Entry]
SOME = 200
ENTRIES: Any = EntryRow.__table__  # type: ignore[attr-defined]
LINKS: Any = LinkRow.__table__  # type: ignore[attr-defined]
STEPS_OF = (
    sql_select(LINKS.c.key, ENTRIES)
    .join(ENTRIES, ENTRIES.c.id == LINKS.c.entry_id)
    .where(
        LINKS.c.room_id == bindparam("room_id"), LINKS.c.thing == bindparam("thing"),
        LINKS.c.key.in_(bindparam("keys", expanding=True)), ENTRIES.c.voided_by.is_(None),
        ENTRIES.c.kind.in_(LABOUR),
    )
)  # fmt: skip
WITHIN, NO_WEEK = "within", -(2**31)
Steps = dict[str, list[tuple[Place, Entry]]]


class Calendar:
    """The weeks of a time zone by their count and by their first instants in microseconds."""

    def __init__(self, time_zone: str) -> None:
        self.zone = ZoneInfo(time_zone)
        self.first = IsoWeek(FIRST_YEAR, 1).count
        counts = range(self.first, IsoWeek(LAST_YEAR, 1).count)
        self._starts = [to_us(IsoWeek.counted(one).span(self.zone)[0]) for one in counts]

    def week_of(self, moment_us: int) -> int:
        """The count of the week of an instant."""
        place = bisect_right(self._starts, moment_us)
        if 0 < place < len(self._starts):
            return self.first + place - 1
        return self.first - 1 if place == 0 else self.first + len(self._starts)

    def start_us(self, week: int) -> int:
        """The first instant of a week."""
        place = week - self.first
        if place < 0:
            return -(2**62)
        return self._starts[place] if place < len(self._starts) else 2**62


@lru_cache(maxsize=16)
def calendar_of(time_zone: str) -> Calendar:
    """The weeks of a time zone."""
    return Calendar(time_zone)


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
    entries together (`keep_jobs`).
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


def keep_jobs(follower: Follower, jobs: Iterable[str]) -> None:
    """Work the lines of these jobs out anew."""
    names = sorted(jobs)
    for start in range(0, len(names), SOME):
        _keep_some(follower, names[start : start + SOME])


def _keep_some(follower: Follower, names: Sequence[str]) -> None:
    inspections = _keys(names, INSPECTION_JOB)
    looks = _steps(follower, INSPECTION_JOB, inspections)
    swaps = set(_keys(names, SWAP_JOB))
    news: dict[str, set[str]] = {}
    done: dict[str, list[tuple[Place, Entry]]] = {}
    for inspection in inspections:
        within = _swaps_of(looks.get(inspection, []))
        for swap in within:
            news.setdefault(swap, set()).add(inspection)
        swaps |= within
        done[f"{INSPECTION_JOB}:{inspection}"] = [] if within else looks.get(inspection, [])
    done |= _swaps(follower, swaps, news)
    for uid in _keys(names, ENTRY_JOB):
        query = select(EntryRow).where(
            EntryRow.room_id == follower.room_id, EntryRow.uid == uid,
            col(EntryRow.voided_by).is_(None),
        )  # fmt: skip
        rows = follower.session.exec(query).all()
        done[f"{ENTRY_JOB}:{uid}"] = [(place_of(row), entry_of(row)) for row in rows]
    _store(follower, done)


def _store(follower: Follower, done: Steps) -> None:
    """Store the lines of jobs that are others than before; most often a step moves none."""
    rows = {}
    for name, steps in done.items():
        ordered = [entry for _, entry in sorted(steps, key=lambda step: step[0])]
        lines = [
            (follower.week_at(line.line.at), line) for line in job_lines(ordered, follower.basis)
        ]
        rows[f"{JOB}:{name}"] = follower.rows(f"{JOB}:{name}", lines)
    there = rows_of(follower.session, follower.room_id, sorted(rows))
    other = [part for part, own in rows.items() if own != there.get(part, [])]
    drop_lines(follower.session, follower.room_id, [part for part in other if part in there])
    follower.change(
        [row for part in other for row in rows[part]],
        [row for part in other for row in there.get(part, ())],
    )


def _swaps(follower: Follower, swaps: set[str], news: dict[str, set[str]]) -> Steps:
    """The entries of swaps, and of the inspections that are steps of them."""
    own = _steps(follower, SWAP_JOB, sorted(swaps))
    names = [f"{WITHIN}:{swap}" for swap in sorted(swaps)]
    kept = states_in(follower.session, follower.room_id, names, NO_WEEK)
    within: dict[str, set[str]] = {
        swap: set(json.loads(kept.get(f"{WITHIN}:{swap}", "[]"))) for swap in swaps
    }
    rows = []
    for swap, inspections in news.items():
        if not inspections <= within[swap]:
            within[swap] |= inspections
            rows.append(_within_row(follower.room_id, swap, within[swap]))
    put_states(follower.session, rows)
    looks = _steps(follower, INSPECTION_JOB, sorted({x for some in within.values() for x in some}))
    found: Steps = {}
    for swap in swaps:
        theirs = [
            step
            for inspection in within[swap]
            if swap in _swaps_of(looks.get(inspection, []))
            for step in looks[inspection]
        ]
        found[f"{SWAP_JOB}:{swap}"] = [*own.get(swap, []), *theirs]
    return found


def _within_row(room_id: int, swap: str, inspections: set[str]) -> dict[str, Any]:
    return {
        "room_id": room_id, "part": f"{WITHIN}:{swap}", "week": NO_WEEK, "moment_us": 0, "rank": 0,
        "sequence": 0, "state": json.dumps(sorted(inspections)),
    }  # fmt: skip


def _swaps_of(steps: Iterable[tuple[Place, Entry]]) -> set[str]:
    return {step.swap for _, step in steps if isinstance(step, InspectionStarted) and step.swap}


def _keys(names: Iterable[str], kind: str) -> list[str]:
    return [name.split(":", 1)[1] for name in names if name.startswith(f"{kind}:")]


def _steps(follower: Follower, thing: str, keys: Sequence[str]) -> Steps:
    """The entries of labour in the books of swaps or inspections, by their key."""
    found: Steps = {}
    for start in range(0, len(keys), SOME):
        some = {
            "room_id": follower.room_id, "thing": thing, "keys": keys[start : start + SOME],
        }  # fmt: skip
        for row in follower.session.execute(STEPS_OF, some):
            entry = entry_of(row)
            if thing == SWAP_JOB and getattr(entry, "inspection", None):
                continue
            found.setdefault(row.key, []).append((place_of(row), entry))
    return found

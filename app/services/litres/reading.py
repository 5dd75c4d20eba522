"""The book of litres as it stands: accounts, what pages say of the same litres, postings."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import or_, tuple_
from sqlmodel import Session, col, select

from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import standing
from app.domain.litres.accounts import (
    DRAWN,
    DRUM,
    FRESH,
    KINDS,
    LOT,
    OUTSIDE,
    OUTSIDE_WORDS,
    TANK,
    UNEXPLAINED,
    UNEXPLAINED_BELOW,
    UNEXPLAINED_WORDS,
    account,
    key_of,
    kind_of,
)
from app.domain.litres.state import UL, LitresState
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM as DRUMS
from app.services.litres.keeping import BOOK, LITRES
from app.store import queries
from app.store.instants import from_us
from app.store.litres_tables import LitresPostingRow
from app.store.tables import EntryRow, RoomRow, TankRow
from app.store.things import thing, things

NEAR_L = 0.01
"""How far two pages may be apart in the same litres."""
PER_PAGE = 100
ON_THEIR_WAY = (FRESH, DRAWN)
OF_FRESH = ("off the shelf but not filled into", "filled from no lot on the shelf into")
OF_DRAWN = ("drained but in no drum yet, from", "in drums but not drained from a bath, from")
"""What is on its way, in words: more than nothing, and less."""


@dataclass(frozen=True)
class Compared:
    """Litres of a tank, drum or lot: by the acts, and as its page has them.

    Attributes:
        account: its name in the book.
        estimated_l: of a tank, by how much the estimate differs from the acts: what has evaporated,
            went out with parts and came in with resin since its level was last seen or set. Nothing
            while the steps of a swap say what is in it: page and book name the same litres then.
    """

    account: str
    name: str
    book_l: float
    page_l: float
    estimated_l: float = 0.0

    @property
    def apart_l(self) -> float:
        """What neither acts nor estimate account for, litres."""
        return self.page_l - self.book_l - self.estimated_l

    @property
    def agrees(self) -> bool:
        """Book and page name the same litres."""
        return abs(self.apart_l) <= NEAR_L


@dataclass(frozen=True)
class Balance:
    """An account with what stands on it."""

    account: str
    name: str
    litres: float


@dataclass(frozen=True)
class Group:
    """The accounts of a kind."""

    kind: str
    words: str
    about: str
    stands: bool
    balances: tuple[Balance, ...]

    @property
    def litres(self) -> float:
        """Of all of them together."""
        return sum(one.litres for one in self.balances)


@dataclass(frozen=True)
class Book:
    """The book of a room.

    Attributes:
        imbalance_l: what the accounts do not add up to nothing by.
    """

    groups: tuple[Group, ...]
    compared: tuple[Compared, ...]
    names: dict[str, str]
    imbalance_l: float

    def litres(self, name: str) -> float:
        """What stands on an account."""
        balances = (one for group in self.groups for one in group.balances)
        return next((one.litres for one in balances if one.account == name), 0.0)

    @property
    def apart(self) -> tuple[Compared, ...]:
        """Where book and page name other litres."""
        return tuple(one for one in self.compared if not one.agrees)

    @property
    def unexplained(self) -> tuple[Balance, ...]:
        """What no act accounts for, or not yet, the most first; what went off the shelf through a
        tank into a drum is its rinse."""
        there = {one.account: one for group in self.groups for one in group.balances}
        found = [one for one in there.values() if kind_of(one.account) == UNEXPLAINED]
        for tank in dict.fromkeys(key_of(one) for one in there if kind_of(one) in ON_THEIR_WAY):
            fresh, drawn = (there.get(account(kind, tank)) for kind in (FRESH, DRAWN))
            fresh_l, drawn_l = (one.litres if one else 0.0 for one in (fresh, drawn))
            through_l = max(0.0, min(fresh_l, -drawn_l))
            name = self.names.get(f"tank|{tank}", tank)
            for one, litres, words in (
                (fresh, fresh_l - through_l, OF_FRESH), (drawn, drawn_l + through_l, OF_DRAWN),
            ):  # fmt: skip
                if one is not None and abs(litres) >= NEAR_L:
                    found.append(Balance(one.account, f"{words[litres < 0]} {name}", litres))
        return tuple(sorted(found, key=lambda one: -abs(one.litres)))


@dataclass(frozen=True)
class Posted:
    """A posting as it is listed."""

    at: datetime
    entry: str
    by: str
    source: str
    target: str
    litres: float
    why: str


def state_of(session: Session, room_id: int) -> LitresState:
    """What stands on each account by the acts."""
    return BOOK.head(session, room_id, LITRES).state


def book_of(session: Session, room: RoomRow, now: datetime) -> Book:
    """The accounts of a room, and what its pages say of the same litres."""
    assert room.id is not None
    state = state_of(session, room.id)
    board = queries.board(session, room.id, now, with_retired=True)
    drums = things(session, room.id, DRUMS)
    items = things(session, room.id, ITEM)
    names = {
        **{f"tank|{one.key}": one.name for one in board.tanks},
        **{f"drum|{key}": one.name or key for key, one in drums.items()},
        **{f"item|{key}": one.name or key for key, one in items.items()},
    }
    by_steps = _by_steps(session, room.id)
    compared = [
        Compared(
            account(TANK, one.key), one.name, state.level_l(one.key), one.volume_l,
            0.0 if one.key in by_steps else one.volume_l - state.level_l(one.key),
        )
        for one in board.tanks
        if not one.is_retired
    ]  # fmt: skip
    compared += [
        Compared(
            account(DRUM, key), one.name or key, state.litres(account(DRUM, key)), one.volume_l
        )
        for key, one in drums.items()
        if not one.is_shipped
    ]
    compared += _lots(state, items)
    return Book(_groups(state, names), tuple(compared), names, sum(state.balances_ul.values()) / UL)


def _by_steps(session: Session, room_id: int) -> set[str]:
    """The tanks whose level the steps of a swap say: no estimate has a part in it."""
    states: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    return {
        tank
        for state in states
        for tank in (state.tank, state.from_tank)
        if tank and standing(state, tank, 0.0) is not None
    }


def _lots(state: LitresState, items: dict[str, Any]) -> list[Compared]:
    there = {
        f"{key}|{lot.lot}": lot.quantity
        for key, item in items.items()
        if item.category == "solvent"
        for lot in item.lots
    }
    booked = state.of_kind(LOT)
    return [
        Compared(
            account(LOT, key), _lot_name(key, items), booked.get(key, 0.0), there.get(key, 0.0)
        )
        for key in dict.fromkeys((*there, *booked))
    ]


def _lot_name(key: str, items: dict[str, Any]) -> str:
    item, _, lot = key.partition("|")
    known = items.get(item)
    return f"{known.name if known is not None and known.name else item}, lot {lot}"


def _groups(state: LitresState, names: dict[str, str]) -> tuple[Group, ...]:
    return tuple(
        Group(
            kind, about.words, about.about, about.stands,
            tuple(
                Balance(account(kind, key), name_of(account(kind, key), names, litres), litres)
                for key, litres in sorted(balances.items())
            ),
        )
        for kind, about in KINDS.items()
        if (balances := state.of_kind(kind))
    )  # fmt: skip


def name_of(name: str, names: dict[str, str], litres: float = 0.0) -> str:
    """An account in words.

    Args:
        names: of tanks, drums and items: by `tank|`, `drum|` or `item|` and the key.
        litres: what stands on it.
    """
    kind, key = kind_of(name), key_of(name)
    first, _, rest = key.partition("|")
    if kind == OUTSIDE:
        return OUTSIDE_WORDS.get(key, key)
    if kind == LOT:
        return f"{names.get(f'item|{first}', first)}, lot {rest}"
    if kind == DRUM:
        return names.get(f"drum|{key}", key)
    if kind == UNEXPLAINED:
        of = {"owed": "item", "counted": "item", "moved": "drum"}.get(first, "tank")
        words = UNEXPLAINED_WORDS.get(first, first)
        words = UNEXPLAINED_BELOW.get(first, words) if litres < 0 else words
        return f"{words} {names.get(f'{of}|{rest}', rest)}"
    return names.get(f"tank|{key}", key) if key else KINDS[kind].words


def postings_of(
    session: Session, room_id: int, name: str, before_id: int | None = None, most: int = PER_PAGE
) -> list[tuple[int, Posted]]:
    """The postings of an account, or of all, the newest first, each with its number.

    Args:
        before_id: the number to go on behind; None from the newest.
    """
    query = _query(room_id, name)
    if before_id is not None:
        last = session.get(LitresPostingRow, before_id)
        if last is not None:
            query = query.where(_is_before(last))
    rows = session.execute(query.order_by(*(one.desc() for one in ORDER)).limit(most)).all()
    return [(row.id, _posted(row)) for row in rows]


def has_account(session: Session, room_id: int, name: str) -> bool:
    """Whether anything was posted in an account, or what it is of is there."""
    if session.execute(_query(room_id, name).limit(1)).first() is not None:
        return True
    kind, key = kind_of(name), key_of(name)
    if kind == TANK:
        return session.get(TankRow, (room_id, key)) is not None
    return kind == DRUM and thing(session, room_id, DRUMS, key) is not None


def all_postings(session: Session, room_id: int) -> Iterator[Posted]:
    """All postings of a room, the oldest first."""
    rows = session.execute(_query(room_id, "").order_by(*ORDER).execution_options(yield_per=1000))
    return (_posted(row) for row in rows)


def _query(room_id: int, name: str) -> Any:
    columns: Sequence[Any] = (
        TABLE.id, TABLE.source, TABLE.target, TABLE.amount_ul, TABLE.why, TABLE.moment_us,
        EntryRow.uid, EntryRow.by,
    )  # fmt: skip
    query: Any = select(*columns).join(EntryRow, col(EntryRow.id) == col(TABLE.entry_id))
    query = query.where(TABLE.room_id == room_id)
    if not name:
        return query
    return query.where(or_(col(TABLE.source) == name, col(TABLE.target) == name))


TABLE: Any = LitresPostingRow
ORDER: tuple[Any, ...] = tuple(
    col(one) for one in (TABLE.moment_us, TABLE.rank, TABLE.sequence, TABLE.line)
)


def _is_before(row: LitresPostingRow) -> Any:
    return tuple_(*ORDER) < tuple_(row.moment_us, row.rank, row.sequence, row.line)


def _posted(row: Any) -> Posted:
    return Posted(
        from_us(row.moment_us), row.uid, row.by, row.source, row.target, row.amount_ul / UL, row.why
    )

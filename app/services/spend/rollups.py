"""What each week cost: read from the roll-ups that every write keeps in step with the log."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from sqlmodel import Session

from app.domain.roomlog.kinds import Entry
from app.domain.spend import costs
from app.domain.spend.cost_folds import BATHS, BOUGHT, COST, FILL, ITEM, WASTE
from app.domain.spend.cost_lines import CostLine
from app.domain.spend.costs import ShelfBook
from app.domain.spend.price_book import Basis, PricesState
from app.domain.spend.weeks import IsoWeek
from app.domain.supplies.state import ItemState
from app.services.entries import counting_of_kind
from app.services.spend.basis import basis_from
from app.services.spend.following import state_of
from app.store import spend as reads
from app.store.spend import WashRow, WeekSum
from app.store.spend_lines import lines_of_week
from app.store.spend_tables import SpendHeadRow
from app.store.tables import RoomRow

CARRY_WEEKS = 26  # how far back a bath's fill is looked for


@dataclass(frozen=True)
class WeekCounts:
    """Washes of a week past the limit their tank had then; those with a mass, and that mass."""

    late: int
    weighed: int
    parts_g: float


@dataclass(frozen=True)
class OnShelf:
    """An item of the shelf, what is on hand of it and what that cost.

    Attributes:
        state: without what tells of its past alone.
    """

    state: ItemState | None
    on_hand_cents: int
    on_hand: float


class Lines(Mapping[IsoWeek, tuple[CostLine, ...]]):
    """The lines of a side by ISO week of the room's time, each week read when it is asked for."""

    def __init__(self, session: Session, room_id: int, side: str) -> None:
        self._session, self._room_id, self._side = session, room_id, side
        self._read: dict[IsoWeek, tuple[CostLine, ...]] = {}

    @cached_property
    def _weeks(self) -> list[IsoWeek]:
        counts = reads.weeks_with(self._session, self._room_id, self._side)
        return [IsoWeek.counted(count) for count in counts]

    def __getitem__(self, week: IsoWeek) -> tuple[CostLine, ...]:
        if week not in self._read:
            found = lines_of_week(self._session, self._room_id, week.count, self._side)
            self._read[week] = found
        if not self._read[week]:
            raise KeyError(week)
        return self._read[week]

    def __iter__(self) -> Iterator[IsoWeek]:
        return iter(self._weeks)

    def __len__(self) -> int:
        return len(self._weeks)


class Spend:
    """The costs of a room as its log stands, read within one transaction.

    Attributes:
        lines, bought: by ISO week of the room's time.
    """

    def __init__(self, session: Session, room_id: int, basis: Basis) -> None:
        self._session, self._room_id, self.basis = session, room_id, basis
        self.lines: Mapping[IsoWeek, tuple[CostLine, ...]] = Lines(session, room_id, COST)
        self.bought: Mapping[IsoWeek, tuple[CostLine, ...]] = Lines(session, room_id, BOUGHT)

    @property
    def prices(self) -> PricesState:
        """The room's rates."""
        return self.basis.prices

    @property
    def first_week(self) -> IsoWeek | None:
        """The first week that cost something."""
        count = reads.first_week(self._session, self._room_id, COST)
        return None if count is None else IsoWeek.counted(count)

    def week(self, week: IsoWeek) -> tuple[CostLine, ...]:
        """The lines of a week, in the order of time."""
        return self.lines.get(week, ())

    def sums(self, first: IsoWeek, last: IsoWeek) -> dict[IsoWeek, list[WeekSum]]:
        """The lines of weeks, the last included, summed by side, cause and solvent."""
        found: dict[IsoWeek, list[WeekSum]] = {}
        for one in reads.week_sums(self._session, self._room_id, first.count, last.count):
            found.setdefault(IsoWeek.counted(one.week), []).append(one)
        return found

    def cents(self, first: IsoWeek, last: IsoWeek) -> dict[IsoWeek, int]:
        """What each of these weeks cost; weeks without costs are left out."""
        return {
            week: sum(one.cents for one in some if one.side == COST)
            for week, some in self.sums(first, last).items()
            if any(one.side == COST for one in some)
        }

    def uncovered_in(self, week: IsoWeek) -> list[costs.Fill]:
        """Fills of a week with what the shelf kept, that nothing taken from it goes with."""
        rows = reads.bare_fills(self._session, self._room_id, week.count)
        return [costs.Fill(*row) for row in rows]

    @property
    def uncovered(self) -> list[costs.Fill]:
        """All fills with what the shelf kept that nothing taken from it goes with."""
        rows = reads.bare_fills(self._session, self._room_id, None)
        return [costs.Fill(*row) for row in rows]

    @cached_property
    def shelf(self) -> Mapping[str, OnShelf]:
        """Each item as its last entry leaves it."""
        found = {}
        for key, text in reads.last_states(self._session, self._room_id, ITEM):
            book: ShelfBook = state_of(ITEM, text)
            found[key] = OnShelf(book.state, book.cents, book.state.on_hand)
        return found

    @property
    def solvents(self) -> Mapping[str, str]:
        """What each tank holds now."""
        return {tank: steps[-1][1] for tank, steps in self.basis.tanks.items() if steps}

    @cached_property
    def fills(self) -> tuple[costs.Fill, ...]:
        """All fills there ever were, in the order of time."""
        rows = reads.fill_rows(self._session, self._room_id, FILL)
        return tuple(costs.Fill(*row) for row in rows)

    @cached_property
    def bath_entries(self) -> tuple[Entry, ...]:
        """What was ever set up, filled and drained, in the order of truth."""
        return tuple(counting_of_kind(self._session, self._room_id, *sorted(BATHS)))

    @cached_property
    def waste_entries(self) -> tuple[Entry, ...]:
        """What ever went into drums and left with them, in the order of truth."""
        return tuple(counting_of_kind(self._session, self._room_id, *sorted(WASTE)))


def spend_of(session: Session, room: RoomRow) -> Spend:
    """The room's costs."""
    assert room.id is not None
    head = session.get(SpendHeadRow, room.id)
    basis = Basis() if head is None else basis_from(head.basis)
    return Spend(session, room.id, basis)


def carried_to(session: Session, room: RoomRow, week: IsoWeek) -> dict[str, dict[str, float]]:
    """By tank, grams each resin carried into the fill that a week began with, up to its end.

    That fill is the one that a swap of the week ended, or that its top-ups went into; a tank
    without a wash in the week is taken at its last fill that had one, within half a year.
    """
    assert room.id is not None
    first, last = week.plus(1 - CARRY_WEEKS).count, week.count
    fills = reads.last_fills(session, room.id, first, last)
    return reads.carried_in(session, room.id, fills, first, last)


def washes_of(
    session: Session, room: RoomRow, weeks: Iterable[IsoWeek]
) -> dict[IsoWeek, list[WashRow]]:
    """What washes of these weeks did, by tank, fill and resin."""
    assert room.id is not None
    wanted = list(weeks)
    found: dict[IsoWeek, list[WashRow]] = {week: [] for week in wanted}
    by_count = {week.count: week for week in wanted}
    for count, row in reads.week_washes(session, room.id, sorted(by_count)):
        found[by_count[count]].append(row)
    return found


def counts_of(session: Session, room: RoomRow, week: IsoWeek) -> WeekCounts:
    """What is counted of a week's washes."""
    assert room.id is not None
    late = reads.late_washes(session, room.id, week.count)
    return WeekCounts(late, *reads.parts_mass(session, room.id, week.count))

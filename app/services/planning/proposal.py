"""Swaps ahead: the days proposed, what each swap has and lacks, what to order and book."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from functools import partial
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.planning.allotment import Parcel
from app.domain.planning.chance import LaterDay, cost_of_days
from app.domain.planning.days import day_of
from app.domain.planning.decisions import PlanState
from app.domain.planning.lines import Line
from app.domain.planning.orders import (
    OrderToPlace,
    orders_to_place,
    within_the_fire_limit,
)
from app.domain.planning.pickups import Pouring, ProposedPickup, fewest_pickups, windows
from app.domain.planning.possible import settled
from app.domain.planning.readiness import Readiness, readiness
from app.domain.planning.readiness import first_shortfall as first_of
from app.domain.planning.scheduling import (
    WEEKS,
    Candidate,
    Proposal,
    Rules,
    Schedule,
    Waits,
    next_days,
    schedule,
)
from app.domain.planning.stock import Stock, SwapAhead
from app.domain.site import SiteState
from app.domain.storage import category_of_key
from app.domain.workdays import WorkCalendar
from app.services.caching import kept
from app.services.incidents.doubts import with_doubts
from app.services.planning.books import Books, read_books
from app.services.planning.candidates import candidates_of
from app.services.planning.drums import bounds_of, spaces_of
from app.services.planning.stock import stock_of, swap_ahead
from app.store import queries
from app.store.queries import Board, TankView
from app.store.tables import RoomRow

POSTPONED_WEEKS = 6


@dataclass(frozen=True)
class Ahead:
    """The swaps ahead of a room.

    Attributes:
        swaps: readiness of the next swaps that fall into the weeks looked at, in the order of the
            queue; later: of those after them by their days, each counted by its chance.
        orders, later_orders: what to order for a next swap among others, and for later ones alone.
        candidates: what the proposal of each tank was made from.
    """

    today: date
    weeks: int
    site: SiteState
    board: Board
    books: Books
    candidates: Mapping[str, Candidate]
    schedule: Schedule
    swaps: tuple[Readiness, ...]
    later: tuple[Readiness, ...]
    pickups: tuple[ProposedPickup, ...]
    orders: tuple[OrderToPlace, ...]
    later_orders: tuple[OrderToPlace, ...]

    @property
    def workdays(self) -> WorkCalendar:
        """The working days of the site."""
        return self.books.workdays

    @property
    def first_short(self) -> tuple[Readiness, Line] | None:
        """The first swap of the queue that falls short, and what of."""
        return first_of(self.swaps)

    @property
    def first_later_short(self) -> tuple[Readiness, Line] | None:
        """The first swap after the next ones that falls short, and what of."""
        return first_of(self.later)

    def proposal(self, tank: str) -> Proposal | None:
        """The day of a tank's next swap; None where none falls into the weeks looked at."""
        return self.schedule.of(tank)

    def swap(self, tank: str) -> Readiness | None:
        """The readiness of a tank's next swap."""
        return next((one for one in self.swaps if one.swap.tank == tank), None)

    def plan(self, tank: TankView) -> PlanState:
        """What was decided about a tank's next swap."""
        return self.books.plan(tank)


@dataclass(frozen=True)
class NextSwaps:
    """The next swap of each tank that falls into the weeks looked at: its day, has and lacks.

    What a page says of them comes from here, whichever page it is.

    Attributes:
        days: the days of these swaps; those after them are not worked out.
        swaps: readiness in the order of the queue.
    """

    books: Books
    rules: Rules
    candidates: Mapping[str, Candidate]
    days: Schedule
    stock: Stock
    swaps: tuple[Readiness, ...]
    waits: Waits

    @property
    def first_short(self) -> tuple[Readiness, Line] | None:
        """The first swap of the queue that falls short, and what of."""
        return first_of(self.swaps)

    def swap(self, tank: str) -> Readiness | None:
        """The readiness of a tank's next swap; None where it lies beyond these weeks."""
        return next((one for one in self.swaps if one.swap.tank == tank), None)


def ahead(session: Session, room: RoomRow, now: datetime, weeks: int = WEEKS) -> Ahead:
    """The swaps of the weeks to come, with everything they need."""
    assert room.id is not None
    board = with_doubts(session, room, queries.board(session, room.id, now))
    depends_on = _depends_on(room, board, now)
    make = partial(_ahead, session, room, board, now, weeks)
    return kept(session, room.id, f"ahead {weeks}", depends_on, make)


def next_swaps(
    session: Session, room: RoomRow, board: Board, now: datetime, weeks: int = WEEKS
) -> NextSwaps:
    """The next swaps, for pages that ask often: one statement besides the board that is at hand
    (more where a slow bath may have become flammable), none where nothing has changed."""
    assert room.id is not None
    make = partial(_next_swaps, session, room, board, now, weeks)
    return kept(session, room.id, f"next {weeks}", _depends_on(room, board, now), make)


def drums_for(session: Session, room: RoomRow, tank: str, now: datetime) -> tuple[Parcel, ...]:
    """The drums that are here and that the plan sets aside for a tank's next swap, or for the one
    under way; none where it lies beyond the weeks looked at."""
    assert room.id is not None
    board = with_doubts(session, room, queries.board(session, room.id, now))
    ready = next_swaps(session, room, board, now).swap(tank)
    line = ready.line("drum") if ready is not None else None
    return tuple(parcel for parcel in line.parcels if parcel.key) if line is not None else ()


def _depends_on(room: RoomRow, board: Board, now: datetime) -> tuple[object, ...]:
    """What days and readiness follow from: the log, the forecasts, and what day it is."""
    made = tuple((tank.forecast_at, tank.flags) for tank in board.tanks)
    return room.edition, room.time_zone, day_of(now, ZoneInfo(room.time_zone)), made


def _ahead(session: Session, room: RoomRow, board: Board, now: datetime, weeks: int) -> Ahead:
    found = next_swaps(session, room, board, now, weeks)
    books, rules, stock = found.books, found.rules, found.stock
    candidates = list(found.candidates.values())

    def later_of(days: Schedule) -> list[Readiness]:
        swaps = [one.swap for one in found.swaps]
        after = _later(board, books, days)
        ready = readiness([*swaps, *after], stock, books.site, books.workdays, rules.today)
        return ready[len(swaps) :]

    plan, later, _ = settled(partial(schedule, candidates, rules), later_of, stock, found.waits)
    orders = orders_to_place((*found.swaps, *later), stock.solvents, books.workdays)
    return Ahead(
        today=rules.today, weeks=weeks, site=books.site, board=board, books=books,
        candidates=found.candidates, schedule=plan, swaps=found.swaps, later=tuple(later),
        pickups=tuple(_pickups(plan, board, books, rules)),
        orders=tuple(
            within_the_fire_limit(
                [order for order in orders if not order.is_for_later], stock.fire,
                books.site.flammable_limit_l,
                {
                    key for key in stock.solvents
                    if category_of_key(key.partition("@")[0], books.rules.flammable_to_c)
                },
            )
        ),
        later_orders=tuple(order for order in orders if order.is_for_later),
    )  # fmt: skip


def _next_swaps(
    session: Session, room: RoomRow, board: Board, now: datetime, weeks: int
) -> NextSwaps:
    assert room.id is not None
    zone = ZoneInfo(room.time_zone)
    books = read_books(session, room.id, now, zone, board.tanks)
    today = day_of(now, zone)
    rules = Rules(today, books.workdays, books.site.swaps_per_day, zone, weeks)
    candidates = candidates_of(board, books, now, zone)
    stock = stock_of(books, board.tanks, today, zone)

    def ready(days: Schedule) -> list[Readiness]:
        swaps = _swaps(board, books, candidates, days)
        return readiness(swaps, stock, books.site, books.workdays, today)

    days, swaps, waits = settled(
        partial(next_days, list(candidates.values()), rules), ready, stock, {}
    )
    return NextSwaps(books, rules, candidates, days, stock, tuple(swaps), waits)


def cost_of_postponing(found: Ahead, tank: str, zone: tzinfo) -> list[LaterDay]:
    """What each working day of the next weeks costs as the day of a tank's swap."""
    last = found.today + timedelta(weeks=POSTPONED_WEEKS)
    days = found.workdays.days(found.today, last)
    return cost_of_days(found.candidates[tank].chances, days, zone)


def _swaps(
    board: Board, books: Books, candidates: Mapping[str, Candidate], plan: Schedule
) -> list[SwapAhead]:
    """The next swap of each tank that falls into the weeks looked at, in the queue's order."""
    by_key = {tank.key: tank for tank in board.tanks}
    return [
        swap_ahead(by_key[key], books, proposal, candidate.early_on)
        for key, candidate in candidates.items()
        if (proposal := plan.of(key)) is not None
    ]


def _later(board: Board, books: Books, plan: Schedule) -> list[SwapAhead]:
    """The swaps after the next ones, by their days."""
    by_key = {tank.key: tank for tank in board.tanks}
    return [
        swap_ahead(by_key[proposal.tank], books, proposal, proposal.early_on)
        for proposal in plan.proposals
        if proposal.round and proposal.day is not None
    ]


def _pickups(plan: Schedule, board: Board, books: Books, rules: Rules) -> Sequence[ProposedPickup]:
    by_key = {tank.key: tank for tank in board.tanks}
    pourings = [
        Pouring(
            proposal.day, swap.tank, swap.stream, swap.need.waste_l,
            swap.need.waste_kg if swap.counts else 0.0,
        )
        for proposal in plan.proposals
        if proposal.day is not None
        for swap in (swap_ahead(by_key[proposal.tank], books, proposal),)
    ]  # fmt: skip
    wanted = windows(
        pourings, spaces_of(books, rules.today), rules.today, bounds_of(books, rules.last)
    )
    return fewest_pickups(wanted, books.site.pickup_lead_days, books.workdays, rules.today)

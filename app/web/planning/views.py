"""What the pages of swaps ahead show: the calendar, the swaps with their lines, costs of days."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from app.domain.calendar_words import MONTHS, day_words
from app.domain.planning.decisions import PlanState
from app.domain.planning.lines import Line
from app.domain.planning.readiness import Readiness
from app.domain.planning.scheduling import Proposal
from app.services.incidents.doubts import with_doubts
from app.services.planning.proposal import (
    Ahead,
    next_swaps,
)
from app.store import queries
from app.store.queries import Board, TankView
from app.web import words
from app.web.deps import Visit
from app.web.planning.plain import chance_words
from app.web.planning.words import SIGNS, Said, Words

STATE_WORDS = {
    "ready": "Ready", "coming": "On its way", "late": "Late", "short": "Missing",
    "unknown": "Not all known",
}  # fmt: skip


@dataclass(frozen=True)
class DaySwap:
    """A swap in the calendar. `suffix`: set by a decision, or under way."""

    tank: TankView
    sign: str
    word: str
    is_rough: bool
    suffix: str = ""


@dataclass(frozen=True)
class CalendarDay:
    """A day of the calendar. `why_off`: why it is no working day; `notes`: pickups, deliveries."""

    day: date
    label: str
    why_off: str
    is_closed: bool
    is_today: bool
    swaps: tuple[DaySwap, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """A swap of the queue with its lines. `standing`: proposed, set by whom, or under way."""

    tank: TankView
    sign: str
    word: str
    when: str
    waits: str
    is_dayless: bool
    reason: str
    standing: str
    warnings: tuple[str, ...]
    chance: str
    lines: tuple[Said, ...]

    @property
    def heading(self) -> str:
        """The next swap of a tank on a page of its own: its day, and where that comes from."""
        if self.tank.swap_started_at is not None:
            return "What this swap needs"
        if self.is_dayless:
            return "Next swap: no day left in the next weeks"
        whence = "set" if self.standing.startswith("Set") else "proposed"
        return f"Next swap: {self.when}, {whence}"

    @property
    def open_lines(self) -> tuple[Said, ...]:
        """The lines that ask for something, or are not known."""
        return tuple(line for line in self.lines if line.sign != "done")

    @property
    def done_lines(self) -> tuple[Said, ...]:
        """The lines that are ready."""
        return tuple(line for line in self.lines if line.sign == "done")


def calendar(found: Ahead, say: Words) -> list[list[CalendarDay]]:
    """The weeks from this one on, Monday first, each of seven days."""
    monday = found.today - timedelta(days=found.today.weekday())
    rows = found.weeks + (1 if found.today.weekday() else 0)
    days = [monday + timedelta(days=n) for n in range(7 * rows)]
    notes = _notes(found, say)
    made = [_calendar_day(found, day, notes.get(day, [])) for day in days]
    return [made[n : n + 7] for n in range(0, len(made), 7)]


def _calendar_day(found: Ahead, day: date, notes: list[str]) -> CalendarDay:
    swaps = [_day_swap(found, p) for p in found.schedule.proposals if p.day == day]
    is_first = day.day == 1 or day.isoweekday() == 1
    label = f"{day.day} {MONTHS[day.month - 1]}" if is_first else f"{day.day}"
    return CalendarDay(
        day,
        label,
        found.workdays.why_not(day),
        day in found.workdays.closed,
        day == found.today,
        tuple(swaps),
        tuple(notes),
    )


def _day_swap(found: Ahead, proposal: Proposal) -> DaySwap:
    tank = found.board.tank(proposal.tank)
    assert tank is not None
    readiness = found.swap(proposal.tank)
    if proposal.round > 0 or readiness is None:
        return DaySwap(tank, "", "rough", is_rough=True)
    suffix = "under way" if tank.swap_started_at else "set" if proposal.is_pinned else ""
    word = STATE_WORDS[readiness.state].lower()
    return DaySwap(tank, SIGNS[readiness.state], word, False, suffix)


def _notes(found: Ahead, say: Words) -> dict[date, list[str]]:
    """What comes and goes besides: pickups booked and proposed, deliveries on order."""
    notes: dict[date, list[str]] = {}
    booked = {p.pickup_on for p in found.books.pickups.values() if p.is_booked and p.pickup_on}
    for day in sorted(booked):
        notes.setdefault(day, []).append("Pickup, booked")
    for pickup in found.pickups:
        notes.setdefault(pickup.day, []).append("Pickup, to book")
    for _, item in sorted(found.books.items.items()):
        for order in item.on_order:
            if item.solvent is not None and order.expected_on is not None:
                litres = say.litres(order.outstanding)
                notes.setdefault(order.expected_on, []).append(f"{item.name}, {litres}")
    return notes


def cards(visit: Visit, found: Ahead, say: Words) -> list[Card]:
    """Each swap of the queue that falls into these weeks."""
    made = []
    for readiness in found.swaps:
        tank, proposal = found.board.tank(readiness.swap.tank), found.proposal(readiness.swap.tank)
        assert tank is not None
        assert proposal is not None
        made.append(_card(visit, found.plan(tank), say, tank, proposal, readiness))
    return made


def _card(
    visit: Visit, plan: PlanState, say: Words, tank: TankView, proposal: Proposal, ready: Readiness
) -> Card:
    warnings = [word for word in proposal.warnings if word != "late" or proposal.day != say.today]
    if tank.swap_started_at is not None:
        warnings = []
    return Card(
        tank=tank,
        sign=SIGNS[ready.state],
        word=STATE_WORDS[ready.state],
        when="no day left" if proposal.day is None else say.day(proposal.day),
        waits=say.waits(proposal),
        is_dayless=proposal.day is None,
        reason=reason_text(visit, tank),
        standing=_standing(tank, plan, say),
        warnings=tuple(say.warning(word, proposal) for word in warnings),
        chance="" if tank.swap_started_at or tank.lacks else chance_words(proposal.chance),
        lines=tuple(say.said(ready.swap, line) for line in ready.lines),
    )


def _standing(tank: TankView, plan: PlanState, say: Words) -> str:
    """Where the day of a swap comes from: it is under way, somebody set it, it is proposed."""
    if tank.swap_started_at is not None:
        return "Under way"
    if plan.mode == "free" or plan.on_day is None:
        return "Proposed"
    what = "Set to" if plan.mode == "pinned" else "Not before"
    by = f" by {plan.by}" if plan.by else ""
    why = f": {plan.reason}" if plan.reason else ""
    return f"{what} {day_words(plan.on_day, say.today)}{by}{why}"


def tank_card(visit: Visit, tank: TankView) -> Card | None:
    """The next swap of one tank, for its page and the start of its swap (_readiness.html); None
    where it lies beyond the next weeks."""
    plain = queries.board(visit.session, visit.room_id, visit.now)
    board = with_doubts(visit.session, visit.room, plain)
    found = next_swaps(visit.session, visit.room, board, visit.now)
    ready, proposal = found.swap(tank.key), found.days.of(tank.key)
    if ready is None or proposal is None:
        return None
    say = Words(visit.room, visit.today, found.books.workdays)
    return _card(visit, found.books.plan(tank), say, tank, proposal, ready)


def shortfall_text(visit: Visit, board: Board) -> str:
    """For the room page: the first swap that falls short, in one line; empty where none does."""
    found = next_swaps(visit.session, visit.room, board, visit.now)
    return short_text(board, found.first_short, Words(visit.room, visit.today))


def short_text(board: Board, short: tuple[Readiness, Line] | None, say: Words) -> str:
    """The first swap that falls short, in one line; empty where none does."""
    tank = None if short is None else board.tank(short[0].swap.tank)
    if short is None or tank is None:
        return ""
    return say.summary(f"{tank.place} {tank.name}", *short)


@dataclass(frozen=True)
class LaterSwap:
    """A swap after a tank's next one: its rough day, its chance, what it lacks."""

    tank: TankView
    day: str
    chance: str
    lacks: str


def later_swaps(found: Ahead, say: Words) -> list[LaterSwap]:
    """The swaps after the next ones, by their days."""
    return [
        LaterSwap(tank, say.day(one.swap.day), chance_words(one.swap.share), say.lacks(one))
        for one in found.later
        if (tank := found.board.tank(one.swap.tank)) is not None and one.swap.day is not None
    ]


def tank_names(found: Ahead, keys: Iterable[str]) -> str:
    """Tanks by number and name."""
    tanks = (found.board.tank(key) for key in keys)
    return ", ".join(f"{tank.place} {tank.name}" for tank in tanks if tank is not None)


def reason_text(visit: Visit, tank: TankView) -> str:
    """Why a swap is due, and when."""
    reason = words.reason(tank, visit.now, visit.zone)
    if tank.swap.urgency == "swapping" or words.is_spoiled(tank):
        return reason
    if tank.is_too_early:
        return reason
    when = words.when(tank, visit.zone, visit.now)
    is_past = tank.swap.urgency in ("stop_washing", "swap_now")
    return f"{reason}, since {when}" if is_past else f"{reason}: {when}"

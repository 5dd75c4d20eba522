"""The next swap of each tank as the schedule takes it: its forecast, its pair, what was decided."""

from datetime import date, datetime, timedelta, tzinfo

from app.domain.planning.chance import Chances, chances
from app.domain.planning.days import day_of
from app.domain.planning.scheduling import Candidate
from app.services.planning.books import Books
from app.store.queries import Board, TankView

HORIZON = timedelta(days=365)  # how far forecasts look (domain/baths/forecast)


def course_of(tank: TankView, now: datetime) -> Chances:
    """The chance that a bath is past its limit, by instant, from its stored forecast."""
    if tank.limit_is_passed:
        return Chances(((now, 1.0),))
    return chances(
        now,
        ((tank.limit_p10_at, 0.1), (tank.limit_p50_at, 0.5), (tank.limit_p90_at, 0.9)),
        ((point.at, point.p05, point.p95) for point in tank.fan),
        tank.limit_percent,
        (tank.forecast_at + HORIZON, tank.limit_chance),
    )


def candidates_of(board: Board, books: Books, now: datetime, zone: tzinfo) -> dict[str, Candidate]:
    """The next swap of each tank, by tank in the order of the queue."""
    by_key = {tank.key: tank for tank in board.tanks}
    partner = {tank.pair: tank.key for tank in board.tanks if tank.pair in by_key}
    partner |= {tank.key: tank.pair for tank in board.tanks if tank.pair in by_key}
    found = {}
    for rank, queued in enumerate(board.swaps):
        tank = by_key[queued.tank]
        found[tank.key] = _candidate(tank, rank, partner.get(tank.key), books, now, zone)
    return found


def _candidate(
    tank: TankView, rank: int, pair: str | None, books: Books, now: datetime, zone: tzinfo
) -> Candidate:
    plan, today = books.plan(tank), day_of(now, zone)
    early_on = _early_on(tank, now, zone)
    due_at = tank.swap.due_at
    pinned_on = plan.on_day if plan.mode == "pinned" else None
    if tank.swap_started_at is not None:
        pinned_on = today
    life = early_life = None
    if due_at is not None:
        life = (due_at - tank.fill_started_at) / timedelta(days=1)
        early_at = tank.swap.early_at or due_at
        early_life = (early_at - tank.fill_started_at) / timedelta(days=1)
    return Candidate(
        tank=tank.key, rank=rank, early_on=early_on,
        due_on=None if due_at is None else max(today, day_of(due_at, zone)),
        chances=course_of(tank, now), pair=pair, pinned_on=pinned_on,
        not_before_on=plan.on_day if plan.mode == "postponed" else None,
        life_days=life, early_life_days=early_life,
    )  # fmt: skip


def _early_on(tank: TankView, now: datetime, zone: tzinfo) -> date | None:
    """The early day of whatever ends the bath first; today where something has ended it."""
    if tank.limit_is_passed or tank.stop_is_passed or tank.swap_started_at is not None:
        return day_of(now, zone)
    ends = [
        at for at in (tank.limit_p10_at, tank.swap.early_at, tank.swap.due_at) if at is not None
    ]
    return max(day_of(now, zone), day_of(min(ends), zone)) if ends else None

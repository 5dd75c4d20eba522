"""Which bath is swapped next, and why it stands where it stands."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

Ruler = Literal["stop", "limit", "life_days", "life_washes", "none"]
Urgency = Literal["swapping", "stop_washing", "swap_now", "soon", "later", "unknown"]

SOON = timedelta(hours=48)


@dataclass(frozen=True)
class BathOutlook:
    """What is known of a bath's end.

    Attributes:
        limit_p10_at, limit_p50_at, limit_p90_at: early, middle and late instant at which the first
            limit is passed; None where it lies beyond the horizon of the forecast.
        limit_passed_at: since when the first limit is passed, None while it is not.
        stop_is_passed: the second limit is passed.
        life_days_end_at, life_washes_end_at: when the lives that no reading changes run out.
        swap_started_at: since when a swap is under way.
    """

    tank: str
    limit_p10_at: datetime | None = None
    limit_p50_at: datetime | None = None
    limit_p90_at: datetime | None = None
    limit_passed_at: datetime | None = None
    stop_is_passed: bool = False
    life_days_end_at: datetime | None = None
    life_washes_end_at: datetime | None = None
    swap_started_at: datetime | None = None


@dataclass(frozen=True)
class QueuedSwap:
    """A bath's place in the queue.

    Attributes:
        due_at: when it is due by whichever comes first; in the past where it is overdue, None where
            nothing ends it within the horizon.
        ruler: what sets that day.
        early_at, late_at: the range of the day where the forecast sets it; the early day alone
            where the middle one lies beyond the horizon.
    """

    tank: str
    urgency: Urgency
    ruler: Ruler
    due_at: datetime | None
    early_at: datetime | None
    late_at: datetime | None


def queue(outlooks: Iterable[BathOutlook], now: datetime) -> list[QueuedSwap]:
    """The swaps to come, most urgent first.

    Swaps under way come first, then baths in which nothing may be washed any more, then those past
    their first limit or a life, then by the day they are due. Equal days keep the tank's order.
    """
    swaps = [place(outlook, now) for outlook in outlooks]
    return sorted(swaps, key=_order)


def place(outlook: BathOutlook, now: datetime) -> QueuedSwap:
    """What rules a bath's end, and how urgent that makes its swap."""
    due_at, ruler = _first_end(outlook)
    by_forecast = ruler in ("limit", "none") and outlook.limit_passed_at is None
    return QueuedSwap(
        tank=outlook.tank,
        urgency=_urgency(outlook, due_at, now),
        ruler="stop" if outlook.stop_is_passed else ruler,
        due_at=due_at,
        early_at=outlook.limit_p10_at if by_forecast else None,
        late_at=outlook.limit_p90_at if by_forecast else None,
    )


def _first_end(outlook: BathOutlook) -> tuple[datetime | None, Ruler]:
    ends: list[tuple[datetime, Ruler]] = []
    if (limit_at := outlook.limit_passed_at or outlook.limit_p50_at) is not None:
        ends.append((limit_at, "limit"))
    if outlook.life_days_end_at is not None:
        ends.append((outlook.life_days_end_at, "life_days"))
    if outlook.life_washes_end_at is not None:
        ends.append((outlook.life_washes_end_at, "life_washes"))
    return min(ends, default=(None, "none"), key=lambda end: end[0])


def _urgency(outlook: BathOutlook, due_at: datetime | None, now: datetime) -> Urgency:
    if outlook.swap_started_at is not None:
        return "swapping"
    if outlook.stop_is_passed:
        return "stop_washing"
    if due_at is None:
        return "later" if outlook.limit_p10_at is not None else "unknown"
    if due_at <= now:
        return "swap_now"
    return "soon" if due_at - now <= SOON else "later"


_FIRST: dict[Urgency, int] = {
    "swapping": 0, "stop_washing": 1, "swap_now": 2, "soon": 3, "later": 3, "unknown": 4,
}  # fmt: skip


def _order(swap: QueuedSwap) -> tuple[int, float]:
    due = swap.due_at or swap.early_at
    return _FIRST[swap.urgency], due.timestamp() if due else float("inf")

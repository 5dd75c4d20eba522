"""What a room's rejects and money say of the limit that most of its washes go by."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.baths.reject_limit import CURVE_BAND_PERCENT, Advice, Economy, advise
from app.domain.planning.days import day_of
from app.domain.spend.whatif.cases import Room
from app.domain.spend.whatif.outcomes import outcome, priced
from app.services.caching import kept
from app.services.spend.price_book import prices_of
from app.services.spend.whatif import room_now
from app.store import queries
from app.store.queries import TankView
from app.store.tables import RoomRow

SPAN = timedelta(weeks=52)
LOW_SHARE = 0.75  # of the limit: what a year costs there tells how it hangs on the limit


@dataclass(frozen=True)
class LimitAdvice:
    """The advice for the baths of one limit.

    Attributes:
        advice: None where something is missing, which `missing` says: `price` of a reject, or in
            words what to log.
        tanks: the baths that it is for. on_trial: the one to let run on, where a trial would tell.
    """

    advice: Advice | None
    missing: str
    tanks: tuple[TankView, ...] = ()
    on_trial: TankView | None = None


def limit_advice(session: Session, room: RoomRow, now: datetime) -> LimitAdvice:
    """What a year's washes and rejects say, against what the year would cost."""
    assert room.id is not None
    state = room.version, day_of(now, ZoneInfo(room.time_zone))
    return kept(session, room.id, "limit advice", state, lambda: _worked_out(session, room, now))


def _worked_out(session: Session, room: RoomRow, now: datetime) -> LimitAdvice:
    assert room.id is not None
    rates = prices_of(session, room.id).latest
    if rates is None or not rates.reject_cents:
        return LimitAdvice(None, "price")
    since = now - SPAN
    views = [view for view in queries.board(session, room.id, now).tanks if not view.is_retired]
    every = _counts(session, room.id, since, views)
    group = _of_one_limit(views, every)
    prepared = room_now(session, room, now)
    if prepared.room is None or prepared.year is None or prepared.missing or not group:
        return LimitAdvice(None, prepared.missing or "Log washes to see a limit.")
    keys = [view.key for view in group]
    limit = group[0].limit_percent
    low = LOW_SHARE * limit
    year = priced(prepared.year, prepared.room, {})
    on_trial = _on_trial(group)
    economy = Economy(
        limit_percent=limit, year_cents=year.cents, at_low_percent=low,
        low_cents=outcome(_with_limit(prepared.room, keys, low), {}).cents,
        washes=year.washes * sum(every[key] for key in keys) / max(sum(every.values()), 1),
        reject_cents=rates.reject_cents, stop_percent=min(view.stop_percent for view in group),
        trial_stop_percent=on_trial.stop_percent if on_trial else 0.0,
    )  # fmt: skip
    washes, rejects = queries.reject_counts(session, room.id, since, CURVE_BAND_PERCENT, keys)
    advice = advise(washes, rejects, economy)
    return LimitAdvice(advice, "", tuple(group), on_trial if advice.trial else None)


def _counts(
    session: Session, room_id: int, since: datetime, views: Sequence[TankView]
) -> dict[str, int]:
    """The washes of each tank."""
    return {
        view.key: sum(
            queries.reject_counts(session, room_id, since, CURVE_BAND_PERCENT, [view.key])[
                0
            ].values()
        )
        for view in views
    }


def _of_one_limit(views: Sequence[TankView], washes: dict[str, int]) -> list[TankView]:
    """The tanks of one limit and solvent that see most washes; no clean bath of a pair."""
    cleans = {view.pair for view in views if view.pair}
    groups: dict[tuple[float, str], list[TankView]] = {}
    for view in views:
        if view.key not in cleans:
            groups.setdefault((round(view.limit_percent, 1), view.solvent), []).append(view)
    return max(
        groups.values(), key=lambda group: sum(washes[view.key] for view in group), default=[]
    )


def _with_limit(room: Room, tanks: Sequence[str], limit_percent: float) -> Room:
    """The room with another limit of some baths."""
    baths = [
        replace(bath, limit_percent=limit_percent) if bath.tank in tanks else bath
        for bath in room.baths
    ]
    return replace(room, baths=baths)


def _on_trial(group: Sequence[TankView]) -> TankView | None:
    """Of the baths that wash furthest before they stop, the one next to come to its limit."""
    ready = [
        v for v in group if v.swap_started_at is None and not v.limit_is_passed and not v.lacks
    ]
    return max(ready, key=lambda view: (view.stop_percent, view.mean_percent), default=None)

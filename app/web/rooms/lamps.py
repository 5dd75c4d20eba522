"""Curing stations as teeth of the board: how far each lamp has faded towards its relamp."""

from dataclasses import dataclass

from app.domain.curing.dose import cure_today
from app.domain.curing.lamp import Lamp
from app.services.curing.stations import judged_today, last_recipe
from app.web.curing.words import TAGS, time_of
from app.web.deps import Visit
from app.web.rooms.gauge import Gauge, gauge


@dataclass(frozen=True)
class LampTooth:
    """A station on the board.

    Attributes:
        gauge: what it has lost, in percent of what it may lose before the room relamps; None where
            that is not known.
        time: how long to cure there today.
    """

    key: str
    name: str
    state: str
    tag: str
    gauge: Gauge | None
    time: str


def teeth(visit: Visit) -> list[LampTooth]:
    """The stations in use."""
    recipe = last_recipe(visit.session, visit.room)
    found = []
    for station, lamp, state in judged_today(visit.session, visit.room, visit.now):
        today = cure_today(station, lamp, recipe) if recipe is not None else None
        time = _minutes(today.seconds) if today and today.seconds is not None else time_of(lamp)
        name = station.name
        found.append(LampTooth(station.key, name, state, TAGS[state], _wear(lamp), time))
    return found


def _minutes(seconds: float) -> str:
    """A time as a timer shows it.

    >>> _minutes(551.6)
    '9:12 min'
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"


def _wear(lamp: Lamp) -> Gauge | None:
    new, now, relamping = lamp.new_mw_cm2, lamp.mw_cm2, lamp.relamping
    if not new or now is None or relamping is None or relamping.level_mw_cm2 >= new:
        return None
    may_lose = new - relamping.level_mw_cm2
    low = now if lamp.high_mw_cm2 is None else lamp.high_mw_cm2
    high = now if lamp.low_mw_cm2 is None else lamp.low_mw_cm2
    worn, least, most = (100 * max(0.0, new - one) / may_lose for one in (now, low, high))
    return gauge(worn, least, most)

"""How good the room's past estimates and forecasts were: its own log, replayed as it was known."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from itertools import islice
from zoneinfo import ZoneInfo

from app.domain.baths.backtest import Report, backtest
from app.domain.baths.scores import Scores, score
from app.services.exporting import recorded
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.sessions import reading

MOST_ENTRIES = 60_000

Progress = Callable[[float], None]


class TooLong(Exception):
    """The log is too long to be replayed while somebody waits."""


def track_record(store: Store, room: str, progress: Progress) -> Scores:
    """Replay the room's log and hold what was said against what came; `progress` from 0 to 1.

    Raises:
        TooLong: the log has more entries than can be replayed in a few minutes.
        NotFound: there is no such room.
    """
    with reading(store) as session:
        found = find_room(session, room)
    entries = list(islice(recorded(store, found.id or 0), MOST_ENTRIES + 1))
    if len(entries) > MOST_ENTRIES:
        raise TooLong
    zone = ZoneInfo(found.time_zone)
    times = [entry.at for entry in entries]

    def watched() -> Iterator[Report]:
        first, last = min(times), max(times)
        for report in backtest(entries, None, zone, room):
            progress(min(1.0, (report.at - first) / max(last - first, timedelta(hours=1))))
            yield report

    return score(entries, watched()) if entries else Scores()

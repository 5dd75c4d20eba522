"""A bath that is washed in and read for two weeks, each reading as the log has it."""

from datetime import timedelta

from app.domain.baths.estimator import RoomFilter
from app.domain.roomlog.kinds import Entry, Reading, Resin
from tests.factories import NOW, START, tank, wash

READ_DAYS = (12.0, 10.5, 9.0, 7.5, 6.0, 4.5, 3.0)  # before now


def residue(days: float, percent: float, tank: str = "t1", **more: str) -> Reading:
    """A residue test so many days before now."""
    values = {"sample_g": 10.0, "residue_g": percent / 10}
    at = NOW - timedelta(days=days)
    return Reading(at=at, tank=tank, method="residue", values=values, **more)


def steady_bath(key: str = "t1") -> list[Entry]:
    """Washes and readings of a tank of `furnish`, without surprises."""
    room = RoomFilter()
    room.apply(Resin(at=START, resin="slate", name="Slate", density_g_ml=1.12))
    room.apply(tank(key))
    washes = [wash(13 - i / 8 + 0.01, key, id=f"{key}-w{i}") for i in range(84)]
    entries: list[Entry] = []
    for days in READ_DAYS:
        at = NOW - timedelta(days=days)
        since = entries[-1].at if entries else START
        for one in (each for each in washes if since < each.at <= at):
            room.apply(one)
            entries.append(one)
        reading = residue(days, room.belief(key, at).mean_percent, key, id=f"{key}-r{days:g}")
        room.apply(reading)
        entries.append(reading)
    return entries


def changed_bath(key: str = "t1") -> list[Entry]:
    """The same, then changed without a word, and read three times."""
    late = ((2.0, 0.5), (1.0, 0.5), (0.1, 0.5))
    found = [residue(days, percent, key, id=f"{key}-m{days:g}") for days, percent in late]
    return [*steady_bath(key), *found]

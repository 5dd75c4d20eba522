"""Small rooms for tests of forecast and backtest."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from app.domain.baths.estimator import RoomFilter
from app.domain.roomlog.history import effective
from app.domain.roomlog.kinds import Entry, Reading, Resin, Swap, Tank, Wash

START = datetime(2026, 3, 2, tzinfo=UTC)  # a Monday
DAY = timedelta(days=1)


def set_up(*tanks: str, limit_percent: float = 10.0) -> list[Entry]:
    resin = Resin(at=START, id="resin", resin="slate", name="Slate", density_g_ml=1.1)
    return [
        resin,
        *(
            Tank(
                at=START, id=f"tank-{tank}", tank=tank, name=tank.capitalize(), capacity_l=20,
                solvent="isopropanol", fresh_purity_percent=99, limit_percent=limit_percent,
            )
            for tank in tanks
        ),
    ]  # fmt: skip


def wash(days: float, tank: str = "alder", **values: object) -> Wash:
    sized = {"area_cm2": 1500.0} | values
    return Wash(
        at=START + days * DAY, id=f"wash-{tank}-{days:.3f}", tank=tank, resin="slate", **sized
    )


def residue(days: float, percent: float, tank: str = "alder", **header: object) -> Reading:
    values = {"sample_g": 10.0, "residue_g": percent / 10}
    named = {"id": f"reading-{tank}-{days:.3f}"} | header
    return Reading(at=START + days * DAY, tank=tank, method="residue", values=values, **named)


def swap(days: float, tank: str = "alder") -> Swap:
    return Swap(at=START + days * DAY, id=f"swap-{tank}-{days:.3f}", tank=tank)


def steady_washes(
    until: int, per_day: int = 2, tank: str = "alder", since: int = 0, **values: object
) -> list[Wash]:
    """`per_day` washes each day, from 9 h on, every two hours."""
    return [
        wash(day + (9 + 2 * i) / 24, tank, **values)
        for day in range(since, until)
        for i in range(per_day)
    ]


def filter_of(entries: Iterable[Entry]) -> RoomFilter:
    room = RoomFilter()
    for entry in effective(list(entries)):
        room.apply(entry)
    return room

"""Small rooms for tests, made through the services as users make them."""

from datetime import UTC, datetime, timedelta
from typing import Any

from app.domain.roomlog.kinds import Entry, Reading, Resin, Swap, Tank, Wash, Withdrawal
from app.domain.roomlog.kinds.site import ClockConfirmed
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from app.store.engine import Store
from tests.furnished import fill

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
START = NOW - timedelta(days=14)
ROOM = "test-room"


def furnish(store: Store, tanks: int = 1, **room: Any) -> None:
    """A room with tanks `t1`, `t2` … and resins `slate` and `kiln`, in use for two weeks."""
    name = "-".join(["room", str(tanks), *(f"{key}={room[key]}" for key in sorted(room))])
    fill(store, name.replace("/", "."), lambda empty: _furnish(empty, tanks, room))


def _furnish(store: Store, tanks: int, room: dict[str, Any]) -> None:
    add_room(store, RoomForm(name="Test room", key=ROOM, **room), NOW)
    entries: list[Entry] = [
        Resin(at=START, id="r1", resin="slate", name="Slate", density_g_ml=1.12),
        Resin(at=START, id="r2", resin="kiln", name="Kiln", density_g_ml=1.58, filled=True),
    ]
    entries += [tank(f"t{number}") for number in range(1, tanks + 1)]
    bring_in(store, ROOM, entries, NOW)


def tank(key: str, **more: Any) -> Tank:
    """A tank of 40 L with a limit of 10 % by mass."""
    values: dict[str, Any] = {
        "at": START, "id": f"tank-{key}", "tank": key, "name": key.upper(), "capacity_l": 40.0,
        "min_l": 30.0, "solvent": "isopropanol", "fresh_purity_percent": 99.0,
        "limit_percent": 10.0,
    }  # fmt: skip
    return Tank(**(values | more))


def wash(days: float, tank: str = "t1", **more: Any) -> Wash:
    """A wash so many days before now."""
    values: dict[str, Any] = {"resin": "slate", "area_cm2": 1200.0}
    if {"parts", "mass_g"} & more.keys():
        del values["area_cm2"]
    return Wash(at=NOW - timedelta(days=days), tank=tank, **(values | more))


def sensor_reading(days: float, percent: float, tank: str = "t1", **more: Any) -> Reading:
    """A reading of the in-bath sensor so many days before now."""
    at = NOW - timedelta(days=days)
    return Reading(
        at=at, tank=tank, method="sensor", values={"saturation_percent": percent}, **more
    )


def read_cycle(tank: str = "t1", days: float = 13.8) -> list[Entry]:
    """A bath filled so many days ago that is washed in, read on the way and at its end, swapped."""
    step = (days - 1.8) / 48
    washes = [wash(days - 0.1 - i * step, tank, area_cm2=4000.0) for i in range(48)]
    readings = [sensor_reading(days - 4.2, 3.2, tank), sensor_reading(1.3, 9.2, tank)]
    return [*washes, *readings, Swap(at=NOW - timedelta(days=1), tank=tank)]


def withdraw(
    store: Store, room: str, uid: str, by: str, note: str, now: datetime, submission: str | None
) -> None:
    """Take an entry back as a log that is brought in tells it, refused by no rule."""
    word = Withdrawal(at=now, by=by, note=note, withdraws=uid)
    bring_in(store, room, [word], now, submission)


def at_now() -> datetime:
    """A clock that stands still."""
    return NOW


def believe_clock(store: Store, now: datetime) -> None:
    """Say that the date is right, in a room that was furnished on another."""
    bring_in(store, ROOM, [ClockConfirmed(at=now, site="site")], now)

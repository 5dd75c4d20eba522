"""Stations and recipes behind the tests of the pages of curing."""

from datetime import timedelta
from typing import Any

from sqlmodel import Session

from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import StationState
from app.domain.roomlog.kinds.curing import Irradiance, LampHours, Station
from app.services.curing import stations as curing
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM

AT = f"/rooms/{ROOM}"
NEW = f"{AT}/stations/new"
SLATE = f"{AT}/cure/recipes/slate"
COURSE = ((1000, 19.7), (2000, 19.42), (3000, 19.2), (4000, 18.92), (5000, 18.7), (6000, 18.42))


def filled(**changes: str) -> dict[str, str]:
    form = {
        "name": "Lamp House 1", "station": "house1", "source": "led", "wavelength_nm": "405",
        "layout": "centre_and_corners", "light_sources": "24", "new_mw_cm2": "20",
        "longest_minutes": "30", "chamber_temperature_c": "60",
    }  # fmt: skip
    return form | changes


def aged(store: Store, **more: Any) -> None:
    """A station with a course of readings up to yesterday, and 8 hours run a day."""
    start = NOW - timedelta(days=800)
    values: dict[str, Any] = {
        "at": start, "station": "house1", "name": "Lamp House 1", "source": "led",
        "wavelength_nm": 405.0, "layout": "centre_and_corners", "light_sources": 24,
        "new_mw_cm2": 20.0, "longest_minutes": 30.0, "chamber_temperature_c": 60.0,
    }  # fmt: skip
    entries: list[Any] = [Station(**(values | more))]
    for index, (run, mean) in enumerate(COURSE):
        at = NOW - timedelta(days=1 + 125 * (5 - index))
        entries.append(
            Irradiance(
                at=at, station="house1", hours_h=run, centre_mw_cm2=mean + 1,
                back_left_mw_cm2=mean - 1, front_right_mw_cm2=mean,
            )
        )  # fmt: skip
    entries.append(LampHours(at=NOW - timedelta(days=40), station="house1", hours_h=5690))
    record(store, ROOM, entries, NOW)


def state(store: Store, key: str = "house1") -> StationState:
    with Session(store.reader) as session:
        return curing.find_station(session, find_room(session, ROOM).id or 0, key)


def recipe(store: Store) -> RecipeState | None:
    with Session(store.reader) as session:
        return curing.recipes(session, find_room(session, ROOM).id or 0).get("slate")


def entries(client: Any, kind: str) -> list[dict[str, Any]]:
    found = client.get(f"/api/v1{AT}/entries?kind={kind}").json()["entries"]
    return [item["entry"] for item in found]

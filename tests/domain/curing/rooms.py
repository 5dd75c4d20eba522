"""Stations and recipes for the tests of curing, made of entries as the log holds them."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

from app.domain.curing.book import STATION_BOOK
from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import RECIPE_BOOK, StationState
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import CureRecipe, Irradiance, LampHours, Station
from app.domain.things import fold

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
START = NOW - timedelta(days=1500)

# Made up for checking: hours, share of the first output.
COURSE = ((1000, 0.985), (2000, 0.971), (3000, 0.960), (4000, 0.946), (5000, 0.935), (6000, 0.921))


def station_entry(**more: Any) -> Station:
    """A lamp house of 24 LEDs at 405 nm that gave 20 mW/cm2 when new."""
    values: dict[str, Any] = {
        "at": START, "station": "house1", "name": "Lamp House 1", "source": "led",
        "wavelength_nm": 405.0, "layout": "centre_and_corners", "light_sources": 24,
        "chamber_temperature_c": 60.0, "new_mw_cm2": 20.0, "longest_minutes": 30.0,
    }  # fmt: skip
    return Station(**(values | more))


def readings(course: Iterable[tuple[float, float]] = COURSE, new: float = 20.0) -> list[Irradiance]:
    """Readings at the centre, the last one a day before now."""
    pairs = list(course)
    return [
        Irradiance(
            at=NOW - timedelta(days=1 + 100 * (len(pairs) - 1 - index)), station="house1",
            centre_mw_cm2=new * share, hours_h=hours,
        )
        for index, (hours, share) in enumerate(pairs)
    ]  # fmt: skip


def station(*entries: Entry, **more: Any) -> StationState:
    """The station after its set-up and these entries."""
    ordered = sorted(entries, key=lambda entry: entry.at)
    state = fold(STATION_BOOK, "house1", [station_entry(**more), *ordered])
    assert isinstance(state, StationState)
    return state


def metered(days_ago: float, hours_h: float) -> LampHours:
    """The hour meter, read some days ago."""
    return LampHours(at=NOW - timedelta(days=days_ago), station="house1", hours_h=hours_h)


def recipe(**more: Any) -> RecipeState:
    """6000 mJ/cm2 at 405 nm and 60 C, unless told otherwise."""
    values: dict[str, Any] = {
        "at": START, "resin": "slate", "dose_mj_cm2": 6000.0, "wavelength_nm": 405.0,
        "temperature_c": 60.0,
    }  # fmt: skip
    state = fold(RECIPE_BOOK, "slate", [CureRecipe(**(values | more))])
    assert isinstance(state, RecipeState)
    return state

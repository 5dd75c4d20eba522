"""Curing stations: what may be said of them, their lamps today, and cures with their dose."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.domain.curing.certified import certified
from app.domain.curing.dose import CureToday, cure_today, dose_mj_cm2
from app.domain.curing.drying import Drying, asked_minutes, drying
from app.domain.curing.lamp import Lamp, State, lamp, state_of
from app.domain.curing.placement import placement
from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import StationState
from app.domain.curing.trust import Course, course_of
from app.domain.errors import NotFound
from app.domain.roomlog.kinds import Entry, Wash
from app.domain.roomlog.kinds.curing import (
    CURE_RECIPE,
    STATION,
    Cure,
)
from app.services.books import state_before
from app.services.caching import kept
from app.services.entries import Place, entry_of
from app.services.meters.book import instruments
from app.services.mixed_drums import solvent_before
from app.store.instants import from_us, to_us
from app.store.tables import EntryRow, RoomRow, TankRow
from app.store.things import thing, things

WASHES_OFFERED = 3
SAME_MINUTE = timedelta(minutes=1)  # a form gives the minute
RECENT_WASH = timedelta(days=7)


@dataclass(frozen=True)
class StationCard:
    """A station as the room page shows it."""

    key: str
    name: str
    state: State
    hours_h: float
    lamp: Lamp
    held: str


@dataclass(frozen=True)
class LastWash:
    """A wash of a resin: which bath, with which solvent, when it ended, which lot of parts."""

    uid: str
    tank: str
    tank_name: str
    solvent: str
    out_at: datetime
    lot: str = ""


def stations(session: Session, room_id: int, *, only_open: bool = False) -> list[StationState]:
    """The room's stations, by name."""
    found = things(session, room_id, STATION, only_open=only_open).values()
    known = [one for one in found if one.is_known]
    if any(reading.instrument for one in known for reading in one.readings):
        meters = instruments(session, room_id)
        known = [certified(one, meters) for one in known]
    return sorted(known, key=lambda one: one.name.casefold())


def find_station(session: Session, room_id: int, key: str) -> StationState:
    """The station of that key.

    Raises:
        NotFound: there is none.
    """
    state: StationState | None = thing(session, room_id, STATION, key)
    if state is None or not state.is_known:
        raise NotFound(f"There is no curing station “{key[:64]}” in this room.")
    return with_certificates(session, room_id, state)


def with_certificates(session: Session, room_id: int, state: StationState) -> StationState:
    """A station with its readings by the certificates of the meters that took them."""
    if not any(one.instrument for one in state.readings):
        return state
    return certified(state, instruments(session, room_id))


def recipes(session: Session, room_id: int) -> dict[str, RecipeState]:
    """The recipes by resin."""
    found = things(session, room_id, CURE_RECIPE)
    return {key: recipe for key, recipe in found.items() if recipe.is_known}


Judged = list[tuple[StationState, Course]]


def judged(session: Session, room: RoomRow) -> Judged:
    """The stations in use with their readings judged: anew only where something was entered."""
    room_id = room.id
    assert room_id is not None
    found: Judged = kept(
        session, room_id, "curing stations", room.version,
        lambda: [(one, course_of(one)) for one in stations(session, room_id, only_open=True)],
    )  # fmt: skip
    return found


def judged_today(
    session: Session, room: RoomRow, now: datetime
) -> list[tuple[StationState, Lamp, State]]:
    """The stations in use, each with its lamp and its state at an instant."""
    found = [(station, lamp(station, now, course)) for station, course in judged(session, room)]
    return [(station, today, state_of(station, today, now)) for station, today in found]


def last_recipe(session: Session, room: RoomRow) -> RecipeState | None:
    """The recipe by which the last cure of the room was done; None where there is none."""
    resin = session.exec(
        select(EntryRow.resin)
        .where(EntryRow.room_id == room.id, EntryRow.kind == Cure.kind)
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(1)
    ).first()
    return recipes(session, room.id or 0).get(resin or "")


def cards(session: Session, room: RoomRow, now: datetime) -> list[StationCard]:
    """The stations in use as the room page shows them."""
    found = []
    for station, today, state in judged_today(session, room, now):
        held = station.hold.reason if station.hold.is_held else ""
        found.append(StationCard(station.key, station.name, state, station.hours_h, today, held))
    return found


def times_today(
    session: Session, room: RoomRow, recipe: RecipeState, now: datetime,
    used: Sequence[str] | None = None,
) -> list[tuple[StationState, CureToday]]:  # fmt: skip
    """Each station in use with its time today, those that can first, the quickest in front.

    Args:
        used: the places that parts lie in; None or none of them: anywhere.
    """
    found = [
        (station, cure_today(station, lamp(station, now, course), recipe, used))
        for station, course in judged(session, room)
    ]
    return sorted(found, key=lambda pair: (not pair[1].can, pair[1].seconds or 0.0))


def recent_washes(session: Session, room_id: int, resin: str, now: datetime) -> list[LastWash]:
    """The latest washes of a resin within a week before an instant, the last first."""
    found = session.exec(
        select(EntryRow, TankRow)
        .join(TankRow, (col(TankRow.key) == col(EntryRow.tank)) & (TankRow.room_id == room_id))
        .where(
            EntryRow.room_id == room_id, EntryRow.kind == Wash.kind, EntryRow.resin == resin,
            EntryRow.at_us <= to_us(now), EntryRow.at_us >= to_us(now - RECENT_WASH),
            col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(WASHES_OFFERED)
    ).all()  # fmt: skip
    return [
        LastWash(
            row.uid, tank.key, tank.name, tank.solvent, from_us(row.at_us),
            getattr(entry_of(row), "lot", None) or "",
        )
        for row, tank in found
    ]  # fmt: skip


def washes_of(session: Session, room_id: int, cure: Cure) -> list[Entry]:
    """The washes of a cure's resin that ended when its parts left that tank."""
    if cure.washed_at is None or cure.tank is None:
        return []
    since, until = (cure.washed_at + side * SAME_MINUTE for side in (-1, 1))
    found = session.exec(
        select(EntryRow).where(
            EntryRow.room_id == room_id, EntryRow.kind == Wash.kind, EntryRow.tank == cure.tank,
            EntryRow.resin == cure.resin, col(EntryRow.voided_by).is_(None),
            EntryRow.at_us > to_us(since),
            EntryRow.at_us < to_us(until),
        )
    )  # fmt: skip
    return [entry_of(row) for row in found]


def lots_washed(session: Session, room_id: int, cure: Cure) -> list[str]:
    """The part lots of the washes that a cure's parts came out of."""
    lots = (getattr(wash, "lot", None) for wash in washes_of(session, room_id, cure))
    return [lot for lot in lots if lot]


def washed_after(session: Session, room_id: int, cure: Cure) -> LastWash | None:
    """The last wash of a cure's resin in its tank, where the log has none at the time that it names
    and this one ended later."""
    if cure.washed_at is None or washes_of(session, room_id, cure):
        return None
    recent = recent_washes(session, room_id, cure.resin, cure.at)
    return next(
        (one for one in recent if one.tank == cure.tank and one.out_at > cure.washed_at), None
    )


def solvent_of(
    session: Session, room_id: int, tank: str | None, at: datetime | None = None
) -> str | None:
    """What a tank held at an instant, or holds; None where there is no such tank.

    Parts that came out of the alcohol dry as from alcohol, whatever was filled since.
    """
    row = session.get(TankRow, (room_id, tank)) if tank else None
    if row is None or at is None or at >= from_us(row.fill_started_at_us):
        return row.solvent if row else None
    return solvent_before(session, room_id, row.key, at) or row.solvent


def drying_of(
    session: Session,
    room_id: int,
    recipe: RecipeState | None,
    washed: tuple[str | None, datetime | None],
    at: datetime,
) -> Drying:
    """How far parts have dried by `at` that left that tank then."""
    tank, washed_at = washed
    wait = recipe.dry_minutes if recipe else None
    solvent = solvent_of(session, room_id, tank, washed_at)
    return drying(asked_minutes(solvent, wait), washed_at, at)


def with_figures(session: Session, room_id: int, cure: Cure) -> Cure:
    """The cure with its dose by the station's output, and how long its parts dried: by the lamp and
    the recipe it was done with, though others are in force where it is told late."""
    station = station_then(session, room_id, cure)
    recipe = recipe_then(session, room_id, cure)
    today = lamp(station, cure.at)
    weakest, seconds = placement(today, cure.places).weakest, 60 * cure.minutes
    wait = drying_of(session, room_id, recipe, (cure.tank, cure.washed_at), cure.at)
    return replace(
        cure,
        dose_mj_cm2=None if today.mw_cm2 is None else dose_mj_cm2(today.mw_cm2, seconds),
        weakest_dose_mj_cm2=weakest.least_dose_mj_cm2(seconds) if weakest else None,
        weakest_place=weakest.place if weakest else None,
        dose_asked_mj_cm2=recipe.dose_mj_cm2 if recipe else None,
        dried_minutes=wait.dried_minutes,
        dry_asked_minutes=wait.asked_minutes,
    )


def station_then(session: Session, room_id: int, cure: Cure) -> StationState:
    """The station of a cure, with the lamp that was in it then."""
    station = find_station(session, room_id, cure.station)
    if station.lamp_since_at is None or cure.at >= station.lamp_since_at:
        return station
    key = STATION, cure.station
    then: StationState = state_before(session, room_id, key, _behind(cure))
    return with_certificates(session, room_id, then) if then.is_known else station


def recipe_then(session: Session, room_id: int, cure: Cure) -> RecipeState | None:
    """The recipe in force at a cure; before the first one, that."""
    recipe: RecipeState | None = recipes(session, room_id).get(cure.resin)
    if recipe is None or recipe.set_at is None or cure.at >= recipe.set_at:
        return recipe
    key = CURE_RECIPE, cure.resin
    then: RecipeState = state_before(session, room_id, key, _behind(cure))
    return then if then.is_known else recipe


def _behind(cure: Cure) -> Place:
    return Place(to_us(cure.at) + 1, 0, 0)


def tank_names(session: Session, room_id: int) -> Mapping[str, str]:
    """The names of the tanks by key."""
    found = session.exec(select(TankRow.key, TankRow.name).where(TankRow.room_id == room_id))
    return dict(found.all())

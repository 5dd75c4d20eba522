"""Rooms: setting one up, changing it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cache
from typing import Any
from zoneinfo import available_timezones

from sqlmodel import Session, select

from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.fields import check_key, check_text
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.naming import slug
from app.services import door
from app.services.archiving import require_in_use
from app.services.projections import note_versions, rebuild_costs
from app.services.rooms import find_room
from app.services.transaction import fingerprint, once, write
from app.store.deleting import deleted_rooms, free_number
from app.store.engine import Store
from app.store.instants import to_us
from app.store.tables import RoomRow

UNITS = {
    "volume_unit": ("l", "us_gal"),
    "temperature_unit": ("c", "f"),
    "mass_unit": ("g", "oz"),
    "area_unit": ("cm2", "in2"),
}

SETTINGS = ("name", "time_zone", *UNITS)


@dataclass(frozen=True)
class RoomForm:
    """What is asked when a room is set up or changed."""

    name: str
    time_zone: str = "UTC"
    volume_unit: str = "l"
    temperature_unit: str = "c"
    mass_unit: str = "g"
    area_unit: str = "cm2"
    key: str = ""


@dataclass(frozen=True)
class AddedRoom:
    """The key of a new room; `is_replayed` where the submission was a retry."""

    key: str
    is_replayed: bool = False


def add_room(store: Store, form: RoomForm, now: datetime) -> str:
    """Set up an empty room and return its key.

    Raises:
        FieldErrors: with a message for each value that does not fit.
        Conflict: another room has the key that the form asks for.
    """
    return add_room_once(store, form, now, None).key


Begin = Callable[[Session], Sequence[Entry]]
"""What a new room begins with, read as it is set up."""


def add_room_once(
    store: Store, form: RoomForm, now: datetime, submission: str | None,
    begin: Begin | None = None, asked: Mapping[str, str] | None = None,
) -> AddedRoom:  # fmt: skip
    """Set up a room, empty or with what it begins with; a submission sent again changes nothing.

    `asked` is what was asked of the beginning: the same submission with another is no retry.

    Raises:
        FieldErrors: with a message for each value that does not fit, of the entries too.
    """
    checked = _checked(form)
    with write(store) as session:

        def do() -> dict[str, Any]:
            _check_name(session, checked.name)
            key = _free_key(session, checked)
            number = free_number(session) if store.is_sqlite else None
            room = RoomRow(id=number, key=key, name="", time_zone="", created_at_us=to_us(now))
            _take(room, checked)
            session.add(room)
            session.flush()
            note_versions(session, room)
            if begin is not None:
                door.begin(session, store, room, begin(session), now)
            return {"key": key}

        content = {**asdict(checked), **({"begins": dict(asked)} if asked else {})}
        answer = once(session, submission, content, now, do)
    return AddedRoom(answer["key"], bool(answer.get("is_replayed")))


class ChangedMeanwhile(Conflict):
    """What is to be changed is not any more what whoever changes it has seen."""


def change_room(
    store: Store, key: str, form: RoomForm, is_as_seen: Callable[[RoomRow], bool]
) -> None:
    """Change a room's name, time zone or units, where it is still as it was seen.

    Raises:
        FieldErrors: with a message for each value that does not fit.
        NotFound: there is no such room.
        ChangedMeanwhile: somebody else was quicker; nothing is stored.
    """
    checked = _checked(form)
    with write(store, key) as session:
        room = find_room(session, key)
        if not is_as_seen(room):
            raise ChangedMeanwhile("Somebody changed this meanwhile. Nothing was stored.")
        if checked.name != room.name:
            _check_name(session, checked.name, room)
        require_in_use(session, room)
        is_elsewhere = room.time_zone != checked.time_zone
        _take(room, checked)
        room.version += 1
        if is_elsewhere:  # its weeks begin at other instants
            rebuild_costs(session, room)


def print_of(room: RoomRow) -> str:
    """What tells one state of a room's settings from another."""
    return fingerprint({name: getattr(room, name) for name in SETTINGS})[:16]


def _take(room: RoomRow, form: RoomForm) -> None:
    for name in SETTINGS:
        setattr(room, name, getattr(form, name))


def _checked(form: RoomForm) -> RoomForm:
    errors = []
    name = ""
    try:
        name = check_text("name", form.name, 80)
        if not name:
            errors.append(FieldError("name", "Give the room a name."))
    except FieldError as error:
        errors.append(error)
    if form.time_zone not in zones():
        errors.append(
            FieldError(
                "time_zone", "This time zone is not known. Use a name such as Europe/Dublin."
            )
        )
    for field, units in UNITS.items():
        if getattr(form, field) not in units:
            errors.append(FieldError(field, f"Choose one of: {', '.join(units)}."))
    if form.key:
        try:
            check_key("key", form.key)
        except FieldError as error:
            errors.append(error)
    if errors:
        raise FieldErrors(errors)
    return RoomForm(**{**form.__dict__, "name": name})


@cache
def zones() -> frozenset[str]:
    """The time zones by name, without those that another machine may have otherwise."""
    return frozenset(available_timezones() - {"localtime", "Factory", "posixrules"})


def _check_name(session: Session, name: str, own: RoomRow | None = None) -> None:
    """Two rooms of one name could not be told apart: a second one is mostly the first, sent again.

    Raises:
        FieldErrors: another room has it.
    """
    for room in session.exec(select(RoomRow)):
        if room is not own and _alike(room.name) == _alike(name):
            message = f"There is already a room “{room.name}”. Give this one another name."
            raise FieldErrors([FieldError("name", message)])


def _alike(name: str) -> str:
    return " ".join(name.casefold().split())


def _free_key(session: Session, form: RoomForm) -> str:
    taken = set(session.exec(select(RoomRow.key)).all())
    gone = {row.key for row in deleted_rooms(session)}
    if form.key in gone:
        raise Conflict(f"There was a room “{form.key}”, which was deleted. Choose another key.")
    taken |= gone  # links and notes still name it
    if form.key:
        if form.key in taken:
            raise Conflict(f"There is already a room “{form.key}”.")
        return form.key
    wanted = key = slug(form.name)
    number = 2
    while key in taken:
        key, number = f"{wanted}-{number}", number + 1
    return key

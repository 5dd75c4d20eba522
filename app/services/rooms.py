"""Rooms: setting one up and finding it."""

import re
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.fields import check_key, check_text
from app.services.transaction import write
from app.store.engine import Store
from app.store.instants import to_us
from app.store.tables import RoomRow

UNITS = {
    "volume_unit": ("l", "us_gal"),
    "temperature_unit": ("c", "f"),
    "mass_unit": ("g", "oz"),
    "area_unit": ("cm2", "in2"),
}


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


def add_room(store: Store, form: RoomForm, now: datetime) -> str:
    """Set up an empty room and return its key.

    Raises:
        FieldErrors: with a message for each value that does not fit.
    """
    checked = _checked(form)
    with write(store) as session:
        key = _free_key(session, checked.key or _slug(checked.name))
        session.add(RoomRow(key=key, created_at_us=to_us(now), **_columns(checked)))
    return key


def change_room(store: Store, key: str, form: RoomForm) -> None:
    """Change a room's name, time zone or units.

    Raises:
        FieldErrors: with a message for each value that does not fit.
        NotFound: there is no such room.
    """
    checked = _checked(form)
    with write(store, key) as session:
        room = find_room(session, key)
        for name, value in _columns(checked).items():
            setattr(room, name, value)
        room.version += 1


def find_room(session: Session, key: str) -> RoomRow:
    """The room of that key.

    Raises:
        NotFound: there is none.
    """
    room = session.exec(select(RoomRow).where(RoomRow.key == key)).first()
    if room is None:
        raise NotFound(f"There is no room “{key}”.")
    return room


def _columns(form: RoomForm) -> dict[str, str]:
    return {name: getattr(form, name) for name in ("name", "time_zone", *UNITS)}


def _checked(form: RoomForm) -> RoomForm:
    errors = []
    name = ""
    try:
        name = check_text("name", form.name, 80)
        if not name:
            errors.append(FieldError("name", "Give the room a name."))
    except FieldError as error:
        errors.append(error)
    if not _is_zone(form.time_zone):
        errors.append(
            FieldError("time_zone", "This time zone is not known, for example Europe/Dublin.")
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


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        return False
    return bool(name)


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:48] or "room"


def _free_key(session: Session, wanted: str) -> str:
    taken = set(session.exec(select(RoomRow.key)).all())
    key, number = wanted, 2
    while key in taken:
        key, number = f"{wanted}-{number}", number + 1
    return key

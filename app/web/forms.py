"""Forms to entries: text in the room's units and time becomes an entry, or a message per field."""

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import Depends, Request

from app.domain.errors import Doubt, FieldError, FieldErrors
from app.domain.money import plain
from app.domain.roomlog.cells import json_of
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import KINDS, Entry, Reading
from app.domain.roomlog.lines import parse_entry, reading_specs
from app.domain.roomlog.naming import Names
from app.services.baths.plausibility import SameAgain
from app.store.tables import RoomRow
from app.units import Quantity, from_display, label, parse_money, parse_number, to_display
from app.web.filters import units_of
from app.web.people.agreeing import own_word
from app.web.sending import touched_at
from app.web.tanks.points import points_text, read_points

QUANTITIES: Mapping[str, Quantity] = {"L": "volume", "C": "temperature", "g": "mass", "cm2": "area"}
DIGITS = 6  # more than any instrument here shows
TRUE = ("on", "true", "yes", "1")
AGO_MINUTES = ("5", "15", "60", "1440")
"""Steps back in time that a form offers, beside now and a time that is typed."""
ANSWER = "confirmed"
NOT_ASKED_ABOUT = (ANSWER, "submission", "by")
FIGURES = re.compile(r"\d[\d.,]*")


@dataclass(frozen=True)
class FormState:
    """What a form shows: the values as typed, a message per field, and doubts to answer."""

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()

    def value(self, name: str) -> str:
        """What was typed in a field."""
        return self.values.get(name, "")

    def error(self, name: str) -> str:
        """The message beside a field, or nothing."""
        return self.errors.get(name, "")

    @property
    def answer(self) -> str:
        """What a form brings that answers these doubts about these values, and no others.

        Figures in a doubt do not count: "40 s" is 55 s by the time it is answered. The names
        of questions stand behind, for the door to hold against what it asks.
        """
        typed = sorted(
            (name, text.strip())
            for name, text in self.values.items()
            if text.strip() and name not in NOT_ASKED_ABOUT
        )
        words = sorted(FIGURES.sub("#", doubt) for doubt in self.doubts)
        mark = hashlib.sha256(json.dumps([typed, words]).encode()).hexdigest()[:16]
        names = sorted(doubt.name for doubt in self.doubts if isinstance(doubt, Doubt))
        return " ".join([mark, *names])

    @property
    def is_answered(self) -> bool:
        """Whether what was typed brings the answer to these doubts."""
        return self.value(ANSWER) == self.answer

    @property
    def answers(self) -> tuple[str, ...]:
        """What the two answers are called, where a doubt names them; else empty."""
        return next(
            (one.answers for one in self.doubts if isinstance(one, Doubt) and one.answers), ()
        )

    @property
    def is_double(self) -> bool:
        """Whether the question is if the same thing is entered twice."""
        return any(isinstance(doubt, SameAgain) for doubt in self.doubts)


async def form_values(request: Request) -> dict[str, str]:
    """The text fields of a submitted form; files are left out."""
    form = await request.form(max_files=0, max_fields=200)
    typed = {name: value for name, value in form.items() if isinstance(value, str)}
    typed = await own_word(request, typed)
    request.state.typed = typed  # kept for the page that says why it could not be stored now
    return typed


# Read before the handler runs in its thread, so that no handler blocks the event loop.
FormDep = Annotated[dict[str, str], Depends(form_values)]


def key_of_new(
    typed: Mapping[str, str],
    name: str,
    things: Iterable[tuple[str, str]],
    taken: Iterable[str] = (),
) -> str:
    """The key typed into the field `name` for a new thing, else one that its name makes.

    `things` are the keys and names that are there, `taken` the keys of what is gone. No other
    name gives the same key; a name that is there gives its thing's, for others to refuse.
    """
    key = typed.get(name, "").strip()
    return key or Names(things, taken).key_for(typed.get("name", ""))


def refuse_double(typed: Mapping[str, str], name: str, key: str, noun: str) -> FieldErrors:
    """That a new thing's key, or the name that makes it, is another thing's."""
    if typed.get(name, "").strip():
        return FieldErrors([FieldError(name, f"There is already a {noun} with this key.")])
    called = typed.get("name", "").strip() or key
    message = f"There is already a {noun} “{called[:40]}”. Give the new one another name."
    return FieldErrors([FieldError("name", message)])


def read_entry(
    kind: str,
    values: Mapping[str, str],
    room: RoomRow,
    by: str,
    now: datetime,
    kept: Mapping[str, Any] | None = None,
) -> Entry:
    """The entry a form describes, entered at `now`; `kept` fields are taken as they are stored.

    Where no time is said, it happened when the form was touched: before `now` for what waited on a
    tablet.

    Raises:
        FieldErrors: with a message for each field that does not fit.
    """
    errors: list[FieldError] = []
    other = values.get("by_other", "").strip()
    raw: dict[str, Any] = {"kind": kind, "by": other or values.get("by", by), "entered_at": now}
    raw["note"] = values.get("note", "")
    raw["at"] = _moment(values, room, touched_at(now), errors)
    raw |= kept or {}
    for name, spec in _specs(kind, values).items():
        if name in raw:
            continue
        if (text := values.get(name, "").strip()) == "" and spec.type != "flag":
            continue
        try:
            raw[name] = _value(name, spec, text, room, values.get("currency", ""))
        except FieldError as error:
            errors.append(error)
    if kind == Reading.kind:
        raw["method"] = values.get("method", "")
    return _parsed(raw, errors)


def shown_values(entry: Entry, fields: Mapping[str, Any], room: RoomRow) -> dict[str, str]:
    """The text that a form shows for a stored entry, for correcting it."""
    specs = _specs(entry.kind, {"method": str(fields.get("method", ""))})
    values = {"note": entry.note, "by": entry.by, "at": local_text(entry.at, room)}
    for name, value in fields.items():
        values[name] = text_of(specs[name], value, room) if name in specs else str(value)
    return values


def unit_label(spec: FieldSpec, room: RoomRow) -> str:
    """The unit a field is typed in."""
    quantity = QUANTITIES.get(spec.unit)
    return label(quantity, units_of(room)) if quantity else spec.shown_unit


def local_text(at: datetime, room: RoomRow) -> str:
    """An instant as the text of a date-and-time field, in the room's time."""
    return at.astimezone(ZoneInfo(room.time_zone)).strftime("%Y-%m-%dT%H:%M")


def _specs(kind: str, values: Mapping[str, str]) -> dict[str, FieldSpec]:
    specs = dict(KINDS[kind].specs())
    if kind == Reading.kind:
        try:
            specs |= reading_specs(values.get("method", ""))
        except FieldError:
            return specs  # parse_entry names the unknown method
    return specs


def _value(name: str, spec: FieldSpec, text: str, room: RoomRow, currency: str) -> Any:
    """A field's value; `currency` is one that the same form gives a room without any."""
    if spec.type == "flag":
        return text.lower() in TRUE or None
    readers: Mapping[str, Callable[[], Any]] = {
        "points": lambda: read_points(text),
        "data": lambda: json_of(name, text),
        "moment": lambda: _instant(name, text, room),
    }
    if spec.type in readers:
        return readers[spec.type]()
    if spec.type not in ("number", "whole", "money"):
        return text
    if spec.type == "money":
        return parse_money(text, room.currency or currency.strip(), name)
    number = parse_number(text, name)
    quantity = QUANTITIES.get(spec.unit)
    if quantity is not None:
        number = from_display(number, quantity, units_of(room))
    return number


def text_of(spec: FieldSpec, value: Any, room: RoomRow) -> str:
    """A stored value as a form shows it, in the room's units."""
    if isinstance(value, bool):
        return "on" if value else ""
    writers: Mapping[str, Callable[[], str]] = {
        "points": lambda: points_text(value),
        "money": lambda: plain(value, room.currency),
        "data": lambda: json.dumps(value, ensure_ascii=False),
        "moment": lambda: local_text(datetime.fromisoformat(str(value)), room),
    }
    if spec.type in writers:
        return writers[spec.type]()
    quantity = QUANTITIES.get(spec.unit)
    if quantity is not None and isinstance(value, int | float):
        value = to_display(value, quantity, units_of(room))
    if not isinstance(value, float):
        return str(value)
    return f"{value:.0f}" if abs(value) >= 10**DIGITS else f"{value:.{DIGITS}g}"


def _moment(
    values: Mapping[str, str], room: RoomRow, now: datetime, errors: list[FieldError]
) -> datetime:
    """When it happened: as typed, else so many minutes ago, else now."""
    text, ago = values.get("at", ""), values.get("ago", "").strip()
    if not text.strip():
        if ago and ago not in AGO_MINUTES:
            errors.append(FieldError("at", "Choose how long ago it was, or give the day and time."))
        return now - timedelta(minutes=int(ago)) if ago in AGO_MINUTES else now
    try:
        return _instant("at", text, room)
    except FieldError as error:
        errors.append(error)
        return now


def _instant(name: str, text: str, room: RoomRow) -> datetime:
    """A day and time as typed, in the room's time where it says no other."""
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        message = "Enter the day and time, for example 2026-03-02 07:40."
        raise FieldError(name, message) from None
    return at if at.tzinfo else at.replace(tzinfo=ZoneInfo(room.time_zone))


def _parsed(raw: dict[str, Any], errors: list[FieldError]) -> Entry:
    bad = {error.field for error in errors}
    try:
        entry = parse_entry({name: value for name, value in raw.items() if name not in bad})
    except FieldErrors as found:
        more = [error for error in found.errors if error.field not in bad]
        raise FieldErrors(errors + more) from None
    if errors:
        raise FieldErrors(errors)
    return entry

"""One entry: what it says, its history, and correcting or withdrawing it."""

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.calendar_words import day_words
from app.domain.errors import Conflict, FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import LONGEST_NOTE, FieldSpec
from app.domain.roomlog.kinds import KINDS, Entry, Reading, Removal, Withdrawal
from app.domain.roomlog.lines import own_fields, reading_specs
from app.services import door
from app.services.entries import entry_of
from app.services.standing import standing_problems
from app.store import queries
from app.store.log import LoggedEntry, find_entry, history_of
from app.store.tables import EntryRow, RoomRow
from app.web.deps import Visit, VisitDep
from app.web.filters import amount, moment
from app.web.forms import (
    FormDep,
    FormState,
    local_text,
    read_entry,
    shown_values,
    text_of,
    unit_label,
)
from app.web.tanks.points import points_text

router = APIRouter(prefix="/rooms/{room}/entries/{entry_id}")
CORRECT = "logbook/correct.html"
PLAIN = (  # their values say by their units what they are
    "wash", "planned_wash", "reading", "top_up", "removal", "solids_removed", "reject",
)  # fmt: skip
SHORT_LIST = 12
SPILLED = "Spill loss"
FIXED = ("tank", "method")


@dataclass(frozen=True)
class LogLine:
    """An entry as the log shows it; `after_percent` is the estimate behind it in mass percent."""

    id: str
    at: datetime
    kind: str
    title: str
    text: str
    by: str
    note: str
    fate: str
    is_voided: bool
    is_set_aside: bool
    after_percent: float | None


def line_of(item: LoggedEntry, room: RoomRow, resin_names: Mapping[str, str]) -> LogLine:
    """The line of an entry."""
    entry = entry_of(item.row)
    effect = item.effect
    fate = "corrected or withdrawn" if item.row.voided_by else ""
    return LogLine(
        id=entry.id,
        at=entry.at,
        kind=entry.kind,
        title=title_of(entry),
        text=describe(entry, room, resin_names),
        by=entry.by,
        note=entry.note,
        fate=fate or ("a correction" if entry.corrects else ""),
        is_voided=item.row.voided_by is not None,
        is_set_aside=bool(effect and effect.is_set_aside),
        after_percent=effect.mean_percent if effect else None,
    )


def title_of(entry: Entry) -> str:
    """What the log calls an entry: what an incident took out of a bath is no removal by hand."""
    return SPILLED if isinstance(entry, Removal) and entry.incident else entry.summary


def describe(entry: Entry, room: RoomRow, resin_names: Mapping[str, str]) -> str:
    """The entry's values in words, in the room's units."""
    specs = all_specs(entry)
    parts = []
    for name, stored in own_fields(entry).items():
        if name in ("tank", "solvent") or name not in specs or _is_in_title(name, entry):
            continue
        value = getattr(entry, name, stored)
        words = _in_words(name, specs[name], value, room, resin_names)
        is_plain = entry.kind in PLAIN or specs[name].type in ("flag", "moment")
        parts.append(words if is_plain else f"{specs[name].label.lower()} {words}")
    return ", ".join(part for part in parts if part)


def _is_in_title(name: str, entry: Entry) -> bool:
    return name == "incident" and isinstance(entry, Removal)


def all_specs(entry: Entry) -> dict[str, FieldSpec]:
    """The entry's fields, for a reading also those of its instrument."""
    specs = dict(entry.specs())
    if isinstance(entry, Reading) and entry.method in INSTRUMENTS:
        specs |= reading_specs(entry.method)
    return specs


def _data_words(value: Any) -> str:
    """A short list in a row; of anything longer only that it was given."""
    is_short = isinstance(value, list | tuple) and len(value) <= SHORT_LIST
    if is_short and all(isinstance(one, str | int | float) for one in value):
        return ", ".join(str(one) for one in value)
    return "given"


def _in_words(
    name: str, spec: FieldSpec, value: Any, room: RoomRow, resin_names: Mapping[str, str]
) -> str:
    if name == "resin":
        return resin_names.get(value, str(value))
    if name == "method":
        return INSTRUMENTS[value].name if value in INSTRUMENTS else str(value)
    if spec.type in ("number", "whole"):
        unit = "part" if spec.unit == "parts" and value == 1 else unit_label(spec, room)
        return f"{text_of(spec, value, room)} {unit}".strip()
    if spec.type == "moment":
        return f"{spec.label.lower()} {moment(value, ZoneInfo(room.time_zone))}"
    words = {
        "points": lambda: points_text(value, " | "),
        "flag": lambda: spec.label.lower() if value else "",
        "choice": lambda: str(value).replace("_", " "),
        "day": lambda: day_words(value),
        "data": lambda: _data_words(value),
        "money": lambda: amount(value, room),
    }
    return words.get(spec.type, lambda: str(value))()


@router.get("")
def entry_page(visit: VisitDep, entry_id: str) -> Response:
    """The entry and its history."""
    row = find_entry(visit.session, visit.room_id, entry_id)
    return visit.page("logbook/entry.html", _context(visit, row, FormState()))


@router.get("/correct")
def correct_form(visit: VisitDep, entry_id: str) -> Response:
    """The entry's values, to be set right."""
    row = _open_entry(visit, entry_id)
    entry = entry_of(row)
    form = FormState(shown_values(entry, own_fields(entry), visit.room))
    return visit.page(CORRECT, _context(visit, row, form))


@router.post("/correct")
def correct(visit: VisitDep, entry_id: str, typed: FormDep) -> Response:
    """Store the correction; the original stays in the history."""
    row = _open_entry(visit, entry_id)
    old = entry_of(row)
    stored = own_fields(old)
    fixed = {name: value for name, value in stored.items() if _is_fixed(name, old)}
    values = {**typed, **fixed}
    shown = shown_values(old, stored, visit.room)
    kept = {name: stored[name] for name in stored if typed.get(name) == shown.get(name)}
    try:
        entry = read_entry(row.kind, values, visit.room, visit.person, visit.now, kept)
        at = _kept_time(entry, old, typed, visit.room)
        entry = replace(entry, at=at, extra=old.extra, corrects=entry_id)
        key, who = typed.get("submission"), visit.person
        done = door.enter(visit.store, visit.room.key, [entry], visit.now, key, who)
    except FieldErrors as error:
        form = FormState(values, error.by_field())
        return visit.page(CORRECT, _context(visit, row, form), 422)
    return RedirectResponse(f"{_back(visit, row)}?corrected={done.ids[0]}", 303)


@router.post("/withdraw")
def withdraw(visit: VisitDep, entry_id: str, typed: FormDep) -> Response:
    """Take the entry back; it stays in the history."""
    row = find_entry(visit.session, visit.room_id, entry_id)
    why, key = typed.get("note", "")[:LONGEST_NOTE], typed.get("submission")
    word = Withdrawal(at=visit.now, by=visit.person, note=why, withdraws=entry_id)
    try:
        door.enter(visit.store, visit.room.key, [word], visit.now, key)
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        return visit.page("logbook/entry.html", _context(visit, row, form), 422)
    return RedirectResponse(f"{_back(visit, row)}?undone={entry_id}", 303)


def _is_fixed(name: str, entry: Entry) -> bool:
    """What a correction may not change: the tank, the thing whose book it stands in, the method."""
    spec = entry.specs().get(name)
    return name in FIXED or bool(spec and spec.thing)


def _open_entry(visit: Visit, entry_id: str) -> EntryRow:
    row = find_entry(visit.session, visit.room_id, entry_id)
    if row.voided_by is not None:
        raise Conflict("This entry was already corrected or withdrawn.")
    if not KINDS[row.kind].is_correctable:
        raise Conflict("This kind of entry is not corrected. Enter it anew where it was entered.")
    return row


def _stands(visit: Visit, word: Entry) -> str:
    """Why the entry stands against a withdrawal or correction by who is here, in words."""
    found = standing_problems(visit.session, visit.room_id, word, visit.person, visit.now)
    return " ".join(one.message for one in found)


def _kept_time(entry: Entry, old: Entry, typed: Mapping[str, str], room: RoomRow) -> datetime:
    """A time that was left as it stood keeps its seconds, which the form does not show."""
    return old.at if typed.get("at", "") in ("", local_text(old.at, room)) else entry.at


def _back(visit: Visit, row: EntryRow) -> str:
    return visit.address("tanks", row.tank) if row.tank else visit.address()


def _context(visit: Visit, row: EntryRow, form: FormState) -> dict[str, Any]:
    names = visit.resin_names()
    entry = entry_of(row)
    specs = {name: spec for name, spec in all_specs(entry).items() if not _is_fixed(name, entry)}
    is_open = row.voided_by is None
    word = Withdrawal(at=visit.now, withdraws=row.uid, note="asked with the form")
    stands = _stands(visit, word) if is_open else ""
    is_fixed = is_open and bool(_stands(visit, replace(entry, corrects=row.uid)))
    return {
        "entry": line_of(LoggedEntry(row, None), visit.room, names),
        "history": [
            line_of(LoggedEntry(item, None), visit.room, names)
            for item in history_of(visit.session, visit.room_id, row.uid)
        ],
        "raw": json.dumps(own_fields(entry), indent=2, ensure_ascii=False),
        "specs": specs,
        "required": entry.required(),
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "resins": queries.resins(visit.session, visit.room_id),
        "form": form,
        "tank_key": row.tank,
        "can_correct": is_open and KINDS[row.kind].is_correctable and not is_fixed,
        "can_withdraw": is_open and row.kind != "withdrawal" and not stands,
        "stands": stands,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }

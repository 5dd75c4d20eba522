"""One entry: what it says, its history, and correcting or withdrawing it."""

import json
import uuid
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import Conflict, FieldErrors
from app.domain.lot_keys import PART_LOT
from app.domain.roomlog.fields import LONGEST_NOTE
from app.domain.roomlog.kinds import KINDS, Entry, Reading, Wash, Withdrawal
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.qualifications import UNTOLD
from app.domain.roomlog.lines import own_fields
from app.services import door
from app.services.curing.stations import find_station
from app.services.entries import entry_of
from app.services.guards import standing_problems
from app.services.incidents.holding import still_held
from app.services.waste import drum_of
from app.store import queries
from app.store.log import LoggedEntry, find_entry, history_of
from app.store.tables import EntryRow, RoomRow
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import (
    FormDep,
    FormState,
    local_text,
    read_entry,
    shown_values,
    unit_label,
)
from app.web.swaps.labelled import photos_of_entry
from app.web.telling import all_specs, line_of, lines_of

router = APIRouter(prefix="/rooms/{room}/entries/{entry_id}")
CORRECT = "logbook/correct.html"
FIXED = ("tank", "method")
MOVABLE = (Reading, Wash)  # done in another tank than was written down


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
    shown = shown_values(entry, own_fields(entry), visit.room)
    brought = {
        name: text
        for name, text in visit.request.query_params.items()
        if name in entry.specs() and not _is_fixed(name, entry)
    }
    form = FormState(shown | brought)
    return visit.page(CORRECT, _context(visit, row, form))


@router.post("/correct")
def correct(visit: VisitDep, entry_id: str, typed: FormDep) -> Response:
    """Store the correction; the original stays in the history."""
    row = _open_entry(visit, entry_id)
    old = entry_of(row)
    stored = own_fields(old)
    fixed = {
        name: value
        for name, value in stored.items()
        if _is_fixed(name, old) or (name == "tank" and name not in typed)
    }
    values = {**typed, **fixed}
    shown = shown_values(old, stored, visit.room)
    kept = {name: stored[name] for name in stored if typed.get(name) == shown.get(name)}
    try:
        entry = read_entry(row.kind, values, visit.room, visit.person, visit.now, kept)
        at = _kept_time(entry, old, typed, visit.room)
        entry = replace(entry, at=at, extra=old.extra, corrects=entry_id)
        ask(visit, typed, [entry], values=values)
        done = door.enter(
            visit.store, visit.room.key, [entry], visit.now, typed.get("submission"),
            visit.person, confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return visit.page(CORRECT, _context(visit, row, form_of(back, values)), 422)
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
    if _held(visit, entry_of(row)):  # what it holds stays held: its page says who releases it
        return RedirectResponse(visit.address("entries", entry_id), 303)
    return RedirectResponse(f"{_back(visit, row)}?undone={entry_id}", 303)


def _held(visit: Visit, entry: Entry) -> list[tuple[str, str]]:
    """What a report holds now: names, and the pages where a lead releases it."""
    if not isinstance(entry, Incident):
        return []
    found = []
    for sort, key in still_held(visit.session, visit.room_id, entry.incident):
        if sort == "drum":
            drum = drum_of(visit.session, visit.room_id, key)
            found.append((drum.name if drum else key, visit.address("waste", "drums", key)))
        elif sort == "station":
            name = find_station(visit.session, visit.room_id, key).name
            found.append((name, visit.address("stations", key, "hold")))
        else:
            view = visit.tank(key)
            found.append((f"{view.place} {view.name}", visit.address("tanks", key, "hold")))
    return found


def _is_fixed(name: str, entry: Entry) -> bool:
    """What a correction may not change: the thing whose book it stands in, the method, and the tank
    of all but what is easily written down for the one beside it."""
    spec = entry.specs().get(name)
    if name == "tank" and isinstance(entry, MOVABLE):
        return False
    return name in FIXED or bool(spec and spec.thing)


def _open_entry(visit: Visit, entry_id: str) -> EntryRow:
    row = find_entry(visit.session, visit.room_id, entry_id)
    if row.voided_by is not None:
        raise Conflict("This entry was already corrected or withdrawn.")
    if not KINDS[row.kind].is_correctable:
        raise Conflict(
            "Entries of this kind cannot be corrected. Enter it again where it was first entered."
        )
    return row


def _stands(visit: Visit, word: Entry) -> str:
    """Why the entry stands against a withdrawal or correction by who is here, in words."""
    found = standing_problems(visit.session, visit.room_id, word, visit.person, visit.now)
    return " ".join(one.message for one in found if one.field != "note")


def _kept_time(entry: Entry, old: Entry, typed: Mapping[str, str], room: RoomRow) -> datetime:
    """A time that was left as it stood keeps its seconds, which the form does not show."""
    return old.at if typed.get("at", "") in ("", local_text(old.at, room)) else entry.at


def _part_lot(entry: Entry) -> str:
    """The part lot that an entry names."""
    is_of_lot = any(what == PART_LOT for what, _ in entry.things())
    return str(getattr(entry, "lot", "")) if is_of_lot else ""


def _back(visit: Visit, row: EntryRow) -> str:
    return visit.address("tanks", row.tank) if row.tank else visit.address()


def _context(visit: Visit, row: EntryRow, form: FormState) -> dict[str, Any]:
    history = history_of(visit.session, visit.room_id, row.uid)
    entry = entry_of(row)
    specs = {name: spec for name, spec in all_specs(entry).items() if not _is_fixed(name, entry)}
    is_open = row.voided_by is None
    word = Withdrawal(at=visit.now, withdraws=row.uid, note="asked with the form")
    stands = _stands(visit, word) if is_open else ""
    is_fixed = is_open and bool(_stands(visit, replace(entry, corrects=row.uid)))
    return {
        "entry": line_of(visit.session, visit.room, LoggedEntry(row, None)),
        "history": lines_of(
            visit.session, visit.room, [LoggedEntry(item, None) for item in history]
        ),
        "raw": json.dumps(own_fields(entry), indent=2, ensure_ascii=False),
        "specs": specs,
        "required": entry.required(),
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "resins": queries.resins(visit.session, visit.room_id),
        "tanks": [
            (one.key, f"{one.place} {one.name}")
            for one in queries.board(visit.session, visit.room_id, visit.now, True).tanks
        ],
        "form": form,
        "tank_key": row.tank,
        "part_lot": _part_lot(entry),
        "photos": photos_of_entry(visit, entry),
        "can_correct": is_open and KINDS[row.kind].is_correctable and not is_fixed,
        "can_withdraw": is_open and row.kind != "withdrawal" and not stands,
        "takes_note": not isinstance(entry, UNTOLD),
        "stands": stands,
        "held": _held(visit, entry),
        "is_open": is_open,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }

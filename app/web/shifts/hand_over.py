"""Handing the room over to the next shift: read in a minute, signed by both."""

import hashlib
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.shifts import (
    KINDS_OF_SHIFTS,
    HandedOver,
    ShiftNote,
    ShiftNoteDone,
    TakenOver,
)
from app.domain.shifts import ROOM, HandOverState, is_same_name
from app.services import door
from app.services.acts.undoing import undo as undo_entries
from app.services.authorship import entry_row, is_fresh
from app.services.shifts import Begin, begin_of_shift, hand_overs, open_notes
from app.store import queries
from app.store.log import LoggedEntry
from app.web import words
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry
from app.web.render import wants_fragment
from app.web.rooms.board import board_of, vessels_of
from app.web.rooms.by_need import Vessel
from app.web.shifts.since import lines_of_story, story_of
from app.web.shifts.waiting import do_first, due_soon, held, remarks
from app.web.telling import line_of

router = APIRouter(prefix="/rooms/{room}/hand-over")
TEMPLATE, NOTE = "shifts/hand_over.html", "shifts/note.html"
SHOWN = 10  # tanks that are drawn each for itself
MOST = 8  # lines of a section: the rest is counted, a touch away


@router.get("")
def hand_over_page(visit: VisitDep) -> Response:
    """The room as it is handed over; follows the room by itself."""
    if wants_fragment(visit.request):
        return visit.fragment(TEMPLATE, "shift", _context(visit))
    return visit.page(TEMPLATE, _context(visit) | {"receipt": _receipt(visit)})


@router.post("")
def sign(visit: VisitDep, typed: FormDep) -> Response:
    """Hand the room over."""
    return _signed(visit, HandedOver, typed, "hand")


@router.post("/take-over")
def take_over(visit: VisitDep, typed: FormDep) -> Response:
    """Take the room over, having read the page."""
    return _signed(visit, TakenOver, typed, "take")


@router.get("/note")
def note_page(visit: VisitDep) -> Response:
    """A note for the next shift."""
    return _note(visit, FormState({"by": visit.person}))


@router.post("/note")
def keep_note(visit: VisitDep, typed: FormDep) -> Response:
    """Keep a note for the next shift, or show it again with what does not fit."""
    submission = typed.get("submission", "") or uuid.uuid4().hex
    key = f"n{hashlib.sha256(submission.encode('utf-8', 'replace')).hexdigest()[:15]}"
    try:
        done = _enter(visit, ShiftNote, {**typed, "shift_note": key})
    except FieldErrors as error:
        return _note(visit, FormState(typed, error.by_field()), 422)
    return done


@router.post("/notes/{note}/done")
def settle_note(visit: VisitDep, note: str, typed: FormDep) -> Response:
    """What a note asks for is done."""
    try:
        return _enter(visit, ShiftNoteDone, {**typed, "shift_note": note})
    except FieldErrors as error:
        return _again(visit, FormState(typed, {"notes": " ".join(_messages(error))}))


@router.post("/undo/{entry_id}")
def undo(visit: VisitDep, entry_id: str) -> Response:
    """Take back what was just entered here."""
    undo_entries(
        visit.store, visit.room.key, [entry_id], visit.person, visit.now,
        lambda entry: isinstance(entry, KINDS_OF_SHIFTS),
    )  # fmt: skip
    return RedirectResponse(visit.address("hand-over") + f"?undone={entry_id}", 303)


def _signed(visit: Visit, kind: type[Entry], typed: Mapping[str, str], half: str) -> Response:
    try:
        return _enter(visit, kind, {**typed, "hand_over": ROOM})
    except FieldErrors as error:
        return _again(visit, FormState(typed, {half: " ".join(_messages(error))}))


def _messages(error: FieldErrors) -> list[str]:
    return list(error.by_field().values())


def _enter(visit: Visit, kind: type[Entry], typed: Mapping[str, str]) -> Response:
    """Store one entry and go back to the page.

    Raises:
        FieldErrors: it does not fit, or the room refuses it.
    """
    entry = read_entry(kind.kind, typed, visit.room, visit.person, visit.now)
    done = door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    return go_on(visit.address("hand-over") + f"?saved={done.ids[0]}", entry.by)


def _again(visit: Visit, form: FormState) -> Response:
    return visit.page(TEMPLATE, _context(visit, form) | {"receipt": None}, 422)


def _note(visit: Visit, form: FormState, status: int = 200) -> Response:
    context = {
        "form": form,
        "people": queries.people(visit.session, visit.room_id),
        "longest": 200,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(NOTE, context, status)


def _context(visit: Visit, form: FormState | None = None) -> dict[str, Any]:
    vessels = vessels_of(visit, board_of(visit))
    tanks = [one.tank for one in vessels]
    state = hand_overs(visit.session, visit.room_id)
    begin = begin_of_shift(visit.session, visit.room, state, visit.now)
    return {
        **_drawn(vessels),
        "sections": [
            ("first", "Do first", do_first(visit, vessels), "", "the room"),
            ("held", "Held", held(visit, vessels), "", "the room"),
            ("due", "Due", due_soon(visit, vessels, tanks), "/duties", "the due list"),
        ],
        "most": MOST,
        "notes": open_notes(visit.session, visit.room_id),
        "remarks": remarks(visit, vessels),
        **_told(visit, state, begin),
        **_signing(visit, state),
        "form": form or FormState(),
        "submission": uuid.uuid4().hex,
    }


def _drawn(vessels: Sequence[Vessel]) -> dict[str, Any]:
    """The tanks on one line: all in their order, of many those that need somebody first."""
    shown = list(vessels[:SHOWN])
    if len(vessels) <= SHOWN:
        shown.sort(key=lambda one: one.tank.place)
    return {"vessels": shown, "rest": list(vessels[SHOWN:])}


def _told(visit: Visit, state: HandOverState, begin: Begin) -> dict[str, Any]:
    """What happened since, and what came behind the signature that waits."""
    names = queries.tank_names(visit.session, visit.room_id)
    waiting, until, after = state.waiting, None, list[str]()
    if waiting is not None:
        row = entry_row(visit.session, visit.room_id, waiting.entry)
        until = row.id if row is not None else None
        behind = story_of(visit, waiting.at, until, is_after=True)
        after = lines_of_story(visit, behind, names)
    story = story_of(visit, begin.at, begin.row_id, until)
    return {
        "since": words.moment(begin.at, visit.now, visit.zone),
        "begin": begin,
        "is_first": state.begins is None and waiting is None,
        "told": lines_of_story(visit, story, names),
        "told_after": after,
    }


def _signing(visit: Visit, state: HandOverState) -> dict[str, Any]:
    """Who has signed, who may sign, and whether this person can take it back."""
    waiting = state.waiting
    is_own = waiting is not None and is_same_name(waiting.by, visit.person)
    people = queries.people(visit.session, visit.room_id)
    if waiting is not None:
        others = [name for name in people if not is_same_name(name, waiting.by)]
    else:
        others = people
    return {
        "waiting": waiting,
        "last": state.last,
        "is_own": is_own,
        "people": people,
        "others": others,
        "can_undo": waiting is not None and bool(visit.person) and is_fresh(
            visit.session, visit.room_id, waiting.entry, visit.person, visit.now
        ),
        "when": lambda at: words.moment(at, visit.now, visit.zone),
    }  # fmt: skip


def _receipt(visit: Visit) -> dict[str, Any] | None:
    """What was just stored or taken back here, in words."""
    row = visit.just_stored()
    if row is None or row.kind not in {kind.kind for kind in KINDS_OF_SHIFTS}:
        return None
    line = line_of(visit.session, visit.room, LoggedEntry(row, None))
    is_back, uid = bool(visit.request.query_params.get("undone")), row.uid
    state = hand_overs(visit.session, visit.room_id)
    is_fresh_one = (
        not is_back
        and state.taken_after(uid) is None
        and row.voided_by is None
        and is_fresh(visit.session, visit.room_id, uid, visit.person, visit.now)
    )
    undo_at = visit.address("hand-over", "undo", uid) if is_fresh_one else ""
    return {"text": f"{'Taken back' if is_back else 'Saved'}: {line.text}.", "undo": undo_at}

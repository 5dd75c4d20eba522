"""Counting the shelf on the tablet: one item after the other, the differences, then one saving.

What was counted so far goes along in the form, so that nothing is stored before the differences
were seen, and the way works without scripts.
"""

import json
import uuid
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import Doubtful, FieldErrors
from app.domain.json_text import read_plain_json
from app.domain.plausible import NAMES
from app.domain.plausible.shelf import is_far_count
from app.domain.roomlog.kinds.supplies import ITEM, StockCounted
from app.domain.supplies.state import ItemState
from app.services.acts.counting import record_count
from app.services.supplies.stock import unit_problems
from app.store import queries
from app.store.things import things
from app.web.deps import Visit, VisitDep, go_on
from app.web.filters import number
from app.web.forms import FormDep, FormState
from app.web.supplies import words
from app.web.supplies.forms import read_stock

router = APIRouter(prefix="/rooms/{room}/shelf/count")
LONGEST = 100_000
FAR_ASKED = "A count is far from what the books say. Check it again, or tick that it is right."


@dataclass(frozen=True)
class Difference:
    """An item that was counted, against its books; `typed` as it was entered."""

    state: ItemState
    typed: str
    counted: str
    books: str
    difference: str
    is_same: bool
    error: str
    far: str = ""  # what is asked where a count is many times the books, or they many times it


@router.get("")
def start(visit: VisitDep) -> Response:
    """The first item on the shelf, or the one asked for."""
    only = visit.request.query_params.get("only", "")
    items = _items(visit, only)
    if not items:
        return RedirectResponse(visit.address("shelf"), 303)
    return _ask(visit, items, items[0], {}, FormState({"only": only}))


@router.post("")
def next_item(visit: VisitDep, typed: FormDep) -> Response:
    """Keep what was counted, and show the next item, the one before, or the differences."""
    items, counts = _items(visit, typed.get("only", "")), _counts(typed)
    here = next((i for i, state in enumerate(items) if state.key == typed.get("item")), 0)
    if not items:
        return RedirectResponse(visit.address("shelf"), 303)
    go, text = typed.get("go", "next"), typed.get("quantity", "").strip()
    state = items[here]
    if go == "skip" or (not text and go != "next"):
        counts.pop(state.key, None)
    else:
        try:
            entry = read_stock(StockCounted.kind, typed, state, visit)
            if problems := unit_problems(state, entry):
                raise FieldErrors(problems)
        except FieldErrors as error:
            form = FormState(typed, error.by_field())
            return _ask(visit, items, state, counts, form, 422)
        counts[state.key] = text
    if go == "again":
        return _ask(visit, items, state, counts, _plain(typed))
    if go == "back":
        return _ask(visit, items, items[max(0, here - 1)], counts, _plain(typed))
    if go == "review" or here + 1 == len(items):
        return _review(visit, items, counts, _plain(typed))
    return _ask(visit, items, items[here + 1], counts, _plain(typed))


@router.post("/save")
def save(visit: VisitDep, typed: FormDep) -> Response:
    """Store the whole count, unless the books changed since the differences were shown."""
    items, counts = _items(visit, typed.get("only", "")), _counts(typed)
    seen = _numbers(typed.get("books", ""))
    if not typed.get("sure") and any(_far(visit, state, counts) for state in items):
        form = FormState(_plain(typed).values, {"sure": FAR_ASKED})
        return _review(visit, items, counts, form, 422)
    entries: list[StockCounted] = []
    errors: dict[str, str] = {}
    for state in items:
        if state.key not in counts:
            continue
        sent = {"quantity": counts[state.key], "by": typed.get("by", visit.person)}
        try:
            entry = read_stock(StockCounted.kind, sent, state, visit)
        except FieldErrors as error:
            errors[state.key] = error.errors[0].message
            continue
        assert isinstance(entry, StockCounted)
        expected = seen.get(state.key, state.on_hand)
        entries.append(StockCounted(**{**_fields(entry), "expected": expected}))
    try:
        if entries and not errors:
            key = typed.get("submission")
            settled = NAMES if typed.get("sure") else ()
            record_count(visit.store, visit.room.key, entries, visit.now, key, confirmed=settled)
    except FieldErrors as error:
        errors[entries[error.place or 0].item] = error.errors[0].message
    except Doubtful as odd:
        errors["sure"] = " ".join(odd.doubts)
    if errors or not entries:
        return _review(visit, items, counts, FormState(_plain(typed).values, errors), 422)
    sent_as = quote(typed.get("submission", ""), safe="")
    return go_on(visit.address("shelf") + f"?counted={sent_as}", entries[0].by)


def _items(visit: Visit, only: str) -> list[ItemState]:
    """The items in the order in which they stand: by place, then by name."""
    found = things(visit.session, visit.room_id, ITEM, only_open=True).values()
    return sorted(
        (state for state in found if state.name and only in ("", state.key)),
        key=lambda state: (state.rules.location.lower(), state.name.lower(), state.key),
    )


def _counts(typed: Mapping[str, str]) -> dict[str, str]:
    return _texts(typed.get("counts", ""))


def _texts(text: str) -> dict[str, str]:
    """A mapping of keys to text that a form carries along; nothing where it is none."""
    if len(text) > LONGEST:
        return {}
    try:
        found = read_plain_json(text or "{}")
    except ValueError:
        return {}
    if not isinstance(found, dict):
        return {}
    return {key: value for key, value in found.items() if isinstance(value, str)}


def _numbers(text: str) -> dict[str, float]:
    """What the books said when the differences were shown; what is no number is left out."""
    found = {}
    for key, value in _texts(text).items():
        with suppress(ValueError):
            found[key] = float(value)
    return found


def _far(visit: Visit, state: ItemState, counts: Mapping[str, str]) -> str:
    """What is asked about a count of an item; empty where it is near its books."""
    if state.key not in counts:
        return ""
    sent = {"quantity": counts[state.key]}
    try:
        entry = read_stock(StockCounted.kind, sent, state, visit)
    except FieldErrors:
        return ""  # said where it is stored
    assert isinstance(entry, StockCounted)
    few, many = sorted((entry.quantity, state.on_hand))
    if not is_far_count(entry.quantity, state.on_hand) or few <= 0:
        return ""
    ratio = f"{number(many / few, 0)} times"
    return f"{ratio} the books" if entry.quantity > state.on_hand else f"the books say {ratio} that"


def _fields(entry: StockCounted) -> dict[str, Any]:
    return {
        "at": entry.at, "by": entry.by, "entered_at": entry.entered_at, "item": entry.item,
        "quantity": entry.quantity,
    }  # fmt: skip


def _plain(typed: Mapping[str, str]) -> FormState:
    return FormState({name: typed.get(name, "") for name in ("only", "by")})


def _ask(
    visit: Visit,
    items: list[ItemState],
    state: ItemState,
    counts: dict[str, str],
    form: FormState,
    status: int = 200,
) -> Response:
    place = items.index(state)
    context = {
        "state": state,
        "place": place,
        "total": len(items),
        "only": form.value("only"),
        "counts": json.dumps(counts),
        "done": len(counts),
        "form": form,
        "value": form.value("quantity") if form.errors else counts.get(state.key, ""),
        "unit": words.unit_of(state, visit.room),
        "words": words,
    }
    return visit.page("supplies/count.html", context, status)


def _review(
    visit: Visit,
    items: list[ItemState],
    counts: dict[str, str],
    form: FormState,
    status: int = 200,
) -> Response:
    counted = [state for state in items if state.key in counts]
    lines = [_difference(visit, state, counts[state.key], form) for state in counted]
    context = {
        "lines": lines,
        "skipped": [state for state in items if state.key not in counts],
        "only": form.value("only"),
        "counts": json.dumps(counts),
        "books": json.dumps({line.state.key: repr(line.state.on_hand) for line in lines}),
        "form": FormState({"by": visit.person, **form.values}, form.errors),
        "submission": uuid.uuid4().hex,
        "people": queries.people(visit.session, visit.room_id),
    }
    return visit.page("supplies/differences.html", context, status)


def _difference(visit: Visit, state: ItemState, text: str, form: FormState) -> Difference:
    room, error = visit.room, form.error(state.key)
    books = words.quantity(state.on_hand, state, room)
    try:
        entry = read_stock(StockCounted.kind, {"quantity": text}, state, visit)
    except FieldErrors as found:
        return Difference(state, text, text, books, "", False, found.errors[0].message)
    assert isinstance(entry, StockCounted)
    change = entry.quantity - state.on_hand
    is_same = abs(change) < words.shown_step(state) / 2
    said = "as in the books" if is_same else words.signed_quantity(change, state, room)
    counted = words.quantity(entry.quantity, state, room)
    far = _far(visit, state, {state.key: text})
    return Difference(state, text, counted, books, said, is_same, error, far)

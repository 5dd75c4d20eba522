"""The rules that the site works by: its set, its category, and values of its own with sources."""

import json
import uuid
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.waste import WASTE_RULES, WasteRules
from app.domain.roomlog.kinds.waste_data import MARKS, UN_NUMBER
from app.domain.waste.rulebook import RuleBook
from app.domain.waste.rules import CONFIDENCE_WORDS, RULE_SETS
from app.domain.waste.streams import STREAMS
from app.services.duties.due import rules_looked_on
from app.services.waste import drums, rulebook
from app.store.solvents import streams_here
from app.units import parse_number
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/waste/rules")
TEMPLATE = "waste/rules.html"
FIRST = 5
EVERY_DAY = (
    "satellite_volume",
    "satellite_days",
    "sqg_days",
    "lqg_days",
    "check_days",
    "copy_days",
    "full_percent",
    "keep_years",
)
"""The values that pages use every day, the first ones first; which of them a set has differs."""
UN_WORDS = "A UN number is UN and four digits, such as UN1993."


@router.get("")
def rules_page(visit: VisitDep) -> Response:
    """The rules in force with their sources, and the forms to change them."""
    return visit.page(TEMPLATE, _context(visit, FormState()))


@router.post("")
def choose(visit: VisitDep, typed: FormDep) -> Response:
    """Choose the set, the category, and the streams that do not count.

    Values of the site's own belong to one set: another set starts without them.
    """
    before = rulebook(visit.session, visit.room_id)
    wanted, _, category = typed.get("category", "").partition("/")
    uncounted = [key for key in STREAMS if typed.get(f"uncounted+{key}")]
    sent = {"rule_set": wanted, "category": category, "uncounted": json.dumps(uncounted)}
    if wanted != before.rule_set:
        sent["edits"] = "{}"
    return _store(visit, sent, typed)


@router.post("/values")
def edit(visit: VisitDep, typed: FormDep) -> Response:
    """Store the values of the site's own; one emptied of its source goes back to the set's."""
    before = rulebook(visit.session, visit.room_id)
    try:
        edits = _edits(before, typed, visit.today.isoformat())
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        return visit.page(TEMPLATE, _context(visit, form), 422)
    return _store(visit, {"edits": json.dumps(edits)}, typed)


@router.post("/marks")
def mark(visit: VisitDep, typed: FormDep) -> Response:
    """Store the codes and names that labels and papers bear, by stream."""
    marks: dict[str, dict[str, str]] = {}
    for name, text in typed.items():
        field, _, stream = name.partition("+")
        if field in MARKS and stream and text.strip():
            marks.setdefault(stream, {})[field] = text
    errors = {
        f"un_number+{stream}": UN_WORDS
        for stream, mark in marks.items()
        if "un_number" in mark and not UN_NUMBER.fullmatch(mark["un_number"].strip())
    }
    if errors:
        return visit.page(TEMPLATE, _context(visit, FormState(typed, errors)), 422)
    return _store(visit, {"marks": json.dumps(marks)}, typed)


def _store(visit: Visit, sent: Mapping[str, str], typed: dict[str, str]) -> Response:
    values = {**sent, "waste_rules": WASTE_RULES, "by": visit.person, "note": typed.get("note", "")}
    try:
        entry = read_entry(WasteRules.kind, values, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, form_of(back, typed)), 422)
    return RedirectResponse(visit.address("waste", "rules") + "?saved=1", 303)


def _edits(before: RuleBook, typed: Mapping[str, str], today: str) -> dict[str, Any]:
    """The values of the site's own that a form gives, all of them."""
    edits: dict[str, Any] = {}
    errors = []
    for rule in before.set.rules:
        text = typed.get(f"value+{rule.key}", "").strip()
        source = typed.get(f"source+{rule.key}", "").strip()
        own = before.edits.get(rule.key)
        if text == _text(rule.value) and own is None and not source:
            continue
        if not source:
            if own is None:
                message = f"{rule.label}: say where your value comes from."
                errors.append(FieldError(f"source+{rule.key}", message))
            continue  # emptied: the set's own value is back
        try:
            value = None if text == "" else parse_number(text)
        except FieldError as error:
            errors.append(FieldError(f"value+{rule.key}", f"{rule.label}: {error.message}"))
            continue
        if value is not None and value < 0:
            errors.append(FieldError(f"value+{rule.key}", f"{rule.label}: enter zero or more."))
            continue
        is_same = own is not None and own.value == value and own.source == source
        as_of = own.as_of.isoformat() if is_same and own else today
        edits[rule.key] = {"value": value, "source": source, "as_of": as_of}
    if errors:
        raise FieldErrors(errors)
    return edits


def _marked_streams(visit: Visit, book: RuleBook) -> list[tuple[str, str]]:
    """The streams to enter codes for: those of drums here, those marked already, or all."""
    here = [drum.stream for drum in drums(visit.session, visit.room_id, only_open=True).values()]
    keys = dict.fromkeys((*here, *book.marks))
    return [(key, STREAMS[key].name) for key in keys or STREAMS if key in STREAMS]


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _context(visit: Visit, form: FormState) -> dict[str, Any]:
    book = rulebook(visit.session, visit.room_id)
    looked_on = rules_looked_on(visit.session, visit.room)
    values = {}
    for rule in book.rules.values():
        values[f"value+{rule.key}"] = _text(rule.value)
        own = book.edits.get(rule.key)
        values[f"source+{rule.key}"] = own.source if own else ""
    for stream, mark in book.marks.items():
        values |= {f"{field}+{stream}": getattr(mark, field) for field in MARKS}
    if not form.errors:
        form = FormState({**values, **form.values})
    by_use = sorted(
        book.rules.values(),
        key=lambda rule: EVERY_DAY.index(rule.key) if rule.key in EVERY_DAY else len(EVERY_DAY),
    )
    return {
        "first": by_use[:FIRST],
        "rest": [rule for rule in book.rules.values() if rule not in by_use[:FIRST]],
        "marked_wrong": {name.partition("+")[2] for name in form.errors},
        "book": book,
        "form": form,
        "of_set": {rule.key: rule for rule in book.set.rules},
        "choices": [
            (f"{each.key}/{category.key}", each.name, category.name)
            for each in RULE_SETS.values()
            for category in each.categories
        ],
        "chosen": f"{book.rule_set}/{book.category.key}",
        "to_review": book.to_review(visit.today, looked_on),
        "looked_on": looked_on,
        "today": visit.today,
        "marked": _marked_streams(visit, book),
        "maybe": [each for each in STREAMS.values() if each.may_be_uncounted],
        "streams": [
            (STREAMS[key], book.status(key))
            for key, _ in streams_here(visit.session, visit.room_id)
        ],
        "confidence_words": CONFIDENCE_WORDS,
        "was_saved": "saved" in visit.request.query_params,
        "submission": uuid.uuid4().hex,
    }

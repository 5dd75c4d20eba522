"""The due list: overdue first, one touch to say that it is done, intervals of the site's own."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.baths.forecast.worth import Worth
from app.domain.calendar_words import day_words
from app.domain.duties.ahead import weeks_ahead
from app.domain.duties.air import speed_words
from app.domain.duties.catalogue import Duty
from app.domain.duties.due import GROUPS, DueItem, Group
from app.domain.roomlog.kinds.duties import DUTY, SUBJECTS, DutyDone, DutySet
from app.services.acts.duties import mark_done, set_duty
from app.services.acts.undoing import undo as undo_entries
from app.services.baths.worth import best_of
from app.services.duties.due import due, duties, find_duty, with_names
from app.services.harm import LOOKS
from app.services.meters.book import anemometers
from app.store import queries
from app.store.log import LoggedEntry
from app.store.things import book
from app.web import words
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, key_of_new, read_entry, refuse_double
from app.web.tanks.worth import range_words
from app.web.telling import lines_of

router = APIRouter(prefix="/rooms/{room}/duties")
LIST = "duties/list.html"
DUTY_PAGE = "duties/duty.html"
SETTINGS = "duties/settings.html"
TITLES = {
    "overdue": "Also overdue", "today": "Also due now", "week": "Within a week", "later": "Later",
}  # fmt: skip
FOR_EACH = {
    "room": "the room", "tank": "each tank", "drum": "each drum in use",
    "station": "each curing station", "person": "each person",
    "instrument": "each instrument",
    "qualification": "each qualification", "rules": "the rules in force",
}  # fmt: skip
NOW: tuple[Group, ...] = ("overdue", "today")
DAYS_A_WEEK = 7
FIRST = 3  # that stand first, of what is due now
SET = ("name", "every_days", "grace_days", "how")


@dataclass(frozen=True)
class DueLine:
    """A duty as the list shows it."""

    item: DueItem
    when: str
    last: str
    href: str
    id: str
    worth: str = ""


@dataclass(frozen=True)
class DueRow:
    """A row of the list: a duty marked by hand, or one of the log with all its tanks or drums."""

    duty: Duty
    lines: tuple[DueLine, ...]

    @property
    def is_of_log(self) -> bool:
        """It is done on pages of its own, and the log knows it then."""
        return bool(self.lines[0].href)


@router.get("")
def due_page(visit: VisitDep) -> Response:
    """Everything that is due; nothing that is overdue hides."""
    return _list(visit)


@router.post("/done")
def say_done(visit: VisitDep, typed: FormDep) -> Response:
    """It was done, or a fault was found."""
    sent = {**typed, "outcome": "fault" if typed.get("fault") else "in_order"}
    try:
        entry = read_entry(DutyDone.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, DutyDone)
        ask(visit, typed, [entry])
        done = mark_done(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _list(visit, form_of(back, typed), 422)
    return go_on(visit.address("duties") + f"?saved={done.ids[0]}", entry.by)


@router.post("/undo/{entry_id}")
def undo(visit: VisitDep, entry_id: str) -> Response:
    """Take back what was just said."""
    undo_entries(
        visit.store, visit.room.key, [entry_id], visit.person, visit.now,
        lambda entry: isinstance(entry, DutyDone),
    )  # fmt: skip
    return RedirectResponse(visit.address("duties"), 303)


@router.get("/settings")
def settings(visit: VisitDep) -> Response:
    """All duties with their intervals and where these come from."""
    return _settings(visit, FormState({"every_days": "30", "grace_days": "0", "subject": "room"}))


@router.post("/settings")
def add(visit: VisitDep, typed: FormDep) -> Response:
    """A duty of the site's own."""
    known = duties(visit.session, visit.room_id)[0]
    key = key_of_new({**typed, "duty": ""}, "duty", [(k, duty.name) for k, duty in known.items()])
    sent = {**typed, "duty": key, "by": visit.person}
    try:
        if key in known and not visit.is_repeated(typed):
            raise refuse_double({**typed, "duty": ""}, "duty", key, "duty")
        entry = read_entry(DutySet.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, DutySet)
        ask(visit, typed, [entry])
        set_duty(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _settings(visit, form_of(back, typed, _at_its_name), 422)
    return RedirectResponse(visit.address("duties", "settings"), 303)


def _at_its_name(messages: dict[str, str]) -> dict[str, str]:
    """The form asks for no key: its name makes it."""
    return {"name" if field == DUTY else field: message for field, message in messages.items()}


@router.get("/{duty}")
def duty_page(visit: VisitDep, duty: str) -> Response:
    """One duty: how, how often, who did it, and the site's own interval."""
    return _duty(visit, duty, None)


@router.post("/{duty}")
def change(visit: VisitDep, duty: str, typed: FormDep) -> Response:
    """Set its interval, or say that it is not done here and why."""
    known = find_duty(visit.session, visit.room_id, duty)
    shown = {"name": known.name, "how": known.how, "grace_days": str(known.grace_days)}
    shown["every_days"] = "" if known.is_monthly else str(known.every_days)
    changed = {name: typed[name] for name in SET if name in typed and typed[name] != shown[name]}
    rest = {name: typed.get(name, "") for name in ("is_stopped", "reason")}
    sent = {**changed, **rest, "duty": duty, "by": visit.person}
    try:
        entry = read_entry(DutySet.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, DutySet)
        ask(visit, typed, [entry])
        set_duty(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _duty(visit, duty, form_of(back, typed), 422)
    return RedirectResponse(visit.address("duties", duty), 303)


def _list(visit: Visit, form: FormState | None = None, status: int = 200) -> Response:
    tanks = queries.board(visit.session, visit.room_id, visit.now).tanks
    found = due(visit.session, visit.room, tanks, visit.now)
    known, states = duties(visit.session, visit.room_id)
    speeds = {one.key: speed_words([speed for _, speed in one.speeds]) for one in states}
    lines = [
        _line(visit, item, speeds.get(item.duty.key, ""))
        for item in with_names(visit.session, visit.room_id, found)
    ]
    lines = by_worth(lines, best_of(visit.session, visit.room, tanks))
    stopped = [duty for duty in known.values() if duty.is_stopped]
    rows = {group: _rows([line for line in lines if line.item.group == group]) for group in GROUPS}
    now = [(group, row) for group in NOW for row in rows[group]]
    first = sorted(now, key=lambda each: not _guards(each[1]))[:FIRST]
    context = {
        "first": first,
        "groups": {
            group: [row for row in found if (group, row) not in first]
            for group, found in rows.items()
        },
        "strip": _strip(visit, found),
        "titles": TITLES,
        "stopped": stopped,
        "form": form or FormState(),
        "as_person": FormState({"by": visit.person}),
        "people": queries.people(visit.session, visit.room_id),
        "saved": visit.request.query_params.get("saved", ""),
        "submission": uuid.uuid4().hex,
        "meters": [(one.key, one.name) for one in anemometers(visit.session, visit.room_id)],
        "has_people": any(line.item.duty.subject == "person" for line in lines),
    }
    return visit.page(LIST, context, status)


def _strip(visit: Visit, items: Sequence[DueItem]) -> dict[str, Any]:
    """The year ahead, a bar for each week, and its fullest week in words."""
    counts = weeks_ahead(items, visit.today)
    most, monday = max(counts), visit.today - timedelta(days=visit.today.weekday())
    later = max(range(1, len(counts)), key=lambda week: counts[week])
    day = monday + timedelta(weeks=later)
    months = [
        (week, f"{start:%b}")
        for week in range(len(counts))
        if (start := monday + timedelta(weeks=week)).day <= DAYS_A_WEEK
    ]
    return {
        "bars": [(week, round(100 * count / most, 1), count) for week, count in enumerate(counts)]
        if most
        else [],
        "months": months,
        "this_week": counts[0],
        "fullest": counts[later],
        "fullest_on": day_words(day, visit.today),
    }


def by_worth(lines: Sequence[DueLine], best: Mapping[str, Worth]) -> list[DueLine]:
    """The readings of tanks with what they are worth, within each group those first that narrow a
    swap most; what else is due stays where it is."""

    def place(line: DueLine) -> tuple[int, float]:
        worth = best.get(line.item.subject.key)
        return GROUPS.index(line.item.group), -worth.narrows_days if worth else 0.0

    readings = [line for line in lines if line.item.duty.proof == "reading"]
    wanted = iter(sorted(readings, key=place))
    ordered = [next(wanted) if line.item.duty.proof == "reading" else line for line in lines]
    return [
        replace(line, worth=f"Narrows its swap {range_words(worth)}")
        if line.item.duty.proof == "reading" and (worth := best.get(line.item.subject.key))
        else line
        for line in ordered
    ]


def _guards(row: DueRow) -> bool:
    """Whether a fault of it, or its delay, is asked about before parts are washed or cured."""
    return row.duty.key in LOOKS.values() or any(line.item.has_fault for line in row.lines)


def _rows(lines: list[DueLine]) -> list[DueRow]:
    """The lines in their order; those of one duty of the log together, where its first stands."""
    rows: dict[str, list[DueLine]] = {}
    for line in lines:
        rows.setdefault(line.item.duty.key if line.href else line.id, []).append(line)
    return [DueRow(found[0].item.duty, tuple(found)) for found in rows.values()]


def _line(visit: Visit, item: DueItem, speed: str = "") -> DueLine:
    path = item.duty.path.format(of=item.subject.key)
    href = visit.address(*path.split("/")) if path else ""
    return DueLine(
        item, when_words(item), ": ".join(filter(None, (_last_words(visit, item), speed))), href,
        f"{item.duty.key}-{item.subject.key}".replace(" ", "_"),
    )  # fmt: skip


def when_words(item: DueItem) -> str:
    """When it is due, in words."""
    over, ends_on = item.days_over, item.subject.ends_on
    if ends_on is not None:
        return _end_words(ends_on, item.due_on + timedelta(days=over))
    if item.has_fault:
        return f"Fault open for {_days(over)}" if over else "Fault found today"
    if over > 0:
        return f"{_days(over)} overdue"
    if over == 0:
        return "Today"
    return f"In {_days(-over)}, {day_words(item.due_on, item.due_on + timedelta(days=over))}"


def _end_words(ends_on: date, today: date) -> str:
    left = (ends_on - today).days
    if left < 0:
        return f"Ended {_days(-left)} ago"
    return f"Ends in {_days(left)}, {day_words(ends_on, today)}" if left else "Ends today"


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _last_words(visit: Visit, item: DueItem) -> str:
    last = item.last
    if item.duty.is_ahead:
        return ""
    if last is None:
        return "Never done here"
    when = words.ago(last.at, visit.now)
    if visit.now - last.at > timedelta(days=365):
        when = words.day(last.at, visit.zone, visit.now)
    if item.duty.proof == "reading" and last.note == "Filled":
        return f"No reading since the fill {when}"
    figures = ""
    if last.expected is not None and last.shown is not None:
        figures = f", {last.expected:g} known, {last.shown:g} shown"
    note = f": {last.note}" if last.note else ""
    return f"Last {when}{f', {last.by}' if last.by else ''}{figures}{note}"


def _settings(visit: Visit, form: FormState, status: int = 200) -> Response:
    context = {
        "duties": duties(visit.session, visit.room_id)[0],
        "for_each": FOR_EACH,
        "subjects": [(word, FOR_EACH[word]) for word in SUBJECTS],
        "specs": DutySet.specs(),
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(SETTINGS, context, status)


def _duty(visit: Visit, key: str, form: FormState | None, status: int = 200) -> Response:
    duty = find_duty(visit.session, visit.room_id, key)
    every = "" if duty.is_monthly else str(duty.every_days)
    values = {
        "name": duty.name, "how": duty.how, "every_days": every,
        "grace_days": str(duty.grace_days), "reason": duty.stop_reason,
        "is_stopped": "on" if duty.is_stopped else "",
    }  # fmt: skip
    log = book(visit.session, visit.room_id, DUTY, key)
    context: dict[str, Any] = {
        "duty": duty,
        "for_each": FOR_EACH,
        "specs": DutySet.specs(),
        "form": form or FormState(values),
        "log": lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in log]),
        "submission": (form.value("submission") if form else "") or uuid.uuid4().hex,
    }
    return visit.page(DUTY_PAGE, context, status)

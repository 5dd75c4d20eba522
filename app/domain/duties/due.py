"""When each duty is due: from when it was done last, by hand or by what the log proves."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta, tzinfo
from typing import Literal

from app.domain.duties.book import Done, DutyState
from app.domain.duties.catalogue import Duty

Group = Literal["overdue", "today", "week", "later"]
GROUPS: tuple[Group, ...] = ("overdue", "today", "week", "later")
WEEK = 7


@dataclass(frozen=True)
class Subject:
    """A tank, drum or person that a duty is done for; the room's is `Subject("", "", begins_at)`.

    Attributes:
        begins_at: from when the duty counts: in use, first pour, entered.
        due_on: its own day, whatever the duty says; None where it has none.
        ends_on: the day it ends, of what has one.
        renewed_at: since when what was done before says nothing; None where that is not so.
    """

    key: str
    name: str
    begins_at: datetime
    due_on: date | None = None
    ends_on: date | None = None
    renewed_at: datetime | None = None


@dataclass(frozen=True)
class Proof:
    """What the log proves: when a duty was done, by whom, and whether a fault was found."""

    at: datetime
    by: str = ""
    is_fault: bool = False
    note: str = ""


@dataclass(frozen=True)
class Facts:
    """What the duties of a room are worked out from.

    Attributes:
        subjects: by the subject's word: room, tank, drum, station, person, instrument, rules.
        proofs: by (proof of the duty, key of the subject).
        began_at: since when the room is kept here: a guard's test before that may be on paper.
        renewed: by duty, since when what was done before says nothing, of all its subjects.
    """

    subjects: Mapping[str, tuple[Subject, ...]]
    proofs: Mapping[tuple[str, str], Proof] = field(default_factory=dict)
    began_at: datetime | None = None
    renewed: Mapping[str, datetime] = field(default_factory=dict)


@dataclass(frozen=True)
class DueItem:
    """A duty of one subject, and when it is due.

    Attributes:
        last: the last time, None where it was never done.
        days_over: days past the day it was due, negative while it is to come.
    """

    duty: Duty
    subject: Subject
    due_on: date
    group: Group
    days_over: int
    last: Done | None

    @property
    def has_fault(self) -> bool:
        """The last look found something that was not in order."""
        return self.last is not None and self.last.is_fault


def due_list(
    duties: Mapping[str, Duty],
    states: Iterable[DutyState],
    facts: Facts,
    now: datetime,
    zone: tzinfo,
) -> list[DueItem]:
    """Every duty that is not stopped, for each of its subjects, the longest overdue first.

    A duty never done counts from when its subject came into use, so that it stays in sight. One
    whose last look found a fault is due again on that day. Days are those of `zone`.
    """
    known = {state.key: state for state in states}
    today = now.astimezone(zone).date()
    items = [
        _item(duty, subject, last_done(duty, known, facts, subject.key), today, zone)
        for duty in duties.values()
        if not duty.is_stopped
        for subject in _subjects(duty, facts)
    ]
    return sorted(items, key=lambda item: (GROUPS.index(item.group), item.due_on, item.duty.name))


def overdue_count(items: Iterable[DueItem]) -> int:
    """How many are overdue."""
    return sum(item.group == "overdue" for item in items)


def _subjects(duty: Duty, facts: Facts) -> tuple[Subject, ...]:
    found, began_at = facts.subjects.get(duty.subject, ()), facts.began_at
    if (renewed_at := facts.renewed.get(duty.key)) is not None:
        found = tuple(replace(one, renewed_at=renewed_at) for one in found)
    if not duty.formerly or began_at is None:
        return found
    return tuple(replace(one, begins_at=max(one.begins_at, began_at)) for one in found)


def last_said(state: DutyState | None, of: str) -> Done | None:
    """When somebody said that it was done for a subject, or for the whole room at once, as logs did
    that know a duty of the room only."""
    found = [done for key in {of, ""} if state and (done := state.last(key)) is not None]
    return max(found, key=lambda done: done.at, default=None)


def last_done(duty: Duty, states: Mapping[str, DutyState], facts: Facts, of: str) -> Done | None:
    """When a duty was done last for a subject: as somebody said, or as the log proves."""
    said = last_said(states.get(duty.key), of)
    former = states.get(duty.formerly)
    if former is not None and (whole := former.last("")) is not None:
        said = whole if said is None or whole.at > said.at else said
    proof = facts.proofs.get((duty.proof, of)) if duty.proof else None
    if proof is None or (said is not None and said.at > proof.at):
        return said
    return Done(of, proof.at, proof.by, proof.is_fault, proof.note)


def _item(duty: Duty, subject: Subject, last: Done | None, today: date, zone: tzinfo) -> DueItem:
    due_on = next_due(duty, subject, last, zone)
    over = (today - due_on).days
    if over > duty.grace_days:
        group: Group = "overdue"
    elif over >= 0:
        group = "today"
    else:
        group = "week" if over >= -WEEK else "later"
    return DueItem(duty, subject, due_on, group, over, last)


def next_due(duty: Duty, subject: Subject, last: Done | None, zone: tzinfo) -> date:
    """The day on which a duty is due next."""
    if subject.due_on is not None:
        return subject.due_on
    if duty.is_ahead and subject.ends_on is not None:
        return subject.ends_on - timedelta(days=duty.every_days)
    renewed_at = subject.renewed_at
    if renewed_at is not None and (last is None or last.at < renewed_at):
        return renewed_at.astimezone(zone).date()
    if last is None:
        return _first_due(duty, subject.begins_at.astimezone(zone).date())
    done_on = last.at.astimezone(zone).date()
    if last.is_fault:
        return done_on
    return _next_month(done_on) if duty.is_monthly else done_on + timedelta(days=duty.every_days)


def _first_due(duty: Duty, begin: date) -> date:
    if duty.is_monthly:
        return _next_month(begin)
    return begin + timedelta(days=duty.every_days) if duty.starts_after else begin


def _next_month(day: date) -> date:
    return (day.replace(day=1) + timedelta(days=32)).replace(day=1)

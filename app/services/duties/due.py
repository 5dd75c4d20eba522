"""The due list: what the log proves by itself, what somebody says is done, the month's close."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, tuple_
from sqlmodel import Session, col, select

from app.domain.curing.stations import StationState
from app.domain.duties.book import CloseState, DutyState
from app.domain.duties.catalogue import RULES_REVIEW, SAMPLE_CHECK, Duty, in_force
from app.domain.duties.due import (
    DueItem,
    Facts,
    Proof,
    Subject,
    due_list,
    last_said,
    overdue_count,
)
from app.domain.duties.month import Movements, movements
from app.domain.errors import FieldError, NotFound
from app.domain.inspections.components import DOOR_INTERLOCK, ComponentState, last_fitted
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.part import EMPTY
from app.domain.meters.book import Certificate, InstrumentState, first_unchecked
from app.domain.people.qualifications import QualificationState
from app.domain.roomlog.kinds import Entry, Reading, Removal, Swap, TopUp, Wash
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.duties import CLOSE, DUTY, DutyDone, DutySet, MonthClose
from app.domain.roomlog.kinds.inspections import COMPONENT, INSPECTION
from app.domain.roomlog.kinds.qualifications import ACT_WORDS, QUALIFICATIONS
from app.domain.roomlog.kinds.waste import DRUM, DrumChecked
from app.services.caching import kept
from app.services.entries import entry_of
from app.services.meters.book import instruments, measured_with
from app.services.waste import rulebook
from app.store import queries
from app.store.instants import from_us, to_us
from app.store.queries import TankView
from app.store.site import crew
from app.store.tables import CourseRow, EntryRow, LinkRow, RoomRow
from app.store.things import thing, things

BY_LOG = ("reading", "drum_checked", "month_close", "inspection", "calibrated", "qualified")
MOST_DRUMS = 400
NOON = time(12)
SENSOR = "sensor"


def duties(session: Session, room_id: int) -> tuple[dict[str, Duty], list[DutyState]]:
    """The duties of the room as the site has set them, and what their books say."""
    states = list(things(session, room_id, DUTY).values())
    found = in_force(states)
    check, days = found["drum_check"], rulebook(session, room_id).value("check_days")
    if days is not None and not check.is_set:
        found["drum_check"] = replace(check, every_days=int(days))
    return found, states


def due(session: Session, room: RoomRow, tanks: Sequence[TankView], now: datetime) -> list[DueItem]:
    """Everything that is due, the longest overdue first; `tanks` are those in use."""
    assert room.id is not None
    known, states = duties(session, room.id)
    facts = replace(_facts(session, room, tanks), renewed=_renewed(session, room.id, states, now))
    return due_list(known, states, facts, now, ZoneInfo(room.time_zone))


def _renewed(
    session: Session, room_id: int, states: Iterable[DutyState], now: datetime
) -> dict[str, datetime]:
    """An instrument that came after the check of all was in no check."""
    state = next((one for one in states if one.key == SAMPLE_CHECK), None)
    last = last_said(state, "")
    checked_at = last.at if last is not None else None
    new = first_unchecked(instruments(session, room_id).values(), checked_at, now)
    return {SAMPLE_CHECK: new.added_at} if new is not None and new.added_at else {}


def with_names(session: Session, room_id: int, items: Sequence[DueItem]) -> list[DueItem]:
    """The same with the name of who did what the log proves."""
    names = _reading_names(session, room_id, items) | _check_names(session, room_id, items)
    return [
        replace(item, last=replace(item.last, by=by))
        if item.last and (by := names.get((item.duty.proof, item.subject.key)))
        else item
        for item in items
    ]


def overdue(session: Session, room: RoomRow, tanks: Sequence[TankView], now: datetime) -> int:
    """How many duties are overdue; counted anew only when the room or the day has changed."""
    assert room.id is not None
    people = crew(session, room.id).people  # who comes or leaves makes no entry
    state = (room.version, people, now.astimezone(ZoneInfo(room.time_zone)).date())
    return kept(
        session, room.id, "overdue duties", state,
        lambda: overdue_count(due(session, room, tanks, now)),
    )  # fmt: skip


def duty_problems(
    session: Session, room: RoomRow, entry: DutyDone | DutySet | MonthClose, now: datetime
) -> list[FieldError]:
    """Why an entry about a duty or a month's close is refused; empty where it may be stored."""
    assert room.id is not None
    if isinstance(entry, DutySet):
        is_known = entry.duty in duties(session, room.id)[0]
        return [] if is_known else _lacks(name=entry.name, every_days=entry.every_days)
    if isinstance(entry, MonthClose):
        return _close_problems(closes(session, room.id, entry.tank).last, entry)
    return _done_problems(session, room, entry, now)


def _lacks(**needed: Any) -> list[FieldError]:
    return [FieldError(name, "A new duty needs this.") for name in needed if not needed[name]]


def _done_problems(
    session: Session, room: RoomRow, entry: DutyDone, now: datetime
) -> list[FieldError]:
    assert room.id is not None
    duty = duties(session, room.id)[0].get(entry.duty)
    if duty is None:
        return [FieldError("duty", f"There is no duty “{entry.duty}” in this room.")]
    if duty.is_stopped:
        return [FieldError("duty", f"“{duty.name}” is not done here.")]
    if duty.proof in BY_LOG:
        return [FieldError("duty", f"{duty.how} The log ticks this one off.")]
    tanks = queries.board(session, room.id, now).tanks
    subjects = _facts(session, room, tanks).subjects[duty.subject]
    if (entry.of or "") not in {subject.key for subject in subjects}:
        return [FieldError("of", "Choose which one it was done for.")]
    return measured_with(session, room.id, entry)


def _close_problems(last: Any, entry: MonthClose) -> list[FieldError]:
    if last is None:
        return []
    if entry.at <= last.at:
        return [FieldError("at", "This is before the last close.")]
    if entry.added_l is None:
        return [FieldError("added_l", "Enter what was added since the last close.")]
    return []


CHECKED: tuple[type[Entry], ...] = (DutyDone, DutySet, MonthClose)


def find_duty(session: Session, room_id: int, key: str) -> Duty:
    """The duty of that key.

    Raises:
        NotFound: there is none.
    """
    found = duties(session, room_id)[0].get(key)
    if found is None:
        raise NotFound(f"There is no duty “{key[:64]}” in this room.")
    return found


def closes(session: Session, room_id: int, tank: str) -> CloseState:
    """A tank's closes to the fill line."""
    return thing(session, room_id, CLOSE, tank) or CloseState(tank)


def moved_since(session: Session, room_id: int, tank: str, since: datetime) -> Movements:
    """What the log says went into a bath and out of it since an instant."""
    kinds = (TopUp.kind, Removal.kind, Swap.kind)
    rows = session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room_id, EntryRow.tank == tank)
        .where(EntryRow.at_us > to_us(since), col(EntryRow.kind).in_(kinds))
        .where(col(EntryRow.voided_by).is_(None))
    )
    return movements(entry_of(row) for row in rows)


def resin_brought_l(
    session: Session, room_id: int, tank: str, span: tuple[datetime, datetime], density_g_ml: float
) -> float:
    """Litres of resin that parts brought into a bath in a span, less what they carried out again,
    as the estimate has it with all readings of the span."""
    brought_g = session.exec(
        select(func.coalesce(func.sum(CourseRow.resin_in_g - CourseRow.resin_out_g), 0.0))
        .where(CourseRow.room_id == room_id, CourseRow.tank == tank, CourseRow.kind == Wash.kind)
        .where(CourseRow.at_us > to_us(span[0]), CourseRow.at_us <= to_us(span[1]))
    ).one()
    learned_g = session.exec(
        select(func.coalesce(func.sum(CourseRow.correction_g), 0.0))
        .where(CourseRow.room_id == room_id, CourseRow.tank == tank)
        .where(CourseRow.at_us > to_us(span[0]), CourseRow.at_us <= to_us(span[1]))
    ).one()
    return max(float(brought_g) + float(learned_g), 0.0) / (1000 * density_g_ml)


def _facts(session: Session, room: RoomRow, tanks: Sequence[TankView]) -> Facts:
    assert room.id is not None
    began = from_us(room.created_at_us)
    held = [drum for drum in things(session, room.id, DRUM, only_open=True).values() if drum.name]
    people = [person for person in crew(session, room.id).people if not person.has_left]
    subjects = {
        "room": (Subject("", "", began),),
        "tank": tuple(Subject(t.key, f"{t.place} {t.name}", t.started_at) for t in tanks),
        "station": tuple(_guarded(session, room.id, began)),
        "drum": tuple(Subject(drum.key, drum.name, drum.set_up_at or began) for drum in held),
        "instrument": tuple(_instruments(session, room.id)),
        "person": tuple(Subject(person.name, person.name, began) for person in people),
        "qualification": _qualifications(session, room.id, [person.name for person in people]),
        "rules": _rules(session, room),
    }
    proofs: dict[tuple[str, str], Proof] = {}
    for tank in tanks:
        is_newer = tank.last_reading_at is None or tank.fill_started_at > tank.last_reading_at
        at = tank.fill_started_at if is_newer else tank.last_reading_at
        assert at is not None
        proofs["reading", tank.key] = Proof(at, note="Filled" if is_newer else "")
    for drum in held:
        if drum.checked_at is not None:
            faults = ", ".join(drum.faults)
            proofs["drum_checked", drum.key] = Proof(drum.checked_at, "", bool(faults), faults)
    for key, closed in things(session, room.id, CLOSE).items():
        if closed.last is not None:
            proofs["month_close", key] = Proof(closed.last.at, closed.last.by)
    proofs |= _inspected(session, room.id) | _calibrated(session, room)
    return Facts(subjects, proofs, began)


def _calibrations(session: Session, room_id: int) -> list[tuple[InstrumentState, Certificate]]:
    """The instruments in use of which somebody said when they were calibrated, or are next."""
    return [
        (one, one.certificate)
        for one in instruments(session, room_id).values()
        if one.is_here and one.aside_since_at is None
        if one.certificate is not None and one.certificate.calibrated_on is not None
    ]


def _instruments(session: Session, room_id: int) -> Iterable[Subject]:
    for one, latest in _calibrations(session, room_id):
        yield Subject(one.key, one.name, one.added_at or latest.since_at, latest.due_on)


def _calibrated(session: Session, room: RoomRow) -> dict[tuple[str, str], Proof]:
    """When each instrument was calibrated last: at noon of that day."""
    zone = ZoneInfo(room.time_zone)
    return {
        ("calibrated", one.key): Proof(datetime.combine(latest.calibrated_on, NOON, zone))
        for one, latest in _calibrations(session, room.id or 0)
        if latest.calibrated_on is not None
    }


def _qualifications(session: Session, room_id: int, people: Sequence[str]) -> tuple[Subject, ...]:
    """What people may do until a day."""
    said: QualificationState | None = thing(session, room_id, QUALIFICATIONS, QUALIFICATIONS)
    return tuple(
        Subject(
            f"{one.person}|{one.act}",
            f"{one.person}: {ACT_WORDS[one.act]}",
            one.at,
            ends_on=one.until_on,
        )
        for one in (said.running(people) if said is not None else ())
    )


def _rules(session: Session, room: RoomRow) -> tuple[Subject, ...]:
    """The rules in force, from the day on which the oldest of them was looked up."""
    as_of = rulebook(session, room.id or 0).as_of
    if as_of is None:
        return ()
    return (Subject("", "", datetime.combine(as_of, NOON, ZoneInfo(room.time_zone))),)


def rules_looked_on(session: Session, room: RoomRow) -> date | None:
    """When somebody last said that all rules were looked up again; None where nobody has."""
    state: DutyState | None = thing(session, room.id or 0, DUTY, RULES_REVIEW)
    done = state.last("") if state is not None else None
    if done is None or done.is_fault:
        return None
    return done.at.astimezone(ZoneInfo(room.time_zone)).date()


def _guarded(session: Session, room_id: int, began: datetime) -> Iterable[Subject]:
    """The stations, each with the day of its newest interlock: it wants a test of its own."""
    parts: Iterable[ComponentState] = things(session, room_id, COMPONENT, only_open=True).values()
    fitted = last_fitted(parts, DOOR_INTERLOCK)
    for one in _stations(session, room_id):
        yield Subject(one.key, one.name, began, renewed_at=fitted.get(one.key))


def _stations(session: Session, room_id: int) -> list[StationState]:
    """The curing stations in use."""
    found: Iterable[StationState] = things(session, room_id, STATION, only_open=True).values()
    return [state for state in found if state.is_known and not state.is_retired]


def _inspected(session: Session, room_id: int) -> dict[tuple[str, str], Proof]:
    """The last closed inspection of each tank in which every part was seen.

    A look at the full tank shows neither impeller nor seal, and one that a damaged sensor opened
    is of the sensor alone: where the tank has other parts, neither is an inspection of them.
    """
    parts: Iterable[ComponentState] = things(session, room_id, COMPONENT, only_open=True).values()
    with_more = {one.tank for one in parts if one.part != SENSOR}
    states: Iterable[InspectionState] = things(session, room_id, INSPECTION).values()
    seen = [
        state
        for state in states
        if state.tank and state.when == EMPTY and not state.not_seen
        if state.tank not in with_more or any(look.part != SENSOR for look in state.looks)
    ]
    closed = [(state.closed_at, state) for state in seen if state.closed_at]
    closed.sort(key=lambda pair: pair[0])
    return {
        ("inspection", state.tank): Proof(at, state.closed_by or state.by) for at, state in closed
    }


def _reading_names(session: Session, room_id: int, items: Sequence[DueItem]) -> dict[Any, str]:
    wanted = [
        (item.subject.key, to_us(item.last.at))
        for item in items
        if item.duty.proof == "reading" and item.last is not None and not item.last.note
    ]
    if not wanted:
        return {}
    rows = session.exec(
        select(EntryRow.tank, EntryRow.by)
        .where(EntryRow.room_id == room_id, EntryRow.kind == Reading.kind)
        .where(tuple_(col(EntryRow.tank), col(EntryRow.at_us)).in_(wanted))
        .where(col(EntryRow.voided_by).is_(None))
    )
    return {("reading", tank): by for tank, by in rows}


def _check_names(session: Session, room_id: int, items: Sequence[DueItem]) -> dict[Any, str]:
    wanted = [
        (item.subject.key, to_us(item.last.at))
        for item in items
        if item.duty.proof == "drum_checked" and item.last is not None
    ]
    if not wanted:
        return {}
    rows = session.exec(
        select(LinkRow.key, EntryRow.by)
        .join(EntryRow, col(EntryRow.id) == col(LinkRow.entry_id))
        .where(LinkRow.room_id == room_id, LinkRow.thing == DRUM)
        .where(EntryRow.kind == DrumChecked.kind, col(EntryRow.voided_by).is_(None))
        .where(tuple_(col(LinkRow.key), col(EntryRow.at_us)).in_(wanted[:MOST_DRUMS]))
    )
    return {("drum_checked", key): by for key, by in rows}

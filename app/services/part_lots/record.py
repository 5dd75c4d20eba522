"""The record of a part lot, read from the log and the course of the baths as they stand."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from sqlmodel import Session, col, select

from app.domain.curing.dose import dose_mj_cm2
from app.domain.curing.drying import asked_minutes, drying
from app.domain.curing.lamp import lamp
from app.domain.curing.placement import placement
from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import StationState
from app.domain.lot_keys import PART_LOT, lot_key
from app.domain.part_lots.record import (
    Change,
    CureStep,
    Decision,
    LotRecord,
    RejectStep,
    ResinStep,
    WashStep,
)
from app.domain.roomlog.kinds import Entry, Reject, Wash
from app.domain.roomlog.kinds.curing import STATION, Cure
from app.domain.roomlog.kinds.part_lots import PartLot, PartLotRejected, PartLotReleased
from app.services.books import state_before
from app.services.curing.stations import recipes, solvent_of
from app.services.entries import Place, entry_of, place_of
from app.services.part_lots.spans import Span, asides, holds, overdue_checks
from app.store.import_tables import ImportRow
from app.store.imports import brought_by
from app.store.instants import from_us
from app.store.tables import CourseRow, EntryRow, LinkRow, RoomRow

CHAIN = (Wash, Cure, Reject, PartLot)
Row = tuple[EntryRow, Entry]


def record_of(session: Session, room: RoomRow, lot: str) -> LotRecord:
    """The record of a lot, however it is spelled; empty where no entry names it."""
    rows = _rows(session, room.id or 0, lot_key(lot))
    counting = [(row, entry) for row, entry in rows if row.voided_by is None]
    decided = [one for one in counting if isinstance(one[1], PartLotReleased | PartLotRejected)]
    last = decided[-1] if decided else None
    named = [entry for _, entry in counting or rows]
    washes = [(row, entry) for row, entry in counting if isinstance(entry, Wash)]
    cures = [(row, entry) for row, entry in counting if isinstance(entry, Cure)]
    done = _washes(session, room, washes)
    return LotRecord(
        lot=str(getattr(named[0], "lot", "")) if named else lot,
        resins=tuple(_resin(entry) for _, entry in counting if isinstance(entry, PartLot)),
        washes=tuple(done),
        cures=tuple(_cures(session, room, cures, done)),
        rejects=tuple(_reject(entry) for _, entry in counting if isinstance(entry, Reject)),
        decision=None if last is None else _decision(last[1]),
        changes=() if last is None else tuple(_changes(session, room.id or 0, rows, last)),
    )


def entries_of(session: Session, room_id: int, lot: str) -> list[Entry]:
    """The entries that name a lot and count, in the order of truth."""
    rows = _rows(session, room_id, lot_key(lot))
    return [entry for row, entry in rows if row.voided_by is None]


def _rows(session: Session, room_id: int, key: str) -> list[Row]:
    """All entries that name the lot, those that no longer count included, in order."""
    query = (
        select(EntryRow)
        .join(LinkRow, cast(Any, col(LinkRow.entry_id) == col(EntryRow.id)))
        .where(LinkRow.room_id == room_id, LinkRow.thing == PART_LOT, LinkRow.key == key)
        .order_by(col(LinkRow.moment_us), col(LinkRow.rank), col(LinkRow.sequence))
    )
    return [(row, entry_of(row)) for row in session.exec(query)]


def _said(entry: Entry) -> dict[str, Any]:
    return {"at": entry.at, "by": entry.by, "entry": entry.id}


def _resin(entry: PartLot) -> ResinStep:
    return ResinStep(
        **_said(entry), resin=entry.resin, resin_lot=entry.resin_lot or "", parts=entry.parts,
        build=entry.build or "", job=entry.job or "",
    )  # fmt: skip


def _reject(entry: Reject) -> RejectStep:
    return RejectStep(
        **_said(entry), tank=entry.tank, finding=entry.finding, parts=entry.parts,
        outcome=entry.outcome or "",
    )  # fmt: skip


def _decision(entry: Entry) -> Decision:
    if isinstance(entry, PartLotReleased):
        return Decision(
            **_said(entry), is_release=True, lead=entry.lead, accepted=entry.concessions,
            reason=entry.reason or "",
        )  # fmt: skip
    assert isinstance(entry, PartLotRejected)
    return Decision(**_said(entry), is_release=False, reason=entry.reason)


def _changes(session: Session, room_id: int, rows: Sequence[Row], last: Row) -> list[Change]:
    """What the room came to know of the chain after it was decided, and that somebody had rejected
    the lot before."""
    gone = {row.voided_by: (row, entry) for row, entry in rows if row.voided_by is not None}
    query = select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(list(gone)))
    words = [(row, entry_of(row)) for row in session.exec(query)] if gone else []
    brought = brought_by(session, room_id, [row.id or 0 for row, _ in (*rows, *words)])

    def heard_at(row: Row) -> datetime | None:
        """From when the room knew of it; None where it knew of it at the decision."""
        if _known(row) > _known(last):
            return row[1].known_at
        return from_us(row[0].recorded_at_us) if _came_later(row[0], last[0], brought) else None

    found = [
        Change(at, entry.by, entry.id, entry.kind)
        for row, entry in rows
        if isinstance(entry, (*CHAIN, PartLotRejected)) and row.voided_by is None
        and row.uid not in gone and (at := heard_at((row, entry))) is not None
    ]  # fmt: skip
    for row, word in words:
        old = gone[row.uid]
        at = heard_at((row, word))
        if isinstance(old[1], CHAIN) and heard_at(old) is None and at is not None:
            found.append(Change(at, word.by, old[1].id, old[1].kind, is_gone=True))
    return sorted(found, key=lambda one: one.at)


def _came_later(row: EntryRow, last: EntryRow, brought: Mapping[int, ImportRow]) -> bool:
    """Another file, or another day, brought it: a line that does not say when it was entered."""
    number, then = row.id or 0, last.id or 0
    files = [brought[one].id for one in (number, then) if one in brought]
    is_of_one_file = len(files) == 2 and files[0] == files[1]
    return number > then and row.recorded_at_us > last.recorded_at_us and not is_of_one_file


def _known(row: Row) -> tuple[datetime, int]:
    """From when the room knew of an entry; of two at one instant, the one that came first."""
    return row[1].known_at, row[0].id or 0


def _washes(
    session: Session, room: RoomRow, washes: Sequence[tuple[EntryRow, Wash]]
) -> list[WashStep]:
    room_id = room.id or 0
    ids = [row.id for row, _ in washes]
    query = select(CourseRow).where(col(CourseRow.entry_id).in_(ids))
    course = {row.entry_id: row for row in session.exec(query)} if ids else {}
    held = holds(session, room_id, {wash.tank for _, wash in washes})
    filled: dict[tuple[str, int], datetime | None] = {}
    for one in course.values():
        if (one.tank, one.fill) not in filled:
            filled[one.tank, one.fill] = _filled_at(session, room_id, one.tank, one.fill)
    return [_wash(wash, course.get(row.id or 0), held, filled) for row, wash in washes]


def _wash(
    wash: Wash, row: CourseRow | None, held: Sequence[Span],
    filled: Mapping[tuple[str, int], datetime | None],
) -> WashStep:  # fmt: skip
    why = next((one.why for one in held if one.key == wash.tank and one.has(wash.at)), "")
    said = WashStep(
        **_said(wash), tank=wash.tank, resin=wash.resin, parts=wash.parts, minutes=wash.minutes,
        held=why,
    )  # fmt: skip
    if row is None:
        return said
    return WashStep(
        **{
            **vars(said),
            "percent": row.mean_before_percent,
            "after_percent": row.mean_percent,
            "low_percent": row.p05_percent,
            "high_percent": row.p95_percent,
            "limit_percent": row.limit_percent,
            "fill": row.fill,
            "filled_at": filled.get((row.tank, row.fill)),
        }
    )


def _filled_at(session: Session, room_id: int, tank: str, fill: int) -> datetime | None:
    """When a fill of a tank began."""
    query = (
        select(CourseRow.at_us)
        .where(CourseRow.room_id == room_id, CourseRow.tank == tank, CourseRow.fill == fill)
        .order_by(col(CourseRow.at_us))
        .limit(1)
    )
    first = session.exec(query).first()
    return None if first is None else from_us(first)


@dataclass(frozen=True)
class _Light:
    """What is known of light and drying where a cure is looked at."""

    session: Session
    room_id: int
    recipes: Mapping[str, RecipeState]
    asides: Sequence[Span]
    overdue: Sequence[Span]
    washes: Sequence[WashStep]


def _cures(
    session: Session, room: RoomRow, cures: Sequence[tuple[EntryRow, Cure]],
    washes: Sequence[WashStep],
) -> list[CureStep]:  # fmt: skip
    if not cures:
        return []
    room_id = room.id or 0
    known = _Light(
        session, room_id, recipes(session, room_id), asides(session, room_id),
        overdue_checks(session, room), washes,
    )  # fmt: skip
    return [_cure(known, place_of(row), cure) for row, cure in cures]


def _cure(known: _Light, place: Place, cure: Cure) -> CureStep:
    station: StationState = state_before(
        known.session, known.room_id, (STATION, cure.station), place
    )
    recipe, today = known.recipes.get(cure.resin), lamp(station, cure.at)
    weakest, seconds = placement(today, cure.places).weakest, 60 * cure.minutes
    average = None if today.mw_cm2 is None else dose_mj_cm2(today.mw_cm2, seconds)
    least = weakest.least_dose_mj_cm2(seconds) if weakest else None
    dried, dry_asked = _drying(known, cure, recipe)
    rests_on = today.rests_on
    return CureStep(
        **_said(cure), station=cure.station, resin=cure.resin, minutes=cure.minutes,
        parts=cure.parts,
        dose=cure.dose_mj_cm2 if average is None else average,
        least=cure.weakest_dose_mj_cm2 if least is None else least,
        logged_least=cure.weakest_dose_mj_cm2,
        asked=cure.dose_asked_mj_cm2 or (recipe.dose_mj_cm2 if recipe else None),
        dried_minutes=dried, dry_asked_minutes=dry_asked,
        lamp_since_at=station.lamp_since_at,
        lamp=_lamp_part(station),
        reading=rests_on.entry if rests_on else "",
        read_at=rests_on.at if rests_on else None,
        meter=rests_on.radiometer if rests_on else "",
        set_aside=any(one.key == cure.station and one.has(cure.at) for one in known.asides),
        overdue=next((one.since_at for one in known.overdue if one.has(cure.at)), None),
    )  # fmt: skip


def _lamp_part(station: StationState) -> str:
    """The part or lot of the lamp that was in; the relamp that fitted it says so."""
    fitted = [one for one in station.relamps if one.at == station.lamp_since_at]
    return fitted[-1].part if fitted else ""


def _drying(known: _Light, cure: Cure, recipe: RecipeState | None) -> tuple[float | None, float]:
    """Minutes between the last wash of the lot, or the wash that the cure names, and the light."""
    before = [wash for wash in known.washes if wash.at <= cure.at]
    last = max(before, key=lambda wash: wash.at, default=None)
    out_at, tank = (last.at, last.tank) if last is not None else (cure.washed_at, cure.tank)
    if cure.washed_at is not None and (out_at is None or cure.washed_at > out_at):
        out_at, tank = cure.washed_at, cure.tank or tank
    solvent = solvent_of(known.session, known.room_id, tank, out_at)
    asked = cure.dry_asked_minutes
    if asked is None:
        asked = asked_minutes(solvent, recipe.dry_minutes if recipe else None)
    return drying(asked, out_at, cure.at).dried_minutes, asked

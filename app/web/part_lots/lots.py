"""Find a part lot, and read, print or take away its record."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import NotFound
from app.domain.part_lots.record import LotRecord
from app.domain.roomlog.kinds import KINDS, Reject
from app.services.curing.stations import stations
from app.services.part_lots.lots import latest
from app.services.part_lots.record import record_of
from app.store import queries
from app.store.import_tables import BehindRow
from app.store.log import LoggedEntry, find_entry
from app.web.deps import Visit, VisitDep
from app.web.part_lots.files import record_file
from app.web.telling import LogLine, line_of

router = APIRouter(prefix="/rooms/{room}/lots")
LONGEST = 200


@router.get("")
def lots_page(visit: VisitDep) -> Response:
    """Find a lot, and the latest ones."""
    lines = latest(visit.session, visit.room_id, visit.now)
    context = {"lines": lines, "kinds": _kinds(), **_names(visit)}
    return visit.page("part_lots/lots.html", context)


@router.get("/record")
def record_page(visit: VisitDep) -> Response:
    """The record of a lot; of one that nobody knows, what to do."""
    lot = _asked(visit)
    record = record_of(visit.session, visit.room, lot)
    context = {
        "lot": lot,
        "record": record,
        "kinds": _kinds(),
        "is_behind": visit.session.get(BehindRow, visit.room_id) is not None,
        "words_of": _reject_words,
        "saved": _saved(visit),
        **_names(visit),
    }
    is_known = record.is_known or not lot
    return visit.page("part_lots/record.html", context, 200 if is_known else 404)


@router.get("/record.csv")
def record_table(visit: VisitDep) -> Response:
    """The record as comma-separated values.

    Raises:
        NotFound: nobody knows the lot.
    """
    lot = _asked(visit)
    record: LotRecord = record_of(visit.session, visit.room, lot)
    if not record.is_known:
        raise NotFound(f"Nothing is logged of the part lot “{lot}” in this room.")
    return record_file(record, f"{visit.room.key}-part-lot.csv")


def _asked(visit: Visit) -> str:
    return visit.request.query_params.get("lot", "").strip()[:LONGEST]


def _saved(visit: Visit) -> LogLine | None:
    """The entry that was just saved, so that the page can say so."""
    try:
        row = find_entry(visit.session, visit.room_id, visit.request.query_params.get("saved", ""))
    except NotFound:
        return None
    return line_of(visit.session, visit.room, LoggedEntry(row, None))


def _names(visit: Visit) -> dict[str, Any]:
    return {
        "tank_names": queries.tank_names(visit.session, visit.room_id),
        "resin_names": visit.resin_names(),
        "station_names": {one.key: one.name for one in stations(visit.session, visit.room_id)},
    }


def _kinds() -> dict[str, str]:
    return {key: kind.summary for key, kind in KINDS.items()}


def _reject_words(name: str, word: str) -> str:
    return Reject.specs()[name].word_of(word) if word else ""

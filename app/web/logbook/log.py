"""The log of the room: who did what, when, and how it came in; newest first, and as a file."""

import csv
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from starlette.responses import Response, StreamingResponse

from app.domain.roomlog.cells import guarded
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM
from app.services.exporting import in_blocks
from app.services.filtering import require_named
from app.services.verifying import chained
from app.store import queries
from app.store.engine import Store
from app.store.instants import from_us, to_us
from app.store.log import MOST_PER_PAGE, LogFilter, log_page
from app.store.sessions import reading
from app.store.tables import EntryRow, RoomRow
from app.store.things import things
from app.web.deps import Visit, VisitDep
from app.web.logbook.past import Past, past_of
from app.web.render import wants_fragment
from app.web.telling import LogLine, lines_of

router = APIRouter(prefix="/rooms/{room}/log")
TEMPLATE = "logbook/log.html"
LABELS = {
    "tank": "Tank",
    "kind": "Kind",
    "resin": "Resin",
    "thing": "Drum, item or station",
    "by": "Person",
}
THINGS = {DRUM: "Drum", ITEM: "Item", STATION: "Station"}
DAYS = {"since": "From", "until": "To"}
MOST_PEOPLE = 500
TITLES = (
    "recorded_at", "at", "by", "kind", "what", "sentence", "changed", "withdrew", "from",
    "beside_a_hold", "note", "id", "corrects", "replaced_or_withdrawn_by",
)  # fmt: skip


def _called(word: str, name: str) -> str:
    """What a thing is and its name, once.

    >>> _called("Drum", "Drum 1"), _called("Drum", "W-1")
    ('Drum 1', 'Drum W-1')
    """
    return name if name.casefold().startswith(word.casefold()) else f"{word} {name}"


@router.get("")
def room_log(visit: VisitDep) -> Response:
    """A page of the log.

    Raises:
        NotFound: it is asked to show what belongs to a thing that is not there.
    """
    choices = _choices(visit)
    chosen, days, wrong = _asked(visit, choices)
    shown = _filter(visit, chosen, days)
    cursor = visit.request.query_params.get("cursor")
    found = log_page(visit.session, visit.room_id, shown, cursor)
    kept = {**chosen, **{name: day.isoformat() for name, day in days.items()}}
    context = {
        "log": lines_of(visit.session, visit.room, found.entries),
        "past": past_of(visit.session, visit.room, found.entries),
        "labels": LABELS,
        "days": DAYS,
        "choices": choices,
        "chosen": kept,
        "wrong": wrong,
        "older": _address(kept, found.older),
        "newer": _address(kept, found.newer),
        "file": f"{visit.address('log')}.csv?{urlencode(kept)}".rstrip("?"),
        "chain": chained(visit.session, visit.room),
    }
    if wants_fragment(visit.request):
        return visit.fragment(TEMPLATE, "log", context)
    return visit.page(TEMPLATE, context)


@router.get(".csv")
def log_file(visit: VisitDep) -> Response:
    """The entries that the filters let through, newest first, as comma-separated values.

    Text that a spreadsheet would take for a formula is guarded.
    """
    chosen, days, _ = _asked(visit, _choices(visit))
    lines = in_blocks(_lines(visit.store, visit.room, _filter(visit, chosen, days)))
    headers = {"Content-Disposition": f'attachment; filename="{visit.room.key}-log.csv"'}
    return StreamingResponse(lines, media_type="text/csv; charset=utf-8", headers=headers)


def _choices(visit: Visit) -> Mapping[str, Mapping[str, str]]:
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    people = queries.people(visit.session, visit.room_id, MOST_PEOPLE)
    named = {
        f"{kind}:{key}": _called(word, getattr(state, "name", "") or key)
        for kind, word in THINGS.items()
        for key, state in things(visit.session, visit.room_id, kind).items()
    }
    return {
        "tank": {tank.key: f"{tank.place} {tank.name}" for tank in board.tanks},
        "kind": {key: kind.summary for key, kind in KINDS.items()},
        "resin": visit.resin_names(),
        "thing": dict(sorted(named.items(), key=lambda pair: pair[1].casefold())),
        "by": {name: name for name in sorted(people, key=str.casefold)},
    }


def _asked(
    visit: Visit, choices: Mapping[str, Mapping[str, str]]
) -> tuple[dict[str, str], dict[str, date], str]:
    """What is chosen, the days, and what is wrong with those."""
    asked = visit.request.query_params
    kind, _, key = asked.get("thing", "").partition(":")
    require_named(
        visit.session, visit.room_id, tank=asked.get("tank"), resin=asked.get("resin"),
        thing_named=(kind, key) if kind in THINGS else None,
    )  # fmt: skip
    chosen = {name: asked[name] for name in choices if asked.get(name) in choices[name]}
    days, wrong = {}, ""
    for name in DAYS:
        try:
            if text := asked.get(name, "").strip():
                days[name] = date.fromisoformat(text)
        except ValueError:
            wrong = f"“{text[:20]}” is not a day. Enter it like 2026-03-02."
    if "since" in days and "until" in days and days["until"] < days["since"]:
        wrong = "The last day is before the first. Nothing matches."
    return chosen, days, wrong


def _filter(visit: Visit, chosen: Mapping[str, str], days: Mapping[str, date]) -> LogFilter:
    kind, _, key = chosen.get("thing", "").partition(":")
    until = days.get("until")
    return LogFilter(
        tank=chosen.get("tank"),
        kind=chosen.get("kind"),
        resin=chosen.get("resin"),
        by=chosen.get("by"),
        thing=(kind, key) if key else None,
        since_us=_begins_us(visit.zone, days.get("since")),
        until_us=_begins_us(visit.zone, until, timedelta(days=1)),
    )


def _begins_us(zone: ZoneInfo, day: date | None, later: timedelta = timedelta()) -> int | None:
    """When a day begins in the room; None where there is none, or no such instant."""
    if day is None:
        return None
    try:
        return to_us(datetime.combine(day + later, time(), zone))
    except OverflowError:
        return None


def _lines(store: Store, room: RoomRow, shown: LogFilter) -> Iterator[str]:
    """The lines of the file, read a page at a time: a slow reader holds no connection."""
    writer = csv.writer(_Handing(), lineterminator="\r\n")
    yield "\ufeff" + writer.writerow(TITLES)
    cursor: str | None = ""
    while cursor is not None:
        with reading(store) as session:
            page = log_page(session, room.id or 0, shown, cursor, MOST_PER_PAGE)
            lines = lines_of(session, room, page.entries)
            past = past_of(session, room, page.entries)
        for item, line in zip(page.entries, lines, strict=True):
            yield writer.writerow(_cells(item.row, line, past[line.id]))
        cursor = page.older


def _cells(row: EntryRow, line: LogLine, past: Past) -> list[str]:
    changed = "; ".join(f"{one.label}: {one.before} → {one.after}" for one in past.changes)
    cells = (
        past.recorded_at.isoformat(), from_us(row.at_us).isoformat(), row.by, row.kind, line.title,
        line.text, changed, past.withdrawn, past.source, past.late, row.note, row.uid,
        row.corrects or "", row.voided_by or "",
    )  # fmt: skip
    return [guarded(cell) for cell in cells]


class _Handing:
    """What `csv.writer` writes to: hands each line back."""

    def write(self, line: str) -> Any:
        return line


def _address(chosen: Mapping[str, str], cursor: str | None) -> str:
    return f"?{urlencode({**chosen, 'cursor': cursor})}" if cursor else ""

"""What a tank's page shows at a glance: what the last touch did, the last entries, its pair."""

from dataclasses import dataclass
from datetime import timedelta

from app.domain.errors import NotFound
from app.domain.roomlog.kinds import KINDS
from app.services.authorship import own_until
from app.store import queries
from app.store.instants import from_us, to_us
from app.store.log import LogFilter, LoggedEntry, find_entry, log_page
from app.store.queries import TankView
from app.store.tables import CourseRow, EntryRow
from app.web import words
from app.web.deps import Visit
from app.web.rooms.gauge import Gauge, gauge_of, level_of
from app.web.telling import LogLine, line_of, lines_of

LAST_SHOWN = 3
FRESH = timedelta(minutes=2)
"""So long what was just saved stands beside the figure that it moved."""
FINEST = 2
"""Decimals at most; a smaller step shows none."""
PLACED = {"wash": " in", "planned_wash": " in", "reject": " from", "cure": ", washed in"}
"""What stands before the tank's name in the sentence of a kind that can do without it."""
WORDS = {"saved": "Saved", "corrected": "Corrected", "undone": "Taken back"}


@dataclass(frozen=True)
class Receipt:
    """What was just saved, corrected or taken back, and what that did to the bath.

    Attributes:
        word: what became of it.
        was, now: the estimate before and after in percent, with as many decimals as tell them
            apart; empty where the entry did not move what stands now.
        was_level: the waterline before, in percent of the picture's height from the top.
        can_undo: a touch may still take it back.
    """

    word: str
    line: LogLine
    was: str = ""
    now: str = ""
    was_level: float | None = None
    can_undo: bool = False


@dataclass(frozen=True)
class LastLine:
    """One of the last entries; `fix` is the address where it is put right.

    Attributes:
        text: its sentence, without the name of the tank on whose page it stands.
    """

    line: LogLine
    text: str
    when: str
    fix: str


@dataclass(frozen=True)
class Partner:
    """A tank with which liquid is moved to and fro."""

    key: str
    name: str
    gauge: Gauge


def receipt_of(visit: Visit, tank: TankView) -> Receipt | None:
    """What the page was sent to with, while it is fresh; None without, and later."""
    asked = visit.request.query_params
    word = next((one for one in WORDS if asked.get(one)), "")
    try:
        row = find_entry(visit.session, visit.room_id, asked[word]) if word else None
        said = row
        if row is not None and word == "undone" and row.voided_by:
            said = find_entry(visit.session, visit.room_id, row.voided_by)
    except NotFound:
        return None
    if row is None or said is None or visit.now - from_us(said.recorded_at_us) > FRESH:
        return None
    if word != "saved":
        return Receipt(WORDS[word], _line(visit, row))
    return None if row.voided_by else _saved(visit, tank, row)


def last_lines(visit: Visit, tank: TankView) -> list[LastLine]:
    """The last entries of a tank that count, the newest first."""
    until_us = to_us(visit.now) + 1  # a wash that is planned is none yet
    shown = LogFilter(tank=tank.key, with_voided=False, until_us=until_us)
    found = log_page(visit.session, visit.room_id, shown, most=LAST_SHOWN)
    return [
        LastLine(line, _here(line, tank.name), _when(visit, line), _fix(visit, line))
        for line in lines_of(visit.session, visit.room, found.entries)
    ]


def partners_of(visit: Visit, tank: TankView) -> list[Partner]:
    """The tanks that are one's pair, by either's word."""
    board = queries.board(visit.session, visit.room_id, visit.now)
    return [
        Partner(one.key, f"{one.place} {one.name}", gauge_of(one))
        for one in board.tanks
        if one.key != tank.key and (one.key == tank.pair or one.pair == tank.key)
    ]


def _here(line: LogLine, name: str) -> str:
    before = PLACED.get(line.kind)
    return line.text.replace(f"{before} {name}", "", 1) if before else line.text


def _saved(visit: Visit, tank: TankView, row: EntryRow) -> Receipt:
    effect = visit.session.get(CourseRow, row.id)
    was, now = ("", "") if effect is None else _moved(tank, effect)
    before = None if effect is None or not was else effect.mean_before_percent
    _, until = own_until(visit.session, visit.room_id, row.uid)
    return Receipt(
        WORDS["saved"], _line(visit, row), was, now,
        None if before is None else level_of(tank.of_limit(before)),
        until is not None and visit.now <= until,
    )  # fmt: skip


def _moved(tank: TankView, effect: CourseRow) -> tuple[str, str]:
    """The estimate before and after an entry, where what stands now is what it left behind."""
    before, after = effect.mean_before_percent, effect.mean_percent
    if effect.fill != tank.fill or round(after, FINEST) != round(tank.mean_percent, FINEST):
        return "", ""
    for decimals in range(1, FINEST + 1):
        was, now = f"{before:.{decimals}f}", f"{after:.{decimals}f}"
        if was != now:
            return was, now
    return "", ""


def _line(visit: Visit, row: EntryRow) -> LogLine:
    return line_of(visit.session, visit.room, LoggedEntry(row, None))


def _when(visit: Visit, line: LogLine) -> str:
    age = visit.now - line.at
    if timedelta(0) <= age < timedelta(hours=1):
        return words.ago(line.at, visit.now)
    return words.moment(line.at, visit.now, visit.zone)


def _fix(visit: Visit, line: LogLine) -> str:
    """The form that corrects it; of what is not corrected, the page that says what can be done."""
    at = visit.address("entries", line.id)
    return f"{at}/correct" if KINDS[line.kind].is_correctable else at

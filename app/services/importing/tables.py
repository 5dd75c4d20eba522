"""How a spreadsheet is read: what its columns hold, guessed first and then as the person says."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.lines import HEADER
from app.domain.roomlog.naming import Names
from app.domain.roomlog.table import (
    DATE,
    EXTRA,
    TIME,
    Column,
    TableForm,
    all_specs,
    guess_columns,
    guess_day_first,
)
from app.domain.roomlog.table_words import UNITS
from app.services.importing.textfiles import TextFile, UnreadableFile, rows
from app.store.tables import ResinRow, RoomRow, TankRow

SAMPLE_ROWS = 200
MOST_COLUMNS = 500  # an export names the fields of every kind


@dataclass(frozen=True)
class TableOptions:
    """What a person says about a table; what is left out is guessed.

    Attributes:
        columns: field, or `field:unit`, by column title; `-` keeps a column as an unknown field.
        kind, method: of all rows, where no column says it.
        time_zone: of times without an offset; empty for the room's own.
        is_day_first: 03/02/2026 is the third of February.
        has_decimal_comma: 12,5 is twelve and a half.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    kind: str = ""
    method: str = ""
    time_zone: str = ""
    is_day_first: bool | None = None
    has_decimal_comma: bool | None = None


def table_form(session: Session, room: RoomRow, file: TextFile, options: TableOptions) -> TableForm:
    """How to read a table.

    Raises:
        UnreadableFile: it has no titles, or too many.
        FieldError: an option names a column, field, unit or zone that is not there.
    """
    titles, sample = _head(file)
    columns = _columns(titles, options.columns)
    dates = [row[place] for row in sample for place in _date_places(columns) if place < len(row)]
    if options.kind and options.kind not in KINDS:
        raise FieldError("kind", f"“{options.kind}” is not a kind. Known: {', '.join(KINDS)}.")
    return TableForm(
        columns=columns,
        kind=options.kind,
        method=options.method,
        zone=_zone(options.time_zone or room.time_zone),
        is_day_first=_decided(options.is_day_first, guess_day_first(dates), default=True),
        has_decimal_comma=_decided(options.has_decimal_comma, None, _has_decimal_comma(file)),
        tanks=_keys(session, room, TankRow),
        resins=_keys(session, room, ResinRow),
    )


def _head(file: TextFile) -> tuple[list[str], list[list[str]]]:
    found = rows(file)
    _, titles = next(found, (0, []))
    titles = [title.strip() for title in titles]
    if not any(titles) or len(titles) > MOST_COLUMNS:
        raise UnreadableFile(f"The first line must name the columns, at most {MOST_COLUMNS}.")
    sample = [row for _, (_, row) in zip(range(SAMPLE_ROWS), found, strict=False)]
    return titles, sample


def _columns(titles: list[str], said: Mapping[str, str]) -> tuple[Column, ...]:
    if unknown := said.keys() - set(titles):
        raise FieldError(
            "columns", f"There is no column “{min(unknown)}”. There are: {', '.join(titles)}."
        )
    fixed = {title: _column(title, what) for title, what in said.items()}
    taken = {column.field for column in fixed.values() if column.field}
    guessed = [
        replace(column, field="", unit="") if column.field in taken else column
        for column in guess_columns([t for t in titles if t not in fixed])
    ]
    rest = iter(guessed)
    return tuple(fixed[title] if title in fixed else next(rest) for title in titles)


def _column(title: str, what: str) -> Column:
    name, _, unit = what.partition(":")
    if name in ("", "-"):
        return Column(title)
    specs = all_specs()
    if name not in (*HEADER, DATE, TIME, EXTRA, *specs):
        raise FieldError("columns", f"There is no field “{name}” for the column “{title}”.")
    own = specs[name].unit if name in specs else ""
    if unit and (unit, own) not in UNITS:
        known = ", ".join(key for key, of in UNITS if of == own) or "none"
        raise FieldError("columns", f"“{unit}” is no unit for {name}. Known: {known}.")
    return Column(title, name, unit)


def _date_places(columns: tuple[Column, ...]) -> list[int]:
    return [place for place, column in enumerate(columns) if column.field in ("at", DATE)]


def _decided(said: bool | None, guessed: bool | None, default: bool) -> bool:
    if said is not None:
        return said
    return default if guessed is None else guessed


def _has_decimal_comma(file: TextFile) -> bool:
    """Spreadsheets that write a decimal comma separate their cells by semicolons."""
    with file.path.open(encoding=file.encoding, errors="replace") as opened:
        first = opened.readline(100_000)
    return first.count(";") > first.count(",")


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        raise FieldError("time_zone", f"The time zone “{name}” is not known.") from None


def _keys(session: Session, room: RoomRow, table: type[TankRow] | type[ResinRow]) -> Names:
    found = session.exec(select(table.key, table.name).where(table.room_id == room.id))
    return Names((key, name) for key, name in found)

"""How a spreadsheet is read: what its columns hold, guessed first and then as the person says."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.cells import unguarded
from app.domain.roomlog.evidence import Evidence, both_dates, both_numbers
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
    is_of_dates,
    is_of_numbers,
)
from app.domain.roomlog.table_words import UNITS
from app.services.importing.textfiles import TextFile, UnreadableFile, rows
from app.store.solvents import solvents_here
from app.store.tables import ResinRow, RoomRow, TankRow

MOST_COLUMNS = 500  # an export names the fields of every kind


@dataclass(frozen=True)
class TableOptions:
    """What a person says about a table; what is left out is guessed, where nothing hangs on it.

    Attributes:
        columns: field, or `field:unit`, by column title; `-` keeps a column as an unknown field.
        kind, method: of all rows, where no column says it.
        time_zone: of times without an offset; empty for the room's own.
        is_day_first: 03/02/2026 is the third of February.
        orders: the same, by column title.
        has_decimal_comma: 1,500 is one and a half.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    kind: str = ""
    method: str = ""
    time_zone: str = ""
    is_day_first: bool | None = None
    orders: Mapping[str, bool] = field(default_factory=dict)
    has_decimal_comma: bool | None = None


@dataclass(frozen=True)
class Question:
    """What somebody has to say before a table can be read.

    Attributes:
        field: `day_first` or `decimal_comma`.
        column: title of the column it is about.
        example: a cell of it that can be read both ways.
        first, second: what it is if the answer is yes, or no.
    """

    field: str
    column: str
    example: str
    first: str
    second: str

    @property
    def text(self) -> str:
        """The question in words."""
        about = f"“{self.example}” in the column “{self.column}” is {self.first} or {self.second}."
        if self.field == "day_first":
            return f"{about} The sheet does not show which. Choose day first or month first."
        return f"{about} The sheet does not show which. Choose a decimal comma or a decimal point."


class UnclearTable(FieldErrors):
    """A table that can be read in two ways, with another meaning each."""

    def __init__(self, questions: Sequence[Question]) -> None:
        super().__init__([FieldError(each.field, each.text) for each in questions])
        self.questions = tuple(questions)


def table_form(session: Session, room: RoomRow, file: TextFile, options: TableOptions) -> TableForm:
    """How to read a table.

    Raises:
        UnreadableFile: it has no titles, or too many.
        FieldError: an option names a column, field, unit or zone that is not there.
        UnclearTable: nobody said, and no cell tells, how its dates or numbers are meant.
    """
    columns = _columns(_titles(file), options.columns)
    if options.kind and options.kind not in KINDS:
        raise FieldError("kind", f"“{options.kind}” is not a kind. Known: {', '.join(KINDS)}.")
    zone = _zone(options.time_zone or room.time_zone)
    dates, numbers = _evidence(file, columns)
    questions = [
        *_date_questions(columns, dates, options),
        *_number_questions(columns, numbers, options),
    ]
    if questions:
        raise UnclearTable(questions)
    comma = _together(numbers).verdict if options.has_decimal_comma is None else None
    return TableForm(
        columns=tuple(
            replace(column, is_day_first=_order(column, dates[place], options))
            if place in dates
            else column
            for place, column in enumerate(columns)
        ),
        kind=options.kind,
        method=options.method,
        zone=zone,
        has_decimal_comma=bool(comma if comma is not None else options.has_decimal_comma),
        tanks=_keys(session, room, TankRow),
        resins=_keys(session, room, ResinRow),
        solvents={
            one.name.lower(): key for key, one in solvents_here(session, room.id or 0).items()
        },
    )


def _titles(file: TextFile) -> list[str]:
    _, titles = next(rows(file), (0, []))
    titles = [title.strip() for title in titles]
    if not any(titles) or len(titles) > MOST_COLUMNS:
        raise UnreadableFile(f"The first line must name the columns, at most {MOST_COLUMNS}.")
    return titles


Seen = dict[int, Evidence]


def _evidence(file: TextFile, columns: Sequence[Column]) -> tuple[Seen, Seen]:
    """What the cells of all rows say, by the places of their columns: dates, and numbers."""
    dates = {place: Evidence() for place, each in enumerate(columns) if is_of_dates(each)}
    numbers = {place: Evidence() for place, each in enumerate(columns) if is_of_numbers(each)}
    cells = rows(file)
    next(cells, None)
    for _, row in cells:
        for place, seen in dates.items():
            if place < len(row):
                seen.see_date(unguarded(row[place].strip()))
        for place, seen in numbers.items():
            if place < len(row):
                seen.see_number(unguarded(row[place].strip()))
    return dates, numbers


def _order(column: Column, seen: Evidence, options: TableOptions) -> bool | None:
    """Whether a column's days come before its months; None where nothing hangs on it."""
    if not (seen.first or seen.second or seen.unclear):
        return None
    said = options.orders.get(column.title, options.is_day_first)
    return seen.verdict if said is None else said


def _date_questions(
    columns: Sequence[Column], dates: Seen, options: TableOptions
) -> Iterator[Question]:
    for place, seen in dates.items():
        title = columns[place].title
        is_said = options.is_day_first is not None or title in options.orders
        if seen.is_open and not is_said:
            yield Question("day_first", title, seen.unclear, *both_dates(seen.unclear))


def _number_questions(
    columns: Sequence[Column], numbers: Seen, options: TableOptions
) -> Iterator[Question]:
    """A sheet has one mark of decimals: any of its cells settles it."""
    if options.has_decimal_comma is not None or not _together(numbers).is_open:
        return
    place, seen = next((place, each) for place, each in numbers.items() if each.unclear)
    both = both_numbers(seen.unclear)
    yield Question("decimal_comma", columns[place].title, seen.unclear, *both)


def _together(numbers: Seen) -> Evidence:
    found = Evidence()
    for seen in numbers.values():
        found.add(seen)
    return found


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
        raise FieldError("columns", f"“{unit}” is not a unit for {name}. Known: {known}.")
    return Column(title, name, unit)


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        raise FieldError("time_zone", f"The time zone “{name}” is not known.") from None


def _keys(session: Session, room: RoomRow, table: type[TankRow] | type[ResinRow]) -> Names:
    found = session.exec(select(table.key, table.name).where(table.room_id == room.id))
    return Names((key, name) for key, name in found)

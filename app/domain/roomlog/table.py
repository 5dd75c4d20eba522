"""Rows of a spreadsheet to the mappings that `lines.parse_entry` takes.

A spreadsheet has names, units, dates and decimal commas of its own. `guess_columns` proposes what
each column holds; the person confirms or changes it; `mapping_of` reads a row with it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from functools import cache
from typing import Any

from app.domain.errors import FieldError, FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.cells import json_of, moment_of, number_of, unguarded
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import KINDS, Reading
from app.domain.roomlog.lines import HEADER
from app.domain.roomlog.naming import Names
from app.domain.roomlog.table_words import (
    BOTH_WORDS,
    FIELD_WORDS,
    FLAG_WORDS,
    KIND_WORDS,
    UNIT_WORDS,
    UNITS,
)
from app.domain.solvents import SOLVENTS

EXTRA = "extra"
DATE, TIME = "date", "time"
NUMBERS = ("number", "whole", "money")


WHY_NO_TIME = {
    "clocks": " The clocks skipped this time. Give another.",
    "day number": " It is a spreadsheet's internal day number. Format the column as a date there "
    "(2026-12-30) "
    "and save it again.",
}


@dataclass(frozen=True)
class Column:
    """What a column holds.

    Attributes:
        title: its name in the file.
        field: the field it fills; `date` and `time` together fill `at`; empty keeps the column as
            an unknown field.
        unit: unit of its numbers, a key of `UNITS`; empty for the field's own unit.
        is_day_first: 03/02/2026 is the third of February; None where its dates do not ask.
    """

    title: str
    field: str = ""
    unit: str = ""
    is_day_first: bool | None = None


@dataclass(frozen=True)
class TableForm:
    """How to read a table.

    Attributes:
        columns: one for each column of the file.
        kind: kind of the rows where no column says it.
        method: method of readings where no column says it.
        zone: zone of times that have no offset.
        has_decimal_comma: 12,5 is twelve and a half; a point then groups thousands.
        tanks, resins: what they are called, for tables that name them; what a table names anew is
            learned, so that each name in it keeps its key.
        solvents: keys of solvents by their names in small letters, the site's own among them.
    """

    columns: tuple[Column, ...]
    kind: str = ""
    method: str = ""
    zone: tzinfo = UTC
    has_decimal_comma: bool = False
    tanks: Names = field(default_factory=Names)
    resins: Names = field(default_factory=Names)
    solvents: Mapping[str, str] = field(default_factory=dict)


@cache
def all_specs() -> Mapping[str, FieldSpec]:
    """Every field that an entry of any kind may have, by name."""
    specs: dict[str, FieldSpec] = {}
    for item in INSTRUMENTS.values():
        specs |= item.fields
    for kind in KINDS.values():
        specs |= kind.specs()
    return specs


def guess_columns(titles: Sequence[str]) -> tuple[Column, ...]:
    """What the columns of these titles seem to hold; each field is given away once.

    >>> [(c.field, c.unit) for c in guess_columns(["Date", "Bath", "Volume (gal)", "Temp F"])]
    [('at', ''), ('tank', ''), ('volume_l', 'us_gal'), ('temperature_c', 'f')]
    """
    columns, taken = [], set()
    for title in titles:
        column = _guess(title)
        if column.field in taken:
            column = Column(title)
        taken.add(column.field)
        columns.append(column)
    if DATE in taken and TIME not in taken:
        columns = [Column(c.title, "at") if c.field == DATE else c for c in columns]
    return tuple(columns)


def is_of_dates(column: Column) -> bool:
    """Whether a column holds days or times."""
    spec = all_specs().get(column.field)
    is_moment = spec is not None and spec.type == "moment"
    return column.field in ("at", "entered_at", DATE) or is_moment


def is_of_numbers(column: Column) -> bool:
    """Whether a column holds numbers."""
    spec = all_specs().get(column.field)
    return spec is not None and spec.type in NUMBERS


def mapping_of(row: Sequence[str], form: TableForm) -> dict[str, Any]:
    """A row as field names and JSON values; empty cells are left out.

    Raises:
        FieldErrors: with one message for each cell that cannot be read.
    """
    if len(row) > len(form.columns) and any(cell.strip() for cell in row[len(form.columns) :]):
        raise FieldErrors([FieldError("line", "The row has more cells than there are columns.")])
    raw: dict[str, Any] = {}
    errors: list[FieldError] = []
    said: dict[str, str] = {}
    for column, cell in zip(form.columns, row, strict=False):
        if (text := unguarded(cell.strip())) == "":
            continue
        said[column.field] = text
        try:
            raw |= _cell(column, text, form)
        except FieldError as error:
            errors.append(error)
    _join_date_and_time(raw, form, errors)
    raw.setdefault("kind", form.kind or None)
    if raw["kind"] == Reading.kind and "method" not in raw:
        raw["method"] = form.method or _method_of(raw)
    if errors:
        raise FieldErrors(errors)
    if (thing := raw["kind"]) in ("tank", "resin") and thing in said:
        raw.setdefault("name", said[thing])  # what the table calls it, with no column for names
    return raw


def _method_of(raw: Mapping[str, Any]) -> str | None:
    """The instrument that shows what this reading gives, temperatures aside."""
    for method, instrument in INSTRUMENTS.items():
        if raw.keys() & (instrument.fields.keys() - {"temperature_c"}):
            return method
    return None


def _guess(title: str) -> Column:
    text = title.lower().replace("_", " ").replace("fl oz", "floz").replace("us gal", "gal")
    words = re.findall(r"[a-z0-9%/²°]+", text)
    name = "_".join(words)
    if name in (*HEADER, EXTRA, *all_specs()):
        return Column(title, name)
    if (both := BOTH_WORDS.get(" ".join(words))) is not None:
        return Column(title, *both)
    unit = ""
    while len(words) > 1 and words[-1] in UNIT_WORDS and " ".join(words) not in FIELD_WORDS:
        unit = UNIT_WORDS[words.pop()]
    field = FIELD_WORDS.get(" ".join(words), "")
    own = all_specs()[field].unit if field in all_specs() else ""
    if unit in ("", "%", UNIT_WORDS.get(own.lower())):
        return Column(title, field)
    return Column(title, field, unit) if (unit, own) in UNITS else Column(title)


def _cell(column: Column, text: str, form: TableForm) -> dict[str, Any]:
    name = column.field
    if not name:
        return {column.title or "column": text}
    if name == EXTRA:
        return _extra(text)
    if name in (DATE, TIME, "id", "by", "note", "corrects"):
        return {name: text}
    if name == "kind":
        return {name: KIND_WORDS.get(re.sub(r"[\s_-]+", " ", text.lower()), text)}
    if name in ("at", "entered_at"):
        return {name: _moment(name, text, form, column)}
    spec = all_specs().get(name)
    return {name: text if spec is None else _value(column, spec, text, form)}


def _value(column: Column, spec: FieldSpec, text: str, form: TableForm) -> Any:
    name = column.field
    if name in ("tank", "pair", "resin", "solvent"):
        return _key_of_name(name, text, form)
    if spec.type in NUMBERS:
        return _number(column, spec, text, form)
    if spec.type == "flag":
        return FLAG_WORDS.get(text.lower(), text)
    if spec.type == "moment":
        return _moment(name, text, form, column)
    if spec.type in ("points", "data"):
        return json_of(name, text)
    return text.lower() if name == "method" else text


def _key_of_name(name: str, text: str, form: TableForm) -> str:
    if name != "solvent":
        return (form.resins if name == "resin" else form.tanks).learn(text)
    if text in SOLVENTS:
        return text  # the key of an own one carries its name, in capitals too
    return form.solvents.get(text.lower(), text.lower())


def _number(column: Column, spec: FieldSpec, text: str, form: TableForm) -> float:
    try:
        value = number_of(text, form.has_decimal_comma)
    except ValueError:
        raise FieldError(column.field, f"“{text[:40]}” is not a number.") from None
    factor, offset = UNITS.get((column.unit, spec.unit), (1.0, 0.0))
    return value if factor == 1.0 and offset == 0.0 else value * factor + offset


def _moment(name: str, text: str, form: TableForm, column: Column) -> str:
    try:
        return moment_of(text, form.zone, column.is_day_first is not False).isoformat()
    except ValueError as error:
        why = next((words for key, words in WHY_NO_TIME.items() if key in str(error)), "")
        raise FieldError(name, f"“{text[:40]}” is not a valid time.{why}") from None


def _join_date_and_time(raw: dict[str, Any], form: TableForm, errors: list[FieldError]) -> None:
    day, clock = raw.pop(DATE, None), raw.pop(TIME, None)
    if day is None or "at" in raw:
        return
    column = next(each for each in form.columns if each.field == DATE)
    try:
        raw["at"] = _moment("at", f"{day} {clock or ''}".strip(), form, column)
    except FieldError as error:
        errors.append(error)


def _extra(text: str) -> dict[str, Any]:
    found = json_of(EXTRA, text)
    if not isinstance(found, dict):
        raise FieldError(EXTRA, "The column of unknown fields does not hold a JSON object.")
    return found

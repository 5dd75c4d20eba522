"""Entries as rows of one table, the columns of which `table` reads back without any mapping."""

import json
from functools import cache
from typing import Any

from app.domain.roomlog.cells import guarded
from app.domain.roomlog.kinds import KINDS, Entry
from app.domain.roomlog.lines import HEADER, field_names, to_mapping
from app.domain.roomlog.table import EXTRA

Cell = str | float | int


@cache
def titles() -> tuple[str, ...]:
    """The columns: every field of every kind, and one for unknown fields as JSON."""
    names = dict.fromkeys(HEADER)
    for kind in KINDS.values():
        names |= dict.fromkeys(field_names(kind))
    return (*names, EXTRA)


def row_of(entry: Entry) -> list[Cell]:
    """The entry as one row."""
    values = to_mapping(entry)
    for name in entry.extra:
        values.pop(name, None)
    if entry.extra:
        values[EXTRA] = dict(entry.extra)
    return [_cell(values.get(name)) for name in titles()]


def _cell(value: Any) -> Cell:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    if isinstance(value, str):
        return guarded(value)
    return json.dumps(value, ensure_ascii=True)

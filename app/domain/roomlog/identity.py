"""When two lines of a log tell of the same: what happened, to which thing, at which instant.

Spreadsheets give their rows no key, and people mend them afterwards. So what a row says besides may
change and it is still the same row.
"""

import math
from collections.abc import Mapping
from functools import cache
from typing import Any

from app.domain.roomlog.kinds import KINDS, Entry, Reading, Resin
from app.domain.roomlog.lines import HEADER, field_names, own_fields

SAME_TO = 1e-9  # numbers that a unit was converted on may differ in their last digits


@cache
def identifying(kind: str) -> tuple[str, ...]:
    """The fields that say which thing a kind of entry is about, by name.

    >>> identifying("wash"), identifying("reading"), identifying("stock_counted")
    (('tank',), ('tank', 'method'), ('item',))
    """
    of_kind = KINDS[kind]
    specs, required = of_kind.specs(), of_kind.required()
    names = [
        name
        for name, spec in specs.items()
        if name in required
        and (spec.thing or name == "tank" or (name, of_kind) == ("resin", Resin))
    ]
    return (*names, *(["method"] if of_kind is Reading else []))


def things_of(entry: Entry) -> tuple[str, ...]:
    """Which thing an entry is about."""
    return tuple(str(getattr(entry, name)) for name in identifying(entry.kind))


@cache
def _own_names(kind: str) -> frozenset[str]:
    return frozenset(field_names(KINDS[kind])) - frozenset(HEADER)


def values_of(entry: Entry) -> dict[str, Any]:
    """What an entry says of its kind, fields that mean nothing here aside."""
    return known_values(entry.kind, own_fields(entry))


def known_values(kind: str, fields: Mapping[str, Any]) -> dict[str, Any]:
    """The same, from fields as they are stored."""
    names = _own_names(kind)
    return {name: value for name, value in fields.items() if name in names}


def differing(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[str, ...]:
    """The names of the values that are not the same."""
    if old == new:
        return ()
    names = dict.fromkeys((*old, *new))
    return tuple(name for name in names if not _is_same(old.get(name), new.get(name)))


def _is_same(one: Any, other: Any) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=SAME_TO)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_is_same, one, other))
    return bool(one == other)

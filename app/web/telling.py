"""Entries in words: each as the sentence of its kind, in the room's units, with names for keys."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.baths.estimator import UNREAD
from app.domain.calendar_words import day_words
from app.domain.instruments import INSTRUMENTS
from app.domain.plural import grouped
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import Entry, Reading, Removal
from app.domain.roomlog.kinds.supplies import COUNTED_UNITS
from app.domain.roomlog.lines import own_fields, reading_specs
from app.domain.roomlog.sentences import BY, REST, VALUES, beside, marks, tell
from app.services.entries import entry_of
from app.services.naming import Names, names_of
from app.services.supplies.stock import unit_beside
from app.store.log import LoggedEntry
from app.store.tables import RoomRow
from app.units import label
from app.web.filters import amount, moment, units_of
from app.web.forms import text_of, unit_label

SPILLED = "Spill loss"
SHORT_LIST = 12
MOST_DECIMALS = 4
FULL_DOSE_MJ_CM2 = 1000.0  # beyond it a dose is told to the whole unit
SHARES = {"mass %": "% by mass", "volume %": "% by volume"}


@dataclass(frozen=True)
class LogLine:
    """An entry as the log shows it.

    Attributes:
        text: the sentence.
        by: who entered it, where the sentence does not say so.
        is_unread: nobody had read the bath for a year then.
        after_percent: the estimate behind it in mass percent.
    """

    id: str
    at: datetime
    kind: str
    title: str
    text: str
    by: str
    note: str
    fate: str
    is_voided: bool
    is_set_aside: bool
    is_unread: bool
    after_percent: float | None


def lines_of(session: Session, room: RoomRow, items: Iterable[LoggedEntry]) -> list[LogLine]:
    """The lines of entries, in their order."""
    assert room.id is not None
    found = [(item, entry_of(item.row)) for item in items]
    names = names_of(session, room.id, [entry for _, entry in found])
    return [_line(item, entry, room, names) for item, entry in found]


def line_of(session: Session, room: RoomRow, item: LoggedEntry) -> LogLine:
    """The line of one entry."""
    return lines_of(session, room, [item])[0]


def _line(item: LoggedEntry, entry: Entry, room: RoomRow, names: Names) -> LogLine:
    effect = item.effect
    fate = "corrected or withdrawn" if item.row.voided_by else ""
    return LogLine(
        id=entry.id,
        at=entry.at,
        kind=entry.kind,
        title=title_of(entry),
        text=sentence_of(entry, room, names),
        by="" if BY in marks(entry.sentence) else entry.by,
        note=entry.note,
        fate=fate or ("a correction" if entry.corrects else ""),
        is_voided=item.row.voided_by is not None,
        is_set_aside=bool(effect and effect.is_set_aside),
        is_unread=bool(effect and UNREAD in json.loads(effect.notes)),
        after_percent=effect.mean_percent if effect else None,
    )


def title_of(entry: Entry) -> str:
    """What the log calls an entry: what an incident took out of a bath is no removal by hand."""
    return SPILLED if isinstance(entry, Removal) and entry.incident else entry.summary


def sentence_of(entry: Entry, room: RoomRow, names: Names) -> str:
    """What happened, in one sentence."""
    asked = marks(entry.sentence)
    specs = entry.specs()
    words = {
        name: _in_words(entry, name, specs[name], getattr(entry, name, stored), room, names)
        for name, stored in own_fields(entry).items()
        if name in specs
    }
    words[BY] = entry.by
    if REST in asked:
        words[REST] = ", ".join(
            _labelled(specs[name], text, getattr(entry, name))
            for name, text in words.items()
            if name in specs
            and name not in asked
            and not _is_book(name, specs[name])
            and not _is_named(text, specs[name], words)
        )
    if isinstance(entry, Reading):
        words[VALUES] = ", ".join(_values(entry, room, names))
    return tell(entry.sentence, words)


def said_of(entry: Entry, room: RoomRow, names: Names) -> dict[str, str]:
    """What an entry says, field by field: labels and words."""
    specs = all_specs(entry)
    values = own_fields(entry) | (dict(entry.values) if isinstance(entry, Reading) else {})
    found = {"Time": moment(entry.at, ZoneInfo(room.time_zone))}
    for name, stored in values.items():
        if name in specs:
            value = getattr(entry, name, stored)
            found[specs[name].label] = _in_words(entry, name, specs[name], value, room, names)
    return {**found, "Note": entry.note}


def all_specs(entry: Entry) -> dict[str, FieldSpec]:
    """The entry's fields, for a reading also those of its instrument."""
    specs = dict(entry.specs())
    if isinstance(entry, Reading) and entry.method in INSTRUMENTS:
        specs |= reading_specs(entry.method)
    return specs


def _values(entry: Reading, room: RoomRow, names: Names) -> list[str]:
    specs = all_specs(entry)
    return [
        _in_words(entry, name, specs[name], value, room, names)
        for name, value in entry.values.items()
        if name in specs
    ]


def _is_book(name: str, spec: FieldSpec) -> bool:
    """It says in which book the entry stands, not what happened."""
    return bool(spec.thing) and spec.named(name) == spec.thing


def _is_named(text: str, spec: FieldSpec, words: dict[str, str]) -> bool:
    """It is the key of what the entry names: said again, it would say the name twice."""
    return spec.type == "key" and text == words.get("name")


def _labelled(spec: FieldSpec, text: str, value: Any) -> str:
    called = spec.label[:1].lower() + spec.label[1:]
    if spec.type == "flag":
        return called if value else f"{called}: no"
    return f"{called} {text}"


def _in_words(
    entry: Entry, name: str, spec: FieldSpec, value: Any, room: RoomRow, names: Names
) -> str:
    """What a field says; a flag that is not set says nothing."""
    if name == "method":
        known = INSTRUMENTS[value].name if value in INSTRUMENTS else str(value)
        return known[:1].lower() + known[1:]
    if kind := spec.named(name):
        keys = value if isinstance(value, list | tuple) else [value]
        told = _listed([names.of(kind, str(key), entry) for key in keys])
        return told[:1].lower() + told[1:] if kind == "stream" else told
    if spec.type in ("number", "whole"):
        return _figure(entry, spec, value, room, names)
    words: Mapping[str, Any] = {
        "moment": lambda: moment(value, ZoneInfo(room.time_zone)),
        "points": lambda: ", ".join(f"{x:g} → {y:g}" for x, y in value),
        "flag": lambda: spec.label.lower() if value else "",
        "choice": lambda: spec.word_of(str(value)),
        "day": lambda: day_words(value),
        "data": lambda: _data_words(spec, value),
        "money": lambda: amount(value, room),
    }
    return str(words.get(spec.type, lambda: str(value))())


def _figure(entry: Entry, spec: FieldSpec, value: float, room: RoomRow, names: Names) -> str:
    """A number with its unit: the room's, or that of the thing it is a quantity of."""
    if spec.counted_as:
        unit = names.unit(spec.counted_as, getattr(entry, spec.counted_as))
        if unit == "L":
            litres = FieldSpec("number", spec.label, unit="L")
            return grouped(_decimal(text_of(litres, float(value), room))) + " " + _volume(room)
        text = grouped(text_of(spec, value, room))
        return f"{text} {unit_beside(text, unit)}" if unit in COUNTED_UNITS else f"{text} {unit}"
    text = text_of(spec, value, room)
    if spec.unit == "L":
        text = _decimal(text)
    elif spec.unit == "min":
        text = _minutes(value)
    elif spec.unit == "mJ/cm2" and value >= FULL_DOSE_MJ_CM2:
        text = f"{value:.0f}"
    elif len(text.partition(".")[2]) > MOST_DECIMALS and "e" not in text:
        text = f"{float(text):.{MOST_DECIMALS}f}".rstrip("0").rstrip(".")
    unit = SHARES.get(spec.unit) or unit_label(spec, room)
    return beside(grouped(text) if unit else text, unit)


def _volume(room: RoomRow) -> str:
    return label("volume", units_of(room))


def _minutes(value: float) -> str:
    """Minutes to a tenth, those of less than one to a hundredth: nobody reads 15.9555 min.

    >>> _minutes(15.9555), _minutes(8.0), _minutes(0.456)
    ('16', '8', '0.46')
    """
    return f"{round(value, 1 if value >= 1 else 2):g}"


def _decimal(text: str) -> str:
    """A volume to a decimal at least, as everywhere."""
    return text if "." in text or "e" in text else f"{text}.0"


def _data_words(spec: FieldSpec, value: Any) -> str:
    """A short list in a row; of anything longer only that it was given."""
    is_short = isinstance(value, list | tuple) and len(value) <= SHORT_LIST
    if is_short and all(isinstance(one, str | int | float) for one in value):
        return _listed(
            [
                f"{one:g}" if isinstance(one, float) else spec.words.get(one, str(one))
                for one in value
            ]
        )
    return "given"


def _listed(texts: list[str]) -> str:
    """Texts in a row, “and” before the last."""
    return " and ".join([", ".join(texts[:-1]), texts[-1]]) if len(texts) > 1 else "".join(texts)

"""JSON Lines to entries and back: one event a line, nothing that we do not know is lost."""

import dataclasses
import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from app.domain.errors import FieldError, FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.json_text import read_json
from app.domain.roomlog.fields import (
    LONGEST_NOTE,
    FieldSpec,
    check_key,
    check_moment,
    check_text,
    check_value,
)
from app.domain.roomlog.kinds import KINDS, Entry, Reading

HEADER = ("kind", "at", "id", "entered_at", "by", "note", "corrects")
LONGEST_EXTRA = 4000


def parse_line(text: str) -> Entry:
    """The entry of one line of JSON.

    Raises:
        FieldErrors: with one message for each field that does not fit.
    """
    try:
        raw = read_json(text)
    except ValueError:
        raise FieldErrors([FieldError("line", "This is not a line of JSON.")]) from None
    if not isinstance(raw, dict):
        raise FieldErrors([FieldError("line", "Each line must be a JSON object.")])
    return parse_entry(raw)


def parse_entry(raw: Mapping[str, Any]) -> Entry:
    """The entry of a mapping of field names to JSON values.

    Raises:
        FieldErrors: with one message for each field that does not fit.
    """
    kind = raw.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        shown = "The kind is missing" if kind is None else f"There is no kind “{str(kind)[:40]}”"
        known = ", ".join(KINDS)
        raise FieldErrors([FieldError("kind", f"{shown}. Known kinds: {known}.")])
    errors: list[FieldError] = []
    values = _header(raw, errors)
    specs, required = _schema(KINDS[kind])
    values |= _checked(raw, specs, errors)
    errors += [
        FieldError(name, f"{specs[name].label} is missing.")
        for name in required
        if raw.get(name) is None or values.get(name) == ""
    ]
    ours = set(HEADER) | set(specs)
    if kind == Reading.kind:
        values["values"], names = _reading_values(raw, errors)
        ours |= names
    values["extra"] = _extra(raw, ours, errors)
    if errors:
        raise FieldErrors(errors)
    entry = KINDS[kind](**values)
    if problems := entry.problems():
        raise FieldErrors(problems)
    return entry


def to_mapping(entry: Entry) -> dict[str, Any]:
    """The entry as JSON values, in the order in which the format names them."""
    line: dict[str, Any] = {"kind": entry.kind, "at": entry.at.isoformat()}
    if entry.id:
        line["id"] = entry.id
    if entry.entered_at is not None:
        line["entered_at"] = entry.entered_at.isoformat()
    line |= {name: text for name in ("by", "note", "corrects") if (text := getattr(entry, name))}
    return line | own_fields(entry)


def own_fields(entry: Entry) -> dict[str, Any]:
    """The fields that belong to the entry's kind, and the unknown ones it came with."""
    specs, _ = _schema(type(entry))
    fields = {
        name: value.isoformat() if specs[name].type in ("moment", "day") else value
        for name in specs
        if (value := getattr(entry, name)) is not None
    }
    if isinstance(entry, Reading):
        fields |= entry.values
    return fields | dict(entry.extra)


def to_line(entry: Entry) -> str:
    """The entry as one line of JSON, without the line break."""
    return json.dumps(to_mapping(entry), ensure_ascii=True, separators=(", ", ": "))


def reading_specs(method: str) -> Mapping[str, FieldSpec]:
    """What the instrument of that method shows, by field name.

    Raises:
        FieldError: there is no such instrument.
    """
    if method not in INSTRUMENTS:
        known = ", ".join(INSTRUMENTS)
        raise FieldError(
            "method", f"“{method[:40]}” is not a known method. Known methods: {known}."
        )
    return INSTRUMENTS[method].fields


def _schema(kind: type[Entry]) -> tuple[dict[str, FieldSpec], tuple[str, ...]]:
    return _SCHEMAS[kind.kind]


_SCHEMAS = {kind.kind: (kind.specs(), kind.required()) for kind in KINDS.values()}


def _header(raw: Mapping[str, Any], errors: list[FieldError]) -> dict[str, Any]:
    values: dict[str, Any] = {}

    def take(name: str, check: Any, *more: Any) -> None:
        if raw.get(name) is None or raw[name] == "":
            return
        try:
            values[name] = check(name, raw[name], *more)
        except FieldError as error:
            errors.append(error)

    take("at", check_moment)
    take("entered_at", check_moment)
    take("id", check_key)
    take("corrects", check_key)
    take("by", check_text, 80)
    take("note", check_text, LONGEST_NOTE)
    if "at" not in values and not any(error.field == "at" for error in errors):
        errors.append(FieldError("at", "The time is missing."))
    return values


def _checked(
    raw: Mapping[str, Any], specs: Mapping[str, FieldSpec], errors: list[FieldError]
) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name, spec in specs.items():
        value = raw.get(name)
        if value is None:
            continue
        try:
            values[name] = check_value(name, spec, value)
        except FieldError as error:
            errors.append(error)
    return values


def _reading_values(
    raw: Mapping[str, Any], errors: list[FieldError]
) -> tuple[dict[str, float], set[str]]:
    try:
        method = str(raw.get("method", ""))
        specs = reading_specs(method)
    except FieldError as error:
        if raw.get("method") is not None:
            errors.append(error)
        return {}, set()
    values = _checked(raw, specs, errors)
    bad = {error.field for error in errors}
    if not bad & set(specs):
        errors += INSTRUMENTS[method].problems(values)
    return values, set(specs)


def _extra(raw: Mapping[str, Any], known: set[str], errors: list[FieldError]) -> dict[str, Any]:
    extra = {name: value for name, value in raw.items() if name not in known}
    if extra and len(json.dumps(extra)) > LONGEST_EXTRA:
        errors.append(
            FieldError("line", f"More than {LONGEST_EXTRA} characters of unknown fields.")
        )
    return extra


def field_names(kind: type[Entry]) -> tuple[str, ...]:
    """All field names of a kind, for tables and column mapping."""
    names = [f.name for f in dataclasses.fields(kind) if "spec" in f.metadata]
    if kind is Reading:
        names += sorted({name for item in INSTRUMENTS.values() for name in item.fields})
    return (*HEADER, *names)


def restore(kind: str, header: Mapping[str, Any], fields: Mapping[str, Any]) -> Entry:
    """The entry that was stored with these values; they were checked when it was recorded."""
    specs, _ = _schema(KINDS[kind])
    own = {name: _restored(specs[name], value) for name, value in fields.items() if name in specs}
    rest = {name: value for name, value in fields.items() if name not in specs}
    if kind == Reading.kind:
        shown = INSTRUMENTS[own["method"]].fields
        own["values"] = {name: rest.pop(name) for name in shown if name in rest}
    return KINDS[kind](**header, **own, extra=rest)


def _restored(spec: FieldSpec, value: Any) -> Any:
    if spec.type == "moment":
        return datetime.fromisoformat(value)
    if spec.type == "day":
        return date.fromisoformat(value)
    if spec.type == "points":
        return tuple(tuple(pair) for pair in value)
    return value

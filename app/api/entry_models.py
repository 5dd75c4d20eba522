"""Models of the entries that clients send, made from the fields of each kind.

The domain's own checks decide what a value may be, so that a message reads the same here and on a
page; a new kind, field or instrument appears here by itself.
"""

import json
import math
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    RootModel,
    WithJsonSchema,
    create_model,
)
from pydantic_core import PydanticCustomError

from app.api.moments import DAY_PATTERN, MOMENT_PATTERN, Moment, read_moment
from app.api.problems import sendable
from app.domain.errors import FieldError
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import (
    KEY_PATTERN,
    LARGEST_WHOLE,
    LONGEST_NOTE,
    NOT_IN_TEXT,
    FieldSpec,
    check_key,
    check_text,
    check_value,
)
from app.domain.roomlog.kinds import KINDS, Entry, Reading, Resin, Tank, Withdrawal
from app.domain.roomlog.lines import parse_entry, to_mapping
from app.domain.solvents import SOLVENTS

MOST_IN_BATCH = 1000
LONGEST_NAME = 80


def _by_domain(check: Callable[..., Any], name: str, *details: Any) -> Any:
    """What a check of the domain says, as an error that belongs to the value."""
    try:
        return check(name, *details)
    except FieldError as error:
        # The text goes in as a value: braces in it are no placeholders.
        said = {"message": sendable(error.message)}
        raise PydanticCustomError("unfit", "{message}", said) from None


def _optional(check: Callable[[Any], Any]) -> PlainValidator:
    return PlainValidator(lambda value: None if value is None else check(value))


def _or_null(schema: dict[str, Any]) -> WithJsonSchema:
    return WithJsonSchema({"anyOf": [schema, {"type": "null"}]})


def text_schema(longest: int, *, is_required: bool = False) -> dict[str, Any]:
    """How text is described: what it may hold, and that it is not blank where it is required."""
    any_, seen = f"[^{NOT_IN_TEXT}]*", f"[^{NOT_IN_TEXT}\\s]" if is_required else ""
    pattern = f"^{any_}{seen}{any_}$" if is_required else f"^{any_}$"
    return {"type": "string", "maxLength": longest, "pattern": pattern}


KEY_SCHEMA = {"type": "string", "pattern": f"^{KEY_PATTERN.pattern}$"}
Key = Annotated[
    str | None,
    _optional(lambda value: _by_domain(check_key, "id", value)),
    _or_null(KEY_SCHEMA),
]
Name = Annotated[
    str | None,
    _optional(lambda value: _by_domain(check_text, "by", value, LONGEST_NAME)),
    _or_null(text_schema(LONGEST_NAME)),
]
Note = Annotated[
    str | None,
    _optional(lambda value: _by_domain(check_text, "note", value, LONGEST_NOTE)),
    _or_null(text_schema(LONGEST_NOTE)),
]


class EntryIn(BaseModel):
    """What every entry carries."""

    model_config = ConfigDict(extra="forbid")

    kind: str
    at: Moment | None = Field(default=None, description="When it happened; now if left out.")
    by: Name = Field(default=None, description="Who.")
    note: Note = None


class NewEntryIn(EntryIn):
    """What every new entry carries."""

    id: Key = Field(
        default=None,
        description="Your own key, unique in the room; an entry already stored is skipped.",
    )


def to_entry(body: EntryIn, now: datetime, at: datetime | None = None, corrects: str = "") -> Entry:
    """The entry a body describes, entered at `now`; where it names no time, it happened `at`.

    Raises:
        FieldErrors: with a message for each value that does not fit the others.
    """
    raw = body.model_dump(exclude_none=True)
    return parse_entry({"at": at or now, "entered_at": now, "corrects": corrects} | raw)


def line_of(entry: Entry) -> dict[str, Any]:
    """An entry as answers show it; a field that nobody checked may hold what no UTF-8 carries."""
    line = to_mapping(entry)
    if entry.extra:
        kept: dict[str, Any] = json.loads(sendable(json.dumps(line, ensure_ascii=False)))
        return kept
    return line


def _models(base: type[EntryIn], ending: str) -> dict[str, Any]:
    """A model a kind, for readings a union of one an instrument."""
    models = {
        key: _model(base, kind, ending)
        for key, kind in KINDS.items()
        if kind not in (Reading, Withdrawal)
    }
    readings = [_reading_model(base, method, ending) for method in INSTRUMENTS]
    # A model of its own: OpenAPI's discriminators lead to named schemas only.
    any_reading = create_model(
        f"Reading{ending}",
        __base__=RootModel,
        __doc__=f"{Reading.summary}.",
        root=(_one_of(readings, "method"), ...),
    )
    return {**models, Reading.kind: any_reading}


def _reading_model(base: type[EntryIn], method: str, ending: str) -> Any:
    instrument = INSTRUMENTS[method]
    specs = {**Reading.specs(), **instrument.fields}
    required = (*Reading.required(), *instrument.required)
    fields = _fields(Reading, specs, required) | {"method": (Literal[method], ...)}
    name = f"{_title(method)}Reading{ending}"
    return create_model(name, __base__=base, __doc__=instrument.help, **fields)


def _model(base: type[EntryIn], kind: type[Entry], ending: str) -> Any:
    fields = _fields(kind, kind.specs(), kind.required())
    name = f"{_title(kind.kind)}{ending}"
    return create_model(name, __base__=base, __doc__=f"{kind.summary}.", **fields)


def _fields(
    kind: type[Entry], specs: Mapping[str, FieldSpec], required: Collection[str]
) -> dict[str, Any]:
    own = {name: _field(name, spec, name in required) for name, spec in specs.items()}
    return {"kind": (Literal[kind.kind], ...), **own}


def _title(key: str) -> str:
    return "".join(word.capitalize() for word in key.split("_"))


def _field(name: str, spec: FieldSpec, is_required: bool) -> tuple[Any, Any]:
    unit = "in the smallest unit of the room's currency" if spec.type == "money" else spec.unit
    about = ", ".join(part for part in (spec.label, unit) if part)
    description = f"{about}. {spec.help}".strip()
    schema = _json_schema(spec, is_required=is_required)
    if name == "solvent":
        schema = {"type": "string", "enum": list(SOLVENTS)}
    check = read_moment if spec.type == "moment" else _check(name, spec)
    if is_required:
        required = Annotated[Any, PlainValidator(check), WithJsonSchema(schema)]
        return required, Field(description=description)
    optional = Annotated[Any, _optional(check), _or_null(schema)]
    return optional, Field(default=None, description=description)


def _check(name: str, spec: FieldSpec) -> Callable[[Any], Any]:
    return lambda value: _by_domain(check_value, name, spec, value)


def _json_schema(spec: FieldSpec, *, is_required: bool = False) -> dict[str, Any]:
    bounds = {
        word: bound if math.isfinite(bound) else math.copysign(LARGEST_WHOLE, bound)
        for word, bound in (("minimum", spec.low), ("maximum", spec.high))
    }
    schemas: dict[str, dict[str, Any]] = {
        "key": KEY_SCHEMA,
        "text": text_schema(200, is_required=is_required),
        "number": {"type": "number", **bounds},
        "whole": {"type": "integer", **bounds},
        "flag": {"type": "boolean"},
        "money": {"type": "integer", **bounds},
        "moment": {"type": "string", "pattern": MOMENT_PATTERN},
        "day": {"type": "string", "pattern": DAY_PATTERN},
        "data": {},
        "choice": _choice_schema(spec),
    }
    if spec.type != "points":
        return schemas[spec.type]
    pair = {"type": "array", "items": schemas["number"], "minItems": 2, "maxItems": 2}
    return {"type": "array", "items": pair, "minItems": 2, "maxItems": 50}


def _choice_schema(spec: FieldSpec) -> dict[str, Any]:
    """The words, and the form of a key where others are allowed."""
    words = {"type": "string", "enum": list(spec.choices)}
    return words if spec.also is None else {"anyOf": [words, KEY_SCHEMA]}


def _one_of(models: Iterable[Any], discriminator: str) -> Any:
    return Annotated[Union[tuple(models)], Field(discriminator=discriminator)]  # noqa: UP007


NEW_MODELS = _models(NewEntryIn, "In")
CORRECTION_MODELS = {
    kind: model
    for kind, model in _models(EntryIn, "Correction").items()
    if kind not in (Tank.kind, Resin.kind)  # a tank is changed, a resin entered again
}
if TYPE_CHECKING:  # made at run time, which a type checker cannot follow
    AnyNewEntry = NewEntryIn
    AnyCorrection = EntryIn
else:
    AnyNewEntry = _one_of(NEW_MODELS.values(), "kind")
    AnyCorrection = _one_of(CORRECTION_MODELS.values(), "kind")


class Batch(BaseModel):
    """Entries that are stored all or not at all."""

    model_config = ConfigDict(extra="forbid")

    entries: Annotated[list[AnyNewEntry], Field(min_length=1, max_length=MOST_IN_BATCH)]

"""The page docs/room-log.md, held against the kinds.

`python -m tests.domain.roomlog.page` writes its sections of kinds anew from their fields.
"""

import inspect
import math
from pathlib import Path

from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import KINDS, Entry

PAGE = Path(__file__).parents[3] / "docs" / "room-log.md"
HEAD = "| field | meaning | values | must be given |\n| --- | --- | --- | --- |"
WORDS = {
    "key": "key", "text": "text", "flag": "true or false", "moment": "time", "day": "day",
    "points": "pairs of numbers", "data": "JSON", "whole": "whole number",
    "money": "whole number of the smallest unit of the currency", "number": "number",
}  # fmt: skip


def field_row(name: str, spec: FieldSpec, is_required: bool) -> str:
    """A field's line of a table."""
    allowed = ", ".join(f"`{choice}`" for choice in spec.choices) or WORDS[spec.type]
    if spec.type in ("number", "whole") and math.isfinite(spec.low):
        allowed += f", {spec.low:g} to {spec.high:g} {spec.unit}".rstrip()
    return f"| `{name}` | {spec.label} | {allowed} | {'yes' if is_required else ''} |"


def rows_of(kind: type[Entry]) -> list[str]:
    """The lines of a kind's table."""
    required = kind.required()
    return [field_row(name, spec, name in required) for name, spec in kind.specs().items()]


def rows_of_kinds() -> list[str]:
    """The lines of all kinds' tables."""
    return [row for kind in KINDS.values() for row in rows_of(kind)]


def rows_of_instruments() -> list[str]:
    """The lines of the instruments' tables."""
    return [
        field_row(name, spec, name in item.required)
        for item in INSTRUMENTS.values()
        for name, spec in item.fields.items()
    ]


def section(kind: type[Entry]) -> str:
    """What the page says of a kind."""
    about = (inspect.getdoc(kind) or "").split("\n\nAttributes:")[0]
    table = "\n".join([HEAD, *rows_of(kind)])
    return f"### `{kind.kind}`: {kind.summary}\n\n{about}\n\n{table}\n"


def with_new_kinds(page: str) -> str:
    """The page with the sections of all kinds but the reading's written anew."""
    before, rest = page.split("## Kinds\n", 1)
    old, after = rest.split("\n## Replay\n", 1)
    kept = {part.split("`")[1]: f"### {part}" for part in old.split("### ")[1:]}
    sections = [
        kept["reading"].rstrip() + "\n" if key == "reading" else section(kind)
        for key, kind in KINDS.items()
    ]
    return f"{before}## Kinds\n\n{chr(10).join(sections)}\n## Replay\n{after}"


if __name__ == "__main__":
    PAGE.write_text(with_new_kinds(PAGE.read_text("utf-8")), "utf-8")

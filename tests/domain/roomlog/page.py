"""The pages of docs that are tables of what the program holds, held against it.

`python -m tests.domain.roomlog.page` writes them anew: the kinds and what instruments show in
docs/room-log.md, the solvents and instruments in docs/formulas.md, the waits in docs/curing.md.
"""

import inspect
import math
from pathlib import Path

from app.domain.curing.drying import asked_minutes
from app.domain.instruments import INSTRUMENTS, Instrument
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import KINDS, Entry, Reading
from app.domain.solvents import SOLVENTS, Solvent

DOCS = Path(__file__).parents[3] / "docs"
PAGE = DOCS / "room-log.md"
FORMULAS = DOCS / "formulas.md"
CURING = DOCS / "curing.md"
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


def section_of_readings(item: Instrument) -> str:
    """What the page says of readings by an instrument."""
    rows = [field_row(name, spec, name in item.required) for name, spec in item.fields.items()]
    return f"`{item.key}` ({item.name}):\n\n{HEAD}\n{chr(10).join(rows)}\n"


def with_new_kinds(page: str) -> str:
    """The page with the sections of all kinds written anew."""
    before, rest = page.split("## Kinds\n", 1)
    after = rest.split("\n## Replay\n", 1)[1]
    sections = [section(kind) for kind in KINDS.values()]
    place = list(KINDS).index(Reading.kind)
    shown = [section_of_readings(item) for item in INSTRUMENTS.values()]
    sections[place] += f"\nWhat is measured depends on the method:\n\n{chr(10).join(shown)}"
    return f"{before}## Kinds\n\n{chr(10).join(sections)}\n## Replay\n{after}"


def solvent_row(item: Solvent) -> str:
    """A solvent's line of the table of formulas."""
    flash = "none" if item.flash_point_c is None else f"{item.flash_point_c:g}"
    model = item.density
    source = item.sources["density"]
    figures = (
        f"{model.density_20c_g_ml:.5g}",
        f"{model.sd_g_ml:g}",
        f"{item.boiling_point_c:g}",
        flash,
        f"{item.index(100):.4g}",
        f"{source.document} ({source.confidence})",
    )
    return f"| `{item.key}` | {' | '.join(figures)} |"


def instrument_row(item: Instrument) -> str:
    """An instrument's line of the table of formulas."""
    fields = ", ".join(
        f"`{name}` {field.low:g} to {field.high:g} {field.unit}".strip()
        for name, field in item.fields.items()
    )
    return f"| `{item.key}` | {item.name} | {fields} | {item.filter_sd_percent:g} |"


def wait_row(item: Solvent) -> str:
    """A solvent's line of the table of waits."""
    more = ", after it was rinsed off" if item.dries_slowly else ""
    return f"| {item.name} | {asked_minutes(item.key):g} min{more} |"


def with_table(page: str, head: str, rows: list[str]) -> str:
    """The page with the rows of the table of that head written anew.

    Raises:
        ValueError: the page has no such table.
    """
    before, found, rest = page.partition(f"{head}\n")
    if not found:
        raise ValueError(f"The page has no table {head}.")
    ruler, _, rest = rest.partition("\n")
    after = rest.partition("\n\n")[2]
    return f"{before}{head}\n{ruler}\n{chr(10).join(rows)}\n\n{after}"


def formulas(page: str) -> str:
    """docs/formulas.md with its tables written anew."""
    solvents = [solvent_row(item) for item in SOLVENTS.values()]
    page = with_table(
        page,
        "| key | density at 20 C | its sd | boils at | flash point | index at 20 C "
        "| source of the density |",
        solvents,
    )
    instruments = [instrument_row(item) for item in INSTRUMENTS.values()]
    return with_table(page, "| key | name | fields | noise of one reading, mass % |", instruments)


def curing(page: str) -> str:
    """docs/curing.md with its table of waits written anew."""
    return with_table(
        page, "| solvent | usual wait |", [wait_row(item) for item in SOLVENTS.values()]
    )


WRITTEN = {PAGE: with_new_kinds, FORMULAS: formulas, CURING: curing}
"""How each page is written anew."""

if __name__ == "__main__":
    for path, write in WRITTEN.items():
        path.write_text(write(path.read_text("utf-8")), "utf-8")

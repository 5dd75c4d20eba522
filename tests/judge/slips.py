"""Slips of the pen, planted into honest entries and sent through the write door.

Of each figure: ten times and a tenth, a thousand times and a thousandth (millilitres for litres,
grams for kilograms), the first digit twice or two neighbours swapped where that moves it by more
than half, a fraction for percent, Fahrenheit for Celsius, seconds for minutes, a minus sign.

Which slips count: those that could be told. One that gives a value as honest entries of the same
field in the same place have is no slip that anybody could see (3.1 for 1.3 L of a top-up), nor is
one that leaves a whole number broken, which no form takes. Honest values are those of the whole
demo log and of the made-up entries; the same place is the same tank, station, item or duty where
five values or more are known of it, else the room.
"""

import dataclasses
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.domain.roomlog.kinds import KINDS, Entry, Reading
from app.web.telling import all_specs

KNOWN = 5
PLACES = ("tank", "station", "item", "duty", "drum", "resin")


@dataclass(frozen=True)
class Slip:
    """A line with one figure typed wrong."""

    kind: str
    field: str
    sort: str
    honest: float
    typed: float
    line: Mapping[str, Any]


def _doubled(value: float) -> float | None:
    """The first digit twice, where that moves the value by more than half."""
    text = f"{value:.6g}"
    first = next((place for place, one in enumerate(text) if one in "123456789"), None)
    if first is None or "e" in text:
        return None
    made = float(text[: first + 1] + text[first] + text[first + 1 :])
    return made if abs(made - value) > 0.5 * abs(value) else None


def _swapped(value: float) -> float | None:
    """The swap of two neighbouring digits that moves the value most, where by more than half."""
    text = f"{value:.6g}"
    digits = [place for place, one in enumerate(text) if one.isdigit()]
    best = None
    for one, other in itertools.pairwise(digits):
        made = list(text)
        made[one], made[other] = made[other], made[one]
        found = float("".join(made))
        if abs(found - value) > 0.5 * abs(value) and (
            best is None or abs(found - value) > abs(best - value)
        ):
            best = found
    return best


def typed_wrong(value: float, unit: str) -> Iterator[tuple[str, float]]:
    """What somebody may have typed instead, by the sort of slip."""
    if value == 0 or not math.isfinite(value):
        return
    found: dict[str, float | None] = {
        "ten times": value * 10, "a tenth": value / 10, "a thousand times": value * 1000,
        "a thousandth": value / 1000, "digit doubled": _doubled(value),
        "digits swapped": _swapped(value), "minus sign": -value,
    }  # fmt: skip
    if unit.startswith(("%", "mass %", "volume %")):
        found["fraction for percent"] = value / 100
    if unit == "C":
        found["Fahrenheit"] = round(1.8 * value + 32, 1)
    if unit == "min":
        found["seconds for minutes"] = value * 60
        found["hours for minutes"] = value / 60
    yield from ((sort, one) for sort, one in found.items() if one is not None and one != value)


Line = dict[str, Any]
Key = tuple[str, str, str]


def ranges(entries: Iterable[Entry]) -> dict[Key, tuple[float, float]]:
    """Between what honest values of a field lie: by kind, field and place, and for the room."""
    values: dict[Key, list[float]] = {}
    for entry in entries:
        for name, value in figures(entry):
            for place in ("", place_of(entry)):
                values.setdefault((entry.kind, name, place), []).append(value)
    return {
        key: (min(some), max(some)) for key, some in values.items() if not key[2] or
        len(some) >= KNOWN
    }  # fmt: skip


def place_of(entry: Entry) -> str:
    """The tank, station, item or duty that an entry is about."""
    named = (getattr(entry, name, None) for name in PLACES)
    return next((str(one) for one in named if one), "")


def figures(entry: Entry) -> Iterator[tuple[str, float]]:
    """The single figures of an entry."""
    values = entry.values if isinstance(entry, Reading) else {}
    for name, spec in all_specs(entry).items():
        value = values.get(name, getattr(entry, name, None))
        is_figure = isinstance(value, int | float) and not isinstance(value, bool)
        if spec.type in ("number", "whole", "money") and is_figure:
            yield name, float(value)


def slips_of(
    line: Mapping[str, Any], entry: Entry, honest: Mapping[Key, tuple[float, float]]
) -> Iterator[Slip]:
    """The slips of one line that could be told."""
    specs = all_specs(entry)
    for name, value in figures(entry):
        spec = specs[name]
        low, high = honest.get(
            (entry.kind, name, place_of(entry)), honest.get((entry.kind, name, ""), (value, value))
        )
        for sort, typed in typed_wrong(value, spec.unit):
            is_whole = spec.type in ("whole", "money")
            if low <= typed <= high or (is_whole and typed != int(typed)):
                continue
            kept = int(typed) if is_whole else float(f"{typed:.9g}")
            yield Slip(entry.kind, name, sort, value, typed, {**line, name: kept})
    for name, spec in specs.items():
        if spec.type == "points" and line.get(name):
            yield from _of_points(line, entry.kind, name)


def _of_points(line: Mapping[str, Any], kind: str, name: str) -> Iterator[Slip]:
    """A pair with one of its figures typed wrong."""
    points = [list(pair) for pair in line[name]]
    for place, side in ((1, 1), (len(points) - 1, 1), (1, 0)):
        for sort, typed in typed_wrong(points[place][side], ""):
            if sort in ("ten times", "a tenth", "digit doubled"):
                changed = [list(pair) for pair in points]
                changed[place][side] = typed
                value = points[place][side]
                yield Slip(kind, name, sort, value, typed, {**line, name: changed})


def spread(slips: Sequence[Slip], each: int) -> list[Slip]:
    """At most so many of each field, of different sorts, the same ones each time."""
    by_field: dict[tuple[str, str], list[Slip]] = {}
    for slip in slips:
        by_field.setdefault((slip.kind, slip.field), []).append(slip)
    chosen: list[Slip] = []
    for turn, some in enumerate(by_field.values()):
        sorts: dict[str, Slip] = {}
        for slip in some:
            sorts.setdefault(slip.sort, slip)
        kept = list(sorts.values())
        chosen += [kept[(turn + step * 3) % len(kept)] for step in range(min(each, len(kept)))]
    return _unique(chosen)


def _unique(slips: Sequence[Slip]) -> list[Slip]:
    seen: dict[tuple[Any, ...], Slip] = {}
    for slip in slips:
        seen.setdefault((slip.kind, slip.field, slip.sort, slip.honest), slip)
    return list(seen.values())


def table(slips: Sequence[Slip], missed: Sequence[Slip]) -> str:
    """By kind and field how many were planted, and which of them nobody asked about."""
    rows = ["| kind | field | planted | unasked |", "|---|---|---|---|"]
    for kind, field in sorted({(one.kind, one.field) for one in slips}):
        mine = [one for one in slips if (one.kind, one.field) == (kind, field)]
        odd = [one for one in missed if (one.kind, one.field) == (kind, field)]
        said = "; ".join(f"{one.typed:g} for {one.honest:g} ({one.sort})" for one in odd)
        rows.append(f"| {kind} | {field} | {len(mine)} | {said or '-'} |")
    return "\n".join(rows)


def numeric_fields() -> list[tuple[str, str]]:
    """Every field of every kind that holds figures, from the registry."""
    return [
        (kind, field.name)
        for kind, each in KINDS.items()
        for field in dataclasses.fields(each)
        if "spec" in field.metadata
        and field.metadata["spec"].type in ("number", "whole", "money", "points")
    ]

"""What-if cases side by side: the table's cells, the chart's bars, what to say of them first."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.domain.plural import MINUS, thousands
from app.domain.spend.whatif.backtest import Figure
from app.domain.spend.whatif.cases import Spread
from app.domain.spend.whatif.outcomes import Outcome
from app.web.money import Money

REPEAT_WORDS = {
    "swaps": "Swaps", "bath_l": "Fresh solvent into baths, L", "waste_kg": "Poured into drums, kg",
    "solvent_cents": "Solvent used", "cents": "All costs",
}  # fmt: skip
PARTS = {
    "solvent": "Solvent", "disposal": "Disposal", "labour": "Labour of swaps",
    "recovery": "Recovery", "goods": "Consumables of swaps", "rest": "Everything else in the books",
}  # fmt: skip
SURE_G = 1.0  # differences smaller than that in a year are no difference


@dataclass(frozen=True)
class Case:
    """A case and what came of it; `place` is empty for the room as it is kept."""

    place: str
    name: str
    outcome: Outcome
    is_unchanged: bool = False


@dataclass(frozen=True)
class Cell:
    """A figure of a case: as it is, its range, and what it differs by from now."""

    text: str
    range: str = ""
    change: str = ""


@dataclass(frozen=True)
class Row:
    """A line of the table."""

    title: str
    unit: str
    cells: tuple[Cell, ...]
    kind: str = ""


def in_order(cases: Sequence[Case], order: str) -> list[Case]:
    """The room as it is kept first; the others as they were entered, or the cheapest first."""
    if order != "cost":
        return list(cases)
    return [cases[0], *sorted(cases[1:], key=lambda case: case.outcome.cents)]


def rows(cases: Sequence[Case], money: Money) -> list[Row]:
    """The table: money, then what is done, then what the parts get."""
    now = cases[0].outcome
    found = [_cost(cases, money), _against(cases, money)]
    for name, title in PARTS.items():
        if any(case.outcome.parts[name] for case in cases):
            found.append(_figure(cases, name, title, money.unit, money.about, "part"))
    found.append(_figure(cases, "swaps", "Swaps", "", _whole, "group", with_range=True))
    found.append(_figure(cases, "labour_h", "Work on baths", "h", _whole))
    found.append(_figure(cases, "fresh_l", "Fresh solvent used", "L", _whole))
    found.append(_figure(cases, "containers", "Containers bought", "", _whole))
    found.append(_figure(cases, "waste_kg", "Waste", "kg", _whole))
    found.append(_figure(cases, "residue_g", "Resin left on parts", "g", _whole, "group"))
    if now.washes:
        title = f"Washes past the limit, of {_whole(now.washes)}"
        found.append(_figure(cases, "past_washes", title, "", _whole))
    return found


def _cost(cases: Sequence[Case], money: Money) -> Row:
    cells = [
        Cell(money.about(case.outcome.cents), _range(case.outcome.of("cents"), money.about))
        for case in cases
    ]
    return Row("Cost in a year", money.unit, tuple(cells), "cost")


def _against(cases: Sequence[Case], money: Money) -> Row:
    cells = []
    for case in cases:
        if case.place == "" or case.is_unchanged:
            cells.append(Cell("as now" if case.place else "–"))
            continue
        change = case.outcome.against(cases[0].outcome, "cents")
        cells.append(Cell(_signed(change.middle, money.about), _range_signed(change, money.about)))
    return Row("Against now", money.unit, tuple(cells), "against")


def _figure(
    cases: Sequence[Case], name: str, title: str, unit: str, written: Callable[[float], str],
    kind: str = "", *, with_range: bool = False,
) -> Row:  # fmt: skip
    cells = []
    for case in cases:
        spread = case.outcome.of(name)
        change = ""
        if case.place and not case.is_unchanged:
            change = _signed(case.outcome.against(cases[0].outcome, name).middle, written)
        cells.append(
            Cell(written(spread.middle), _range(spread, written) if with_range else "", change)
        )
    return Row(title, unit, tuple(cells), kind)


def _whole(value: float) -> str:
    return thousands(round(value))


def _signed(value: float, written: Callable[[float], str]) -> str:
    text = written(abs(value))
    if text == written(0.0):
        return "±0"
    return f"{'+' if value > 0 else MINUS}{text}"


def _range(spread: Spread, written: Callable[[float], str]) -> str:
    low, high = written(spread.low), written(spread.high)
    return low if low == high else f"{low} to {high}"


def _range_signed(spread: Spread, written: Callable[[float], str]) -> str:
    low, high = _signed(spread.low, written), _signed(spread.high, written)
    return low if low == high else f"{low} to {high}"


def headline(cases: Sequence[Case], money: Money) -> str:
    """The cheapest case against now, with what the parts pay for it."""
    changed = [case for case in cases[1:] if not case.is_unchanged]
    if not changed:
        return ""
    best = min(changed, key=lambda case: case.outcome.cents)
    change = best.outcome.against(cases[0].outcome, "cents")
    if change.low <= 0 <= change.high:
        return f"{best.name} costs about as much as now; the difference could go either way."
    side = "less" if change.middle < 0 else "more"
    least, most = sorted((abs(change.low), abs(change.high)))
    text = (
        f"{best.name} costs {money.about(abs(change.middle))} a year {side} than now (between"
        f" {money.about(least)} and {money.about(most)})"
    )
    residue = best.outcome.against(cases[0].outcome, "residue_g").middle
    before = cases[0].outcome.of("residue_g").middle
    if abs(residue) < SURE_G or not before:
        return f"{text}, with as much resin left on parts."
    word = "more" if residue > 0 else "less"
    joined = "but leaves" if (residue > 0) == (change.middle < 0) else "and leaves"
    return f"{text}, {joined} {abs(100 * residue / before):.0f} % {word} resin on parts."


def chart(cases: Sequence[Case], money: Money) -> list[dict[str, Any]]:
    """Each case's cost and range in percent of the widest."""
    ranges = [case.outcome.of("cents") for case in cases]
    highest = max((one.high for one in ranges), default=0.0) or 1.0
    return [
        {
            "name": case.name, "width": _percent(case.outcome.cents, highest),
            "low": _percent(one.low, highest), "high": _percent(one.high, highest),
            "words": f"{case.name}: {money.about(case.outcome.cents)} a year, likely"
                     f" {_range(one, money.about)}",
            "is_now": case.place == "",
        }
        for case, one in zip(cases, ranges, strict=True)
    ]  # fmt: skip


def _percent(value: float, highest: float) -> float:
    return round(100 * value / highest, 1)


@dataclass(frozen=True)
class Repeated:
    """A figure of the past in words.

    Attributes:
        held: in how many stretches its range held the books, before it was widened and after.
        wider: by how much it is widened; empty where it is not.
    """

    title: str
    booked: str
    told: str
    held: str
    wider: str


def repeat_rows(figures: Sequence[Figure], money: Money) -> list[Repeated]:
    """The past as booked and as the model tells it, with the range that is shown above."""
    found = []
    for one in figures:
        whole = one.whole
        written: Callable[[float], str] = money.about if one.name.endswith("cents") else _whole
        told = f"{written(whole.told.middle)} ({_range(whole.widened(one.doubt), written)})"
        wider = f"by {math.ceil(100 * one.doubt)} %" if one.doubt else ""
        held = f"{one.held} of {len(one.lines)}"
        if one.doubt:
            held += f"; widened {one.held_widened} of {len(one.lines)}"
        found.append(Repeated(REPEAT_WORDS[one.name], written(whole.booked), told, held, wider))
    return found


def repeat_words(figures: Sequence[Figure], weeks: int) -> str:
    """How well the model repeats the past, in a sentence."""
    if not figures or not any(one.whole.booked for one in figures):
        return "There is no past yet to test this model on."
    last = f"your last {weeks} weeks" if weeks > 1 else "your last week"
    count = len(figures[0].stretches)
    parts = f", whole and in {count} parts" if count else ""
    if any(one.pace for one in figures):
        parts += ", and at a year's pace"
    lines = [line for one in figures for line in one.lines]
    held = sum(line.is_within for line in lines)
    text = (
        f"Tested on {last}{parts}: {held} of {len(lines)} figures in the books fall within the "
        "ranges as first calculated."
    )
    if held == len(lines):
        return text
    after = sum(one.held_widened for one in figures)
    return (
        f"{text} Each range on this page is widened to fit its own record: "
        f"{after} of {len(lines)} fall within them."
    )


def by_case(
    cases: Sequence[Case], said: Callable[[Outcome], Sequence[str]]
) -> Mapping[str, list[str]]:
    """Each sentence once, with the names of the cases that it belongs to."""
    found: dict[str, list[str]] = {}
    for case in cases:
        for text in said(case.outcome):
            found.setdefault(text, []).append(case.name)
    return found

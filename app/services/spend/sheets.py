"""The week to take away: a workbook with live sums, and a table as CSV."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from app.domain.money import digits_of, in_units
from app.domain.roomlog.cells import guarded
from app.domain.solvents import SOLVENTS
from app.domain.spend.cost_lines import CATEGORIES, CATEGORY_WORDS, CostLine
from app.domain.spend.weekly_costs import Comparison
from app.services.spend.week import Week

COLUMNS = ("Entry", "At", "Week", "Cause", "What", "Tank", "Item", "Solvent", "Amount", "Unit",
           "Price from", "Cost")  # fmt: skip
COST_COLUMN = "L"
GROUP_COLUMNS = {"By tank": "F", "By solvent": "H"}


def csv_lines(lines: Iterable[CostLine], week: str, zone: ZoneInfo, currency: str) -> Iterator[str]:
    """The lines as CSV after RFC 4180, one text a line; costs in whole units of the currency."""
    for row in [COLUMNS, *(_cells(line, week, zone, currency) for line in lines)]:
        target = io.StringIO()
        csv.writer(target, lineterminator="\r\n").writerow(
            [guarded(cell) if isinstance(cell, str) else cell for cell in row]
        )
        yield target.getvalue()


def _cells(
    line: CostLine, week: str, zone: ZoneInfo, currency: str,
    causes: Mapping[str, str] | None = None,
) -> tuple[Any, ...]:  # fmt: skip
    local = line.at.astimezone(zone).strftime("%Y-%m-%d %H:%M")
    cause = (causes or {}).get(line.category, line.category)
    return (
        line.entry, local, week, cause, line.what, line.tank, line.item, line.solvent,
        line.quantity or "", line.unit, line.basis, in_units(line.cents, currency),
    )  # fmt: skip


def quality_rows(read: Week) -> list[tuple[str, int]]:
    """What stands beside the cost: name and count."""
    found, bad = read.quality, read.quality.rejects
    return [
        ("Washes", found.washes), ("Washes past the limit", found.late),
        ("Times that parts were rejected", bad.entries), ("Parts rejected", bad.parts),
        ("Parts rejected as tacky", bad.tacky), ("Parts washed again", bad.washed_again),
        ("Parts scrapped", bad.scrapped),
    ]  # fmt: skip


def workbook(
    path: Path, week: str, lines: Sequence[CostLine], groups: Mapping[str, Any], zone: ZoneInfo,
    currency: str = "",
    beside: Mapping[str, Sequence[tuple[str, int, bool]]] | None = None,
    why: Comparison | None = None,
) -> None:  # fmt: skip
    """Write the workbook: one sheet of entries, one of sums that follow it.

    Rows are written as they come and kept nowhere (constant memory), so the entries are first.
    `beside` are figures that no entry here adds up to: name, figure, and whether it is money. A
    usual week (`why`) is made of other weeks' entries and stands as values beside this one's sums.
    """
    options = {
        "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False,
    }  # fmt: skip
    import xlsxwriter  # type: ignore[import-untyped]  # noqa: PLC0415  (a start is quicker)

    with xlsxwriter.Workbook(str(path), options) as book:
        digits = digits_of(currency)
        shape = f"#,##0.{digits * '0'}".rstrip(".")
        pen = _Pen(
            book.add_format({"bold": True}), book.add_format({"num_format": shape}), currency
        )
        entries = book.add_worksheet("Entries")
        entries.set_column(0, len(COLUMNS) - 1, 16)
        for column, name in enumerate(COLUMNS):
            entries.write_string(0, column, name, pen.bold)
        for number, line in enumerate(lines, 1):
            _write(entries, number, _cells(line, week, zone, currency, CATEGORY_WORDS), pen)
        sheet = book.add_worksheet("Sums")
        sheet.set_column(0, 1, 30)
        row = _sums(sheet, week, lines, groups, pen)
        row = _against(sheet, row, why, pen)
        _beside(sheet, row, beside or {}, pen)


@dataclass(frozen=True)
class _Pen:
    """How cells are written: titles, and amounts in whole units of a currency."""

    bold: Any
    money: Any
    currency: str

    def value(self, cents: int) -> float:
        """An amount as a cell holds it."""
        return float(in_units(cents, self.currency))


def _write(sheet: Any, number: int, cells: Sequence[Any], pen: _Pen) -> None:
    for column, cell in enumerate(cells):
        if isinstance(cell, Decimal):
            sheet.write_number(number, column, float(cell), pen.money)
        elif isinstance(cell, float | int):
            sheet.write_number(number, column, cell)
        elif cell:
            sheet.write_string(number, column, cell)


def _sums(
    sheet: Any, week: str, lines: Sequence[CostLine], groups: Mapping[str, Any], pen: _Pen
) -> int:
    last = max(len(lines) + 1, 2)
    cost = f"Entries!${COST_COLUMN}$2:${COST_COLUMN}${last}"
    sheet.write_string(0, 0, f"Week {week}", pen.bold)
    sheet.write_string(0, 1, pen.currency, pen.bold)
    row = 1
    for name in CATEGORIES:
        cents = sum(line.cents for line in lines if line.category == name)
        sheet.write_string(row, 0, CATEGORY_WORDS[name])
        formula = f"=SUMIF(Entries!$D$2:$D${last},A{row + 1},{cost})"
        sheet.write_formula(row, 1, formula, pen.money, pen.value(cents))
        row += 1
    whole = sum(line.cents for line in lines)
    sheet.write_string(row, 0, "All", pen.bold)
    sheet.write_formula(row, 1, f"=SUM(B2:B{row})", pen.money, pen.value(whole))
    row += 2
    for title, found in groups.items():
        sheet.write_string(row, 0, title, pen.bold)
        for key, name, cents in found:
            row += 1
            sheet.write_string(row, 0, name)
            if (column := GROUP_COLUMNS.get(title)) is None:
                sheet.write_number(row, 1, pen.value(cents), pen.money)
            else:  # "=" is an empty cell: what is tied to none
                keys = f"Entries!${column}$2:${column}${last}"
                formula = f'=SUMIF({keys},"{key or "="}",{cost})'
                sheet.write_formula(row, 1, formula, pen.money, pen.value(cents))
        row += 2
    return row


def _against(sheet: Any, row: int, why: Comparison | None, pen: _Pen) -> int:
    """Change, this week and the usual one by cause: the first two follow the sums above."""
    if why is None:
        return row
    titles = (f"Against the mean of {why.weeks} weeks", "Change", "This week", "Usual")
    for column, text in enumerate(titles):
        sheet.write_string(row, column, text, pen.bold)
    rows = [
        (CATEGORY_WORDS[one.category], CATEGORIES.index(one.category) + 2, one.cents,
         one.usual_cents)
        for one in why.drivers
    ]  # fmt: skip
    for name, place, cents, usual_cents in [
        *rows, ("All causes", len(CATEGORIES) + 2, why.cents, why.usual_cents)
    ]:  # fmt: skip
        row += 1
        sheet.write_string(row, 0, name)
        change = pen.value(cents - usual_cents)
        sheet.write_formula(row, 1, f"=C{row + 1}-D{row + 1}", pen.money, change)
        sheet.write_formula(row, 2, f"=B{place}", pen.money, pen.value(cents))
        sheet.write_number(row, 3, pen.value(usual_cents), pen.money)
    return row + 2


def _beside(sheet: Any, row: int, beside: Mapping[str, Any], pen: _Pen) -> None:
    for title, figures in beside.items():
        sheet.write_string(row, 0, title, pen.bold)
        for name, figure, is_money in figures:
            row += 1
            sheet.write_string(row, 0, name)
            value = pen.value(figure) if is_money else figure
            sheet.write_number(row, 1, value, pen.money if is_money else None)
        row += 2


def solvent_name(key: str) -> str:
    """A solvent's name."""
    return SOLVENTS[key].name if key in SOLVENTS else key


def write_week(
    path: Path, week: Week, tanks: Mapping[str, str], resins: Mapping[str, str], zone: ZoneInfo
) -> None:
    """The workbook of a week."""
    groups = {
        "By tank": [
            (group.key, tanks.get(group.key, group.key) or "Whole room", group.cents)
            for group in week.by_tank
        ],
        "By solvent": [
            (group.key, solvent_name(group.key) if group.key else "Whole room", group.cents)
            for group in week.by_solvent
        ],
        "By resin (allotted)": [
            (group.key, resins.get(group.key, group.key) or "Whole room", group.cents)
            for group in week.by_resin
        ],
    }
    counts = [*quality_rows(week), ("Taken from the shelf without a price", len(week.unpriced))]
    beside = {"Quality": [(name, count, False) for name, count in counts]}
    worth = [
        (f"{tanks.get(one.tank, one.tank)}, {one.litres:.1f} L", one.cents, True)
        for one in week.quality.losses
        if one.cents is not None
    ]
    if worth:
        beside["Lost to problems, charged when it was filled"] = worth
    currency = week.spend.prices.currency
    workbook(path, str(week.week), week.lines, groups, zone, currency, beside, week.why)

"""The week as a workbook with live sums, and as CSV that no spreadsheet runs."""

import csv
import io
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from sqlmodel import Session

from app.domain.roomlog.cells import guarded
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.spend.cost_lines import CostLine
from app.domain.spend.weeks import IsoWeek
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.spend.reports import csv_lines, workbook, write_week
from app.services.spend.weekly_costs import read_week
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store
from tests.services.spend.test_weekly_costs import costly, stocked

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
NASTY = '=HYPERLINK("http://x.test","click")'


def line(cents: int, category: str = "solvent", tank: str = "t1", what: str = "x") -> CostLine:
    return CostLine(
        "e1", AT, category, cents, what, "invoice", tank, "ipa", "isopropanol", 1.5, "L"
    )


@pytest.mark.parametrize("text", [NASTY, "+1", "-1+1", "@SUM(A1)"])
def test_text_that_could_run_is_quoted(text: str) -> None:
    # OWASP, CSV injection: cells beginning with = + - @ tab or carriage return.
    assert guarded(text) == f"'{text}"


@pytest.mark.parametrize("before", ["\t", "\r", ";"])
def test_text_that_could_run_behind_what_parts_cells_is_quoted(before: str) -> None:
    assert guarded(f"{before}=1").endswith(f"{before}'=1")


def test_the_table_is_csv_with_harmless_text_and_exact_amounts() -> None:
    text = "".join(csv_lines([line(101, what=NASTY), line(-5)], "2026-W10", UTC, "EUR"))  # type: ignore[arg-type]
    rows = list(csv.DictReader(io.StringIO(text)))
    assert rows[0]["What"] == "'" + NASTY
    assert [row["Cost"] for row in rows] == ["1.01", "-0.05"]
    assert text.endswith("\r\n")


def test_the_workbook_sums_by_formulas_that_hold_the_same_values(tmp_path: Path) -> None:
    lines = [line(101), line(250, "disposal"), line(49, tank="t2", what=NASTY)]
    groups = {"By tank": [("t1", "T1", 351), ("t2", "T2", 49)]}
    workbook(tmp_path / "w.xlsx", "2026-W10", lines, groups, UTC)  # type: ignore[arg-type]
    values = openpyxl.load_workbook(tmp_path / "w.xlsx", data_only=True)
    formulas = openpyxl.load_workbook(tmp_path / "w.xlsx")
    shown = {row[0].value: row[1].value for row in values["Sums"].iter_rows() if row[0].value}
    assert shown["Solvent"] == 1.5
    assert shown["All"] == 4.0
    assert (shown["T1"], shown["T2"]) == (3.51, 0.49)
    written = {row[0].value: row[1].value for row in formulas["Sums"].iter_rows() if row[0].value}
    assert written["Solvent"].startswith("=SUMIF(Entries!")
    assert written["All"] == "=SUM(B2:B7)"
    cell = formulas["Entries"]["E4"]
    assert (cell.data_type, cell.value) == ("s", NASTY)


def evaluated(book: Any, formula: str) -> float:
    """What a formula of the sums comes to, by a reading of its own (four forms)."""
    sums, entries = book["Sums"], book["Entries"]
    if inner := re.fullmatch(r"=SUM\((B\d+:B\d+)\)", formula):
        return sum(evaluated(book, row[0].value) for row in sums[inner[1]])
    if apart := re.fullmatch(r"=(C\d+)-(D\d+)", formula):
        return evaluated(book, sums[apart[1]].value) - float(sums[apart[2]].value)
    if same := re.fullmatch(r"=(B\d+)", formula):
        return evaluated(book, sums[same[1]].value)
    found = re.fullmatch(r"=SUMIF\(Entries!\$(\w)\$2:\$\w\$(\d+),(.+),Entries!\$L.*\)", formula)
    assert found is not None, formula
    column, last, wanted = found[1], int(found[2]), found[3].strip('"')
    if not found[3].startswith('"'):
        wanted = sums[found[3]].value
    wanted = None if wanted == "=" else wanted
    rows = range(2, last + 1)
    return sum(
        entries[f"L{row}"].value for row in rows if entries[f"{column}{row}"].value == wanted
    )


def test_all_sums_of_a_weeks_workbook_follow_its_entries_in_every_view(
    tmp_path: Path,
) -> None:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    rent = OtherCost(at=NOW - timedelta(days=10), id="rent", prices="prices", cost_cents=40_000,
                     purpose="other", what="Rent")  # fmt: skip
    record(store, ROOM, [*stocked(), *costly(), rent], NOW)
    with Session(store.reader) as session:
        week = read_week(session, find_room(session, ROOM), IsoWeek(2026, 9), NOW)
    store.close()
    write_week(tmp_path / "w.xlsx", week, {"t1": "T1", "t2": NASTY}, {"slate": "Slate"}, UTC)  # type: ignore[arg-type]
    book = openpyxl.load_workbook(tmp_path / "w.xlsx")
    values = openpyxl.load_workbook(tmp_path / "w.xlsx", data_only=True)["Sums"]
    sections: dict[str, float] = {}
    title = "Categories"
    for row in book["Sums"].iter_rows(min_row=2):
        name, cell = row[0].value, row[1].value
        if name is None or cell is None or cell == "Change":
            title = name or title
            continue
        if isinstance(cell, str):
            assert evaluated(book, cell) == pytest.approx(values[row[1].coordinate].value)
        if name != "All":
            sections[title] = sections.get(title, 0) + values[row[1].coordinate].value
    for title in ("Categories", "By tank", "By solvent", "By resin (shared out)"):
        assert sections[title] == pytest.approx(336.42), title
    assert "Quality" in sections
    # By hand: 400.00 of other costs in the week before, 336.42 in this one.
    changes = {
        row[0].value: [cell.value for cell in row[1:4]]
        for row in values.iter_rows()
        if row[0].value in ("All causes", "Other") and row[3].value is not None
    }
    assert changes == {"All causes": [-63.58, 336.42, 400], "Other": [-387.5, 12.5, 400]}
    texts = {cell.value for row in book["Sums"].iter_rows() for cell in row if cell.value}
    assert {"Washes past the limit", "Parts rejected as tacky", NASTY} <= texts
    cells = [cell for row in book["Sums"].iter_rows() for cell in row if cell.value == NASTY]
    assert [cell.data_type for cell in cells] == ["s"]


WRITE = """
import resource, sys
from pathlib import Path
from datetime import UTC
from tests.services.spend.test_workbook import line
from app.domain.roomlog.cells import guarded
from app.services.spend.reports import workbook
workbook(Path(sys.argv[1]), "2026-W10", [line(100)] * int(sys.argv[2]), {}, UTC)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.slow
def test_a_hundred_thousand_rows_are_written_in_constant_memory(tmp_path: Path) -> None:
    def peak_kb(rows: int) -> int:
        words = [sys.executable, "-c", WRITE, str(tmp_path / "w.xlsx"), str(rows)]
        return int(subprocess.run(words, capture_output=True, check=True, text=True).stdout)

    few_kb, many_kb = peak_kb(1_000), peak_kb(100_000)
    assert many_kb < few_kb + 12_000  # the list of rows takes 800 kB, the file 6 MB
    sheet = openpyxl.load_workbook(tmp_path / "w.xlsx", read_only=True)["Entries"]
    assert sheet.max_row == 100_001

"""Imports from the command line: what they create, ask, stop at, and take back."""

import json
import re
import sqlite3
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from app.cli import imports, main
from app.services.importing import storing
from tests.cli.test_commands import START, TANK, wash, written
from tests.running import ROOT

RESIN = {"kind": "resin", "resin": "slate", "name": "Slate", "density_g_ml": 1.1,
         "at": START.isoformat()}  # fmt: skip


def said(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """What a command prints, on both of its outputs."""
    assert main(list(words)) == code
    out = capsys.readouterr()
    return out.out + out.err


@pytest.mark.parametrize(
    "lines, more, code",
    [
        ([TANK, RESIN, wash(1)], ["--check"], 0),
        ([TANK, wash(1)], ["--check"], 1),
        ([TANK, wash(1)], [], 1),
        (["{"], ["--skip-bad"], 1),
        ([TANK], ["--time-zone", "Moon/Base", "--csv"], 1),
        (None, [], 1),
    ],
    ids=["check", "check-bad", "bad-line", "no-line-left", "no-zone", "no-file"],
)
def test_a_check_and_a_refused_import_create_nothing(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    lines: list[Any] | None,
    more: list[str],
    code: int,
) -> None:
    log = str(tmp_path / "log.jsonl") if lines is None else written(tmp_path / "log.jsonl", *lines)
    before = sorted(tmp_path.iterdir())
    data = tmp_path / "data"
    said(capsys, "import", log, "--room", "R", "--create", "--data", str(data), *more, code=code)
    assert sorted(tmp_path.iterdir()) == before


def test_a_refused_import_adds_no_room_to_a_database(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = ["--data", str(tmp_path / "data")]
    good = written(tmp_path / "a.jsonl", TANK)
    bad = written(tmp_path / "b.jsonl", TANK, wash(1))
    said(capsys, "import", good, "--room", "One", "--create", *data)
    said(capsys, "import", bad, "--room", "Two", "--create", *data, code=1)
    said(capsys, "import", good, "--room", "Two", "--create", "--check", *data)
    assert "two" not in said(capsys, "rooms", *data)
    said(capsys, "import", good, "--room", "Two", "--create", *data)
    assert "two" in said(capsys, "rooms", *data)


def test_odd_figures_are_printed_before_they_are_stored(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    thin = TANK | {"capacity_l": 15_000.0}
    words = ["--room", "R", "--create", "--check", "--data", str(tmp_path / "data")]
    told = said(capsys, "import", written(tmp_path / "a.jsonl", thin), *words)
    assert "Check these figures before you store the file. Line 1: " in told
    fine = said(capsys, "import", written(tmp_path / "b.jsonl", TANK), *words)
    assert "Check these figures" not in fine


def furnished(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    words = ["--room", "R", "--data", str(tmp_path / "data")]
    log = written(tmp_path / "room.jsonl", TANK, RESIN)
    said(capsys, "import", log, "--create", *words)
    return words


def test_dates_that_can_be_two_days_name_the_words_that_say_which(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [*furnished(tmp_path, capsys), "--kind", "top_up"]
    table = written(tmp_path / "t.csv", "Day,Bath,Litres", "07/01/2026,t1,1", "08/01/2026,t1,1")
    text = said(capsys, "import", table, *words, code=1)
    assert "“07/01/2026” in the column “Day” is 7 January 2026 or 1 July 2026" in text
    assert "--day-first or --month-first" in text
    assert "Stored 2 entries" in said(capsys, "import", table, *words, "--day-first")


def test_numbers_that_can_be_two_name_the_words_that_say_which(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [*furnished(tmp_path, capsys), "--kind", "top_up"]
    table = written(tmp_path / "t.csv", "Day;Bath;Litres", "2026-01-07;t1;1.500")
    text = said(capsys, "import", table, *words, code=1)
    assert "is 1500 (decimal comma) or 1.5 (decimal point)" in text
    assert "--decimal-comma or --decimal-point" in text
    assert "Stored 1 entry" in said(capsys, "import", table, *words, "--decimal-point")


def test_an_edited_sheet_says_what_is_new_changed_and_gone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [*furnished(tmp_path, capsys), "--kind", "top_up"]
    rows = ["Day,Bath,Litres", "2026-01-07,t1,1", "2026-01-08,t1,2", "2026-01-09,t1,3"]
    said(capsys, "import", written(tmp_path / "t.csv", *rows), *words)
    rows[1:3] = ["2026-01-08,t1,2.5", "2026-01-10,t1,4"]
    text = said(capsys, "import", written(tmp_path / "t.csv", *rows), *words, "--check")
    assert "1 new, 1 changed, 1 unchanged, 1 gone from the sheet (left as they are)" in text
    assert "line 2: volume_l: 2 becomes 2.5" in text
    said(capsys, "import", written(tmp_path / "t.csv", *rows), *words)
    assert "0 new, 0 changed, 3 unchanged" in said(
        capsys, "import", written(tmp_path / "t.csv", *rows), *words, "--check"
    )


def test_imports_are_listed_and_taken_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = furnished(tmp_path, capsys)
    data = words[2:]
    said(capsys, "import", written(tmp_path / "log.jsonl", wash(1), wash(2)), *words)
    text = said(capsys, "imports", "R", *data)
    number = re.search(r"^ *(\d+) .*log\.jsonl +2 of 2 entries, stored", text, re.M)
    assert number, text
    text = said(capsys, "imports", "r", "--undo", number[1], "--by", "Wren", *data)
    assert "Taken back: 2 entries" in text
    assert "taken back" in said(capsys, "imports", "R", *data)
    assert "There is no import 99" in said(capsys, "imports", "R", "--undo", "99", *data, code=1)


def test_ctrl_c_leaves_a_part_that_says_so_and_the_same_command_finishes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = furnished(tmp_path, capsys)
    log = written(tmp_path / "log.jsonl", *(wash(n / 10) for n in range(100)))
    monkeypatch.setattr(storing, "SLICE", 20)

    class Impatient(imports.ProgressBar):
        def __call__(self, phase: str, done: int, _total: int) -> None:
            if phase == "Storing" and done == 60:
                raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(imports, "ProgressBar", Impatient)
        text = said(capsys, "import", log, *words, code=130)
    assert "Stopped: 60 of 100 entries are in." in text
    assert "Run the same command again to finish it" in text
    data = words[2:]
    assert "log.jsonl: 60 of 100 entries are in, stopped" in said(capsys, "rooms", *data)
    assert "Stored 40 entries" in said(capsys, "import", log, *words)
    assert "stopped" not in said(capsys, "rooms", *data)


@pytest.mark.slow
def test_a_command_that_is_killed_is_finished_by_the_same_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = furnished(tmp_path, capsys)
    log = written(tmp_path / "log.jsonl", *(wash(n / 1000) for n in range(6000)))
    command = [sys.executable, "-m", "app", "import", log, *words]
    process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL)
    database = tmp_path / "data" / "bathkeeper.sqlite3"
    done, give_up_at = 0, time.monotonic() + 120
    while done < 1000 and process.poll() is None and time.monotonic() < give_up_at:
        with sqlite3.connect(database, timeout=10) as connection:
            row = connection.execute("SELECT max(done) FROM import_run WHERE total > 10").fetchone()
        connection.close()
        done = row[0] or 0
        time.sleep(0.01)
    process.kill()
    process.wait()
    assert 1000 <= done < 6000
    text = said(capsys, "import", log, *words)
    kept = re.search(r"Stored ([\d,]+) entries", text)
    assert kept, text
    assert int(kept[1].replace(",", "")) < 6000
    assert main(["export", "R", "-o", str(tmp_path / "out.jsonl"), *words[2:]]) == 0
    lines = [json.loads(line) for line in (tmp_path / "out.jsonl").read_text().splitlines()]
    assert len([line for line in lines if line["kind"] == "wash"]) == 6000
    assert len({line["at"] for line in lines if line["kind"] == "wash"}) == 6000


def test_nobody_is_asked_for_what_a_sheet_tells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [*furnished(tmp_path, capsys), "--kind", "top_up"]
    day = START + timedelta(days=20)
    rows = ["Day,Bath,Litres", "06/01/2026,t1,1", f"{day:%d/%m/%Y},t1,1"]
    text = said(capsys, "import", written(tmp_path / "t.csv", *rows), *words, "--check")
    assert "Day = at (day first)" in text

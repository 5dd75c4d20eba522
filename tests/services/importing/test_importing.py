"""Bringing logs in: what is shown first, what is stored, what is refused, and the way back."""

import json
import tracemalloc
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select

from app.domain.errors import DomainError, FieldError
from app.domain.roomlog.kinds import Wash, Withdrawal
from app.domain.roomlog.kinds.spending import PriceList
from app.services.door import bring_in as record
from app.services.importing import importing, textfiles
from app.services.importing.importing import BadLines, Checked, check_file, store_checked
from app.services.importing.storing import Origin
from app.services.importing.tables import TableOptions
from app.services.importing.textfiles import UnreadableFile
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.factories import NOW, ROOM, at_now, furnish, wash, withdraw
from tests.furnished import new_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store)
    yield store
    store.close()


@pytest.fixture
def write(tmp_path: Path) -> Any:
    def write(content: str | bytes, name: str = "log.jsonl") -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write


def check(store: Store, path: Path, options: TableOptions | None = None) -> Checked:
    return check_file(store, ROOM, path, NOW, options)


def line(days: float = 3, **changes: Any) -> str:
    at = (NOW - timedelta(days=days)).isoformat()
    return json.dumps(
        {"kind": "wash", "at": at, "tank": "t1", "resin": "slate", "parts": 2} | changes
    )


SWAP_FOR_A = json.dumps({"kind": "swap", "at": NOW.isoformat(), "tank": "t1", "corrects": "a"})


def uids(store: Store) -> list[str]:
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow.uid).order_by(col(EntryRow.id)))
        return [uid for uid in rows if uid not in ("r1", "r2", "tank-t1")]


def test_it_works(store: Store, write: Any) -> None:
    checked = check(store, write(line(id="a") + "\n" + line(2, id="b") + "\n"))
    assert uids(store) == []
    assert (checked.preview.entries, checked.preview.kinds) == (2, {"wash": 2})
    done = store_checked(store, ROOM, checked, at_now)
    assert done.ids == ("a", "b")
    assert uids(store) == ["a", "b"]


def test_the_same_file_again_stores_nothing(store: Store, write: Any) -> None:
    path = write(line(id="a"))
    store_checked(store, ROOM, check(store, path), at_now)
    again = check(store, path)
    assert (again.preview.entries, again.preview.skipped) == (0, 1)
    assert store_checked(store, ROOM, again, at_now).ids == ()


def test_a_table_that_has_grown_adds_only_what_is_new(store: Store, write: Any) -> None:
    rows = ["at,tank,litres", "2026-02-20T07:40Z,t1,2", "2026-02-20T07:40Z,t1,2"]
    options = TableOptions(kind="top_up")
    store_checked(store, ROOM, check(store, write("\n".join(rows), "t.csv"), options), at_now)
    rows.append("2026-02-21T07:40Z,t1,1")
    grown = check(store, write("\n".join(rows), "t.csv"), options)
    assert (grown.preview.entries, grown.preview.skipped) == (1, 2)


def test_the_same_submission_again_stores_nothing(store: Store, write: Any) -> None:
    checked = check(store, write(line()))
    store_checked(store, ROOM, checked, at_now, Origin("token"))
    assert store_checked(store, ROOM, checked, at_now, Origin("token")).is_replayed
    assert len(uids(store)) == 1


def test_one_bad_line_in_many_stores_nothing_unless_left_out(store: Store, write: Any) -> None:
    lines = [line(12 - number / 1000, id=f"w{number}") for number in range(3000)]
    lines[1776] = line(3, tank="t9")
    checked = check(store, write("\n".join(lines)))
    assert [(e.line, e.field) for e in checked.preview.errors] == [(1777, "tank")]
    with pytest.raises(BadLines):
        store_checked(store, ROOM, checked, at_now)
    assert uids(store) == []
    done = store_checked(store, ROOM, checked, at_now, skip_bad=True)
    assert len(done.ids) == 2999


@pytest.mark.slow
def test_one_bad_line_in_50_000_is_found(store: Store, write: Any) -> None:
    lines = [line(12 - number / 5000, id=f"w{number}") for number in range(50_000)]
    lines[31_415] = line(3).replace('"parts": 2', '"parts": NaN')
    preview = check(store, write("\n".join(lines))).preview
    assert preview.entries == 49_999
    assert [(e.line, e.field) for e in preview.errors] == [(31_416, "line")]


def test_all_bad_lines_are_counted_and_some_are_shown(store: Store, write: Any) -> None:
    preview = check(store, write("\n".join(["x"] * 5000 + [line()]))).preview
    assert preview.bad_lines == 5000
    assert len(preview.errors) == 100


def test_new_tanks_and_resins_are_named_and_their_order_does_not_matter(
    store: Store, write: Any
) -> None:
    start = (NOW - timedelta(days=9)).isoformat()
    tank = {"kind": "tank", "at": start, "tank": "t2", "name": "Two", "capacity_l": 20,
            "solvent": "isopropanol", "fresh_purity_percent": 99, "limit_percent": 10}  # fmt: skip
    resin = {"kind": "resin", "at": start, "resin": "opal", "name": "Opal", "density_g_ml": 1.1}
    text = "\n".join([line(tank="t2", resin="opal"), json.dumps(tank), json.dumps(resin)])
    checked = check(store, write(text))
    assert checked.preview.bad_lines == 0
    assert (checked.preview.new_tanks, checked.preview.new_resins) == (("t2",), ("opal",))
    store_checked(store, ROOM, checked, at_now)


def test_a_refused_tank_takes_its_entries_with_it(store: Store, write: Any) -> None:
    tank = {"kind": "tank", "at": NOW.isoformat(), "tank": "t2", "name": "Two", "capacity_l": 20,
            "solvent": "nectar"}  # fmt: skip
    checked = check(store, write(json.dumps(tank) + "\n" + line(tank="t2")))
    assert {(e.line, e.field) for e in checked.preview.errors} == {(1, "solvent"), (2, "tank")}


@pytest.mark.parametrize(
    "changes, field",
    [
        ({"at": (NOW + timedelta(days=1)).isoformat()}, "at"),
        ({"at": (NOW - timedelta(days=90)).isoformat()}, "at"),
        ({"at": "2026-03-02T10:00:00"}, "at"),
        ({"at": "9999-12-31T00:00:00Z"}, "at"),
        ({"parts": 2**63}, "parts"),
        ({"resin": "amber"}, "resin"),
        ({"corrects": "nothing"}, "corrects"),
        ({"note": "\ud800"}, "note"),
        ({"note": "a\x00b"}, "note"),
    ],
)
def test_hostile_lines_are_named(
    store: Store, write: Any, changes: dict[str, Any], field: str
) -> None:
    preview = check(store, write(line() + "\n" + line(**changes))).preview
    assert [(e.line, e.field) for e in preview.errors] == [(2, field)]


def rates(**given: Any) -> str:
    return json.dumps({"kind": "price_list", "at": NOW.isoformat(), "prices": "p"} | given)


def test_a_file_in_another_currency_is_refused_where_amounts_would_be_misread(
    store: Store, write: Any
) -> None:
    fresh = check(store, write(rates(currency="JPY", weekly_budget_cents=4_500)))
    assert fresh.preview.errors == ()  # a room without amounts takes any
    record(store, ROOM, [PriceList(at=NOW, prices="p", weekly_budget_cents=10_000)], NOW)
    [error] = check(store, write(rates(currency="JPY"))).preview.errors
    assert (error.line, error.field) == (1, "currency")
    assert "JPY has no decimals" in error.message
    record(store, ROOM, [PriceList(at=NOW, prices="p", currency="EUR")], NOW)
    [error] = check(store, write(rates(currency="USD"))).preview.errors
    assert "This room uses EUR" in error.message
    assert check(store, write(rates(currency="EUR"))).preview.errors == ()


def test_the_same_id_with_other_values_is_an_error(store: Store, write: Any) -> None:
    preview = check(store, write("\n".join([line(id="a"), line(id="a"), line(4, id="a")]))).preview
    assert preview.skipped == 1
    assert [(e.line, e.field) for e in preview.errors] == [(3, "id")]


def test_a_correction_may_stand_before_what_it_corrects(store: Store, write: Any) -> None:
    text = "\n".join([line(corrects="a", id="b", parts=9), line(id="a")])
    done = store_checked(store, ROOM, check(store, write(text)), at_now)
    assert done.ids == ("a", "b")


@pytest.mark.parametrize(
    "lines",
    [
        [line(id="a"), line(corrects="a", id="b"), line(corrects="a", id="c")],
        [line(id="a", corrects="b"), line(id="b", corrects="a")],
        [line(id="a", corrects="a")],
        [line(id="a"), SWAP_FOR_A],
        [json.dumps({"kind": "withdrawal", "at": NOW.isoformat(), "withdraws": "nothing"})],
    ],
)  # fmt: skip
def test_corrections_that_cannot_be_carried_out_are_named(
    store: Store, write: Any, lines: list[str]
) -> None:
    preview = check(store, write("\n".join([line(5, id="z"), *lines]))).preview
    assert preview.bad_lines >= 1
    assert {e.field for e in preview.errors} <= {"corrects", "withdraws"}


def test_a_correction_of_a_stored_entry_counts(store: Store, write: Any) -> None:
    record(store, ROOM, [wash(3, id="old")], NOW)
    store_checked(store, ROOM, check(store, write(line(corrects="old"))), at_now)
    preview = check(store, write(line(4, corrects="old"))).preview
    assert [e.field for e in preview.errors] == ["corrects"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_files_are_read(store: Store, write: Any, encoding: str) -> None:
    text = line(note="Größe").replace("\\u00f6", "ö").replace("\\u00df", "ß") + "\r\n"
    checked = check(store, write(text.encode(encoding)))
    assert checked.entries[0].note == "Größe"
    assert not checked.preview.is_guessed_encoding


def test_other_files_are_read_as_western_european_and_say_so(store: Store, write: Any) -> None:
    text = line(note="Gr").replace('"Gr"', '"Größe"')
    checked = check(store, write(text.encode("cp1252")))
    assert checked.entries[0].note == "Größe"
    assert checked.preview.is_guessed_encoding


@pytest.mark.parametrize(
    "content",
    [b"", b"\n\n", b"\xef\xbb\xbf", bytes(range(256)) * 50, b"\x89PNG\r\n\x1a\n" + bytes(900)],
)
def test_files_that_are_no_logs_are_refused(store: Store, write: Any, content: bytes) -> None:
    with pytest.raises(UnreadableFile):
        check(store, write(content))


def test_a_missing_file_is_refused(store: Store, tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile):
        check(store, tmp_path / "nothing.jsonl")


def test_a_file_of_300_mb_is_refused_at_once(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "large.jsonl"
    with path.open("wb") as file:
        file.truncate(300 * 1024 * 1024)
    with pytest.raises(UnreadableFile, match="300 MB"):
        check(store, path)


def test_a_line_of_10_mb_is_one_bad_line(store: Store, write: Any) -> None:
    preview = check(store, write(line() + "\n" + "[" * 10_000_000 + "\n" + line(2))).preview
    assert preview.entries == 2
    assert [e.line for e in preview.errors] == [2]


def test_an_open_quote_in_a_table_is_named(store: Store, write: Any) -> None:
    with pytest.raises(UnreadableFile, match="Line"):
        check(store, write('at,tank\n"2026,t1\n', "t.csv"), TableOptions(kind="swap"))


@pytest.mark.parametrize("row", [b"a,", b'"b\nb",'], ids=["one line", "many lines"])
@pytest.mark.parametrize("titles", [b"", b"Date,Bath\n"], ids=["titles", "a row"])
def test_a_row_without_end_is_not_read_on(
    store: Store, write: Any, row: bytes, titles: bytes
) -> None:
    """Of 60 MB a fraction is looked at: a list of its cells would take a gigabyte."""
    path = write(titles + row * (12_000_000 // len(row)), "log.csv")
    tracemalloc.start()
    try:
        with pytest.raises(
            UnreadableFile, match=r"Line \d+: it has more than 1,000,000 characters"
        ):
            check(store, path, TableOptions(kind="wash"))
        assert tracemalloc.get_traced_memory()[1] < 120_000_000
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("name", ["log.jsonl", "log.csv"])
def test_a_file_of_lines_that_are_none_is_not_read_to_its_end(
    store: Store, write: Any, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importing, "MOST_BAD_LINES", 100)
    lines = ["Date,Bath"] if name == "log.csv" else []
    options = TableOptions(kind="wash") if lines else None
    lines += ["x,1" if options else "{}"] * 100
    checked = check(store, write("\n".join(lines), name), options)
    assert checked.preview.bad_lines == 100
    with pytest.raises(UnreadableFile, match=r"More than 100 lines do not fit\. The first is line"):
        check(store, write("\n".join([*lines, lines[-1]]), name), options)


@pytest.mark.parametrize("name", ["log.jsonl", "log.csv"])
def test_a_file_has_so_many_lines(
    store: Store, write: Any, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(textfiles, "MOST_LINES", 10)
    options = TableOptions(kind="wash") if name == "log.csv" else None
    path = write("Date,Bath\n" + "x,1\n" * 10 if options else "{}\n" * 11, name)
    with pytest.raises(UnreadableFile, match=r"more than 10 lines\. Split it"):
        check(store, path, options)


def test_a_spreadsheet_with_its_own_words_units_and_commas(store: Store, write: Any) -> None:
    rows = [
        "Date;Time;Bath;Event;Litres;Temp F;Density (g/mL);Resin;Parts;Operator;Shelf",
        "20/02/2026;07:40;T1;top up;1,5;;;;;Wren;3",
        "21/02/2026;08:00;t1;washed;;;;Slate;12;Dunlin;",
        "22/02/2026;09:00;t1;measurement;;70;0,79;;;;",
    ]
    checked = check(store, write("\r\n".join(rows).encode("cp1252"), "t.csv"), TableOptions())
    assert checked.preview.errors == ()
    top_up, washed, reading = checked.entries
    assert (top_up.by, top_up.extra) == ("Wren", {"Shelf": "3"})
    assert isinstance(washed, Wash)
    assert washed.resin == "slate"
    assert reading.values["temperature_c"] == pytest.approx(21.111, abs=1e-3)  # type: ignore[attr-defined]


def test_columns_can_be_said(store: Store, write: Any) -> None:
    path = write("x,y,v\n2026-02-20T07:40Z,t1,2\n", "t.csv")
    options = TableOptions({"x": "at", "y": "tank", "v": "volume_l:us_gal"}, kind="top_up")
    assert check(store, path, options).entries[0].volume_l == pytest.approx(7.570823568)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "options",
    [
        TableOptions({"q": "at"}),
        TableOptions({"x": "colour"}),
        TableOptions({"x": "volume_l:f"}),
        TableOptions(time_zone="Moon/Base"),
        TableOptions(kind="spin"),
    ],
)
def test_options_that_name_nothing_are_refused(
    store: Store, write: Any, options: TableOptions
) -> None:
    with pytest.raises(FieldError):
        check(store, write("x,y\n1,2\n", "t.csv"), options)


def test_the_room_may_change_between_showing_and_storing(store: Store, write: Any) -> None:
    record(store, ROOM, [wash(3, id="old")], NOW)
    checked = check(store, write(line(corrects="old")))
    withdraw(store, ROOM, "old", "Wren", "", NOW, None)
    with pytest.raises(DomainError):
        store_checked(store, ROOM, checked, at_now)
    assert not any(isinstance(entry, Withdrawal) for entry in checked.entries)


def test_progress_is_told(store: Store, write: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.services.importing.importing.PROGRESS_EVERY", 10)
    told: list[tuple[str, int, int]] = []
    path = write("\n".join(line(5 - n / 100) for n in range(60)))
    check_file(store, ROOM, path, NOW, None, lambda *step: told.append(step))
    assert ("Reading", 50, 0) in told


def test_lines_longer_than_a_block_are_still_counted(
    write: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(textfiles, "LONGEST_LINE", 10)
    path = write("a\n" + "b" * 35 + "\n" + "c" * 10 + "\nd")
    found = list(textfiles.lines(textfiles.examine(path)))
    assert found == [(1, "a"), (2, None), (3, "c" * 10), (4, "d")]

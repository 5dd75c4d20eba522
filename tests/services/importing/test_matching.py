"""A sheet that was edited: what is new, changed, there already, and gone, and nothing twice."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from app.domain.roomlog.kinds import TopUp, Wash
from app.domain.roomlog.lines import to_line
from app.services.door import bring_in as record
from app.services.entries import counting_of_kind
from app.services.exporting import log_lines
from app.services.importing.importing import Checked, check_file, store_checked
from app.services.importing.previews import Preview
from app.services.importing.storing import Origin
from app.services.importing.tables import Question, TableOptions, UnclearTable
from app.services.importing.undoing import undo
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.import_tables import ImportRow
from app.store.imports import imports
from tests.factories import NOW, ROOM, at_now, furnish, wash, withdraw
from tests.furnished import new_store

HEAD = "Date,Tank,Event,Resin,Parts,By,Note"
ROWS = [
    "2026-02-20 07:40,t1,wash,slate,3,Wren,",
    "2026-02-20 09:10,t1,wash,slate,5,Wren,",
    "2026-02-21 08:00,t2,wash,kiln,2,Dunlin,",
]
Sheet = Callable[..., Path]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    yield store
    store.close()


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    def sheet(*rows: str, head: str = HEAD) -> Path:
        path = tmp_path / "washes.csv"
        path.write_text("\n".join((head, *rows)), encoding="utf-8")
        return path

    return sheet


def checked(store: Store, path: Path, options: TableOptions | None = None) -> Checked:
    found = check_file(store, ROOM, path, NOW, options or TableOptions())
    assert found.preview.errors == ()
    return found


def brought_in(store: Store, path: Path, options: TableOptions | None = None) -> Preview:
    found = checked(store, path, options)
    store_checked(store, ROOM, found, at_now, Origin(name=path.name))
    return found.preview


def counts(preview: Preview) -> tuple[int, int, int, int]:
    return preview.new, preview.changed, preview.unchanged, preview.gone


def parts(store: Store) -> list[int | None]:
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        washes = counting_of_kind(session, row.id, Wash.kind)
        return [each.parts for each in washes if isinstance(each, Wash)]


def last_import(store: Store) -> ImportRow:
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        return imports(session, row.id)[0]


def test_an_edited_row_becomes_a_correction(store: Store, sheet: Sheet) -> None:
    assert counts(brought_in(store, sheet(*ROWS))) == (3, 0, 0, 0)
    edited = [ROWS[0], ROWS[1].replace(",5,", ",6,"), ROWS[2], "2026-02-22 08:00,t2,wash,kiln,9,,"]
    preview = brought_in(store, sheet(*edited))
    assert counts(preview) == (1, 1, 2, 0)
    (change,) = preview.changes
    assert (change.line, change.names, change.by_hand) == (3, ("parts",), "")
    assert (change.was.parts, change.now.parts) == (5, 6)  # type: ignore[attr-defined]
    assert parts(store) == [3, 6, 2, 9]
    assert counts(checked(store, sheet(*edited)).preview) == (0, 0, 4, 0)


def test_edited_again_and_back_again(store: Store, sheet: Sheet) -> None:
    for count in (5, 6, 7, 5, 5):
        brought_in(store, sheet(ROWS[1].replace(",5,", f",{count},")))
        assert parts(store) == [count]


def test_a_row_that_is_gone_is_left_as_it_is(store: Store, sheet: Sheet) -> None:
    brought_in(store, sheet(*ROWS))
    assert counts(brought_in(store, sheet(ROWS[0]))) == (0, 0, 1, 2)
    assert parts(store) == [3, 5, 2]


def test_another_sheet_is_not_gone(store: Store, sheet: Sheet) -> None:
    brought_in(store, sheet(*ROWS))
    brought_in(store, sheet("2026-02-20,t1,top up,,,,,2", head=HEAD + ",Litres"))
    assert counts(brought_in(store, sheet(*ROWS[:2]))) == (0, 0, 2, 1)


def test_several_at_the_same_instant_are_told_apart(store: Store, sheet: Sheet) -> None:
    """A sheet of days without times has all washes of a tank and day at one instant."""
    day = [f"2026-02-20,t1,wash,slate,{count},," for count in (1, 2, 2, 3)]
    brought_in(store, sheet(*day))
    assert sorted(parts(store)) == [1, 2, 2, 3]  # type: ignore[type-var]
    day[2] = day[2].replace(",2,", ",8,")
    day.insert(0, "2026-02-20,t1,wash,slate,5,,")
    preview = brought_in(store, sheet(*day))
    assert counts(preview) == (1, 1, 3, 0)
    assert sorted(parts(store)) == [1, 2, 3, 5, 8]  # type: ignore[type-var]


def test_what_was_corrected_here_stays_while_the_sheet_says_the_same(
    store: Store, sheet: Sheet
) -> None:
    brought_in(store, sheet(ROWS[0]))
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        (old,) = counting_of_kind(session, row.id or 0, Wash.kind)
    record(store, ROOM, [replace(old, id="fix", corrects=old.id, parts=4, by="Lark")], NOW)  # type: ignore[call-arg]
    assert counts(brought_in(store, sheet(ROWS[0]))) == (0, 0, 1, 0)
    assert parts(store) == [4]
    assert counts(brought_in(store, sheet(ROWS[0].replace(",3,", ",4,").replace("Wren", "Lark")))) \
        == (0, 0, 1, 0)  # fmt: skip
    preview = brought_in(store, sheet(ROWS[0].replace(",3,", ",9,")))
    assert (counts(preview), preview.changes[0].by_hand) == ((0, 1, 0, 0), "Lark")
    assert parts(store) == [9]


def test_what_was_withdrawn_here_does_not_come_back(store: Store, sheet: Sheet) -> None:
    brought_in(store, sheet(*ROWS[:2]))
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        first, _ = counting_of_kind(session, row.id or 0, Wash.kind)
    withdraw(store, ROOM, first.id, "Wren", "", NOW, None)
    assert counts(brought_in(store, sheet(*ROWS[:2]))) == (0, 0, 2, 0)
    assert parts(store) == [5]


def test_what_somebody_logged_here_is_there_already(store: Store, sheet: Sheet) -> None:
    at = wash(0).at.replace(day=20, month=2, hour=7, minute=40)
    logged = Wash(at=at, tank="t1", resin="slate", parts=3, by="Wren")
    record(store, ROOM, [logged], NOW)
    assert counts(brought_in(store, sheet(ROWS[0]))) == (0, 0, 1, 0)
    # What says otherwise may be another wash: it is no correction of what a person entered.
    assert counts(brought_in(store, sheet(ROWS[0].replace(",3,", ",4,")))) == (1, 0, 0, 0)


def test_rows_of_the_former_ids_are_known_again(store: Store, sheet: Sheet) -> None:
    """Until now an id was made of all that a line said."""
    for number, entry in enumerate(checked(store, sheet(*ROWS)).entries):
        plain = replace(entry, id="")
        digest = sha256(f"1 {to_line(plain)}".encode()).hexdigest()
        record(store, ROOM, [replace(plain, id=f"import-{digest[:24]}")], NOW)
        assert number < 3
    assert counts(brought_in(store, sheet(*ROWS))) == (0, 0, 3, 0)
    preview = brought_in(store, sheet(ROWS[0], ROWS[1].replace(",5,", ",6,")))
    assert counts(preview) == (0, 1, 1, 1)
    assert parts(store) == [3, 6, 2]


def test_a_column_that_means_nothing_changes_nothing(store: Store, sheet: Sheet) -> None:
    brought_in(store, sheet(*ROWS))
    wider = [f"{row},a" for row in ROWS]
    assert counts(brought_in(store, sheet(*wider, head=HEAD + ",Shelf"))) == (0, 0, 3, 0)


def test_after_an_import_was_taken_back_it_can_be_given_again(store: Store, sheet: Sheet) -> None:
    for _ in range(3):
        assert counts(brought_in(store, sheet(*ROWS))) == (3, 0, 0, 0)
        assert counts(checked(store, sheet(*ROWS)).preview) == (0, 0, 3, 0)
        undo(store, ROOM, last_import(store).token, "Wren", at_now)
        assert parts(store) == []


def test_a_change_that_was_taken_back_can_be_given_again(store: Store, sheet: Sheet) -> None:
    edited = [ROWS[0].replace(",3,", ",4,"), *ROWS[1:]]
    brought_in(store, sheet(*ROWS))
    for _ in range(2):
        assert counts(brought_in(store, sheet(*edited))) == (0, 1, 2, 0)
        assert parts(store) == [4, 5, 2]
        undo(store, ROOM, last_import(store).token, "Wren", at_now)
        assert parts(store) == [3, 5, 2]
        assert counts(checked(store, sheet(*ROWS)).preview) == (0, 0, 3, 0)


def test_an_exported_log_that_was_edited_becomes_corrections(store: Store, tmp_path: Path) -> None:
    record(store, ROOM, [wash(3, id="a", parts=3), wash(2, id="b", parts=4)], NOW)
    record(store, ROOM, [wash(2, id="c", parts=5, corrects="b")], NOW)
    path = tmp_path / "log.jsonl"
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
    text = "".join(log_lines(store, room_id))
    path.write_text(text, encoding="utf-8")
    same = check_file(store, ROOM, path, NOW).preview
    assert (counts(same)[:3], same.bad_lines) == ((0, 0, len(text.splitlines())), 0)
    path.write_text(text.replace('"parts": 3', '"parts": 8'), encoding="utf-8")
    found = check_file(store, ROOM, path, NOW)
    assert counts(found.preview)[:2] == (0, 1)
    store_checked(store, ROOM, found, at_now)
    assert parts(store) == [8, 5]


def test_a_log_with_ids_comes_back_whole_after_it_was_taken_back(
    store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "log.jsonl"
    entries = [wash(3, id="a", parts=3), wash(3, id="b", parts=4, corrects="a")]
    path.write_text("".join(f"{to_line(entry)}\n" for entry in entries), encoding="utf-8")
    for _ in range(3):
        found = check_file(store, ROOM, path, NOW)
        assert counts(found.preview) == (2, 0, 0, 0)
        store_checked(store, ROOM, found, at_now, Origin(name=path.name))
        assert parts(store) == [4]
        assert counts(check_file(store, ROOM, path, NOW).preview) == (0, 0, 2, 0)
        undo(store, ROOM, last_import(store).token, "Wren", at_now)
        assert parts(store) == []


SOME_ROWS = st.lists(st.tuples(st.integers(0, 3), st.integers(1, 4)), min_size=1, max_size=8)


@given(SOME_ROWS, SOME_ROWS)
@settings(max_examples=25)
def test_after_an_edited_sheet_the_room_has_its_rows_and_those_that_are_gone(
    tmp_path_factory: pytest.TempPathFactory,
    before: list[tuple[int, int]],
    after: list[tuple[int, int]],
) -> None:
    """Whatever was edited: per instant as many rows as the longer of both sheets had."""
    folder = tmp_path_factory.mktemp("room")
    store = new_store(folder)
    furnish(store)
    path = folder / "t.csv"
    for rows in (before, after):
        lines = [f"2026-02-20 0{hour}:00,t1,wash,slate,{count},," for hour, count in rows]
        path.write_text("\n".join((HEAD, *lines)), encoding="utf-8")
        brought_in(store, path)
    with Session(store.reader) as session:
        washes = list(counting_of_kind(session, find_room(session, ROOM).id or 0, Wash.kind))
    for hour in range(4):
        there = sorted(w.parts or 0 for w in washes if isinstance(w, Wash) and w.at.hour == hour)
        said = sorted(count for h, count in after if h == hour)
        had = sum(h == hour for h, _ in before)
        assert len(there) == max(len(said), had)
        left = list(there)
        for count in said:
            left.remove(count)
    store.close()


def asked(store: Store, path: Path, options: TableOptions | None = None) -> list[Question]:
    with pytest.raises(UnclearTable) as caught:
        check_file(store, ROOM, path, NOW, options or TableOptions())
    return list(caught.value.questions)


def test_dates_whose_order_nothing_tells_are_asked_about(store: Store, sheet: Sheet) -> None:
    rows = ["04/03/2026,t1,wash,slate,3,,", "02/02/2026,t1,wash,slate,3,,"]
    (question,) = asked(store, sheet(*rows))
    assert (question.field, question.column, question.example) == (
        "day_first", "Date", "04/03/2026",
    )  # fmt: skip
    assert (question.first, question.second) == ("4 March 2026", "3 April 2026")
    for said, day in ((True, "02/03/2026"), (False, "03/02/2026")):
        options = TableOptions(is_day_first=said)
        entry = checked(store, sheet(f"{day},t1,wash,slate,3,,"), options).entries[0]
        assert f"{entry.at:%Y-%m-%d}" == "2026-03-02"


def test_a_day_above_twelve_anywhere_in_the_column_settles_it(store: Store, sheet: Sheet) -> None:
    rows = ["01/02/2026,t1,wash,slate,3,,"] * 400
    # The tank came into use on 16 February: only the second of the two readings is possible.
    assert asked(store, sheet(*rows))
    late = sheet(*rows, "02/20/2026,t1,wash,slate,3,,")
    found = check_file(store, ROOM, late, NOW, TableOptions())
    assert found.preview.form is not None
    assert found.preview.form.columns[0].is_day_first is False


def test_a_column_that_contradicts_itself_is_asked_about(store: Store, sheet: Sheet) -> None:
    rows = [f"{day},t1,wash,slate,3,," for day in ("20/02/2026", "02/21/2026", "01/03/2026")]
    assert len(asked(store, sheet(*rows))) == 1
    found = check_file(store, ROOM, sheet(*rows), NOW, TableOptions(is_day_first=True))
    assert [(error.line, error.field) for error in found.preview.errors] == [(3, "at")]


def test_each_column_of_dates_is_asked_about_by_itself(store: Store, sheet: Sheet) -> None:
    head = HEAD + ",Entered"
    path = sheet("20/02/2026,t1,wash,slate,3,,,01/03/2026", head=head)
    (question,) = asked(store, path)
    assert question.column == "Entered"
    entry = checked(store, path, TableOptions(orders={"Entered": True})).entries[0]
    assert entry.entered_at is not None
    assert f"{entry.at:%d %b} {entry.entered_at:%d %b}" == "20 Feb 01 Mar"


@pytest.mark.parametrize(
    "mark, cells, litres",
    [(";", ("1.500",), None), (",", ('"1,500"',), None), (";", ("0.789",), 0.789),
     (",", ('"0,789"',), 0.789), (";", ("1.500", "2.5"), 1.5), (";", ("1,500", "2,5"), 1.5),
     (";", ("12.5",), 12.5), (",", ('"2,5"',), 2.5), ("\t", ("1.500", "2"), None)],
)  # fmt: skip
def test_a_mark_that_may_be_of_decimals_or_of_thousands_is_not_guessed(
    store: Store, tmp_path: Path, mark: str, cells: tuple[str, ...], litres: float | None
) -> None:
    rows = [mark.join(("Date", "Tank", "Litres"))]
    rows += [mark.join((f"2026-02-2{day}", "t1", cell)) for day, cell in enumerate(cells)]
    path = tmp_path / "t.csv"
    path.write_text("\n".join(rows), encoding="utf-8-sig")
    options = TableOptions(kind="top_up")
    if litres is None:
        assert [question.field for question in asked(store, path, options)] == ["decimal_comma"]
        options = replace(options, has_decimal_comma="," in cells[0])
        litres = 1.5
    entry = checked(store, path, options).entries[0]
    assert isinstance(entry, TopUp)
    assert entry.volume_l == litres

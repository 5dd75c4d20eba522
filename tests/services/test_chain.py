"""A log that nobody changes unseen: honest use verifies, and whatever else is done is named."""

import random
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from sqlalchemy import text
from sqlmodel import Session

from app.cli import main as command
from app.config import Settings
from app.domain.chain import read_anchor
from app.domain.chain_walk import Walked
from app.main import create_app
from app.services import chaining
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from app.services.importing.storing import Origin, store_in_slices
from app.services.importing.undoing import undo
from app.services.rooms import find_room
from app.services.verifying import Chained, chained, verify
from app.store import migrations
from app.store.chain import of_one_moment
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, tank, wash, withdraw
from tests.furnished import NAME, new_store
from tests.services.happenings import ACTS, DAYS, Move, Room, furnish_all, short_stretches
from tests.services.test_law import EXAMPLES, MOVES, NUMBERS

WASHES = 20


@pytest.fixture
def store(either_store: Store) -> Store:
    """An empty database, of either kind."""
    return either_store


@pytest.fixture
def washed(store: Store) -> Store:
    """A room with washes `w0` to `w19`, of which one is corrected and one withdrawn."""
    furnish(store)
    bring_in(store, ROOM, [wash(10 - n / 10, id=f"w{n}") for n in range(WASHES)], NOW)
    bring_in(store, ROOM, [wash(9.0, id="c3", area_cm2=900.0, corrects="w3")], NOW)
    withdraw(store, ROOM, "w4", "Ada", "twice", NOW, None)
    return store


def walked(store: Store, key: str = ROOM, code: str = "") -> Walked:
    with Session(store.reader) as session:
        of_one_moment(session, store)
        return verify(session, find_room(session, key), read_anchor(code) if code else None)


def end_of(store: Store, key: str = ROOM) -> Chained:
    with Session(store.reader) as session:
        found = chained(session, find_room(session, key))
    assert found is not None
    return found


def meddle(store: Store, *statements: str) -> None:
    """Change the database outside the program."""
    with store.writer.begin() as connection:
        for statement in statements:
            connection.execute(text(statement))


INSERTED = """
INSERT INTO entry (room_id, uid, kind, tank, resin, at_us, moment_us, rank, sequence,
    entered_at_us, recorded_at_us, "by", note, corrects, fields, voided_by)
SELECT room_id, 'forged', kind, tank, resin, at_us, moment_us, rank, sequence,
    entered_at_us, recorded_at_us, "by", note, corrects, fields, voided_by
FROM entry WHERE uid = 'w7'
"""
UNLINKED = tuple(f"DELETE FROM {table}" for table in ("course", "link", "litres_posting"))
"""What points at rows of the log, and would keep them."""


def test_what_was_stored_verifies(washed: Store) -> None:
    found = walked(washed)
    assert (found.count, found.wrong) == (3 + WASHES + 2, "")


@pytest.mark.parametrize(
    "statement, said",
    [
        ("UPDATE entry SET fields = replace(fields, '1200', '120') WHERE uid = 'w7'",
         "Entry 11, wash of 2026-02-21 04:48 UTC (id w7), was changed after it was stored."),
        ("UPDATE entry SET \"by\" = 'Bo' WHERE uid = 'w7'", "Entry 11, wash of"),
        ("UPDATE entry SET at_us = at_us + 1 WHERE uid = 'w7'", "Entry 11, wash of"),
        ("UPDATE entry SET uid = 'w77' WHERE uid = 'w7'", "Entry 11 (id w7) was replaced"),
        ("UPDATE entry SET voided_by = NULL WHERE uid = 'w3'", "The mark on the entry with id w3"),
        ("UPDATE entry SET voided_by = 'w9' WHERE uid = 'w4'", "The mark on the entry with id w4"),
        ("UPDATE entry SET voided_by = 'w9' WHERE uid = 'w8'", "The entry with id w8 is marked"),
        ("DELETE FROM chain_link WHERE uid = 'w7'", "The digest of entry 11, wash of"),
        ("UPDATE chain_link SET uid = 'w77' WHERE uid = 'w7'", "Entry 11 (id w77) was replaced"),
        (INSERTED, "An entry was inserted outside the program: wash of"),
        ("UPDATE chain SET number = number + 1", "The last entry was removed, behind entry 25."),
        ("DELETE FROM chain", "The log has no chain."),
    ],
)  # fmt: skip
def test_what_is_changed_past_the_program_is_named(
    washed: Store, statement: str, said: str
) -> None:
    meddle(washed, statement)
    assert said in walked(washed).wrong


def test_a_row_that_was_put_in_front_of_all_is_named(washed: Store) -> None:
    meddle(washed, INSERTED, "UPDATE entry SET id = -7 WHERE uid = 'forged'")
    assert walked(washed).wrong == (
        "An entry was inserted outside the program: wash of 2026-02-21 04:48 UTC (id forged), "
        "behind entry 0."
    )


def test_a_row_that_was_removed_is_named(washed: Store) -> None:
    meddle(washed, *UNLINKED, "DELETE FROM entry WHERE uid = 'w7'")
    assert walked(washed).wrong == "Entry 11 (id w7) was removed."


def test_a_tail_that_was_removed_is_counted(washed: Store) -> None:
    meddle(
        washed, *UNLINKED, "UPDATE entry SET voided_by = NULL",
        "DELETE FROM entry WHERE uid IN (SELECT uid FROM chain_link WHERE number > 23)",
        "DELETE FROM chain_link WHERE number > 23",
    )  # fmt: skip
    assert walked(washed).wrong == "The last 2 entries were removed, behind entry 23."


def test_a_row_that_goes_with_its_digest_leaves_a_gap(washed: Store) -> None:
    meddle(
        washed, *UNLINKED, "DELETE FROM entry WHERE uid = 'w7'",
        "DELETE FROM chain_link WHERE uid = 'w7'",
    )  # fmt: skip
    assert walked(washed).wrong == "Entry 11 was removed, and its digest with it."


def test_two_rows_that_changed_places_are_named(washed: Store) -> None:
    with Session(washed.reader) as session:
        at = {uid: session.execute(text(f"SELECT id FROM entry WHERE uid = '{uid}'")).scalar_one()
              for uid in ("w7", "w9")}  # fmt: skip
    meddle(
        washed,
        *UNLINKED,
        "UPDATE entry SET id = -1 WHERE uid = 'w7'",
        f"UPDATE entry SET id = {at['w7']} WHERE uid = 'w9'",
        f"UPDATE entry SET id = {at['w9']} WHERE uid = 'w7'",
    )
    assert walked(washed).wrong.startswith("Entry 11 was moved: in its place is wash of")


def test_two_digests_that_changed_places_are_named(washed: Store) -> None:
    meddle(
        washed,
        "UPDATE chain_link SET number = -1 WHERE uid = 'w7'",
        "UPDATE chain_link SET number = 11 WHERE uid = 'w9'",
        "UPDATE chain_link SET number = 13 WHERE uid = 'w7'",
    )
    assert "Entry 11 was moved" in walked(washed).wrong


def forge(store: Store, *statements: str) -> None:
    """Change the log, and make its chain anew as the program would, to hide it."""
    meddle(store, *statements, "DELETE FROM chain_link", "DELETE FROM chain",
           "UPDATE room SET sequence = (SELECT count(*) FROM entry)")  # fmt: skip
    assert chaining.chain_up(store, NOW) == [ROOM]


def test_a_tail_that_was_cut_with_its_chain_is_found_by_an_anchor(washed: Store) -> None:
    noted = end_of(washed)
    assert walked(washed, code=noted.code).is_anchored
    forge(
        washed,
        *UNLINKED,
        "UPDATE entry SET voided_by = NULL",
        "DELETE FROM entry WHERE uid IN ('c3', (SELECT max(uid) FROM entry WHERE kind = "
        "'withdrawal'))",
    )
    found = walked(washed, code=noted.code)
    assert (found.wrong, found.is_anchored) == ("", None)


def test_a_chain_made_anew_over_a_changed_log_is_found_by_an_anchor(washed: Store) -> None:
    noted = end_of(washed)
    forge(washed, "UPDATE entry SET \"by\" = 'Bo' WHERE uid = 'w7'")
    found = walked(washed, code=noted.code)
    assert (found.wrong, found.is_anchored) == ("", False)


def test_an_anchor_holds_while_the_log_grows(washed: Store) -> None:
    noted = end_of(washed)
    bring_in(washed, ROOM, [wash(0.5, id="later")], NOW)
    found = walked(washed, code=noted.code)
    assert (found.wrong, found.is_anchored) == ("", True)
    assert end_of(washed).number == noted.number + 1


def test_a_log_from_before_is_chained_as_it_is(washed: Store) -> None:
    noted = end_of(washed)
    meddle(washed, "DELETE FROM chain_link", "DELETE FROM chain")
    later = NOW + timedelta(days=1)
    assert chaining.chain_up(washed, later) == [ROOM]
    assert chaining.chain_up(washed, later) == []
    found = end_of(washed)
    assert (found.code, found.before, found.since) == (noted.code, 3 + WASHES + 2, later)
    bring_in(washed, ROOM, [wash(0.5, id="later")], NOW)
    assert walked(washed).wrong == ""


def test_an_entry_before_the_first_start_chains_what_is_there(washed: Store) -> None:
    meddle(washed, "DELETE FROM chain_link", "DELETE FROM chain")
    bring_in(washed, ROOM, [wash(0.5, id="later")], NOW)
    assert walked(washed).wrong == ""
    assert end_of(washed).before == 3 + WASHES + 2


def test_the_chain_is_made_by_a_migration_and_a_start(washed: Store) -> None:
    from alembic import command as alembic

    code = end_of(washed).code
    with washed.writer.begin() as connection:
        alembic.downgrade(migrations.alembic_config(connection), "0012")
    assert migrations.upgrade(washed)
    assert chaining.chain_up(washed, NOW) == [ROOM]
    assert end_of(washed).code == code


def test_an_import_that_is_taken_back_verifies(washed: Store) -> None:
    some = [wash(5 - n / 100, id=f"i{n}") for n in range(30)]
    with short_stretches():
        done = store_in_slices(washed, ROOM, some, Origin(name="x"), lambda: NOW)
        assert walked(washed).wrong == ""
        undo(washed, ROOM, done.token, "Ada", lambda: NOW)
    found = walked(washed)
    assert (found.wrong, found.count) == ("", 3 + WASHES + 2 + 60)


def test_a_write_that_fails_in_the_middle_leaves_the_chain_whole(
    washed: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    noted = end_of(washed)

    def die(*_: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("app.services.door.project", die)
        with pytest.raises(KeyboardInterrupt):
            bring_in(washed, ROOM, [wash(0.5, id="lost")], NOW)
    assert (end_of(washed), walked(washed).wrong) == (noted, "")
    bring_in(washed, ROOM, [wash(0.5, id="kept")], NOW)
    assert walked(washed).wrong == ""


def test_rooms_have_chains_of_their_own(washed: Store) -> None:
    add_room(washed, RoomForm(name="Other", key="other"), NOW)
    assert walked(washed, "other") == Walked(0)
    bring_in(washed, "other", [tank("t1")], NOW)
    bring_in(washed, ROOM, [wash(0.5, id="later")], NOW)
    assert walked(washed, "other") == Walked(1)
    assert walked(washed).wrong == ""


@settings(max_examples=EXAMPLES, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(moves=MOVES)
def test_honest_use_in_any_order_verifies(store: Store, moves: list[Move]) -> None:
    room = Room(store, f"chained-{next(NUMBERS)}")
    furnish_all(store, room.key)
    with short_stretches():
        for move in moves:
            room.act(*move)
    assert walked(store, room.key).wrong == ""


def test_a_long_history_of_changes_verifies(store: Store) -> None:
    rng, room = random.Random(5), Room(store)
    furnish_all(store)
    with short_stretches():
        for _ in range(60):
            room.act(rng.choice(ACTS), rng.uniform(0.1, DAYS - 0.1), rng.randint(1, 40))
    found = walked(store)
    assert found.wrong == ""
    assert found.count > 60


Say = Callable[..., tuple[int, str]]


@pytest.fixture
def say(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Say:
    """`verify` on a washed room of SQLite; its exit code and what it says."""

    def said(*words: str) -> tuple[int, str]:
        code = command(["verify", "--data", str(tmp_path), *words])
        shown = capsys.readouterr()
        return code, shown.out + shown.err

    return said


@pytest.fixture
def embedded(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store)
    bring_in(store, ROOM, [wash(10 - n / 10, id=f"w{n}") for n in range(WASHES)], NOW)
    yield store
    store.close()


def test_the_command_says_that_all_is_well(embedded: Store, say: Say) -> None:
    code, said = say()
    end = end_of(embedded)
    assert code == 0
    assert f"well   {ROOM}: 23 entries, all as stored. Anchor {end.code}, recorded" in said
    assert say("--room", "Test room", "--anchor", end.code)[0] == 0


def test_the_command_names_what_is_wrong(embedded: Store, say: Say) -> None:
    meddle(embedded, "UPDATE entry SET note = 'x' WHERE uid = 'w7'")
    code, said = say()
    assert code == 1
    assert f"WRONG  {ROOM}: Entry 11, wash of" in said
    assert "Before it: 10 entries as stored." in said


def test_the_command_says_that_an_anchor_is_in_no_log(embedded: Store, say: Say) -> None:
    noted = end_of(embedded).code
    forge(embedded, "UPDATE entry SET note = 'x' WHERE uid = 'w7'")
    assert say()[0] == 0
    code, said = say("--anchor", noted)
    assert code == 1
    assert f"WRONG  Anchor {noted} is in no log ({ROOM})." in said


def test_the_command_touches_nothing_in_the_folder(
    embedded: Store, say: Say, tmp_path: Path
) -> None:
    """Not even the log of SQLite, which whoever serves beside it would miss."""
    bring_in(embedded, ROOM, [wash(0.5, id="later")], NOW)
    before = {one.name: (one.stat().st_ino, one.read_bytes()) for one in tmp_path.iterdir()
              if not one.name.endswith("-shm")}  # fmt: skip
    assert f"{NAME}-wal" in before
    code, said = say()
    assert code == 0
    assert "24 entries" in said
    # As where a server's own look at its file has given its locks away.
    with (tmp_path / NAME).open("rb") as file:
        file.read(100)
    assert say()[0] == 0
    after = {one.name: (one.stat().st_ino, one.read_bytes()) for one in tmp_path.iterdir()
             if not one.name.endswith("-shm")}  # fmt: skip
    assert after == before
    bring_in(embedded, ROOM, [wash(0.4, id="last")], NOW)


@pytest.mark.parametrize(
    "words, said",
    [
        (["--room", "nowhere"], "There is no room “nowhere”."),
        (["--anchor", "4711"], "anchor: Type the code as it was noted"),
        (["--anchor", "4711-7KQ2-9XBD-M3TF-0HCJ"], "anchor: A character of the code is mistyped."),
    ],
)
@pytest.mark.usefixtures("embedded")
def test_wrong_words_are_said(say: Say, words: list[str], said: str) -> None:
    code, shown = say(*words)
    assert code == 1
    assert said in shown


def test_a_start_chains_what_was_there_before(embedded: Store, say: Say, tmp_path: Path) -> None:
    noted = end_of(embedded).code
    meddle(embedded, "DELETE FROM chain_link", "DELETE FROM chain")
    assert say()[0] == 1
    create_app(Settings(data_dir=tmp_path), clock=lambda: NOW).state.store.close()
    code, said = say("--anchor", noted)
    assert code == 0
    assert "Chained since 2026-03-02 12:00 UTC, the 23 entries before as they were then." in said


def test_a_command_that_opens_the_database_chains_it_too(
    embedded: Store, say: Say, tmp_path: Path
) -> None:
    meddle(embedded, "DELETE FROM chain_link", "DELETE FROM chain")
    assert command(["rooms", "--data", str(tmp_path)]) == 0
    assert say()[0] == 0


def test_where_there_is_no_database_none_is_made(say: Say, tmp_path: Path) -> None:
    code, said = say()
    assert (code, list(tmp_path.iterdir())) == (1, [])
    assert "There is no database in the folder" in said


def test_an_older_database_is_left_alone(embedded: Store, say: Say) -> None:
    meddle(embedded, "UPDATE alembic_version SET version_num = '0012'")
    code, said = say()
    assert code == 1
    assert "Start the program once" in said

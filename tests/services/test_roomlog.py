"""Recording, correcting and withdrawing entries, and what becomes of the estimate."""

import threading
from datetime import timedelta
from pathlib import Path

import pytest
from sqlmodel import Session, col, select

from app.domain.errors import Conflict, FieldErrors, NotFound
from app.domain.roomlog.kinds import Entry, Swap, SwapStarted, TankChange, TopUp
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.queries import board
from app.store.tables import CourseRow, EntryRow, HeadRow, TankRow
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash, withdraw
from tests.furnished import new_store


@pytest.fixture
def store(either_store: Store) -> Store:
    """A furnished room, on each of the databases."""
    furnish(either_store)
    return either_store


def course(store: Store) -> list[tuple[float, ...]]:
    """Every estimate in the room, in order."""
    with Session(store.reader) as session:
        rows = session.exec(
            select(CourseRow).order_by(col(CourseRow.moment_us), col(CourseRow.sequence))
        ).all()
        return [(row.at_us, row.mean_percent, row.p05_percent, row.p95_percent) for row in rows]


def head_state(store: Store) -> bytes:
    with Session(store.reader) as session:
        return session.exec(select(HeadRow)).one().state


def stored(store: Store) -> int:
    with Session(store.reader) as session:
        return len(session.exec(select(EntryRow.id)).all())


def tank_row(store: Store, key: str = "t1") -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()


def test_it_works(store: Store) -> None:
    done = record(store, ROOM, [wash(1)], NOW)
    assert len(done.ids) == 1
    assert tank_row(store).mean_percent > 0
    assert tank_row(store).washes_since_fill == 1


def test_a_wash_raises_the_estimate_and_a_swap_resets_it(store: Store) -> None:
    record(store, ROOM, [wash(13 - day, area_cm2=4000.0) for day in range(10)], NOW)
    loaded = tank_row(store).mean_percent
    record(store, ROOM, [Swap(at=NOW, tank="t1")], NOW)
    assert loaded > 1.0
    assert tank_row(store).mean_percent < 0.1 * loaded
    assert tank_row(store).fill == 1


LATE: list[Entry] = [
    wash(9, id="a"),
    sensor_reading(7, 1.1, id="b"),
    wash(5, id="c", area_cm2=2500.0),
    TopUp(at=NOW - timedelta(days=3), id="d", tank="t1", volume_l=1.0),
]


@pytest.mark.parametrize("order", [(3, 2, 1, 0), (1, 0, 3, 2), (2, 3, 0, 1)])
def test_late_entries_give_exactly_what_the_right_order_gives(
    tmp_path: Path, store: Store, order: tuple[int, ...]
) -> None:
    other = new_store(tmp_path / "other")
    furnish(other)
    record(store, ROOM, LATE, NOW)
    for index in order:
        record(other, ROOM, [LATE[index]], NOW)
    assert course(other) == course(store)
    other.close()


def test_a_correction_gives_what_the_right_entry_would_have_given(
    tmp_path: Path, store: Store
) -> None:
    right = new_store(tmp_path / "right")
    furnish(right)
    record(right, ROOM, [wash(9, id="a"), wash(5, id="b", area_cm2=600.0), wash(2, id="c")], NOW)
    record(store, ROOM, [wash(9, id="a"), wash(5, id="b", area_cm2=6000.0), wash(2, id="c")], NOW)
    before = stored(store)
    record(store, ROOM, [wash(5, corrects="b", area_cm2=600.0, entered_at=NOW)], NOW)
    assert course(store) == course(right)
    assert stored(store) == before + 1
    right.close()


def test_a_withdrawal_gives_what_would_have_been_without_it(tmp_path: Path, store: Store) -> None:
    right = new_store(tmp_path / "right")
    furnish(right)
    record(right, ROOM, [wash(9, id="a"), wash(2, id="c")], NOW)
    record(store, ROOM, [wash(9, id="a"), wash(5, id="b"), wash(2, id="c")], NOW)
    withdraw(store, ROOM, "b", "Wren", "Wrong tank", NOW, None)
    assert course(store) == course(right)
    right.close()


def test_an_entry_is_corrected_only_once(store: Store) -> None:
    record(store, ROOM, [wash(5, id="b")], NOW)
    record(store, ROOM, [wash(5, corrects="b", area_cm2=10.0)], NOW)
    with pytest.raises(Conflict):
        record(store, ROOM, [wash(5, corrects="b", area_cm2=20.0)], NOW)


def test_correcting_what_is_not_there_stores_nothing(store: Store) -> None:
    before = stored(store)
    with pytest.raises(NotFound):
        record(store, ROOM, [wash(5), wash(4, corrects="nothing")], NOW)
    assert stored(store) == before


def test_a_wash_cannot_become_a_reading(store: Store) -> None:
    record(store, ROOM, [wash(5, id="b")], NOW)
    with pytest.raises(FieldErrors):
        record(store, ROOM, [sensor_reading(5, 2.0, corrects="b")], NOW)


def test_a_tank_with_washes_cannot_be_withdrawn(store: Store) -> None:
    record(store, ROOM, [wash(5)], NOW)
    with pytest.raises(Conflict):
        withdraw(store, ROOM, "tank-t1", "Wren", "", NOW, None)


@pytest.mark.parametrize(
    "entry,field",
    [
        (wash(5, tank="t9"), "tank"),
        (wash(5, resin="amber"), "resin"),
        (wash(-1), "at"),
        (wash(20), "at"),
        (TopUp(at=NOW, tank="t1", volume_l=400.0), "volume_l"),
        (Swap(at=NOW, tank="t1", drained_l=99.0), "drained_l"),
        (Swap(at=NOW, tank="t1", solvent="unobtainable"), "solvent"),
    ],
)
def test_what_does_not_fit_the_room_is_named_and_not_stored(
    store: Store, entry: Entry, field: str
) -> None:
    before = stored(store)
    with pytest.raises(FieldErrors) as caught:
        record(store, ROOM, [wash(3), entry], NOW)
    assert field in caught.value.by_field()
    assert stored(store) == before


def test_a_known_id_is_skipped(store: Store) -> None:
    record(store, ROOM, [wash(5, id="b")], NOW)
    done = record(store, ROOM, [wash(5, id="b"), wash(4, id="c"), wash(4, id="c")], NOW)
    assert (done.ids, done.skipped) == (("c",), 2)


def test_a_retried_submission_counts_once(store: Store) -> None:
    first = record(store, ROOM, [wash(1)], NOW, submission="key-1")
    before = stored(store)
    again = record(store, ROOM, [wash(1)], NOW, submission="key-1")
    assert again.is_replayed
    assert again.ids == first.ids
    assert stored(store) == before


def test_a_submission_key_is_not_used_for_other_content(store: Store) -> None:
    record(store, ROOM, [wash(1)], NOW, submission="key-1")
    with pytest.raises(Conflict):
        record(store, ROOM, [wash(2)], NOW, submission="key-1")


def test_two_tablets_at_once_lose_nothing(store: Store) -> None:
    def log(tablet: int) -> None:
        for number in range(10):
            record(store, ROOM, [wash(5 - tablet * 0.1 - number * 0.3)], NOW)

    threads = [threading.Thread(target=log, args=(tablet,)) for tablet in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert tank_row(store).washes_since_fill == 40


def test_a_started_swap_shows_and_is_ended_by_the_swap(store: Store) -> None:
    record(store, ROOM, [SwapStarted(at=NOW - timedelta(hours=1), tank="t1")], NOW)
    assert tank_row(store).swap_started_at_us is not None
    record(store, ROOM, [Swap(at=NOW, tank="t1")], NOW)
    assert tank_row(store).swap_started_at_us is None


def test_new_limits_leave_the_bath_as_it_is(store: Store) -> None:
    record(store, ROOM, [wash(5)], NOW)
    mean = tank_row(store).mean_percent
    change = TankChange(at=NOW, tank="t1", name="Alder", limit_volume_percent=8.0, life_days=60.0)
    record(store, ROOM, [change], NOW)
    row = tank_row(store)
    assert (row.name, row.limit_basis, row.limit_entered) == ("Alder", "volume_percent", 8.0)
    assert row.limit_percent > 8.0
    assert row.mean_percent == pytest.approx(mean, rel=0.01)


def test_a_retired_tank_leaves_the_board(store: Store) -> None:
    record(store, ROOM, [TankChange(at=NOW, tank="t1", is_retired=True)], NOW)
    with Session(store.reader) as session:
        assert board(session, 1, NOW).tanks == ()
        assert len(board(session, 1, NOW, with_retired=True).tanks) == 1


def test_listeners_hear_of_the_room_after_the_commit(store: Store) -> None:
    heard: list[tuple[str, int]] = []
    store.listeners.append(lambda room: heard.append((room, stored(store))))
    before = stored(store)
    record(store, ROOM, [wash(1)], NOW)
    assert heard == [(ROOM, before + 1)]


def test_a_failed_write_leaves_the_state_in_step(store: Store) -> None:
    record(store, ROOM, [wash(6)], NOW)
    state = head_state(store)
    with pytest.raises(Conflict):
        record(store, ROOM, [wash(4, id="x"), wash(4, corrects="x"), wash(3, corrects="x")], NOW)
    assert head_state(store) == state
    record(store, ROOM, [wash(4)], NOW)
    assert tank_row(store).washes_since_fill == 2

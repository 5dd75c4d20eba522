"""The driver: how far it goes back, what it folds anew, and in which order."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from sqlmodel import Session, select

from app.domain import folds
from app.domain.baths.fold import BathFold
from app.domain.books import THINGS
from app.domain.folds import in_order
from app.domain.roomlog.kinds import Entry
from app.services.acts.rooms import RoomForm, change_room
from app.services.catching_up import catch_up_abandoned
from app.services.door import bring_in
from app.services.importing.storing import Origin, store_in_slices
from app.services.projections import ALL
from app.services.rebuilding import rebuild_outdated
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.spend.tables import SpendLineRow
from app.store.tables import CheckpointRow, ThingRow
from tests.factories import NOW, ROOM, at_now, furnish, wash, withdraw
from tests.furnished import new_store
from tests.services.happenings import furnish_all, short_stretches
from tests.services.law import check


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty database."""
    store = new_store(tmp_path)
    yield store
    store.close()


@pytest.fixture
def taken(monkeypatch: pytest.MonkeyPatch) -> list[Entry]:
    """The entries that the baths take in."""
    found: list[Entry] = []
    take = BathFold.take

    def noted(fold: BathFold, key: Any, state: Any, entry: Entry) -> Any:
        found.append(entry)
        return take(fold, key, state, entry)

    monkeypatch.setattr(BathFold, "take", noted)
    return found


def test_a_late_wash_replays_little_where_washes_came_one_at_a_time(
    store: Store, taken: list[Entry]
) -> None:
    furnish(store)
    with short_stretches():
        for number in range(60):
            bring_in(store, ROOM, [wash(13 - number / 10)], NOW)
        taken.clear()
        bring_in(store, ROOM, [wash(13 - 5.35)], NOW)
    age = 6
    assert age < len(taken) <= age * 9 / 8 + 2 * 3  # states are kept every three entries here


def test_a_late_wash_replays_little_after_a_long_import(store: Store, taken: list[Entry]) -> None:
    furnish(store)
    log = [wash(13 - number / 50, id=f"w{number}") for number in range(150)]
    with short_stretches():
        store_in_slices(store, ROOM, log, Origin(), at_now)
        taken.clear()
        bring_in(store, ROOM, [wash(13 - 139.5 / 50)], NOW)
    age = 10
    assert age < len(taken) <= age * 9 / 8 + 2 * 3
    with Session(store.reader) as session:
        kept = sorted(session.exec(select(CheckpointRow.entries)))
    assert 10 < len(kept) < 60
    for before, after in pairwise(kept):
        assert after - before <= max(3, (153 - after) / 8 + 3)


def test_an_entry_at_the_end_is_one_step(store: Store, taken: list[Entry]) -> None:
    furnish(store)
    bring_in(store, ROOM, [wash(1), wash(2)], NOW)
    taken.clear()
    bring_in(store, ROOM, [wash(0.5)], NOW)
    assert len(taken) == 1


def test_a_withdrawal_of_what_is_no_bath_s_moves_no_estimate(
    store: Store, taken: list[Entry]
) -> None:
    furnish_all(store)
    taken.clear()
    withdraw(store, ROOM, "in1", "Wren", "", NOW, None)
    assert taken == []
    check(store)


def versions(store: Store) -> dict[tuple[str, str], str]:
    with Session(store.reader) as session:
        rows = session.connection().execute(text("SELECT name, kind, version FROM projection"))
        return {(name, kind): version for name, kind, version in rows}


def test_a_new_room_is_of_this_program_s_versions(store: Store) -> None:
    furnish_all(store)
    assert {name for name, _ in versions(store)} == {"baths", "books", "costs", "litres"}
    assert {kind for name, kind in versions(store) if name == "books"} == set(THINGS)
    assert rebuild_outdated(store, NOW) == []


def test_books_of_another_version_are_folded_anew_and_no_others(
    store: Store, monkeypatch: pytest.MonkeyPatch, taken: list[Entry]
) -> None:
    furnish_all(store)
    with store.writer.begin() as connection:  # as another version wrote them
        connection.execute(text("UPDATE thing SET state = '{}' WHERE thing = 'item'"))
        connection.execute(text("UPDATE thing_checkpoint SET state = '{}' WHERE thing = 'item'"))
        before = connection.execute(text("SELECT state FROM thing WHERE thing = 'drum'")).all()
    newer = replace(THINGS["item"], version=THINGS["item"].version + 1)
    monkeypatch.setitem(THINGS, "item", newer)  # type: ignore[arg-type]
    taken.clear()
    assert rebuild_outdated(store, NOW) == [ROOM]
    check(store)
    with Session(store.reader) as session:
        assert session.exec(select(ThingRow.state).where(ThingRow.thing == "drum")).all() == [
            state for (state,) in before
        ]
    assert versions(store)["books", "item"] == str(newer.version)
    assert rebuild_outdated(store, NOW) == []


@pytest.mark.parametrize("name", ["baths", "costs"])
def test_what_another_version_kept_is_worked_out_anew_and_says_how_far_it_is(
    store: Store, name: str
) -> None:
    furnish_all(store)
    bring_in(store, ROOM, [wash(3), wash(2, "t2")], NOW)
    with store.writer.begin() as connection:
        connection.execute(text("UPDATE projection SET version = '?' WHERE name = :n"), {"n": name})
        connection.execute(text("DELETE FROM spend_line"))
        if name == "baths":
            connection.execute(text("UPDATE head SET state = :old"), {"old": b"OLD1"})
    store.states.clear()
    told: list[str] = []
    assert rebuild_outdated(store, NOW, lambda what, *_: told.append(what)) == [ROOM]
    assert "Adding up costs" in told  # costs need the baths, and follow them
    assert ("Estimating" in told) == (name == "baths")
    check(store)


@pytest.mark.parametrize("phase", ["Storing", "Estimating", "Forecasting"])
def test_a_room_whose_import_broke_off_is_worked_out_whole(store: Store, phase: str) -> None:
    furnish_all(store)
    log = [wash(12 - number / 9, mass_g=50.0, id=f"w{number}") for number in range(12)]

    def stop(what: str, *_: int) -> None:
        if what == phase:
            raise KeyboardInterrupt

    with short_stretches():
        with pytest.raises(KeyboardInterrupt):
            store_in_slices(store, ROOM, log, Origin(), at_now, stop)
        with store.writer.begin() as connection:
            connection.execute(text("UPDATE projection SET version = '?' WHERE name = 'costs'"))
        store.states.clear()
        assert rebuild_outdated(store, NOW) == [ROOM]
        check(store)
        later = NOW + timedelta(minutes=9)
        assert catch_up_abandoned(store, lambda: later) == []
        check(store)


def test_another_time_zone_keeps_its_version_in_step(store: Store) -> None:
    furnish_all(store)
    moved = RoomForm(name="Room", key=ROOM, time_zone="Asia/Tokyo")
    change_room(store, ROOM, moved, lambda _: True)
    assert versions(store)["costs", ""].endswith("Asia/Tokyo")
    assert rebuild_outdated(store, NOW) == []
    with Session(store.reader) as session:
        assert find_room(session, ROOM).time_zone == "Asia/Tokyo"
        assert session.exec(select(SpendLineRow.id)).first() is not None


@dataclass(frozen=True)
class Named:
    name: str
    needs: tuple[str, ...] = ()


def test_projections_come_behind_what_they_need() -> None:
    ordered = in_order([Named("costs", ("baths",)), Named("baths", ("books",)), Named("books")])
    assert [one.name for one in ordered] == ["books", "baths", "costs"]
    assert [one.name for one in ALL] == ["books", "litres", "baths", "costs"]


@pytest.mark.parametrize(
    "some", [[Named("a", ("b",)), Named("b", ("a",))], [Named("a", ("nothing",))]]
)
def test_projections_that_need_each_other_are_refused(some: list[Named]) -> None:
    with pytest.raises(ValueError, match="a"):
        in_order(some)


def test_states_are_kept_closer_together_towards_the_end() -> None:
    kept, last = [], 0
    for entries in range(1, 100_001):
        if folds.is_to_be_kept(entries, last, 100_000 - entries):
            kept.append(entries)
            last = entries
    assert len(kept) < 200
    for before, after in pairwise(kept):
        assert after - before <= max(folds.EVERY, (100_000 - before) / 8)
    assert 100_000 - kept[-1] < folds.EVERY

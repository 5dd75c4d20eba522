"""Forecasts made after the entry that they follow from: the same ones, once, whatever happens."""

import os
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, select

from app.domain.roomlog.kinds import Entry, Swap, TankChange, TopUp
from app.services.baths import soon
from app.services.baths.board import refresh_stale
from app.services.baths.forecasts import forecast_of, take_forecast
from app.services.baths.soon import due, make_due
from app.services.baths.states import baths_of
from app.services.caching import kept
from app.services.door import bring_in
from app.services.projecting import Run
from app.services.rooms import find_room
from app.services.supplies.shelf import read_shelf
from app.store import queries
from app.store.engine import Store, open_store
from app.store.instants import from_us, to_us
from app.store.observing import LEFT_AFTER
from app.store.sessions import reading
from app.store.tables import RoomRow, TankRow
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash, withdraw
from tests.furnished import new_store
from tests.services.happenings import ACTS, DAYS, Room, furnish_all, short_stretches
from tests.services.law import check_states, true_order

EXAMPLES = int(os.environ.get("BATHKEEPER_TEST_EXAMPLES", "8"))
NUMBERS = count()


@pytest.fixture
def store(either_store: Store) -> Store:
    """An empty database of either kind, where forecasts come after the entries."""
    either_store.makes_forecasts_soon = True
    return either_store


@pytest.fixture
def at_once(tmp_path: Path) -> Iterator[Store]:
    """An empty database where forecasts are made with the entries."""
    store = new_store(tmp_path / "at-once")
    yield store
    store.close()


def rows_of(store: Store, room: str = ROOM) -> dict[str, dict[str, Any]]:
    """All that is stored of a room's tanks."""
    with Session(store.writer) as session:
        mine = TankRow.room_id == find_room(session, room).id
        rows = session.exec(select(TankRow).where(mine)).all()
        return {row.key: row.model_dump(exclude={"room_id"}) for row in rows}


def due_in(store: Store, room: str = ROOM) -> list[str]:
    with Session(store.writer) as session:
        return list(due(session, find_room(session, room).id or 0))


def room_of(store: Store, room: str = ROOM) -> RoomRow:
    with reading(store) as session:
        return find_room(session, room)


MOVES = st.lists(
    st.tuples(st.sampled_from(ACTS), st.floats(0.1, DAYS - 0.1), st.integers(1, 40), st.booleans()),
    min_size=1, max_size=10,
)  # fmt: skip
PROPERTY = settings(
    max_examples=EXAMPLES, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@PROPERTY
@given(moves=MOVES)
def test_they_are_byte_for_byte_those_made_with_the_entries(
    store: Store, at_once: Store, moves: list[tuple[str, float, int, bool]]
) -> None:
    """Whatever is entered, late, corrected or withdrawn, and made before the next entry."""
    key = f"room-{next(NUMBERS)}"
    rooms = [Room(store, key), Room(at_once, key)]
    for room in rooms:
        furnish_all(room.store, key)
    with short_stretches(with_forecasts=True):
        for *move, _ in moves:
            for room in rooms:
                room.act(*move)
            make_due(store)
            assert rows_of(store, key) == rows_of(at_once, key)


@PROPERTY
@given(moves=MOVES)
def test_whenever_they_are_made_they_are_those_of_the_whole_log(
    store: Store, moves: list[tuple[str, float, int, bool]]
) -> None:
    """Also where several entries came before: as a fold of the true order from scratch says."""
    key = f"late-{next(NUMBERS)}"
    room = Room(store, key)
    furnish_all(store, key)
    with short_stretches(with_forecasts=True):
        for *move, is_made in moves:
            room.act(*move)
            if is_made:
                make_due(store)
        waiting = due_in(store, key)
        make_due(store)
    assert due_in(store, key) == []
    found = rows_of(store, key)
    for tank in waiting:
        assert found[tank] == made_from_scratch(store, key, tank)


def made_from_scratch(store: Store, key: str, tank: str) -> dict[str, Any]:
    """The row of a tank with the forecast of a filter that took the log in the true order."""
    with Session(store.writer) as session:
        room = find_room(session, key)
        told = true_order(session, room)
        [(state, _)] = check_states(session, room, baths_of(room), told).values()
        entries = sum(bool(baths_of(room).fold.concerns(one.entry)) for one in told)
        last_us = max(
            one.place.moment_us for one in told if baths_of(room).fold.concerns(one.entry)
        )
        now = max(NOW, from_us(last_us))
        [row] = session.exec(select(TankRow).where(TankRow.room_id == room.id, TankRow.key == tank))
        passed = row.limit_passed_at_us
        run = Run(key=("baths", ""), state=state, entries=entries)
        take_forecast(row, forecast_of(room, run, tank, now), now)
        row.limit_passed_at_us = passed
        made = row.model_dump(exclude={"room_id"})
        session.rollback()
        return made


def test_an_entry_leaves_a_note_and_the_estimate_is_of_now(store: Store) -> None:
    furnish(store)
    before = rows_of(store)["t1"]
    bring_in(store, ROOM, [wash(0.5, id="w1")], NOW)
    noted = rows_of(store)["t1"]
    assert noted["mean_percent"] > before["mean_percent"]
    assert noted["washes_since_fill"] == 1
    assert noted["fan"] == before["fan"]
    assert noted["forecast_due_us"] == to_us(NOW)
    assert make_due(store) is False
    made = rows_of(store)["t1"]
    assert made["forecast_due_us"] is made["forecast_due_version"] is None
    assert made["fan"] != before["fan"]
    assert made["mean_percent"] == noted["mean_percent"]


def test_the_oldest_note_stays_and_tells_of_the_last_touch(store: Store) -> None:
    furnish(store)
    bring_in(store, ROOM, [wash(0.5, id="w1")], NOW)
    first = rows_of(store)["t1"]
    bring_in(store, ROOM, [wash(0.4, id="w2")], NOW + timedelta(seconds=30))
    second = rows_of(store)["t1"]
    assert second["forecast_due_us"] == first["forecast_due_us"] == to_us(NOW)
    assert second["forecast_due_version"] == first["forecast_due_version"] + 1
    make_due(store)
    assert rows_of(store)["t1"]["forecast_at_us"] == to_us(NOW + timedelta(seconds=30))


FULL = [wash(3 - n / 10, area_cm2=20_000.0, id=f"full{n}") for n in range(12)]


@pytest.mark.parametrize(
    "entry",
    [
        Swap(at=NOW, tank="t1", id="now"),
        TankChange(at=NOW, tank="t1", limit_percent=4.0, id="now"),
        TankChange(at=NOW, tank="t1", capacity_l=60.0, id="now"),
        replace(wash(0, area_cm2=400_000.0), id="now"),
    ],
    ids=["a new fill", "a changed limit", "another size", "a limit passed"],
)
def test_what_a_person_must_see_at_once_never_waits(store: Store, entry: Entry) -> None:
    """A forecast of the fill, the limit or the marks before would be shown as if it held."""
    furnish(store)
    bring_in(store, ROOM, FULL[:3], NOW)
    make_due(store)
    bring_in(store, ROOM, [entry], NOW)
    found = rows_of(store)["t1"]
    assert found["forecast_due_us"] is None
    assert found == made_from_scratch(store, ROOM, "t1")


def test_a_new_fill_drops_what_was_due(store: Store) -> None:
    furnish(store)
    bring_in(store, ROOM, FULL[:3], NOW)
    assert due_in(store) == ["t1"]
    bring_in(store, ROOM, [Swap(at=NOW, tank="t1", id="swap")], NOW)
    assert due_in(store) == []


def test_a_passed_limit_is_said_with_the_entry_that_takes_it_back_too(store: Store) -> None:
    furnish(store)
    bring_in(store, ROOM, [wash(1, area_cm2=400_000.0, id="big")], NOW)
    assert rows_of(store)["t1"]["limit_is_passed"]
    withdraw(store, ROOM, "big", "Ada", "", NOW, None)
    assert not rows_of(store)["t1"]["limit_is_passed"]


def test_what_was_touched_meanwhile_is_made_of_the_newer_state(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(store)
    bring_in(store, ROOM, [wash(0.5, id="w1")], NOW)
    worked_out, times = soon._worked_out, []

    def interrupted(*given: Any) -> Any:
        made = worked_out(*given)
        if not times:
            bring_in(store, ROOM, [wash(0.2, id="w2")], NOW)
        times.append(1)
        return made

    monkeypatch.setattr(soon, "_worked_out", interrupted)
    assert make_due(store) is False
    assert len(times) == 2
    assert room_of(store).forecasts == 1
    assert rows_of(store)["t1"] == made_from_scratch(store, ROOM, "t1")


def test_a_tank_that_is_touched_all_the_time_gets_its_forecast(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(store)
    bring_in(store, ROOM, [wash(0.5, id="w0")], NOW)
    worked_out, numbers = soon._worked_out, count(1)

    def interrupted(*given: Any) -> Any:
        made = worked_out(*given)
        bring_in(store, ROOM, [wash(0.2, id=f"w{next(numbers)}")], NOW)
        return made

    monkeypatch.setattr(soon, "_worked_out", interrupted)
    assert make_due(store) is False
    assert next(numbers) == soon.TRIES + 1
    assert rows_of(store)["t1"] == made_from_scratch(store, ROOM, "t1")


def test_a_new_fill_meanwhile_is_not_given_the_forecast_of_the_old_one(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(store)
    bring_in(store, ROOM, FULL, NOW)
    worked_out = soon._worked_out

    def interrupted(*given: Any) -> Any:
        made = worked_out(*given)
        if made is not None:
            bring_in(store, ROOM, [Swap(at=NOW, tank="t1", id="swap")], NOW)
        return made

    monkeypatch.setattr(soon, "_worked_out", interrupted)
    make_due(store)
    assert due_in(store) == []
    assert room_of(store).forecasts == 0
    assert rows_of(store)["t1"] == made_from_scratch(store, ROOM, "t1")


def test_entries_of_another_tank_do_not_send_it_back(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(store, tanks=2)
    bring_in(store, ROOM, [wash(0.5, id="w1")], NOW)
    worked_out, times = soon._worked_out, []

    def interrupted(*given: Any) -> Any:
        made = worked_out(*given)
        if not times:
            bring_in(store, ROOM, [TopUp(at=NOW, tank="t2", volume_l=1.0, id="up")], NOW)
        times.append(1)
        return made

    monkeypatch.setattr(soon, "_worked_out", interrupted)
    make_due(store)
    assert len(times) == 2  # one for each tank
    assert due_in(store) == []


def test_many_are_made_some_at_a_time_the_oldest_first(store: Store) -> None:
    furnish(store, tanks=6)
    made: list[list[str]] = []
    for number in (6, 2, 4, 1, 3, 5):
        at = NOW + timedelta(seconds=len(made) + number % 2)
        bring_in(store, ROOM, [wash(0.5, f"t{number}", id=f"w{number}")], at)
    in_order = due_in(store)
    store.listeners.append(lambda _: made.append(due_in(store)))
    make_due(store)
    assert in_order == ["t2", "t4", "t6", "t1", "t3", "t5"]
    assert made == [in_order[soon.AT_ONCE :], []]


def test_pages_hear_of_it_and_answers_kept_of_forecasts_are_made_anew(store: Store) -> None:
    furnish(store)
    bring_in(store, ROOM, [*FULL[:6], sensor_reading(0.1, 5.0, id="r")], NOW)
    bring_in(store, ROOM, [wash(0.05, id="w")], NOW)
    heard: list[str] = []
    store.listeners.append(heard.append)
    with reading(store) as session:
        room = find_room(session, ROOM)
        first = read_shelf(session, room, NOW)
        entries = kept(session, room.id or 0, "of entries", room.version, object)
    make_due(store)
    assert heard == [ROOM]
    with reading(store) as session:
        now = find_room(session, ROOM)
        assert (now.version, now.edition) == (room.version, room.edition + 1)
        assert read_shelf(session, now, NOW) is not first
        assert kept(session, now.id or 0, "of entries", now.version, object) is entries


def test_the_board_says_as_of_when_its_days_are(store: Store) -> None:
    furnish(store, tanks=2)
    many = [wash(9 - n, area_cm2=3000.0, id=f"d{n}") for n in range(8)]
    bring_in(store, ROOM, [*many, sensor_reading(0.5, 2.0, id="r")], NOW)
    make_due(store)
    later = NOW + timedelta(minutes=2)
    bring_in(store, ROOM, [replace(wash(0), at=later, id="w")], later)
    with reading(store) as session:
        board = queries.board(session, find_room(session, ROOM).id or 0, later)
    assert board.days_as_of == NOW
    assert [tank.forecast_due_at for tank in board.tanks] == [later, None]
    make_due(store)
    with reading(store) as session:
        board = queries.board(session, find_room(session, ROOM).id or 0, later)
    assert board.days_as_of is None


def test_what_nobody_has_made_is_made_with_those_of_some_hours_ago(store: Store) -> None:
    furnish(store)
    bring_in(store, ROOM, [wash(0.5, id="w1")], NOW)
    refresh_stale(store, NOW + LEFT_AFTER)
    assert due_in(store) == ["t1"]
    refresh_stale(store, NOW + LEFT_AFTER + timedelta(seconds=1))
    assert due_in(store) == []


@pytest.mark.postgres
def test_several_servers_make_each_once(
    postgres_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    postgres_store.makes_forecasts_soon = True
    furnish(postgres_store, tanks=4)
    washes = [wash(0.5, f"t{number}", id=f"w{number}") for number in range(1, 5)]
    bring_in(postgres_store, ROOM, washes, NOW)
    url = postgres_store.writer.url.render_as_string(hide_password=False)
    others = [open_store(url) for _ in range(3)]
    made: list[str] = []
    together = threading.Barrier(4)

    def counted(room: RoomRow, run: Any, tank: str, now: Any) -> Any:
        made.append(tank)
        return forecast_of(room, run, tank, now)

    monkeypatch.setattr(soon, "forecast_of", counted)

    def serve(store: Store) -> None:
        together.wait()
        while make_due(store):
            pass

    threads = [threading.Thread(target=serve, args=(one,)) for one in (postgres_store, *others)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for store in others:
        store.close()
    assert sorted(made) == ["t1", "t2", "t3", "t4"]
    assert room_of(postgres_store).forecasts == 1
    assert due_in(postgres_store) == []

"""The same litres everywhere: tank, drum, shelf, close and estimate of a swap on its way."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import swapping
from app.services.door import bring_in as record
from app.services.rebuilding import rebuild_room
from app.services.spend.mass_balance import levels_between
from app.store import queries
from app.store.engine import Store
from tests.factories import NOW, ROOM, wash
from tests.services.swaps.led import Run, room_id, state_of

NEAR = 0.01  # litres


def level(store: Store, tank: str = "t1") -> float:
    """Litres in a tank as the pages show them."""
    with Session(store.reader) as session:
        view = queries.board(session, room_id(store), NOW).tank(tank)
    assert view is not None
    return view.volume_l


def until_drained(run: Run, **answers: float) -> None:
    run.until_bonded()
    run.tick("drain", **answers)


def test_from_the_drain_on_the_tank_holds_its_heel_and_the_drum_the_rest(store: Store) -> None:
    """36 L poured; 2 % of 40 L is taken to be left."""
    run = Run(store)
    until_drained(run, drained_l=36.0)
    assert level(store) == pytest.approx(0.8, abs=NEAR)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(36.0)


def test_from_the_fill_on_the_tank_holds_what_left_the_shelf(store: Store) -> None:
    run = Run(store)
    run.until_filled()  # 39 L drained, more than was estimated: nothing is left
    assert level(store) == pytest.approx(39.0, abs=NEAR)
    assert state_of(store, "item", "ipa").lot("A7").quantity == pytest.approx(60 - 41.0)


def test_an_undone_drain_is_back_in_the_tank(store: Store) -> None:
    before_l = level(store)
    run = Run(store)
    run.until_drained()
    swapping.undo(store, ROOM, run.key, "drain", run.hand(), NOW)
    assert level(store) == pytest.approx(before_l, abs=NEAR)
    assert state_of(store, "drum", "d1").volume_l == 0


def test_a_late_entry_and_a_rebuild_leave_the_drained_tank_drained(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    drained = level(store)
    record(store, ROOM, [wash(5.5, area_cm2=500.0)], NOW)
    assert level(store) == pytest.approx(drained, abs=NEAR)
    rebuild_room(store, ROOM, NOW)
    assert level(store) == pytest.approx(drained, abs=NEAR)


@pytest.mark.parametrize("heel_l", [0.3, 0.0, 2.5, None])
def test_the_heel_that_was_looked_at_is_in_estimate_storage_and_close(
    store: Store, heel_l: float | None
) -> None:
    """36 L filled on the heel: estimate, board and close say the same to 0.01 L, before the
    completion and after it."""
    run = Run(store)
    run.minute = 130  # so near to now that nothing to speak of evaporates
    until_drained(run, drained_l=36.0, **({} if heel_l is None else {"heel_l": heel_l}))
    run.tick("inspect")
    run.tick("rinse", rinse_l=0)
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=36.0, lot="ipa|A7")
    for step in ("leak_check", "read", "restart", "close_out"):
        run.tick(step, is_sure=True)
    with Session(store.reader) as session:
        closing = swap_closing.balance_of(session, room_id(store), run.state)
    expected_l = 0.8 if heel_l is None else heel_l
    assert closing.balance.heel_l == pytest.approx(expected_l, abs=NEAR)
    assert closing.after_l == pytest.approx(expected_l + 36.0, abs=NEAR)
    assert level(store) == pytest.approx(closing.after_l, abs=NEAR)
    run.complete(note="Lid stood open")
    assert level(store) == pytest.approx(closing.after_l, abs=NEAR)


def test_a_completion_taken_back_leaves_the_litres_where_they_are(store: Store) -> None:
    run = Run(store)
    run.until_done()
    filled_l = level(store)
    run.complete()
    swap_closing.reopen(store, ROOM, run.key, run.hand(), NOW)
    assert level(store) == pytest.approx(filled_l, abs=NEAR)


def test_a_pair_s_tanks_hold_what_its_steps_say(store: Store) -> None:
    run = Run(store, "dirty", "clean")
    before_l = level(store, "clean")
    until_drained(run, drained_l=36.0)
    assert level(store, "dirty") == pytest.approx(0.8, abs=NEAR)
    assert level(store, "clean") == pytest.approx(before_l, abs=NEAR)
    run.tick("inspect")
    run.tick("rinse", rinse_l=0)
    run.tick("wipe")
    run.tick("refit")
    moved_l = round(before_l - 0.5, 2)
    run.tick("isolate_clean")
    run.tick("move_clean", moved_l=moved_l)
    assert level(store, "dirty") == pytest.approx(0.8 + moved_l, abs=NEAR)
    assert level(store, "clean") == pytest.approx(0.5, abs=NEAR)


def test_the_balance_of_the_running_week_has_what_stands_in_the_tank(store: Store) -> None:
    """Drained, filled and not complete: the levels of the spending pages are those of the room."""
    run = Run(store)
    run.until_filled()
    moments = [run.state.ticks[5].at, run.state.ticks[-1].at, NOW]  # behind the drain, the fill
    with Session(store.reader) as session:
        found = levels_between(
            session, room_id(store), NOW - timedelta(days=7), moments, lambda *_: 0.0
        )
    assert found[0]["t1"] == pytest.approx(0.0, abs=NEAR)  # 39 L drained of less
    assert found[1]["t1"] == pytest.approx(39.0, abs=NEAR)
    assert found[2]["t1"] == pytest.approx(level(store), abs=NEAR)

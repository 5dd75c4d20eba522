"""The close of a swap: what the baths are then, and where each litre went."""

from pathlib import Path

import pytest
from sqlmodel import Session, select

from app.domain.errors import Conflict, FieldErrors
from app.domain.roomlog.kinds import Swap, Withdrawal
from app.domain.roomlog.lines import parse_line, to_line
from app.services.acts.rooms import RoomForm, add_room
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import contents, swapping
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.entries import entry_of
from app.services.rebuilding import rebuild_room
from app.services.swaps.under_way import Hand
from app.store.engine import Store, open_store
from app.store.tables import CourseRow, EntryRow
from tests.factories import NOW, ROOM, wash
from tests.furnished import new_store
from tests.services.swaps.led import Run, state_of, tank_row


def test_a_swap_from_start_to_close_accounts_for_each_litre(store: Store) -> None:
    """40 L estimated less evaporation, 39 drained, 2 rinse, 39 filled: 41 L into the drum and off
    the shelf, worked by hand."""
    loaded = tank_row(store)
    run = Run(store)
    assert tank_row(store).swap_started_at_us is not None
    run.until_done()
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(41.0)
    assert state_of(store, "item", "ipa").lot("A7").quantity == pytest.approx(60 - 41.0)
    run.complete(by="Dunlin", closes_drum=True)
    state, row = run.state, tank_row(store)
    assert (state.end, state.ended_by) == ("closed", "Dunlin")
    assert state.balance is not None
    assert state.balance.loss_l == pytest.approx(
        state.balance.estimated_l - 39.0 - state.balance.heel_l, abs=0.002
    )
    assert row.swap_started_at_us is None
    assert (row.fill, row.fresh_purity_percent) == (1, 99.8)
    assert row.mean_percent < 0.2 * loaded.mean_percent
    assert state_of(store, "drum", "d1").is_closed


def test_the_reading_of_the_fresh_bath_belongs_to_the_new_bath(store: Store) -> None:
    """The swap is dated at its fill, so that the reading after it is a reading of the new bath."""
    run = Run(store)
    run.until_done()
    run.complete()
    with Session(store.reader) as session:
        rows = {row.kind: row for row in session.exec(select(EntryRow)).all()}
        course = session.exec(select(CourseRow).where(CourseRow.kind == "reading")).one()
    assert course.fill == 1
    assert rows["swap"].moment_us < rows["reading"].moment_us
    filled = run.state.tick("fill")
    assert filled is not None
    assert rows["swap"].at_us == int(filled.at.timestamp() * 1_000_000)


def test_completing_is_refused_while_a_required_step_is_open(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    with pytest.raises(FieldErrors) as caught:
        run.complete()
    assert "Look for leaks" in caught.value.by_field()["steps"]
    assert tank_row(store).fill == 0


def test_a_difference_past_the_tolerance_asks_for_a_note(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    swapping.undo(store, ROOM, run.key, "drain", run.hand(), NOW)
    run.tick("drain", drained_l=33.0, heel_l=0.5)
    run.tick("inspect")
    run.tick("rinse", rinse_l=0)
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0)
    for step in ("leak_check", "read", "restart", "close_out"):
        run.tick(step, is_sure=True)
    with pytest.raises(FieldErrors) as caught:
        run.complete()
    assert "note" in caught.value.by_field()
    run.complete(note="Lid stood open over the weekend")
    assert run.state.end_note == "Lid stood open over the weekend"


def test_the_second_person_to_complete_hears_who_did(store: Store) -> None:
    run = Run(store)
    run.until_done()
    run.complete(by="Dunlin")
    with pytest.raises(Conflict, match="completed by Dunlin"):
        run.complete(by="Wren")
    with pytest.raises(Conflict, match="completed by Dunlin"):
        run.tick("sensor")
    assert tank_row(store).fill == 1


def test_a_completion_taken_back_leaves_the_swap_as_it_was_before(store: Store) -> None:
    run = Run(store)
    run.until_done()
    before = tank_row(store).mean_percent
    run.complete(closes_drum=True)
    swap_closing.reopen(store, ROOM, run.key, run.hand(), NOW)
    assert run.state.is_open
    assert tank_row(store).fill == 0
    assert tank_row(store).mean_percent == pytest.approx(before)
    assert not state_of(store, "drum", "d1").is_closed
    answer = contents.Answer("t1", "filled")
    contents.say(store, ROOM, run.key, [answer], run.hand(), NOW)
    run.complete()
    assert tank_row(store).fill == 1


def test_a_completed_swap_keeps_its_steps_and_goes_back_only_as_a_whole(store: Store) -> None:
    """The new bath and its balance rest on what the steps moved: no litre goes without them."""
    run = Run(store)
    run.until_done()
    run.complete()
    drained, close = run.state.tick("drain"), run.state.close_id
    assert drained is not None
    step = Withdrawal(at=NOW, by="Wren", withdraws=drained.id)
    with pytest.raises(Conflict, match="This swap is completed"):
        enter(store, ROOM, [step], NOW)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(41.0)
    enter(store, ROOM, [Withdrawal(at=NOW, by="Wren", withdraws=close), step], NOW)
    assert run.state.end == ""
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(2.0)


def test_a_swap_given_up_leaves_the_bath_and_keeps_its_pours(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    contents.give_up(store, ROOM, run.key, run.hand(), NOW)
    assert run.state.end == "abandoned"
    assert tank_row(store).swap_started_at_us is None
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(39.0)
    with pytest.raises(Conflict, match="given up by Wren"):
        run.tick("inspect")


def test_a_swap_entered_at_once_ends_its_list(store: Store) -> None:
    run = Run(store)
    record(store, ROOM, [Swap(at=NOW, by="Wren", tank="t1", swap=run.key)], NOW)
    assert run.state.end == "entered"


def test_a_pair_moves_the_clean_bath_and_fills_only_that_tank(store: Store) -> None:
    """The dirty tank gets what the clean one held; 39 L fresh go into the clean tank alone,
    and each tank has a rinse of its own, 2 L and 1 L."""
    record(store, ROOM, [wash(2, tank="dirty", area_cm2=90000.0),
                         wash(1, tank="clean", area_cm2=9000.0)], NOW)  # fmt: skip
    dirty, clean = tank_row(store, "dirty"), tank_row(store, "clean")
    run = Run(store, "dirty", "clean")
    assert tank_row(store, "clean").swap_started_at_us is not None
    run.until_done()
    run.complete(note="Both stood open for a week")
    dirty_now, clean_now = tank_row(store, "dirty"), tank_row(store, "clean")
    assert dirty_now.mean_percent < dirty.mean_percent
    assert dirty_now.mean_percent == pytest.approx(clean.mean_percent, rel=0.5)
    assert clean_now.mean_percent < 0.5 * clean.mean_percent
    assert (dirty_now.fill, clean_now.fill) == (1, 1)
    assert state_of(store, "item", "ipa").on_hand == pytest.approx(140 - 42.0)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(42.0)  # 39, and 2 + 1 rinsed


def test_only_its_own_clean_bath_is_moved_into_a_tank(store: Store) -> None:
    with pytest.raises(FieldErrors):
        swapping.start(store, ROOM, "t1", "clean", Hand(NOW, "Wren"), NOW)


def test_the_swap_is_the_same_after_everything_is_worked_out_anew(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.lead("wipe", "step")
    before = run.state
    rebuild_room(store, ROOM, NOW)
    assert run.state == before


def test_a_swap_goes_on_after_the_server_was_cut_off_and_started_again(
    store: Store, tmp_path: Path
) -> None:
    run = Run(store)
    run.until_drained()
    before = run.state
    other = open_store(f"sqlite:///{tmp_path / 'bathkeeper.sqlite3'}")
    run.store = other
    assert run.state == before
    run.tick("inspect")
    other.close()


def test_a_swap_is_the_same_in_a_room_that_takes_in_its_log(store: Store, tmp_path: Path) -> None:
    run = Run(store)
    run.until_done()
    run.tick("prepare", by="Dunlin")
    run.complete()
    (tmp_path / "elsewhere").mkdir()
    elsewhere = new_store(tmp_path / "elsewhere")
    add_room(elsewhere, RoomForm(name="Elsewhere", key=ROOM), NOW)
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).order_by(EntryRow.id)).all()  # type: ignore[arg-type]
        lines = [to_line(entry_of(row)) for row in rows]
    record(elsewhere, ROOM, [parse_line(line) for line in lines], NOW)
    here, run.store = run.state, elsewhere
    assert run.state == here
    elsewhere.close()

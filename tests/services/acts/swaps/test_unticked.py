"""A swap that stops in the middle of a drain or a move that nobody has ticked: the tank on the
screen is full, and the tank in the room may be half empty."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app.domain.errors import Conflict, Doubtful, FieldErrors
from app.domain.roomlog.kinds import SwapAbandoned, Wash
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.incidents import TankHeld
from app.services.acts.holds import put_on_hold
from app.services.acts.swaps import closing, contents, swapping
from app.services.acts.swaps.contents import Answer
from app.services.door import enter
from app.services.litres.reading import Book, book_of
from app.services.rooms import find_room
from app.services.swaps.under_way import Hand
from app.store.engine import Store
from tests.factories import NOW, ROOM
from tests.services.acts.swaps.test_contents import give_up, hold, last, say
from tests.services.swaps.led import Run, entries, state_of
from tests.services.swaps.test_swap_litres import level

LATER = NOW + timedelta(minutes=30)


def book(store: Store) -> Book:
    with Session(store.reader) as session:
        return book_of(session, find_room(session, ROOM), LATER)


def bonded(store: Store, *tanks: str) -> Run:
    """Tank and drum are bonded, and the drain is the next step."""
    run = Run(store, *tanks) if tanks else Run(store)
    run.until_bonded()
    run.look("drain")
    return run


def refitted(store: Store) -> Run:
    """Of a pair, the clean bath is isolated and may be moved."""
    run = bonded(store, "dirty", "clean")
    run.tick("drain", drained_l=36.0, heel_l=0.6)
    run.tick("inspect")
    run.tick("rinse", rinse_l=0)
    for step in ("wipe", "refit", "isolate_clean"):
        run.tick(step)
    return run


def test_until_liquid_may_flow_nothing_is_asked(store: Store) -> None:
    run = Run(store)
    for step in ("prepare", "protect", "isolate"):
        run.tick(step)
    run.tick("choose_drum", drum="d1")
    give_up(run)
    assert (run.state.end, hold(store).is_held) == ("abandoned", False)


def test_given_up_at_a_drain_that_nobody_ticked_the_tank_is_held_until_somebody_looked(
    store: Store,
) -> None:
    run = bonded(store)
    before_l = level(store)
    give_up(run)
    assert (run.state.end, run.state.asks, hold(store).is_held) == ("abandoned", ("t1",), True)
    with pytest.raises(FieldErrors, match="held"):
        enter(store, ROOM, [Wash(at=LATER, tank="t1", resin="slate", parts=3)], LATER)
    say(run, Answer("t1", "as_before"))
    assert not hold(store).is_held
    assert level(store) == pytest.approx(before_l, abs=0.01)
    assert (book(store).apart, book(store).unexplained) == ((), ())


def test_what_is_left_of_a_bath_of_which_no_drain_is_entered_is_asked_about_and_stands(
    store: Store,
) -> None:
    """What went into a drum is on no account of one until it is poured there."""
    run = bonded(store)
    gone_l = level(store) - 16.0
    with pytest.raises(Doubtful, match=r"nothing was taken out, but you say 16\.0 L"):
        give_up(run, Answer("t1", "partly", 16.0))
    give_up(run, Answer("t1", "partly", 16.0), is_sure=True)
    assert level(store) == pytest.approx(16.0, abs=0.01)
    (one,) = book(store).unexplained
    assert one.name == "drained but in no drum yet, from T1"
    assert one.litres == pytest.approx(gone_l, abs=0.01)
    assert book(store).apart == ()


def test_part_of_a_bath_that_is_entered_as_drained_stands_in_its_drum(store: Store) -> None:
    run = bonded(store)
    out_l = round(level(store) - 16.0, 2)
    run.tick("drain", drained_l=out_l, heel_l=16.0)
    give_up(run, Answer("t1", "empty"))
    assert level(store) == pytest.approx(16.0, abs=0.01)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(out_l)
    assert (book(store).apart, book(store).unexplained) == ((), ())


def test_paused_in_the_middle_of_a_drain_the_tank_holds_what_was_seen(store: Store) -> None:
    run = bonded(store)
    seen, hand = [Answer("t1", "partly", 16.0)], run.hand()
    contents.say(store, ROOM, run.key, seen, hand, NOW, settles=lambda _: True)
    assert level(store) == pytest.approx(16.0, abs=0.01)
    run.tick("drain", drained_l=36.5, heel_l=0.5)
    assert level(store) == pytest.approx(0.5, abs=0.01)
    assert book(store).apart == ()


def test_paused_before_anything_flowed_its_estimate_goes_on(store: Store) -> None:
    run = bonded(store)
    before_l = level(store)
    say(run, Answer("t1", "as_before"))
    assert level(store) == before_l
    assert last(store, "tank_contents").found == "as_before"  # type: ignore[attr-defined]
    assert book(store).apart == ()


def test_held_in_the_middle_of_a_drain_the_drain_waits_for_an_answer(store: Store) -> None:
    run = bonded(store)
    word = TankHeld(at=NOW, by="Wren", tank="t1", reason="Hose burst", cause="lead")
    put_on_hold(store, ROOM, word, NOW, None)
    assert run.state.asks == ("t1",)
    assert "First say what is in the tank" in run.refused("drain", drained_l=36.5)["gate"]
    say(run, Answer("t1", "partly", 16.0), is_sure=True)
    assert run.state.asks == ()


def test_a_drain_that_is_undone_may_still_have_begun(store: Store) -> None:
    run = bonded(store)
    run.tick("drain", drained_l=36.0, heel_l=0.6)
    swapping.undo(store, ROOM, run.key, "drain", run.hand(), NOW)
    give_up(run)
    assert hold(store).is_held


def test_a_program_that_gives_up_at_the_drain_says_that_the_tank_is_asked_about(
    store: Store,
) -> None:
    run = bonded(store)
    word = SwapAbandoned(at=NOW, tank="t1", swap=run.key)
    before = entries(store)
    with pytest.raises(FieldErrors, match="moved the liquid"):
        enter(store, ROOM, [word], LATER)
    assert entries(store) == before
    enter(store, ROOM, [SwapAbandoned(**{**vars(word), "id": "", "asks_contents": True})], LATER)
    assert hold(store).is_held
    said = TankContents(at=LATER, tank="t1", swap=run.key, found="as_before")
    enter(store, ROOM, [said], LATER)
    assert not hold(store).is_held


def test_of_a_pair_the_clean_tank_is_asked_about_once_its_bath_may_be_moved(store: Store) -> None:
    """20 L of the clean bath stand in the dirty tank, and the move is not ticked."""
    run = refitted(store)
    clean_l = level(store, "clean")
    with pytest.raises(Doubtful):
        give_up(run, Answer("dirty", "partly", 20.6), Answer("clean", "as_before"))
    give_up(run, Answer("dirty", "asked"), Answer("clean", "partly", clean_l - 20), is_sure=True)
    assert level(store, "clean") == pytest.approx(clean_l - 20, abs=0.01)
    assert (hold(store, "dirty").is_held, hold(store, "clean").is_held) == (True, False)
    assert book(store).apart == ()


def test_a_giving_up_at_the_drain_that_is_taken_back_asks_and_goes_on(store: Store) -> None:
    run = bonded(store)
    give_up(run, Answer("t1", "partly", 16.0), is_sure=True)
    closing.take_up_again(store, ROOM, run.key, Hand(NOW, "Wren"), NOW)
    assert run.state.asks == ("t1",)
    with pytest.raises(Conflict):
        closing.take_up_again(store, ROOM, run.key, Hand(NOW, "Wren"), NOW)
    say(run, Answer("t1", "partly", 16.0), is_sure=True)
    run.tick("drain", drained_l=36.5, heel_l=0.5)
    assert book(store).apart == ()

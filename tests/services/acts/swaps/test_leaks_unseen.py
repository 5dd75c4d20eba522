"""A swap given up before its leak check: a wash in the bath is asked about until somebody looks.

That a bath which was taken apart is looked at before it is used: common practice, no source.
"""

from datetime import datetime, timedelta

import pytest

from app.domain.errors import Doubtful
from app.domain.plausible.words import LEAKS_UNSEEN
from app.domain.roomlog.kinds import Swap, Wash
from app.domain.roomlog.kinds.inspections import Component
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps.contents import Answer
from app.services.door import bring_in, enter
from app.services.rebuilding import rebuild_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.looks import look_round
from tests.services.acts.swaps.test_contents import drained, give_up
from tests.services.swaps.led import Run
from tests.services.swaps.test_swap_litres import until_drained

LATER = NOW + timedelta(minutes=30)
ASKED = "nobody has looked for leaks since"


def wash(store: Store, tank: str, at: datetime = LATER, *confirmed: str) -> None:
    entry = Wash(at=at, by="Wren", tank=tank, resin="slate", parts=3)
    enter(store, ROOM, [entry], at, confirmed=confirmed)


def moved(store: Store) -> Run:
    """The clean bath stands in the dirty one's tank; nobody has looked for leaks."""
    run = Run(store, "dirty", "clean")
    until_drained(run, drained_l=36.0)
    for step in ("inspect", "wipe", "refit"):
        run.tick(step)
    run.tick("rinse", rinse_l=0)
    run.tick("isolate_clean")
    run.tick("move_clean", moved_l=36.5)
    return run


def test_a_bath_that_was_moved_in_takes_a_wash_once_somebody_has_looked(store: Store) -> None:
    run = moved(store)
    give_up(run, Answer("dirty", "filled"), Answer("clean", "empty"))
    for tank in ("dirty", "clean"):
        with pytest.raises(Doubtful, match=ASKED):
            wash(store, tank)
    rebuild_room(store, ROOM, NOW)
    with pytest.raises(Doubtful, match=ASKED):
        wash(store, "dirty")
    wash(store, "dirty", LATER, LEAKS_UNSEEN)
    wash(store, "dirty", LATER + timedelta(minutes=5))
    with pytest.raises(Doubtful, match=ASKED):
        wash(store, "clean")


def test_a_bath_that_was_filled_is_asked_about_too(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    give_up(run, Answer("t1", "filled"))
    with pytest.raises(Doubtful, match=ASKED):
        wash(store, "t1")


def test_a_bath_that_was_drained_and_topped_up_is_asked_about_too(store: Store) -> None:
    give_up(drained(store), Answer("t1", "empty"))
    with pytest.raises(Doubtful, match=ASKED):
        wash(store, "t1")


def test_the_leak_check_of_the_swap_is_a_look(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    run.tick("leak_check")
    give_up(run, Answer("t1", "filled"))
    wash(store, "t1")


def test_a_bath_as_before_is_not_asked_about(store: Store) -> None:
    give_up(drained(store), Answer("t1", "as_before"), is_sure=True)
    wash(store, "t1")


def test_the_clean_bath_that_stayed_where_it_was_is_not_asked_about(store: Store) -> None:
    run = Run(store, "dirty", "clean")
    until_drained(run, drained_l=36.0)
    give_up(run, Answer("dirty", "empty"))
    wash(store, "clean")


def test_where_parts_are_set_up_it_is_asked_until_a_look_at_the_refilled_tank_is_signed(
    store: Store,
) -> None:
    part = Component(at=START, component="d", part="drain", name="Drain", tank="t1")
    bring_in(store, ROOM, [part], NOW)
    run = Run(store)
    until_drained_seen(run)
    give_up(run, Answer("t1", "filled"))
    for minutes in (0, 5):
        at = LATER + timedelta(minutes=minutes)
        with pytest.raises(Doubtful, match=ASKED):
            wash(store, "t1", at)
        wash(store, "t1", at, LEAKS_UNSEEN)
    look_round(store, "t1", "full", NOW)
    with pytest.raises(Doubtful, match=ASKED):
        wash(store, "t1")
    look_round(store, "t1", "refilled", NOW)
    wash(store, "t1", LATER + timedelta(minutes=9))


def until_drained_seen(run: Run) -> None:
    """Filled again, the look at the empty tank let pass by a lead."""
    run.until_drained()
    run.lead("inspect", "inspection", reason="Looked at yesterday, on paper")
    run.tick("inspect")
    run.tick("rinse", rinse_l=2.0, lot="ipa|A7")
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0, lot="ipa|A7")


def test_the_next_swap_answers_it_and_a_swap_taken_up_again_asks_itself(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    give_up(run, Answer("t1", "filled"))
    swap_closing.take_up_again(store, ROOM, run.key, run.hand(), NOW)
    assert run.state.is_open
    give_up(run, Answer("t1", "filled"))
    enter(store, ROOM, [Swap(at=LATER, by="Wren", tank="t1", filled_l=38.0)], LATER)
    wash(store, "t1", LATER + timedelta(minutes=1))

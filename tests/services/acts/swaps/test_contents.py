"""What is in the tank now? Asked where a swap stops, and the tank is held until it is answered."""

from datetime import timedelta

import pytest
from sqlmodel import Session, select

from app.domain.errors import Conflict, FieldErrors
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import Entry, Reading, Removal, Swap, SwapAbandoned, TopUp, Wash
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.incidents import TankHeld, TankReleased
from app.services.acts.holds import put_on_hold, release
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import contents, swapping
from app.services.acts.swaps.contents import Answer
from app.services.acts.swaps.ticking import Doubtful
from app.services.door import enter
from app.services.entries import entry_of
from app.services.rebuilding import rebuild_room
from app.services.swaps.under_way import Hand
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.factories import NOW, ROOM, wash
from tests.services.swaps.led import Run, entries, reading, state_of
from tests.services.swaps.test_swap_litres import NEAR, level, until_drained

LATER = NOW + timedelta(minutes=30)


def give_up(run: Run, *answers: Answer, is_sure: bool = False) -> None:
    hand = Hand(NOW, "Wren")
    contents.give_up(
        run.store, ROOM, run.key, hand, NOW, answers=answers, settles=lambda _: is_sure
    )


def say(run: Run, *answers: Answer, is_sure: bool = False) -> None:
    hand = Hand(NOW, "Wren")
    contents.say(run.store, ROOM, run.key, answers, hand, NOW, settles=lambda _: is_sure)


def hold(store: Store, tank: str = "t1") -> HoldState:
    found = state_of(store, "hold", tank)
    assert found is None or isinstance(found, HoldState)
    return found or HoldState(tank)


def last(store: Store, kind: str) -> Entry:
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).where(EntryRow.kind == kind)).all()
        counting = [row for row in rows if row.voided_by is None]
        return entry_of(max(counting, key=lambda row: row.id or 0))


def refused(store: Store, entry: Entry) -> dict[str, str]:
    before = entries(store)
    with pytest.raises(FieldErrors) as caught:
        enter(store, ROOM, [entry], LATER)
    assert entries(store) == before
    return caught.value.by_field()


def drained(store: Store, litres: float = 36.0) -> Run:
    run = Run(store)
    until_drained(run, drained_l=litres)
    return run


def test_giving_up_writes_what_left_the_bath_in_the_same_transaction(store: Store) -> None:
    """36 L in the drum and 0.8 L left: the log has the removal, tank and drum have the litres."""
    run = drained(store)
    give_up(run, Answer("t1", "empty"))
    gone = last(store, "removal")
    assert isinstance(gone, Removal)
    assert (gone.volume_l, gone.left_l, gone.swap) == (36.0, 0.8, run.key)
    assert run.state.end == "abandoned"
    assert level(store) == pytest.approx(0.8, abs=NEAR)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(36.0)
    assert not hold(store).is_held
    rebuild_room(store, ROOM, NOW)
    assert level(store) == pytest.approx(0.8, abs=NEAR)


def test_a_swap_given_up_without_an_answer_holds_the_tank_until_it_is_given(store: Store) -> None:
    run = drained(store)
    give_up(run)
    assert (hold(store).is_held, hold(store).is_for_a_lead) == (True, False)
    assert level(store) == pytest.approx(0.8, abs=NEAR)
    assert "held" in refused(store, Wash(at=LATER, tank="t1", resin="slate", parts=3))["tank"]
    top_up = refused(store, TopUp(at=LATER, tank="t1", volume_l=5))
    assert "Nobody has said what is in the tank" in top_up["tank"]
    with pytest.raises(Conflict, match="First say what is in T1"):
        swapping.start(store, ROOM, "t1", None, run.hand(), NOW)
    say(run, Answer("t1", "partly", 1.5), is_sure=True)
    assert not hold(store).is_held
    assert level(store) == pytest.approx(1.5, abs=NEAR)
    enter(store, ROOM, [TopUp(at=LATER, tank="t1", volume_l=5)], LATER)
    with pytest.raises(Conflict, match=r"Wren said what is in the tank"):
        say(run, Answer("t1", "empty"))


def test_no_lead_lets_go_a_tank_whose_contents_nobody_knows(store: Store) -> None:
    run = drained(store)
    give_up(run)
    word = TankReleased(at=LATER, tank="t1", lead="Curlew", reason="Needed")
    with pytest.raises(Conflict, match="Say what is in this tank"):
        release(store, ROOM, word, LATER, None)
    assert "tank" in refused(store, word)
    put_on_hold(
        store, ROOM, TankHeld(at=NOW, by="Wren", tank="t1", reason="Leak", cause="lead"), NOW, None
    )
    release(store, ROOM, word, LATER, None)
    assert hold(store).is_held
    assert hold(store).asks_contents


def test_as_before_is_asked_about_where_the_bath_is_in_a_drum(store: Store) -> None:
    before_l = level(store)
    run = drained(store)
    with pytest.raises(Doubtful, match=r"36\.0 L of 1 T1 are in W-13"):
        give_up(run, Answer("t1", "as_before"))
    assert run.state.is_open
    give_up(run, Answer("t1", "as_before"), is_sure=True)
    assert "removal" not in entries(store)
    assert level(store) == pytest.approx(before_l, abs=NEAR)
    assert not hold(store).is_held


@pytest.mark.parametrize("litres, is_odd", [(1.5, False), (12.0, True), (0.0, False)])
def test_a_part_that_contradicts_what_was_drained_is_asked_about(
    store: Store, litres: float, is_odd: bool
) -> None:
    """37.6 L estimated, 36 L in the drum: 1.6 L can be left, give or take 5 % of 40 L."""
    run = drained(store)
    answer = Answer("t1", "partly", litres)
    if is_odd:
        with pytest.raises(Doubtful, match=r"36\.0 L are in W-13"):
            give_up(run, answer)
    give_up(run, answer, is_sure=is_odd)
    assert level(store) == pytest.approx(litres, abs=NEAR)


def test_more_than_the_tank_holds_is_refused_beside_its_field(store: Store) -> None:
    run = drained(store)
    with pytest.raises(FieldErrors) as caught:
        give_up(run, Answer("t1", "partly", 80.0))
    assert "more than the tank holds" in caught.value.by_field()["left_l"]


def test_a_swap_that_moved_nothing_is_given_up_without_a_question(store: Store) -> None:
    before_l = level(store)
    run = Run(store)
    run.tick("prepare")
    give_up(run)
    assert not hold(store).is_held
    assert level(store) == pytest.approx(before_l, abs=NEAR)


def test_an_answer_taken_back_holds_the_tank_again(store: Store) -> None:
    run = drained(store)
    give_up(run, Answer("t1", "empty"))
    word = swapping.withdrawals
    with Session(store.reader) as session:
        [gone] = word(session, 1, [last(store, "removal").id], run.hand())
    assert not isinstance(gone, Removal)
    enter(store, ROOM, [gone], gone.at)
    assert hold(store).is_held
    assert level(store) == pytest.approx(0.8, abs=NEAR)


def test_a_corrected_answer_sets_the_level(store: Store) -> None:
    run = drained(store)
    give_up(run, Answer("t1", "empty"))
    gone = last(store, "removal")
    assert isinstance(gone, Removal)
    fixed = Removal(**{**vars(gone), "id": "", "corrects": gone.id, "left_l": 2.0})
    enter(store, ROOM, [fixed], LATER)
    assert level(store) == pytest.approx(2.0, abs=NEAR)
    assert not hold(store).is_held


def test_a_new_bath_stays_where_the_swap_is_given_up_behind_the_fill(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    give_up(run, Answer("t1", "filled"))
    assert level(store) == pytest.approx(39.0, abs=0.05)
    assert isinstance(last(store, "swap"), Swap)
    assert run.state.end == "abandoned"
    assert not hold(store).is_held


def test_a_part_of_the_new_bath_is_new_bath(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    with pytest.raises(Doubtful):
        give_up(run, Answer("t1", "partly", 20.0))
    give_up(run, Answer("t1", "partly", 20.0), is_sure=True)
    assert level(store) == pytest.approx(20.0, abs=0.05)
    gone = last(store, "removal")
    assert isinstance(gone, Removal)
    assert gone.volume_l == pytest.approx(19.0)


def test_both_tanks_of_a_pair_are_asked(store: Store) -> None:
    run = Run(store, "dirty", "clean")
    until_drained(run, drained_l=36.0)
    for step in ("inspect", "wipe", "refit"):
        run.tick(step)
    run.tick("rinse", rinse_l=0)
    run.tick("isolate_clean")
    run.tick("move_clean", moved_l=36.5)
    give_up(run, Answer("dirty", "filled"), Answer("clean", "asked"))
    assert not hold(store, "dirty").is_held
    assert hold(store, "clean").is_held
    assert level(store, "dirty") == pytest.approx(0.8 + 36.5, abs=0.05)
    say(run, Answer("clean", "empty"))
    assert not hold(store, "clean").is_held
    assert level(store, "clean") < 0.8


def test_a_pause_says_what_is_in_the_tank_for_whoever_goes_on(store: Store) -> None:
    run = drained(store)
    answer = [Answer("t1", "partly", 2.2)]
    contents.say(store, ROOM, run.key, answer, run.hand(note="Drain drips"), NOW)
    assert run.state.is_open
    assert level(store) == pytest.approx(2.2, abs=NEAR)
    assert "removal" not in entries(store)
    run.tick("inspect")
    run.tick("rinse", rinse_l=0)
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=37.0, lot="ipa|A7")
    assert level(store) == pytest.approx(39.2, abs=NEAR)


def test_a_pause_that_nobody_can_answer_holds_tank_and_swap(store: Store) -> None:
    run = drained(store)
    say(run, Answer("t1", "asked"))
    assert hold(store).asks_contents
    assert "First say what is in the tank" in run.refused("rinse", rinse_l=1)["gate"]
    say(run, Answer("t1", "empty"))
    run.tick("rinse", rinse_l=0)
    assert not hold(store).is_held


def test_a_completion_taken_back_asks_what_is_in_the_tank(store: Store) -> None:
    run = Run(store)
    run.until_done()
    run.complete()
    swap_closing.reopen(store, ROOM, run.key, run.hand(), NOW)
    assert hold(store).asks_contents
    with pytest.raises(FieldErrors) as caught:
        run.complete()
    assert "contents" in caught.value.by_field()
    say(run, Answer("t1", "filled"))
    run.complete()
    assert not hold(store).is_held


def test_a_giving_up_taken_back_asks_and_goes_on(store: Store) -> None:
    run = drained(store)
    give_up(run, Answer("t1", "empty"))
    swap_closing.take_up_again(store, ROOM, run.key, run.hand(), NOW)
    assert run.state.is_open
    assert entries(store, "removal") == []
    assert hold(store).asks_contents
    say(run, Answer("t1", "empty"))
    run.tick("inspect")
    assert level(store) == pytest.approx(0.8, abs=NEAR)


def test_a_tank_held_in_the_middle_of_its_swap_is_asked_about(store: Store) -> None:
    run = drained(store)
    put_on_hold(
        store, ROOM, TankHeld(at=NOW, by="Wren", tank="t1", reason="Leak", cause="lead"), NOW, None
    )
    assert hold(store).asks_contents
    assert hold(store).is_for_a_lead
    say(run, Answer("t1", "partly", 1.0))
    assert not hold(store).asks_contents
    assert hold(store).is_held


def test_nothing_is_entered_in_a_tank_that_its_swap_has_drained(store: Store) -> None:
    run = drained(store)
    at = NOW - timedelta(minutes=30)
    for entry in (
        Wash(at=at, tank="t1", resin="slate", parts=3),
        TopUp(at=at, tank="t1", volume_l=5),
        Reading(at=at, tank="t1", method="sensor", values={"saturation_percent": 3.0}),
    ):
        assert "A swap emptied this tank at" in refused(store, entry)["tank"]
    enter(store, ROOM, [wash(1.0, area_cm2=9000.0)], NOW)
    enter(store, ROOM, [Reading(**{**vars(reading()), "of_fresh": True})], NOW)
    assert run.state.is_open


def test_a_program_that_gives_up_says_that_the_tank_is_asked_about(store: Store) -> None:
    run = drained(store)
    over = SwapAbandoned(at=NOW, tank="t1", swap=run.key)
    assert "tank is held until" in refused(store, over)["asks_contents"]
    said = TankContents(at=LATER, tank="t1", swap=run.key, found="empty")
    enter(store, ROOM, [SwapAbandoned(**{**vars(over), "asks_contents": True})], NOW)
    assert hold(store).asks_contents
    assert "removal" in refused(store, said)["found"]
    gone = Removal(at=LATER, tank="t1", swap=run.key, volume_l=36.0)
    assert "left_l" in refused(store, gone)
    enter(store, ROOM, [Removal(**{**vars(gone), "left_l": 0.4})], LATER)
    assert not hold(store).is_held
    assert level(store) == pytest.approx(0.4, abs=NEAR)
    assert "swap" in refused(store, Removal(**{**vars(gone), "left_l": 0.4}))

"""Levels, gates and books of swaps in detail: instants, words, who and which, worked by hand."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.domain.checklists.books import CHECKLIST_BOOK, ChecklistState, Edition, template_of
from app.domain.checklists.closing import Reconciliation, most_held_l, reconcile
from app.domain.checklists.gates import Block, blocks
from app.domain.checklists.litres import Balance, Found, Poured, found_of, with_word
from app.domain.checklists.pairs import Saving, saving, static_ratios
from app.domain.checklists.run import Attempts, Note, Overrule, SwapState, Tick, steps_for
from app.domain.checklists.tank_contents import (
    Standing,
    as_of,
    before_l,
    capacity_l,
    drained_l,
    empty_l,
    heel,
    last_act_at,
    left_in_clean,
    moved_liquid,
    seen_left_l,
    standing,
    unsaid_l,
    usual_heel_l,
)
from app.domain.checklists.template import Step, Template, restored_steps
from app.domain.roomlog.kinds import Entry, Removal, Swap, SwapAbandoned, SwapStarted, Wash
from app.domain.roomlog.kinds.checklists import (
    EXAMPLE_STEPS,
    Checklist,
    StepNoted,
    SwapClosed,
    TankContents,
)
from app.domain.roomlog.kinds.waste import Pour
from app.domain.things import fold
from tests.domain.checklists.swaps import START, done, opened, overruled, swap
from tests.factories import NOW

PAIR: dict[str, Any] = {
    "from_tank": "t2", "from_estimated_l": 39.0, "from_capacity_l": 50.0, "from_min_l": 35.0,
}  # fmt: skip


def minutes(count: float) -> Any:
    return START + timedelta(minutes=count)


def pour(uid: str, litres: float, at: float = 10, resin: float | None = 9.0, **more: Any) -> Pour:
    return Pour(
        at=minutes(at), id=uid, drum="d1", tank="t1", swap="s1", volume_l=litres,
        resin_percent=resin, **more,
    )  # fmt: skip


def wrote(entry: Any, *ids: str) -> Entry:
    """The same tick with the entries that followed from it."""
    found: Entry = replace(entry, wrote=list(ids))
    return found


def word(found: str, at: float, tank: str = "t1", **more: Any) -> TankContents:
    return TankContents(at=minutes(at), tank=tank, swap="s1", found=found, **more)


def test_a_standing_tells_since_when_and_by_which_act() -> None:
    drain = done("drain", 10, drained_l=36.5, heel_l=0.0)
    assert standing(swap(opened(), drain), "t1", 2) == Standing(0.0, True, "drained", minutes(10))
    unseen = swap(opened(), done("drain", 10, drained_l=36.5))
    assert standing(unseen, "t1", 2) == Standing(0.8, False, "drained", minutes(10))
    filled = swap(opened(), drain, done("fill", 20, filled_l=38.0), done("read", 30))
    assert standing(filled, "t1", 2) == Standing(38.0, True, "filled", minutes(10))
    # A fill without a drain is on top of what was there.
    odd = swap(opened(), done("fill", 20, filled_l=1.5))
    assert standing(odd, "t1", 2) == Standing(39.5, False, "filled", minutes(20))
    assert standing(odd, "t9", 2) is None
    assert standing(SwapState("s1", tank="t1"), "t1", 2) is None


def test_the_tanks_of_a_pair_stand_each_by_its_acts() -> None:
    entries = [
        opened(**PAIR),
        done("drain", 10, drained_l=37.6),
        done("move_clean", 20, moved_l=37.0),
    ]
    state = swap(*entries)
    # 2 % of 40 L is 0.8, of which 38 - 37.6 are there; 2 % of 50 L is 1 of the 39 - 37.
    dirty = standing(state, "t1", 2)
    assert dirty == Standing(pytest.approx(37.4), False, "moved", minutes(10))
    assert standing(state, "t2", 2) == Standing(1.0, False, "moved", minutes(20))
    assert left_in_clean(state, 2) == Standing(1.0, False, "moved", minutes(20))
    filled = swap(*entries, done("fill", 30, filled_l=40.0))
    assert standing(filled, "t2", 2) == Standing(41.0, False, "filled", minutes(20))
    assert left_in_clean(filled, 2) == Standing(1.0, False, "moved", minutes(20))
    assert left_in_clean(swap(opened()), 2) is None
    assert left_in_clean(swap(opened(**PAIR)), 2) is None
    assert (before_l(state, "t1"), before_l(state, "t2")) == (38, 39)
    assert (capacity_l(state, "t1"), capacity_l(state, "t2")) == (40, 50)
    bare = replace(state, from_estimated_l=None, from_capacity_l=None)
    assert (before_l(bare, "t2"), capacity_l(bare, "t2")) == (0, 40)


def test_the_usual_heel_is_no_more_than_was_left_in() -> None:
    state = swap(
        opened(**PAIR), done("drain", 10, drained_l=37.6), done("move_clean", 20, moved_l=38.5)
    )
    assert usual_heel_l(state, "t1", 2) == pytest.approx(0.4)
    assert usual_heel_l(state, "t1", 0.5) == pytest.approx(0.2)
    assert usual_heel_l(state, "t2", 2) == pytest.approx(0.5)
    over = swap(opened(), done("drain", 10, drained_l=39.0))
    assert usual_heel_l(over, "t1", 2) == 0


def test_an_empty_tank_keeps_what_was_seen_until_it_is_filled() -> None:
    drain = done("drain", 10, drained_l=36.5, heel_l=0.3)
    assert empty_l(swap(opened()), "t1", 2) == pytest.approx(0.8)
    assert empty_l(swap(opened(), drain), "t1", 2) == 0.3
    assert empty_l(swap(opened(), drain, done("fill", 20, filled_l=38.0)), "t1", 2) == 0.8
    assert seen_left_l(swap(opened(), drain), "t1") == 0.3
    assert seen_left_l(swap(opened(), done("drain", 10, drained_l=36.5)), "t1") == 0
    assert seen_left_l(swap(opened()), "t1") == 0
    assert heel(swap(opened()), 2) is None


def test_what_was_seen_in_the_clean_tank_stands_there_and_under_its_fill() -> None:
    """Of 39 L 30 were moved; somebody saw 8.5 L, where 1 L is usual."""
    moved = [opened(**PAIR), done("drain", 10, drained_l=37.6),
             done("move_clean", 20, moved_l=30.0, heel_l=8.5)]  # fmt: skip
    state = swap(*moved)
    assert left_in_clean(state, 2) == Standing(8.5, True, "moved", minutes(20))
    assert (seen_left_l(state, "t2"), seen_left_l(state, "t1")) == (8.5, 0)
    filled = swap(*moved, done("fill", 30, filled_l=31.5))
    assert standing(filled, "t2", 2) == Standing(40.0, True, "filled", minutes(20))
    assert seen_left_l(filled, "t2") == 8.5


def test_what_is_neither_taken_out_nor_the_usual_heel_is_unsaid() -> None:
    """2 % of 40 L is 0.8 L, of 50 L 1 L."""
    state = swap(opened(**PAIR))
    assert unsaid_l(state, "t1", 36.5, 2) == pytest.approx(38 - 36.5 - 0.8)
    assert unsaid_l(state, "t2", 30.0, 2) == pytest.approx(39 - 30 - 1)
    assert unsaid_l(state, "t1", 38.5, 2) == pytest.approx(-1.3)


def test_what_was_drained_is_what_stands_in_drums() -> None:
    drain, rinse = done("drain", 10, drained_l=36.5), done("rinse", 12, rinse_l=2.0)
    answered = swap(opened(), drain)
    assert drained_l(answered) == 36.5
    # Without a rinse every pour is bath; once there was one, only what holds resin or the drain's.
    plain = pour("p1", 5.0, resin=None)
    assert drained_l(swap(opened(), drain, plain)) == 5
    assert drained_l(swap(opened(), wrote(drain, "p9"), rinse, plain)) == 0
    assert drained_l(swap(opened(), wrote(drain, "p1"), rinse, plain)) == 5
    both = swap(opened(), wrote(drain, "p1"), wrote(rinse, "p2"), plain, pour("p2", 2.0))
    assert drained_l(both) == 5
    assert drained_l(swap(opened(), drain, rinse, pour("p3", 4.0), pour("p4", 1.0))) == 5
    assert not moved_liquid(swap(opened()))
    assert moved_liquid(swap(opened(), drain))
    assert moved_liquid(swap(opened(), pour("p1", 5.0)))


def test_pours_without_a_tick_begin_with_the_first() -> None:
    state = swap(opened(), pour("p1", 30.0, 15), pour("p2", 20.0, 12))
    assert standing(state, "t1", 2) == Standing(0.0, False, "drained", minutes(12))
    ticked = swap(opened(), done("drain", 20, drained_l=36.5), pour("p1", 37.9, 15))
    assert standing(ticked, "t1", 2) == Standing(pytest.approx(0.1), False, "drained", minutes(20))


def test_a_word_counts_from_when_it_was_said() -> None:
    drain, fill = done("drain", 10, drained_l=36.5, heel_l=0.3), done("fill", 30, filled_l=38.0)
    before = swap(opened(), word("partly", 5, left_l=20.0))
    assert standing(before, "t1", 2) == Standing(20.0, True, "", minutes(5))
    # What was said before the drain is over with it; the level is known since it was said.
    drained = swap(opened(), word("partly", 5, left_l=20.0), drain)
    assert standing(drained, "t1", 2) == Standing(0.3, True, "drained", minutes(5))
    # At the same instant the word comes after the act.
    same = swap(opened(), drain, word("partly", 10, left_l=7.0), fill)
    assert standing(same, "t1", 2) == Standing(45.0, True, "filled", minutes(10))
    assert heel(same, 2) == Standing(7.0, True, "drained", minutes(10))
    at_fill = swap(opened(), drain, fill, word("partly", 30, left_l=7.0))
    assert heel(at_fill, 2) == Standing(0.3, True, "drained", minutes(10))
    other = swap(opened(**PAIR), drain, word("partly", 20, tank="t2", left_l=7.0))
    assert standing(other, "t1", 2) == Standing(0.3, True, "drained", minutes(10))
    assert standing(other, "t2", 2) == Standing(7.0, True, "", minutes(20))
    two = swap(opened(), drain, word("partly", 20, left_l=7.0), word("as_before", 25))
    assert standing(two, "t1", 2) == Standing(38.0, True, "drained", minutes(10))
    asked = swap(opened(), word("asked", 5))
    assert standing(asked, "t1", 2) is None
    zero = swap(opened(), drain, word("partly", 20, left_l=0.0))
    assert standing(zero, "t1", 2) == Standing(0.0, True, "drained", minutes(10))


def test_empty_is_the_heel_of_the_tank_it_is_said_of() -> None:
    entries = [opened(**PAIR), done("drain", 10, drained_l=37.6, heel_l=0.1)]
    moved = [*entries, done("move_clean", 20, moved_l=37.0)]
    assert standing(swap(*entries, word("empty", 15)), "t1", 2) == Standing(
        0.1, True, "drained", minutes(10)
    )
    # Moved in since: the heel seen before is no longer what an empty tank keeps.
    after = standing(swap(*moved, word("empty", 25)), "t1", 2)
    assert after == Standing(pytest.approx(0.4), True, "moved", minutes(10))
    clean = standing(swap(*moved, word("empty", 25, tank="t2")), "t2", 2)
    assert clean == Standing(1.0, True, "moved", minutes(20))


def test_a_swap_that_ended_speaks_only_where_it_is_asked() -> None:
    drain = done("drain", 10, drained_l=36.5)
    over = SwapAbandoned(at=minutes(60), tank="t1", swap="s1", asks_contents=True, by="Wren")
    state = swap(opened(**PAIR), drain, over)
    assert standing(state, "t1", 2) == Standing(0.8, False, "drained", minutes(10))
    assert standing(state, "t2", 2) is None
    assert state.said == (Found("t1", "asked", minutes(60), by="Wren"),)
    closed = replace(state, end="closed")
    assert (closed.asks, standing(closed, "t1", 2)) == ((), None)


def test_a_swap_as_of_an_instant_knows_what_was_said_by_then() -> None:
    drain, fill = done("drain", 10, drained_l=36.5), done("fill", 30, filled_l=38.0)
    ended = Swap(at=minutes(40), tank="t1", swap="s1")
    state = swap(opened(), drain, pour("p1", 36.5, 11), word("partly", 20, left_l=1.0), fill, ended)

    def seen(at: float) -> tuple[int, int, int, str]:
        found = as_of(state, minutes(at))
        return len(found.ticks), len(found.pours), len(found.said), found.end

    assert [seen(at) for at in (9, 10, 11, 20, 30, 39, 40)] == [
        (0, 0, 0, ""), (1, 0, 0, ""), (1, 1, 0, ""), (1, 1, 1, ""), (2, 1, 1, ""), (2, 1, 1, ""),
        (2, 1, 1, "entered"),
    ]  # fmt: skip
    assert as_of(replace(state, ended_at=None), minutes(90)).end == ""
    assert last_act_at(state) == minutes(30)
    assert last_act_at(swap(opened(), drain, word("partly", 20, left_l=1.0))) == minutes(20)
    assert last_act_at(swap(opened())) is None


def test_the_balance_of_a_pair_is_told_line_by_line() -> None:
    state = swap(
        opened(**PAIR), done("drain", 10, drained_l=37.6, heel_l=0.1),
        done("rinse", 12, rinse_l=2.0), done("move_clean", 20, moved_l=37.0),
        done("fill", 30, filled_l=40.0),
    )  # fmt: skip
    # Dirty 38 - 37.6 - 0.1 = 0.3, clean 39 - 37 - 1 = 1: 1.3 L lost. 5 % of 90 L is 4.5 L.
    found = reconcile(state, 2, 5)
    assert found == Reconciliation(
        Balance(38, 37.6, 2, 0.1, 40, 1.3, 37), True, 39.6, 41, 4.5, 1.0, False
    )
    assert not found.needs_note
    single = reconcile(swap(opened(), done("drain", 10, drained_l=36.5)), 2, 5)
    assert single == Reconciliation(Balance(38, 36.5, 0, 0.8, 0, 0.7), False, 36.5, 0.8, 2.0)
    bare = reconcile(swap(opened()), 2, 5)
    assert (bare.balance.heel_l, bare.heel_is_seen, bare.after_l) == (0.8, False, 0.8)
    unmoved = reconcile(swap(opened(**PAIR)), 2, 5)
    assert (unmoved.balance.moved_l, unmoved.clean_heel_l, unmoved.clean_heel_is_seen) == (
        0,
        1,
        False,
    )
    seen = swap(
        opened(**PAIR), done("move_clean", 20, moved_l=37.0), word("partly", 25, "t2", left_l=0.6)
    )
    assert reconcile(seen, 2, 5).clean_heel_is_seen
    assert reconcile(seen, 2, 5).clean_heel_l == 0.6
    nothing = replace(swap(opened(**PAIR)), from_estimated_l=None)
    assert reconcile(nothing, 2, 5).balance.loss_l == pytest.approx(38 - 0.8)


def test_less_seen_after_the_fill_is_what_stands_there() -> None:
    entries = [opened(), done("drain", 10, drained_l=36.5), done("fill", 20, filled_l=38.0)]
    assert reconcile(swap(*entries), 2, 5).after_l == 38.8
    assert reconcile(swap(*entries, word("partly", 30, left_l=30.0)), 2, 5).after_l == 30
    assert reconcile(swap(*entries, word("partly", 30, left_l=39.5)), 2, 5).after_l == 38.8
    assert (most_held_l(30, 40, 10), most_held_l(50, 40, 10)) == (
        pytest.approx(44),
        pytest.approx(55),
    )


OF_CLEAN = (
    ("isolate_clean", "The clean bath is not isolated yet. Its pump and heater may start.",
     "isolate_clean"),
    ("refit_clean", "The tank of the clean bath is not refitted yet. Refit it before filling.",
     "refit_clean"),
)  # fmt: skip


def test_the_steps_at_the_clean_tank_wait_for_its_own_isolation_and_its_move() -> None:
    state = swap(opened(**PAIR), done("protect"), done("isolate"), done("choose_drum"))
    for key in ("move_clean", "rinse_clean", "clean_tank", "refit_clean"):
        step = state.step(key)
        assert step is not None
        gates = [one.gate for one in blocks(state, step)]
        assert "isolate_clean" in gates
        assert ("moved" in gates) == (key != "move_clean")


def test_a_shut_gate_says_what_opens_it() -> None:
    state = swap(opened(**PAIR))

    def shut(key: str, inspection: str = "", of: SwapState = state) -> list[tuple[str, str, str]]:
        step = of.step(key)
        assert step is not None
        return [(one.gate, one.message, one.step) for one in blocks(of, step, inspection)]

    ppe = ("ppe", "Protection is not confirmed yet.", "protect")
    still = ("isolate", "The bath is not isolated yet. The pump and heater may start.", "isolate")
    drum = ("drum", "No drum is chosen yet.", "choose_drum")
    bond = ("bond", "Tank and drum are not bonded yet.", "bond")
    drained = ("drained", "The bath is not drained yet.", "drain")
    looked = ("inspection", "The empty tank is not inspected yet.", "inspect")
    hands = ("hands", "A step with hands in the tank is still open.", "wipe")
    refit = ("refit", "The tank is not refitted yet. Refit it before filling.", "refit")
    moved = ("moved", "The clean bath is not moved yet.", "move_clean")
    clean = ("clean", "The emptied clean tank is not inspected and wiped yet.", "clean_tank")
    still_too, refit_too = OF_CLEAN
    cleaned = [still_too, clean, refit_too]
    leaks = ("leak_check", "Nobody has looked for leaks yet.", "leak_check")
    filled = ("filled", "The bath is not filled yet.", "fill")
    assert shut("prepare") == []
    assert shut("drain") == [ppe, still, drum, bond]
    assert shut("wipe") == [ppe, still, drained]
    assert shut("rinse") == [ppe, still, drum, bond, drained]
    assert shut("fill") == [ppe, still, bond, drained, moved, looked, hands, refit, *cleaned]
    assert shut("clean_tank") == [ppe, still, still_too, moved]
    assert shut("read") == shut("leak_check") == [filled]
    assert shut("restart") == [refit, clean, refit_too, filled, leaks, hands]
    failed = ("inspection", "The impeller has failed.", "")
    assert shut("fill", failed[1]) == [
        failed,
        ppe,
        still,
        bond,
        drained,
        moved,
        hands,
        refit,
        *cleaned,
    ]
    assert shut("move_clean", failed[1]) == [failed, ppe, still, still_too, bond, drained, refit]
    assert shut("drain", failed[1]) == [ppe, still, drum, bond]
    ready = (done("isolate"), done("bond"))
    asked = swap(opened(), *ready, done("protect"), done("choose_drum"), word("asked", 20))
    assert shut("drain", of=asked) == [("contents", "First say what is in the tank now.", "")]
    assert shut("wipe", of=asked) == [drained]
    let = swap(opened(), *ready, done("protect"), overruled("drain", "drum"))
    assert shut("drain", of=let) == []
    passed = swap(opened(), *ready, done("choose_drum"), overruled("protect", "step"))
    assert shut("drain", of=passed) == []
    assert [Block(gate, "").can_be_overruled for gate in ("ppe", "drained", "contents")] == [
        True, False, False,
    ]  # fmt: skip


def test_a_step_that_is_not_required_shuts_nothing() -> None:
    steps = tuple(
        replace(one, is_required=False) if one.role == "inspection" else one
        for one in swap(opened()).steps
    )
    state = replace(swap(opened()), steps=steps)
    refit = state.step("fill")
    assert refit is not None
    assert "inspection" not in [one.gate for one in blocks(state, refit)]


def test_a_swap_keeps_what_was_said_at_its_steps() -> None:
    tick = done("drain", 10, by="Wren", drained_l=36.5)
    noted = replace(tick, note="Slow", wrote=["p1", "p2"])
    state = swap(
        opened(**PAIR), noted, overruled("rinse", "ppe"),
        StepNoted(
            at=minutes(12), id="n1", by="Dunlin", swap="s1", step="drain", text="Flow is slow"
        ),
    )  # fmt: skip
    assert state.ticks == (
        Tick("drain-10", "drain", minutes(10), "Wren", "Slow", {"drained_l": 36.5}, ("p1", "p2")),
    )
    assert state.overrules == (
        Overrule(
            state.overrules[0].id, "rinse", "ppe", "Agreed with the site", "Curlew", minutes(5)
        ),
    )
    assert state.notes == (Note("n1", "drain", "Flow is slow", "Dunlin", minutes(12)),)
    assert (state.tank, state.from_tank, state.checklist, state.version) == ("t1", "t2", "swap", 1)
    assert (state.estimated_l, state.capacity_l, state.min_l) == (38, 40, 30)
    assert (state.from_estimated_l, state.from_capacity_l, state.from_min_l) == (39, 50, 35)
    assert (state.solvent, state.started_at, state.started_by) == ("isopropanol", START, "Wren")
    assert (state.filled_tank, swap(opened()).filled_tank) == ("t2", "t1")


def test_answers_are_found_by_the_role_of_their_step() -> None:
    state = swap(
        opened(), done("drain", 10, drained_l=36.5, heel_l=0.0), done("rinse", 12, rinse_l=2.0),
        done("prepare", 5, minutes_taken="ten"),
    )  # fmt: skip
    assert state.answer("drain", "heel_l") == 0.0
    assert state.answer("drain", "drum") is None
    assert state.answer("fill", "filled_l") is None
    assert state.amount_l("rinse", "rinse_l") == 2
    assert state.amount_l("fill", "filled_l") == 0
    assert state.amount_l("", "minutes_taken") == 0
    twice = replace(
        state, steps=(*state.steps, Step("rinse_2", "Rinse again", role="rinse")),
        ticks=(*state.ticks, Tick("x", "rinse_2", START, answers={"rinse_l": 1.5})),
    )  # fmt: skip
    assert twice.amount_l("rinse", "rinse_l") == 3.5


def test_further_ticks_of_a_step_are_counted_with_the_last() -> None:
    state = swap(
        opened(), done("prepare", 10), done("prepare", 12, by="Dunlin"), done("protect", 13),
        done("protect", 14, by="Plover"), done("prepare", 15, by="Curlew"),
    )  # fmt: skip
    assert state.attempts_at("prepare") == Attempts("prepare", 2, "Curlew", minutes(15))
    assert state.attempts_at("protect") == Attempts("protect", 1, "Plover", minutes(14))
    assert state.attempts_at("drain") is None
    assert [one.step for one in state.ticks] == ["prepare", "protect"]


def test_what_is_open_is_required_and_neither_done_nor_passed_over() -> None:
    state = swap(
        opened(), done("prepare"), overruled("protect", "step"), overruled("isolate", "ppe")
    )
    required = [step.key for step in state.open_required]
    assert required[0] == "isolate"
    assert {"prepare", "protect", "sensor"} & set(required) == set()
    assert state.next_step is not None
    assert state.next_step.key == "isolate"
    every = replace(state, steps=state.steps[:2])
    assert every.next_step is None
    assert every.is_open
    assert state.step("nothing") is None
    assert [one.key for one in steps_for(state.steps, True)] == [one.key for one in state.steps]


def test_a_swap_ends_with_who_when_and_what_was_noted() -> None:
    closed = SwapClosed(
        at=NOW, id="c1", by="Dunlin", note="Fine", swap="s1", tank="t1", estimated_l=38,
        drained_l=37, rinsed_l=2, heel_l=0.5, filled_l=39, loss_l=0.25, moved_l=36, wrote=["e1"],
    )  # fmt: skip
    state = swap(opened(), closed)
    assert state.balance == Balance(38, 37, 2, 0.5, 39, 0.25, 36)
    assert (state.end, state.ended_at, state.ended_by, state.end_note) == (
        "closed",
        NOW,
        "Dunlin",
        "Fine",
    )
    assert (state.close_id, state.wrote, state.tank) == ("c1", ("e1",), "t1")
    assert swap(closed).tank == "t1"
    late = Swap(at=minutes(90), by="Wren", tank="t2", swap="s1")
    entered = swap(opened(), Swap(at=minutes(50), by="Wren", tank="t1", swap="s1"), late)
    assert (entered.end, entered.ended_at, entered.filled) == ("entered", minutes(50), ("t1", "t2"))
    over = SwapAbandoned(at=minutes(60), by="Plover", tank="t1", swap="s1")
    assert swap(opened(), over).end == "abandoned"
    assert swap(opened(), closed, over).end == "closed"
    assert swap(opened(), late, over).ended_by == "Plover"
    assert swap(opened(), over).said == ()


def test_a_start_names_the_tank_only_where_nothing_did() -> None:
    start = SwapStarted(at=minutes(3), tank="t5", swap="s1")
    assert (swap(start).tank, swap(start).started_at) == ("t5", minutes(3))
    assert swap(opened(), start) == swap(opened())
    stray = Wash(at=NOW, tank="t1", resin="slate", parts=3)
    assert swap(opened(), stray) == swap(opened())


def test_pours_and_words_are_kept_as_they_were_said() -> None:
    state = swap(opened(), pour("p1", 5.0, 11), pour("p9", 4.0, 12, resin=None, corrects="p1"))
    assert state.pours == (
        Poured("p1", "d1", 5.0, minutes(11), True), Poured("p1", "d1", 4.0, minutes(12), False),
    )  # fmt: skip
    gone = Removal(
        at=minutes(20), tank="t1", swap="s1", volume_l=37.2, left_l=0.8, by="Wren", note="Low"
    )
    assert found_of(gone) == Found("t1", "partly", minutes(20), 0.8, "Wren", "Low")
    assert found_of(word("empty", 20, by="Wren", note="Dry")) == Found(
        "t1", "empty", minutes(20), None, "Wren", "Dry"
    )
    many: tuple[Found, ...] = ()
    for place in range(61):
        many = with_word(many, Found("t1", "empty", minutes(place)))
    assert (len(many), many[0].at, many[-1].at) == (60, minutes(1), minutes(60))
    two = swap(opened(**PAIR), word("asked", 20), word("asked", 21, "t2"), word("empty", 22))
    assert two.asks == ("t2",)


def test_the_book_of_a_list_keeps_its_versions() -> None:
    def edition(version: int, **more: Any) -> Checklist:
        values: dict[str, Any] = {
            "at": minutes(version), "by": "Curlew", "note": "Shorter", "checklist": "swap",
            "name": "Ours", "version": version, "steps": EXAMPLE_STEPS,
        }  # fmt: skip
        return Checklist(**(values | more))

    steps = restored_steps(EXAMPLE_STEPS)
    state = fold(CHECKLIST_BOOK, "swap", [edition(3)])
    assert state == ChecklistState(
        "swap", "Ours", 3, steps, (Edition(3, minutes(3), "Curlew", "Shorter", 10),)
    )
    assert template_of(state) == Template("swap", "Ours", 3, steps)
    older = CHECKLIST_BOOK.apply(state, edition(2, name="Old"))
    assert (older.name, older.version, older.steps, len(older.editions)) == ("Ours", 3, steps, 2)
    same = CHECKLIST_BOOK.apply(state, edition(3, name="New"))
    assert (same.name, same.version) == ("New", 3)
    broken = CHECKLIST_BOOK.apply(state, edition(4, steps=[{"key": "x"}]))
    assert (broken.version, broken.steps, broken.editions[-1].steps) == (3, steps, 0)
    assert CHECKLIST_BOOK.apply(state, Wash(at=NOW, tank="t1", resin="slate", parts=3)) is state
    many = fold(CHECKLIST_BOOK, "swap", [edition(version) for version in range(1, 103)])
    assert (len(many.editions), many.editions[0].version) == (100, 3)
    assert template_of(ChecklistState("swap")).name != ""


def test_counter_flow_by_hand() -> None:
    # p = 1 / (9 + 1) = 0.1: after two loads 1 - 0.9^2 and 1 - 0.9^3 - 3 * 0.1 * 0.9^2.
    assert static_ratios(2, 9.0, 1.0) == pytest.approx((0.19, 0.028))
    # Of baths at 1 - e^-1 and 1 - 2 e^-1 of what comes in, x is 1.
    dirty, clean = 0.632121, 0.264241
    found = saving(100 * dirty, 100 * clean, 10.0, 10.0)
    assert found is not None
    # After the move c2' = 1 - e^-x - (1 - 0.264241) x e^-x; it is 0.264241 again at x = 0.74292:
    # e^-x is 0.47572, and 1 - 0.47572 - 0.735759 * 0.74292 * 0.47572 = 0.26425.
    assert found.loads_ratio == pytest.approx(0.74292, abs=1e-4)
    assert found.fresh_percent == pytest.approx(67.302, abs=0.01)  # 1 / 0.74292 against 2 / 1
    half = saving(100 * dirty, 100 * clean, 10.0, 5.0)
    assert half == Saving(found.loads_ratio, pytest.approx(found.fresh_percent * 2 / 3, rel=1e-6))
    assert saving(100, 95, 10, 10) is not None
    assert saving(100, 95.1, 10, 10) is None
    assert saving(100, 100, 10, 10) is None

"""A swap under way: who did what, what waits for what, what was overruled."""

from dataclasses import replace
from datetime import timedelta

import pytest

from app.domain.checklists.gates import blocks
from app.domain.checklists.run import SWAP_BOOK, said_percent
from app.domain.roomlog.kinds import Swap, SwapAbandoned, SwapStarted, Wash
from app.domain.roomlog.kinds.checklists import StepDone, StepNoted, SwapClosed
from app.store.things import adapter
from tests.domain.checklists.swaps import START, done, opened, overruled, swap
from tests.factories import NOW


def gates_of(state: object, key: str, inspection: str = "") -> list[str]:
    step = state.step(key)  # type: ignore[attr-defined]
    return [one.gate for one in blocks(state, step, inspection)]  # type: ignore[arg-type]


def test_a_swap_begins_with_every_step_of_its_list_open() -> None:
    state = swap(opened(), SwapStarted(at=START, tank="t1", swap="s1"))
    assert state.is_open
    assert state.next_step is not None
    assert state.next_step.key == "prepare"
    assert "sensor" not in [step.key for step in state.open_required]
    assert "move_clean" not in [step.key for step in state.steps]


def test_only_a_pair_has_the_step_that_moves_the_clean_bath() -> None:
    state = swap(opened(from_tank="t2", from_estimated_l=39.0, from_capacity_l=40.0))
    assert state.step("move_clean") is not None
    assert state.filled_tank == "t2"


def test_a_tick_says_who_and_when_and_a_second_one_is_kept_without_effect() -> None:
    state = swap(opened(), done("prepare"), done("prepare", 12, by="Dunlin"))
    tick, more = state.tick("prepare"), state.attempts_at("prepare")
    assert tick is not None
    assert more is not None
    assert (tick.by, tick.at) == ("Wren", START + timedelta(minutes=10))
    assert (more.count, more.last_by) == (1, "Dunlin")


def test_an_attempt_does_not_take_the_place_of_a_tick_that_was_undone() -> None:
    attempt = replace(done("prepare", 12, by="Dunlin"), repeats="prepare-10")
    state = swap(opened(), attempt)
    assert state.tick("prepare") is None
    assert state.attempts_at("prepare") is not None


def ready() -> tuple[StepDone, ...]:
    """What comes before a drain, but for the drum."""
    return (done("protect"), done("isolate"), done("bond"))


def test_nothing_is_drained_before_protection_is_confirmed_and_a_drum_chosen() -> None:
    state = swap(opened())
    assert gates_of(state, "drain") == ["ppe", "isolate", "drum", "bond"]
    state = swap(opened(), *ready(), done("choose_drum", drum="d1"))
    assert gates_of(state, "drain") == []


def test_nothing_is_filled_before_the_tank_is_inspected_and_refitted() -> None:
    entries = [opened(), *ready(), done("choose_drum"), done("drain", drained_l=37.5)]
    assert gates_of(swap(*entries), "fill") == ["inspection", "hands", "refit"]
    entries += [done("inspect"), done("wipe"), done("refit")]
    assert gates_of(swap(*entries), "fill") == []
    assert gates_of(swap(*entries), "fill", "The impeller has failed.") == ["inspection"]


def test_a_reading_waits_for_the_fill_and_no_lead_can_change_that() -> None:
    state = swap(opened())
    [block] = [b for b in blocks(state, state.step("read")) if b.gate == "filled"]  # type: ignore[arg-type]
    assert not block.can_be_overruled
    assert block.step == "fill"


def test_a_lead_lets_one_step_pass_one_gate_and_the_word_stays_visible() -> None:
    rest = (done("isolate"), done("choose_drum"), done("bond"), done("drain"))
    state = swap(opened(), overruled("drain", "ppe"), *rest)
    assert gates_of(state, "drain") == []
    assert "ppe" in gates_of(state, "rinse")
    word = state.overrule("drain", "ppe")
    assert word is not None
    assert (word.by, word.reason) == ("Curlew", "Agreed with the site")


def test_a_step_passed_over_counts_as_settled_and_not_as_done() -> None:
    state = swap(opened(), overruled("wipe", "step"))
    assert "wipe" not in [step.key for step in state.open_required]
    assert state.tick("wipe") is None


def test_a_swap_ends_once_and_says_how() -> None:
    closed = SwapClosed(
        at=NOW, id="c1", by="Dunlin", swap="s1", tank="t1", estimated_l=38, drained_l=37,
        rinsed_l=2, heel_l=0.5, filled_l=39, loss_l=0.5, wrote=["e1"],
    )  # fmt: skip
    state = swap(opened(), Swap(at=NOW, tank="t1", swap="s1"), closed)
    assert (state.end, state.is_open, state.close_id) == ("closed", False, "c1")
    assert swap(opened(), Swap(at=NOW, tank="t1", swap="s1")).end == "entered"
    given_up = swap(opened(), SwapAbandoned(at=NOW, tank="t1", swap="s1"), closed)
    assert given_up.end == "closed"


def test_what_was_seen_is_kept_with_its_step() -> None:
    note = StepNoted(at=NOW, by="Wren", swap="s1", step="drain", text="Flow is slow")
    assert [(n.step, n.text) for n in swap(opened(), note).notes] == [("drain", "Flow is slow")]


def test_the_fold_takes_in_whatever_the_log_says() -> None:
    stray = Wash(at=NOW, tank="t1", resin="slate", parts=3)
    state = swap(done("unknown"), stray, opened(steps=[{"key": "old"}]))
    assert not state.is_open
    assert state.tick("unknown") is not None


def test_a_swap_comes_back_from_its_row_as_it_was() -> None:
    state = swap(opened(), done("protect"), overruled("drain", "drum"), done("drain", drained_l=3))
    stored = adapter(SWAP_BOOK.name).dump_json(state)
    assert adapter(SWAP_BOOK.name).validate_json(stored) == state


def test_another_drum_is_bonded_anew_before_anything_flows() -> None:
    """29 CFR 1910.106(e)(6)(ii), from memory: the lead is clipped to the vessel that is filled."""
    before = (done("protect"), done("isolate"), done("bond", 12))
    state = swap(opened(), *before, done("choose_drum", 15, drum="d2"))
    assert gates_of(state, "drain") == ["bond"]
    assert state.next_step is not None
    assert "bond" in [step.key for step in state.open_required]
    again = swap(opened(), *before, done("choose_drum", 15, drum="d2"), done("bond", 16))
    assert gates_of(again, "drain") == []


def test_a_bath_that_is_filled_anew_is_looked_at_for_leaks_anew() -> None:
    drained = (*ready(), done("choose_drum"), done("drain"), done("inspect"), done("wipe"),
               done("refit"))  # fmt: skip
    looked = (done("leak_check", 25), done("restart", 30))
    state = swap(opened(), *drained, done("fill", 20), *looked)
    assert state.tick("restart") is not None
    state = swap(opened(), *drained, *looked, done("fill", 40, filled_l=38.0))
    assert gates_of(state, "restart") == ["leak_check"]
    assert state.tick("restart") is None
    told_late = swap(opened(), *drained, done("fill", 20), *looked)
    assert gates_of(told_late, "close_out") == []


@pytest.mark.parametrize("step", ["sensor", "wipe", "refit"])
def test_no_hand_goes_into_a_tank_that_was_restarted(step: str) -> None:
    """29 CFR 1910.147(d), from memory: the lock came off with the restart."""
    rest = [one for one in ("wipe", "refit") if one != step]
    state = swap(
        opened(), *ready(), done("choose_drum"), done("drain"), done("inspect"),
        *(done(one) for one in rest), done("fill", 20), done("leak_check", 25),
        done("restart", 30),
    )  # fmt: skip
    [block] = blocks(state, state.step(step))  # type: ignore[arg-type]
    assert (block.gate, block.step, block.can_be_overruled) == ("running", "restart", False)
    stopped = swap(
        opened(), *ready(), done("choose_drum"), done("drain"), done("inspect"),
        *(done(one) for one in rest),
    )  # fmt: skip
    assert gates_of(stopped, step) == []


def test_a_word_on_a_purity_is_for_its_grade_and_an_older_one_for_any() -> None:
    """Labels of one grade differ by up to 2 %: common practice, no source."""
    said = replace(overruled("fill", "purity"), about="87.6 %")
    state = swap(opened(), said)
    passed = {
        percent: state.purity_word("fill", percent) is not None
        for percent in (85.0, 85.6, 87.6, 89.6, 90.0)
    }
    assert passed == {85.0: False, 85.6: True, 87.6: True, 89.6: True, 90.0: False}
    assert state.purity_word("drain", 87.6) is None
    assert swap(opened(), replace(said, gate="lot")).purity_word("fill", 87.6) is None
    assert swap(opened(), replace(said, about="ipa|W1")).purity_word("fill", 87.6) is None
    assert swap(opened(), overruled("fill", "purity")).purity_word("fill", 12.0) is not None
    said_of = ("100%", "100.1", "0", "-3", "0.5 %", "nan", "")
    assert [said_percent(one) for one in said_of] == [100.0, None, None, None, 0.5, None, None]

"""How much a swap fills in, and whose word is taken for the lot: worked by hand.

38 L in a tank of 40 L, its lower mark at 30 L; half way between the marks is 35 L. A drained tank
keeps 2 % of its capacity, 0.8 L, where nobody looked.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from app.domain.checklists.filling import fill_target_l, level_l, marks_of, target_l
from app.domain.checklists.gates import blocks
from app.domain.checklists.tank_contents import is_bath
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.waste import Pour
from tests.domain.checklists.swaps import START, done, opened, overruled, swap

PAIR = {
    "from_tank": "t2", "from_estimated_l": 19.0, "from_capacity_l": 20.0, "from_min_l": 16.0,
}  # fmt: skip


def test_a_tank_is_filled_half_way_between_its_marks() -> None:
    assert level_l(40.0, 30.0) == 35.0
    assert level_l(40.0, None) == 40.0
    assert fill_target_l(40.0, 30.0, 0.8) == pytest.approx(34.2)
    assert fill_target_l(40.0, 30.0, 36.0) == 0.0


def test_what_is_left_counts_as_seen_or_else_as_usual() -> None:
    assert target_l(swap(opened()), 2) == pytest.approx(35 - 0.8)
    assert target_l(swap(opened(), done("drain", drained_l=36.5)), 2) == pytest.approx(35 - 0.8)
    seen = swap(opened(), done("drain", drained_l=36.5, heel_l=0.3))
    assert target_l(seen, 2) == pytest.approx(35 - 0.3)
    assert target_l(swap(opened(), done("drain", drained_l=37.9)), 2) == pytest.approx(35 - 0.1)


def test_in_a_pair_the_clean_tank_gets_the_fresh_solvent() -> None:
    state = swap(opened(**PAIR), done("drain", drained_l=37.2))
    assert marks_of(state) == (20.0, 16.0)
    assert marks_of(swap(opened())) == (40.0, 30.0)
    unsaid = PAIR | {"from_capacity_l": None, "from_min_l": None}
    assert marks_of(swap(opened(**unsaid))) == (40.0, None)
    assert target_l(state, 2) == pytest.approx(18 - 0.4)
    moved = swap(
        opened(**PAIR), done("drain", drained_l=37.2), done("move_clean", 20, moved_l=18.6)
    )
    assert target_l(moved, 2) == pytest.approx(18 - 0.4)
    seen = swap(
        opened(**PAIR), done("drain", drained_l=37.2),
        done("move_clean", 20, moved_l=18.2, heel_l=0.7),
    )  # fmt: skip
    assert target_l(seen, 2) == pytest.approx(18 - 0.7)


def test_a_leads_word_is_of_its_step_its_gate_and_its_lot() -> None:
    word = replace(overruled("fill", "lot"), about="ipa|L7", id="word")
    state = swap(opened(), word)
    found = state.lot_word("fill", "ipa|L7")
    assert found is not None
    assert (found.id, found.by) == ("word", "Curlew")
    assert state.lot_word("fill", "ipa|L8") is None
    assert state.lot_word("rinse", "ipa|L7") is None
    assert swap(opened(), replace(word, gate="purity")).lot_word("fill", "ipa|L7") is None
    any_lot = swap(opened(), overruled("fill", "lot"))
    assert any_lot.lot_word("fill", "ipa|L8") is not None
    assert any_lot.lot_word("rinse", "ipa|L8") is None


def test_a_pour_is_of_the_bath_where_the_drain_made_it() -> None:
    def pour(uid: str, minutes: int) -> Pour:
        at = START + timedelta(minutes=minutes)
        return Pour(at=at, id=uid, drum="d1", tank="t1", swap="s1", volume_l=2.0)

    drain: StepDone = replace(done("drain", drained_l=2.0), wrote=["p1"])
    rinse: StepDone = replace(done("rinse", 20, rinse_l=2.0), wrote=["p2"])
    state = swap(opened(), pour("p1", 10), drain, pour("p2", 20), rinse)
    assert is_bath(state, "p1")
    assert not is_bath(state, "p2")
    assert not is_bath(state, "p9")


def test_a_running_bath_says_to_stop_it_and_what_to_undo() -> None:
    state = swap(opened(), done("restart", 50, runs=True))
    wipe = state.step("wipe")
    assert wipe is not None
    texts = [one.message for one in blocks(state, wipe)]
    assert any(
        text.startswith("The bath runs. Stop, lock and tag it. Then undo “") for text in texts
    )

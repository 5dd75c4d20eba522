"""A swap walked by hand to its end, alone and of a pair, with every fault in its way at each step.

At each step that the harm matrix knows, every fault that its cell forbids or asks about is put into
the log; the step is tried by form and as a program; a stranger throws the fault's entries at the
addresses that take back; then it is mended the way that is meant, and the swap goes on.
"""

import json
from pathlib import Path

import pytest

from app.domain.checklists.roles import PAIR_ONLY
from app.domain.harm.faults import FAULTS
from app.domain.harm.matrix import MATRIX
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.supplies import LotHeld, StockReceived
from app.services.door import bring_in as record
from tests.answers import STORE_IT
from tests.contracts.harm_room import SLOW
from tests.contracts.swap_walk import (
    ACT_OF,
    API,
    AT,
    CARRIED,
    CLEAN,
    DIRTY,
    TROUBLES,
    Trouble,
    Walk,
    furniture,
    walking,
    words,
)
from tests.factories import ROOM, START

ANSWERED = ("forbidden", "asked")


def test_every_answer_at_a_step_is_walked() -> None:
    """A fault that a cell of a step answers, and that no walk puts in its way, fails here."""
    walked = {one.fault for one in (*TROUBLES, CARRIED)}
    answered = {
        fault for fault in FAULTS for act in set(ACT_OF.values())
        if MATRIX[fault, act].answer in ANSWERED
    }  # fmt: skip
    assert answered <= walked, answered - walked


@pytest.mark.parametrize("is_pair", [False, True], ids=["single", "pair"])
@pytest.mark.parametrize("door", ["form", "api"])
def test_no_fault_lets_a_step_pass_on_the_way_to_the_end(
    door: str, is_pair: bool, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """All faults at each step nightly; in every run a quarter of them in each of the four walks."""
    is_whole, share = request.config.getoption("nightly"), 2 * is_pair + (door == "api")
    with walking(tmp_path, door, is_pair) as walk:
        for step in walk.state.steps:
            if not step.is_required or (step.role in PAIR_ONLY and not is_pair):
                continue
            walk.looks(step.key)
            act = ACT_OF.get(step.role, "")
            for place, trouble in enumerate(TROUBLES if act else ()):
                if not is_whole and place % 4 != share:
                    continue
                letter = MATRIX[trouble.fault, act].answer
                if letter in ANSWERED:
                    for key in trouble.tried_on(step.role, is_pair):
                        walk.try_(step.key, step.role, trouble, letter, key)
            walk.tick(step.key, step.role)
            if door == "form" and step.role in ("drum", "drain", "fill"):
                walk.take_back_tick(step.key)
                assert walk.state.tick(step.key) is None
                walk.tick(step.key, step.role)
        assert walk.wrong == [], json.dumps(walk.wrong, indent=1)
        assert walk.tried > (100 if is_whole else 20), walk.tried
        done = walk.client.post(
            f"{AT}/tanks/{DIRTY}/swap/complete",
            data={"by": "Wren", "note": "Walked", "swap": walk.state.key},
            follow_redirects=False,
        )  # fmt: skip
        assert done.status_code == 303, words(done)


@pytest.mark.parametrize("is_pair", [False, True], ids=["single", "pair"])
def test_alcohol_in_a_slow_bath_is_asked_about_at_each_step(is_pair: bool, tmp_path: Path) -> None:
    with walking(tmp_path, "form", is_pair, furniture(SLOW, "glycol_ether_resin")) as walk:
        for step in walk.state.steps:
            if step.role in ("clean", "leak_check"):
                break  # what is filled from here on is fresh
            if not step.is_required or (step.role in PAIR_ONLY and not is_pair):
                continue
            walk.looks(step.key)
            act = ACT_OF.get(step.role, "")
            if act and MATRIX["flash_lowered", act].answer in ANSWERED:
                letter = MATRIX["flash_lowered", act].answer
                for key in CARRIED.tried_on(step.role, is_pair):
                    walk.try_(step.key, step.role, CARRIED, letter, key)
            walk.tick(step.key, step.role)
        assert walk.wrong == [], json.dumps(walk.wrong, indent=1)
        assert walk.tried >= 6, walk.tried


def until(walk: Walk, stop: str) -> None:
    """All steps before one, as they are meant."""
    for step in walk.state.steps:
        if step.key == stop:
            walk.looks(stop)
            return
        if step.is_required and (step.role not in PAIR_ONLY or walk.is_pair):
            walk.looks(step.key)
            walk.tick(step.key, step.role)


@pytest.mark.parametrize("door", ["form", "api"])
def test_a_part_to_replace_and_an_open_look_stop_the_rest_at_both_doors(
    door: str, tmp_path: Path
) -> None:
    with walking(tmp_path, door, is_pair=True) as walk:
        until(walk, "refit")
        at, part = walk.clock(), {"component": "seal", "part": "shaft_seal", "name": "Shaft seal"}
        record(
            walk.store, ROOM,
            [
                Component(at=START, tank=DIRTY, **part),  # type: ignore[arg-type]
                InspectionStarted(at=at, inspection="i1", tank=DIRTY, positions=[part], by="Wren"),
            ],
            walk.clock(),
        )  # fmt: skip
        for key, role in (("refit", "refit"), ("move_clean", "move"), ("fill", "fill")):
            refused_at_both(walk, key, role)
        found = InspectionAnswered(at=walk.clock(), by="Wren", inspection="i1", component="seal",
                                   answers={"seal_weeps": "yes"}, verdict="replace")  # fmt: skip
        record(walk.store, ROOM, [found], walk.clock())
        record(walk.store, ROOM, [InspectionClosed(at=walk.clock(), by="Wren", inspection="i1")],
               walk.clock())  # fmt: skip
        for key, role in (("refit", "refit"), ("move_clean", "move"), ("fill", "fill")):
            refused_at_both(walk, key, role)
        fitted = ComponentReplaced(at=walk.clock(), component="seal", because="finding")
        record(walk.store, ROOM, [fitted], walk.clock())
        walk.tick("refit", "refit")


def refused_at_both(walk: Walk, key: str, role: str) -> None:
    for door in ("form", "api"):
        before, answer = walk.count(), walk.send(door, key, role, None)
        assert (answer.status_code, walk.count()) == (422, before), (key, door, words(answer))


@pytest.mark.parametrize("stop", ["drain", "rinse", "refit", "fill", "leak_check", "restart"])
def test_a_swap_given_up_takes_no_step_more_and_no_wash_until_somebody_says_what_is_in_it(
    stop: str, tmp_path: Path
) -> None:
    with walking(tmp_path, "form", is_pair=True) as walk:
        until(walk, stop)
        role, swap = next(s.role for s in walk.state.steps if s.key == stop), walk.state
        sent = {"by": "Wren", "found": "asked", "clean_found": "asked"}
        page = walk.client.post(
            f"{AT}/tanks/{DIRTY}/swap/abandon", data=sent, follow_redirects=False
        )
        found = STORE_IT.search(page.text)
        if found:
            page = walk.client.post(f"{AT}/tanks/{DIRTY}/swap/abandon", follow_redirects=False,
                                    data={**sent, "confirmed": found[1]})  # fmt: skip
        assert page.status_code == 303, words(page)
        before, is_moved = walk.count(), stop in ("fill", "leak_check", "restart")
        asked = [] if stop == "drain" else [DIRTY, CLEAN] if is_moved else [DIRTY]
        path = f"{AT}/tanks/{DIRTY}/swap/steps/{stop}/tick"
        assert walk.client.post(path, data={"by": "Wren"}).status_code in (404, 409)
        for one in (
            {"kind": "step_done", "swap": swap.key, "step": stop, "by": "Wren"},
            *({"kind": "wash", "tank": key, "resin": "slate", "area_cm2": 500.0, "by": "Wren"}
              for key in asked),
        ):  # fmt: skip
            done = walk.client.post(f"{API}/entries", json=one)
            assert (done.status_code, walk.count()) in ((422, before), (409, before)), (one, role)


@pytest.mark.parametrize("door", ["form", "api"])
def test_the_second_tank_still_full_takes_no_fill(door: str, tmp_path: Path) -> None:
    """Not all of its bath was moved: the rest and a fill are more than it holds."""
    with walking(tmp_path, door, is_pair=True) as walk:
        until(walk, "move_clean")
        moved = Trouble("", answers={"moved_l": 31.0, "heel_l": 8.0})
        answer = walk.send(door, "move_clean", "move", moved)
        if answer.status_code in (409, 422):
            names = STORE_IT.search(answer.text)
            said = names[1] if names else ""
            if door == "api":
                said = " ".join(walk.asked(answer, door))
            answer = walk.send(door, "move_clean", "move", moved, said)
        assert answer.status_code in (201, 303), words(answer)
        walk.tick("clean_tank", "clean")
        walk.tick("refit_clean", "refit_clean")
        walk.looks("fill")
        before, refused = walk.count(), walk.send(door, "fill", "fill", None)
        assert (refused.status_code in (409, 422), walk.count()) == (True, before), words(refused)


@pytest.mark.parametrize("step, role", [("rinse", "rinse"), ("fill", "fill")])
def test_a_tick_that_only_names_its_lot_is_held_to_it(step: str, role: str, tmp_path: Path) -> None:
    """A program that sends no word of the shelf is refused what it says it took from there."""
    with walking(tmp_path, "api", is_pair=False) as walk:
        until(walk, step)
        record(walk.store, ROOM, [
            StockReceived(at=START, item="ipa", quantity=50, lot="BAD"),
            LotHeld(at=walk.clock(), item="ipa", lot="BAD", standing="withdrawn", reason="Recall"),
        ], walk.clock())  # fmt: skip
        litres = {"filled_l": 38.0} if role == "fill" else {"rinse_l": 2.0}
        tick = {"kind": "step_done", "swap": walk.state.key, "step": step, "by": "Wren"}
        for lot, words_ in {"ipa|OLD": "past its day", "ace|AC": "another solvent",
                            "ipa|BAD": "withdrawn"}.items():  # fmt: skip
            before, said = walk.count(), {**tick, "answers": {**litres, "lot": lot}}
            answer = walk.client.post(f"{API}/entries", json=said)
            assert (answer.status_code, walk.count()) == (422, before), (lot, answer.text)
            assert words_ in answer.text, answer.text
        done = walk.client.post(
            f"{API}/entries", json={**tick, "answers": {**litres, "lot": "ipa|A7"}}
        )
        assert done.status_code == 201, done.text

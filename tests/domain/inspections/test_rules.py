"""The table of rules: complete, unambiguous, and as the trade has it."""

import itertools
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.inspections.conditions import BY_KEY, CONDITIONS, asked
from app.domain.inspections.parts import PARTS as KNOWN_PARTS
from app.domain.inspections.parts import sitting
from app.domain.inspections.rules import answer_problems, judge, severity
from app.domain.inspections.terms import CAUSES, MECHANISMS, MODES, PART_NAMES, VERDICT_NAMES
from app.domain.roomlog.kinds.inspection_data import ANSWERS, PARTS, VERDICTS

DRAWINGS = Path(__file__).parents[3] / "static" / "drawings"


@pytest.mark.parametrize("part", PARTS)
def test_every_combination_of_answers_gives_exactly_one_verdict_with_its_reason(part: str) -> None:
    conditions = CONDITIONS[part]
    for given_answers in itertools.product(ANSWERS, repeat=len(conditions)):
        answers = {one.key: a for one, a in zip(conditions, given_answers, strict=True)}
        judged = judge(part, answers)
        said_yes = [one for one in conditions if answers[one.key] == "yes"]
        assert judged.verdict in VERDICTS
        assert judged.reason
        # Independent of how `judge` sorts: nothing graver was said, and nothing is passed over.
        assert all(severity(one.verdict) <= severity(judged.verdict) for one in said_yes)
        if said_yes:
            assert judged.condition in said_yes
            assert judged.condition is not None
            assert judged.verdict == judged.condition.verdict
        assert (judged.verdict == "serviceable") == (set(answers.values()) == {"no"})


@given(st.sampled_from(PARTS), st.data())
def test_another_yes_never_makes_the_verdict_milder(part: str, data: st.DataObject) -> None:
    conditions = CONDITIONS[part]
    answers = {one.key: data.draw(st.sampled_from(ANSWERS)) for one in conditions}
    worse = answers | {data.draw(st.sampled_from(conditions)).key: "yes"}
    assert severity(judge(part, worse).verdict) >= severity(judge(part, answers).verdict)


def say(part: str, *yes: str) -> str:
    return judge(
        part, {one.key: "yes" if one.key in yes else "no" for one in CONDITIONS[part]}
    ).verdict


@pytest.mark.parametrize(
    "part, finding, verdict",
    [  # common practice, no source
        ("washer", "washer_lobe_cracked", "replace_with_mate"),
        ("washer", "washer_lobe_broken", "replace_with_mate"),
        ("impeller", "impeller_worn", "replace"),
        ("impeller", "impeller_o_ring_fused", "replace"),
        ("impeller", "impeller_magnets", "replace"),
        ("shaft_seal", "seal_hard", "replace"),
        ("shaft_seal", "seal_weeps", "replace"),
        ("shaft_seal", "seal_leaks", "take_out_of_service"),
        ("lid_gasket", "gasket_cracked", "replace"),
        ("lid_gasket", "gasket_swollen", "replace"),
        ("o_ring", "o_ring_swollen", "replace"),
    ],
)
def test_the_rules_of_the_trade_hold(part: str, finding: str, verdict: str) -> None:
    assert say(part, finding) == verdict


@pytest.mark.parametrize("part", PARTS)
def test_a_part_of_which_nothing_could_be_seen_was_not_looked_at(part: str) -> None:
    asked = [one.key for one in CONDITIONS[part]]
    assert judge(part, dict.fromkeys(asked, "unseen")).verdict == "not_seen"
    assert judge(part, {}).verdict == "not_seen"
    assert judge(part, dict.fromkeys(asked[:-1], "unseen") | {asked[-1]: "no"}).verdict == "watch"


def test_what_nobody_could_see_is_watched_and_never_passed() -> None:
    answers = {one.key: "no" for one in CONDITIONS["impeller"]}
    assert judge("impeller", answers).verdict == "serviceable"
    assert judge("impeller", answers | {"impeller_magnets": "unseen"}).verdict == "watch"
    assert judge("impeller", {}).verdict not in ("serviceable", "watch")


def test_a_question_left_out_is_named() -> None:
    errors = answer_problems("level_marks", {"marks_gone": "no", "marks_faint": "perhaps"})
    assert [error.field for error in errors] == ["marks_faint"]


def test_every_part_has_questions_terms_and_drawings() -> None:
    assert set(CONDITIONS) == set(PARTS) == set(PART_NAMES)
    assert set(VERDICT_NAMES) == set(VERDICTS)
    every = [part.all_conditions for part in KNOWN_PARTS.values()]
    keys = [one.key for conditions in every for one in conditions]
    assert len(keys) == len(set(keys)) == len(BY_KEY)
    for conditions in every:
        for one in conditions:
            assert one.question.endswith("?"), one.key
            assert one.mode in MODES, one.key
            assert one.mechanism in MECHANISMS, one.key
            assert one.cause in CAUSES, one.key
            assert (DRAWINGS / f"{one.key}.svg").is_file() == one.is_drawn, one.key


def test_none_of_the_parts_disappears_and_each_of_theirs_is_drawn() -> None:
    known = (
        "impeller", "washer", "o_ring", "shaft_seal", "lid_gasket", "level_marks", "sensor",
        "lamp_window", "door_interlock", "turntable", "reflector", "fan",
        "strainer", "drain", "hose", "agitator_motor",
    )  # fmt: skip
    assert PARTS[: len(known)] == known
    assert all(one.is_drawn for part in known for one in KNOWN_PARTS[part].all_conditions)
    drawn = {key for key, one in BY_KEY.items() if one.is_drawn}
    assert {path.stem for path in DRAWINGS.glob("*.svg")} == drawn


def test_what_sits_somewhere_is_offered_there_and_a_mate_is_a_part() -> None:
    assert sitting("impeller")[:3] == ("impeller", "washer", "o_ring")
    assert sitting("tank")[:4] == ("shaft_seal", "lid_gasket", "level_marks", "sensor")
    assert "lid_gasket" in sitting("station")
    for part in KNOWN_PARTS.values():
        assert part.sits, part.key
        assert not part.mate or KNOWN_PARTS[part.mate].mate == part.key


def test_each_drawing_shows_the_good_part_beside_the_bad_one() -> None:
    """Two pictures that differ, the good one ticked and without the red of a fault."""
    for path in DRAWINGS.glob("*.svg"):
        root = ElementTree.fromstring(path.read_text("utf-8"))
        good, bad = (list(one)[:-2] for one in root if one.tag.endswith("}g"))  # without its sign
        said = [
            [tuple(sorted(node.attrib.items())) for shape in half for node in shape.iter()]
            for half in (good, bad)
        ]
        red = [any("#b00f2e" in dict(one).values() for one in half) for half in said]
        assert red == [False, True], path.name
        assert said[0] != said[1], path.name


def test_a_look_asks_its_own_questions_and_judges_by_them() -> None:
    full = {one.key for one in asked("shaft_seal", "full")}
    assert full.isdisjoint(one.key for one in asked("shaft_seal", "empty"))
    assert judge("shaft_seal", {"seal_drop": "yes"}, "full").verdict == "take_out_of_service"
    assert judge("shaft_seal", {"seal_drop": "no"}, "full").verdict == "serviceable"
    assert judge("shaft_seal", {"seal_drop": "no"}).verdict == "not_seen"
    assert [one.field for one in answer_problems("drain", {}, "refilled")] == ["drain_weeps"]
    assert asked("washer", "full") == ()

"""What is wrong with a checklist, in whole sentences, at the limits of its lengths."""

from typing import Any

import pytest

from app.domain.checklists.template import (
    Ask,
    Step,
    as_data,
    restored_steps,
    steps_of,
)
from app.domain.roomlog.kinds.checklists import EXAMPLE_STEPS

Data = list[dict[str, Any]]


def changed(place: int = 0, **values: Any) -> Data:
    """The shortest list with one step changed."""
    steps = [dict(step) for step in EXAMPLE_STEPS]
    steps[place] |= values
    return steps


def asked(**values: Any) -> Data:
    """The shortest list whose first step has a question."""
    return changed(asks=[{"key": "a", "kind": "number", "label": "Level"} | values])


def ask_of(**values: Any) -> Ask:
    return steps_of(asked(**values))[0].asks[0]


T = "Put on gloves and glasses"
KEY = "its key must be 1 to 40 lower-case letters, digits or underscores."


@pytest.mark.parametrize(
    "steps, words",
    [
        ("steps", "The list has no steps. A checklist needs at least one."),
        ([], "The list has no steps. A checklist needs at least one."),
        ([{"key": "k", "title": "T"}] * 61, "At most 60 steps; this has 61."),
        ([*EXAMPLE_STEPS[:1], "drain"], "Step 2 is not a valid step."),
        (changed(colour="red"), "Step 1 is not a valid step."),
        (changed(title=" "), "Step 1 has no title."),
        (changed(title=5), "Step 1: its title must be text."),
        (changed(title="x" * 81), "Step 1: its title has 81 characters; at most 80."),
        (changed(text="x" * 1001), "Step 1: its text has 1001 characters; at most 1000."),
        (changed(text="a\x07b"), "Step 1: its text has characters that cannot be stored."),
        (changed(done="x" * 31), "Step 1: its button has 31 characters; at most 30."),
        (changed(role="dance" * 10), f"Step 1 ({T}): there is no role “{'dance' * 8}”."),
        (changed(is_required=1), "Step 1: required must be true or false."),
        (changed(key="Bad Key"), f"Step 1: {KEY}"),
        (changed(key=None), f"Step 1: {KEY}"),
        (changed(1, key="protect"), "Two steps have the key “protect”. Each needs its own."),
        (
            changed(confirms=["x"] * 9),
            f"Step 1 ({T}): at most 8 points to confirm and 6 questions.",
        ),
        (
            changed(asks=[{"key": f"k{n}", "kind": "note", "label": "A"} for n in range(7)]),
            f"Step 1 ({T}): at most 8 points to confirm and 6 questions.",
        ),
        (changed(confirms=[" "]), f"Step 1 ({T}): a point to confirm is empty."),
        (
            changed(confirms=["x" * 161]),
            f"Step 1 ({T}): a point to confirm has 161 characters; at most 160.",
        ),
        (changed(asks=["level"]), f"Step 1 ({T}): a question is not in the right form."),
        (asked(colour="red"), f"Step 1 ({T}): a question is not in the right form."),
        (asked(label=""), f"Step 1 ({T}): a question is empty."),
        (asked(key="A"), f"Step 1 ({T}): {KEY}"),
        (
            asked(key="drained_l"),
            f"Step 1 ({T}): the name “drained_l” is reserved for the program.",
        ),
        (
            asked(kind="wink"),
            f"Step 1 ({T}) (Level): a question must be one of number, choice, note, photo, second.",
        ),
        (
            asked(unit="gallons of the county of old"),
            f"Step 1 ({T}) (Level): “gallons of the count” is not one of the units L, C, kg, g, "
            "min, h, mm, %.",
        ),
        (asked(low="1"), f"Step 1 ({T}) (Level): the ends of the range must be numbers."),
        (asked(high=True), f"Step 1 ({T}) (Level): the ends of the range must be numbers."),
        (asked(low=float("nan")), f"Step 1 ({T}) (Level): the ends of the range must be numbers."),
        (asked(low=5, high=5), f"Step 1 ({T}) (Level): the range 5 to 5 is empty."),
        (asked(low=6.5, high=5), f"Step 1 ({T}) (Level): the range 6.5 to 5 is empty."),
        (
            asked(kind="choice", choices=["x"]),
            f"Step 1 ({T}) (Level): give at least two choices, each once.",
        ),
        (
            asked(kind="choice", choices=["x", "y", "x"]),
            f"Step 1 ({T}) (Level): give at least two choices, each once.",
        ),
        (asked(choices=[""]), f"Step 1 ({T}) (Level): a choice is empty."),
        (asked(is_required="yes"), f"Step 1 ({T}): required must be true or false."),
        (
            changed(asks=[{"key": "a", "kind": "note", "label": "A"}] * 2),
            "Two questions of step 1 have the key “a”. Each needs its own.",
        ),
        (
            [*EXAMPLE_STEPS, EXAMPLE_STEPS[2] | {"key": "again"}],
            "Only one step may be the one that chooses the waste drum.",
        ),
    ],
)  # fmt: skip
def test_a_list_is_refused_in_a_sentence(steps: Any, words: str) -> None:
    with pytest.raises(ValueError, match=r"\.$") as caught:
        steps_of(steps)
    assert str(caught.value) == words


def test_the_longest_that_is_allowed_is_allowed() -> None:
    step = steps_of(
        changed(
            key="a" * 40,
            title="x" * 80,
            text="y" * 1000,
            done="z" * 30,
            confirms=["c" * 160] * 8,
            asks=[{"key": f"k{n}", "kind": "note", "label": "l" * 160} for n in range(6)],
        )
    )[0]
    assert (step.key, step.title, step.text, step.done) == (
        "a" * 40,
        "x" * 80,
        "y" * 1000,
        "z" * 30,
    )
    assert (len(step.confirms), len(step.asks)) == (8, 6)
    more = [{"key": f"k{n}", "title": "T"} for n in range(50)]
    assert len(steps_of([*EXAMPLE_STEPS, *more])) == 60


def test_a_step_is_read_as_it_was_written() -> None:
    data = changed(
        title="  Gloves  ", text="One\r\ntwo\n", done=" ", confirms=[" On "],
        asks=[{"key": "t", "kind": "number", "label": " Bath ", "unit": "C", "low": 15,
               "high": 30.5, "is_required": False}],
    )  # fmt: skip
    assert steps_of(data)[0] == Step(
        "protect", "Gloves", "One\ntwo", "Done", "ppe", True, ("On",),
        (Ask("t", "number", "Bath", "C", 15.0, 30.5, (), False),),
    )  # fmt: skip
    assert steps_of(tuple(EXAMPLE_STEPS))[2] == Step("choose", "Choose the drum", role="drum")
    assert ask_of(kind="choice", choices=["x", "y"]) == Ask(
        "a", "choice", "Level", choices=("x", "y")
    )
    assert ask_of(low=5) == Ask("a", "number", "Level", low=5.0)
    assert ask_of(high=5) == Ask("a", "number", "Level", high=5.0)
    rinse = {"key": "r", "title": "Rinse", "role": "rinse"}
    repeated = [*EXAMPLE_STEPS, rinse, rinse | {"key": "s", "is_required": False}]
    assert [step.is_required for step in steps_of(repeated)][-2:] == [True, False]


def test_steps_are_stored_without_what_is_as_usual() -> None:
    step = Step(
        "look", "Look", "Well", "Seen", "inspection", False, ("Lid is shut",),
        (Ask("t", "number", "Bath", "C", 15.0, 30.0, (), False),
         Ask("c", "choice", "Colour", choices=("x", "y"))),
    )  # fmt: skip
    assert as_data([Step("plain", "Plain"), step]) == [
        {"key": "plain", "title": "Plain"},
        {
            "key": "look", "title": "Look", "text": "Well", "done": "Seen", "role": "inspection",
            "is_required": False, "confirms": ["Lid is shut"],
            "asks": [
                {"key": "t", "kind": "number", "label": "Bath", "unit": "C", "low": 15.0,
                 "high": 30.0, "is_required": False},
                {"key": "c", "kind": "choice", "label": "Colour", "choices": ["x", "y"]},
            ],
        },
    ]  # fmt: skip


@pytest.mark.parametrize(
    "data",
    [None, 5, "steps", [5], changed(confirms=5), changed(role=["ppe"]), changed(asks={"a": 1})],
)
def test_what_does_not_fit_is_left_out_when_it_is_read_again(data: Any) -> None:
    assert restored_steps(data) == ()
    assert restored_steps(EXAMPLE_STEPS) == steps_of(EXAMPLE_STEPS)

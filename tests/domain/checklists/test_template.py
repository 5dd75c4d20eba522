"""Checklists: what makes one fit for use, and the one a room starts with."""

import json
from typing import Any

import pytest

from app.domain.checklists.books import CHECKLIST_BOOK, template_of
from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.template import as_data, checked_steps, restored_steps, steps_of
from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.checklists import EXAMPLE_STEPS, Checklist
from app.domain.roomlog.lines import parse_entry
from app.domain.things import fold
from tests.factories import NOW


def changed(place: int, **values: Any) -> list[dict[str, Any]]:
    """The shortest list with one step changed."""
    steps = [dict(step) for step in EXAMPLE_STEPS]
    steps[place] |= values
    return steps


def test_the_default_list_is_fit_for_use_and_comes_back_from_json() -> None:
    data = json.loads(json.dumps(as_data(DEFAULT.steps)))
    assert steps_of(data) == DEFAULT.steps
    assert checked_steps(data) == data


def test_the_default_list_covers_the_whole_job_in_its_order() -> None:
    """The order is that of a swap in the trade: common practice, no source."""
    titles = " / ".join(step.title.lower() for step in DEFAULT.steps)
    words = (
        "clear the place", "gloves", "isolate", "drum", "drain", "inspect", "rinse", "wipe",
        "sensor", "refit", "fill", "leak", "reading", "restart", "close drum",
    )  # fmt: skip
    places = [titles.index(word) for word in words]
    assert places == sorted(places)


def test_the_default_list_names_the_usual_cautions() -> None:
    text = json.dumps(as_data(DEFAULT.steps)).lower()
    for word in ("safety data sheet", "flame, spark", "ventilation", "bond", "eyewash", "1910.106"):
        assert word in text
    assert " safe " not in text


@pytest.mark.parametrize(
    "steps, words",
    [
        ([], "no steps"),
        ({}, "no steps"),
        (changed(0, title="  "), "no title"),
        (changed(0, key="Bad Key"), "lower-case letters"),
        (changed(1, key="protect"), "Two steps have the key"),
        (changed(0, role="dance"), "no role"),
        ([*EXAMPLE_STEPS, {**EXAMPLE_STEPS[2], "key": "again"}], "Only one step"),
        (changed(0, colour="red"), "not a valid step"),
        (changed(0, confirms=[""]), "is empty"),
        (changed(0, confirms=["x"] * 9), "at most 8"),
        (changed(0, asks=[{"key": "a", "kind": "number", "label": "A", "low": 5, "high": 5}]),
         "is empty"),
        (changed(0, asks=[{"key": "a", "kind": "number", "label": "A", "unit": "gal"}]),
         "not one of the units"),
        (changed(0, asks=[{"key": "a", "kind": "choice", "label": "A", "choices": ["x", "x"]}]),
         "two choices"),
        (
            changed(0, asks=[{"key": "drained_l", "kind": "note", "label": "A"}]),
            "reserved for the program",
        ),
        (changed(0, asks=[{"key": "a", "kind": "wink", "label": "A"}]), "one of number"),
        (changed(0, text="x" * 1001), "at most 1000"),
        ([{"key": f"k{n}", "title": "T"} for n in range(61)], "At most 60"),
    ],
)  # fmt: skip
def test_a_list_that_is_not_fit_is_refused_in_words(steps: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        steps_of(steps)


def test_an_entry_with_a_list_without_steps_is_refused_beside_its_field() -> None:
    line = {"kind": "checklist", "at": NOW.isoformat(), "checklist": "swap", "name": "Swap",
            "version": 2, "steps": EXAMPLE_STEPS}  # fmt: skip
    assert parse_entry(line).kind == "checklist"
    with pytest.raises(FieldErrors) as caught:
        parse_entry({**line, "steps": []})
    assert "no steps" in caught.value.by_field()["steps"]


def test_what_was_stored_by_another_version_does_not_break_the_book() -> None:
    assert restored_steps([{"key": "x"}]) == ()
    assert restored_steps("nothing") == ()


def test_the_last_version_is_the_one_in_use_and_all_are_remembered() -> None:
    def edition(version: int) -> Checklist:
        return Checklist(
            at=NOW, by="Curlew", checklist="swap", name="Ours", version=version,
            steps=changed(0, title=f"Protect {version}"),
        )  # fmt: skip

    assert template_of(None) == DEFAULT
    state = fold(CHECKLIST_BOOK, "swap", [edition(2), edition(3)])
    assert template_of(state).steps[0].title == "Protect 3"
    assert template_of(state).version == 3
    assert [one.version for one in state.editions] == [2, 3]

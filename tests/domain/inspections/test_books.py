"""Positions, inspections and soak tests follow from their entries, in any order of entering."""

from datetime import UTC, datetime, timedelta

import pytest

from app.domain.inspections.books import SOAK_BOOK
from app.domain.inspections.components import COMPONENT_BOOK, lifetimes
from app.domain.inspections.inspection import INSPECTION_BOOK, Look
from app.domain.life import Lifetime
from app.domain.roomlog.kinds import KINDS, Entry
from app.domain.roomlog.kinds.inspection_data import check_answers, check_marks, check_positions
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionOverruled,
    InspectionStarted,
    SoakEnded,
    SoakStarted,
)
from app.domain.things import fold

START = datetime(2026, 1, 1, tzinfo=UTC)
GOOD = {"washer_lobe_broken": "no", "washer_lobe_cracked": "no", "washer_worn": "no"}
CRACKED = GOOD | {"washer_lobe_cracked": "yes"}


def on(day: float) -> datetime:
    return START + timedelta(days=day)


def fitted() -> Component:
    return Component(
        at=START, component="w", part="washer", name="Washer", tank="t1", fitted_at=START
    )


def looked(day: float, answers: dict[str, str], key: str) -> InspectionAnswered:
    return InspectionAnswered(at=on(day), inspection=key, component="w", answers=answers)


def test_a_part_found_worn_lasted_between_the_last_good_look_and_the_finding() -> None:
    state = fold(COMPONENT_BOOK, "w", [
        fitted(), looked(30, GOOD, "a"), looked(60, GOOD, "b"), looked(90, CRACKED, "c"),
        ComponentReplaced(at=on(91), component="w", because="finding", lot="W7"),
    ])  # fmt: skip
    assert (state.lot, state.fitted_at, state.seen) == ("W7", on(91), ())
    lives = lifetimes([state], "washer", on(100))
    assert lives == [Lifetime(90, True, 60), Lifetime(9, False)]


@pytest.mark.parametrize("because", ["mate", "planned", "other"])
def test_a_part_replaced_for_another_reason_is_censored(because: str) -> None:
    state = fold(COMPONENT_BOOK, "w", [
        fitted(), ComponentReplaced(at=on(50), component="w", because=because)
    ])  # fmt: skip
    assert lifetimes([state], "washer", on(50)) == [Lifetime(50, False)]


def test_a_part_of_unknown_age_does_not_count_for_life() -> None:
    entry = Component(at=START, component="w", part="washer", name="Washer", tank="t1")
    assert lifetimes([fold(COMPONENT_BOOK, "w", [entry])], "washer", on(99)) == []


def test_entries_that_fit_nothing_leave_the_books_readable() -> None:
    stray: list[Entry] = [
        looked(1, CRACKED, "a"),
        ComponentReplaced(at=on(2), component="w", because="other", inspection="a"),
    ]
    assert fold(INSPECTION_BOOK, "a", stray).looks == ()
    assert fold(COMPONENT_BOOK, "w", stray).part == ""


def test_answering_again_replaces_the_answers_before() -> None:
    position = {"component": "w", "part": "washer", "name": "Washer"}
    start = InspectionStarted(at=START, inspection="a", tank="t1", positions=[position])
    state = fold(INSPECTION_BOOK, "a", [start, looked(1, CRACKED, "a"), looked(2, GOOD, "a")])
    assert state.look("w").decided == "serviceable"
    assert not state.blocks_refill


def of_tank(*entries: Entry) -> Look:
    started = InspectionStarted(
        at=on(90), inspection="a", tank="t1",
        positions=[{"component": "w", "part": "washer", "name": "Washer"}],
    )  # fmt: skip
    (look,) = fold(INSPECTION_BOOK, "a", [started, *entries]).looks
    assert isinstance(look, Look)
    return look


NEW_PART = ComponentReplaced(at=on(91), component="w", because="finding", lot="W7", inspection="a")


def test_a_new_part_ends_the_wait_for_one() -> None:
    assert of_tank(looked(90, CRACKED, "a")).awaits_part
    look = of_tank(looked(90, CRACKED, "a"), NEW_PART)
    assert (look.awaits_part, look.is_replaced, look.lot) == (False, True, "W7")


@pytest.mark.parametrize("between", [[], [looked(91.5, GOOD, "a")]])
def test_a_new_part_that_is_cracked_too_waits_for_another(between: list[Entry]) -> None:
    after = [looked(90, CRACKED, "a"), NEW_PART, *between, looked(92, CRACKED, "a")]
    look = of_tank(*after)
    assert (look.awaits_part, look.is_replaced, look.at) == (True, False, on(92))
    assert fold(COMPONENT_BOOK, "w", [fitted(), *after]).verdict == look.verdict


def test_a_leads_word_for_the_old_part_is_none_for_the_new_one() -> None:
    word = InspectionOverruled(
        at=on(90.5), inspection="a", component="w", verdict="watch", lead="Plover", reason="Fine"
    )
    assert of_tank(looked(90, CRACKED, "a"), word).decided == "watch"
    look = of_tank(looked(90, CRACKED, "a"), word, NEW_PART, looked(92, CRACKED, "a"))
    assert (look.overruled, look.awaits_part) == ("", True)


def test_a_soak_test_gives_the_change_of_weight() -> None:
    state = fold(SOAK_BOOK, "s", [
        SoakStarted(at=START, soak="s", name="O-ring", tank="t1", mass_before_g=8.0),
        SoakEnded(at=on(7), soak="s", mass_after_g=10.0),
    ])  # fmt: skip
    assert state.gain_percent == pytest.approx(25)
    assert state.days == 7


@pytest.mark.parametrize(
    "check, value",
    [
        (check_answers, {"washer_worn": "perhaps"}),
        (check_answers, {}),
        (check_positions, []),
        (check_positions, [{"component": "w", "part": "wheel"}]),
        (check_marks, [{"shape": "star", "x_percent": 1, "y_percent": 1}]),
        (check_marks, [{"shape": "ring", "x_percent": 101, "y_percent": 1}]),
        (check_marks, [{"shape": "ring", "x_percent": True, "y_percent": 1}]),
        (check_marks, [{"shape": "ring", "x_percent": 1, "y_percent": 1}] * 13),
    ],
)
def test_values_that_make_no_sense_are_refused(check: object, value: object) -> None:
    assert callable(check)
    with pytest.raises(ValueError):  # noqa: PT011 - each has its own words
        check(value)


def test_every_kind_of_the_subject_is_known() -> None:
    assert {"component", "inspection_started", "photo_marked", "soak_ended"} <= set(KINDS)

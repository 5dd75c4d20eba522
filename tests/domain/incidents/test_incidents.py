"""Guides for when something goes wrong, and incidents as their entries leave them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from app.domain.incidents.book import INCIDENT_BOOK, IncidentState
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds.incidents import (
    PROBLEMS,
    Incident,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
    TankHeld,
)
from app.domain.roomlog.kinds.waste import DrumQuarantined
from app.domain.things import fold

AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


def test_each_problem_has_a_guide_that_begins_with_cautions() -> None:
    assert tuple(GUIDES) == PROBLEMS
    for guide in GUIDES.values():
        assert len(guide.cautions) >= (1 if guide.key == "near_miss" else 3)
        assert guide.required
        keys = [step.key for step in guide.follow_ups]
        assert len(set(keys)) == len(keys)


@pytest.mark.parametrize("key", ["spill", "leak", "wrong_solvent"])
def test_where_vapour_or_pressure_threatens_life_the_first_caution_says_so(key: str) -> None:
    assert GUIDES[key].cautions[0].kind == "danger"


def test_the_exposure_guide_says_what_safety_data_sheets_say() -> None:
    # First-aid measures of section 4 of safety data sheets: common practice, no source.
    text = " ".join(caution.text for caution in GUIDES["exposure"].cautions)
    for words in ("15 minutes", "running water", "fresh air", "vomit", "emergency number"):
        assert words in text


def test_whoever_is_burned_or_bleeds_finds_what_to_do_under_somebody_hurt() -> None:
    # First-aid guidelines of the European Resuscitation Council 2021 (from memory): 20 minutes.
    guide = GUIDES["exposure"]
    assert guide.title == "Somebody is hurt"
    assert guide.about.startswith("Burn, cut, ")
    (burn,) = [one for one in guide.cautions if one.word == "Burns"]
    assert "Hold it under cool running water for 20 minutes" in burn.text
    assert "Press a clean cloth on a wound" in burn.text


def test_no_guide_calls_anything_safe() -> None:
    for guide in GUIDES.values():
        texts = [each.text for each in guide.cautions] + [each.text for each in guide.follow_ups]
        for text in texts:
            assert "safe " not in text.replace("safety data sheet", "").lower(), text


def test_an_incident_collects_what_was_done_because_of_it() -> None:
    entries = [
        Incident(
            at=AT, incident="i1", problem="leak", tank="t1", drum="d1", volume_l=2.5,
            wasted_l=2.0, waste_drum="d2", people="Wren", done="Pump stopped", by="Wren",
        ),
        TankHeld(at=AT, tank="t1", reason="Leak", cause="incident", incident="i1"),
        DrumQuarantined(at=AT, drum="d1", reason="Leak", incident="i1"),
        IncidentStep(at=AT + timedelta(hours=1), incident="i1", step="waste", by="Wren"),
        IncidentStep(at=AT + timedelta(hours=2), incident="i1", step="waste", by="Dunlin"),
    ]  # fmt: skip
    state = fold(INCIDENT_BOOK, "i1", entries)
    assert isinstance(state, IncidentState)
    assert (state.problem, state.volume_l, state.wasted_l, state.waste_drum) == (
        "leak", 2.5, 2.0, "d2",
    )  # fmt: skip
    assert (state.held, state.quarantined) == (("t1",), ("d1",))
    assert [(step.step, step.by) for step in state.steps] == [("waste", "Dunlin")]
    assert state.step("reported") is None
    closed = IncidentClosed(at=AT, incident="i1", lead="Curlew", reason="Seal replaced")
    state = fold(INCIDENT_BOOK, "i1", [*entries, closed])
    assert (state.is_closed, state.closed_by) == (True, "Curlew")
    assert not INCIDENT_BOOK.is_open(state)
    again = IncidentReopened(at=AT, incident="i1", reason="Drips again")
    state = fold(INCIDENT_BOOK, "i1", [*entries, closed, again])
    assert not state.is_closed
    assert state.step("waste") is None
    assert (state.step_before("waste") or entries[0]).by == "Dunlin"
    twice = [*entries, closed, again, replace(entries[-1], by="Wren"), closed, again]
    state = fold(INCIDENT_BOOK, "i1", twice)
    assert (state.steps, [one.by for one in state.before]) == ((), ["Wren"])


def test_a_wrong_solvent_was_poured_into_something() -> None:
    problem = Incident(at=AT, incident="i1", problem="wrong_solvent")
    assert [error.field for error in problem.problems()] == ["tank"]
    assert not Incident(at=AT, incident="i1", problem="wrong_solvent", drum="d1").problems()


def test_waste_is_somewhere_and_so_much() -> None:
    lost = Incident(at=AT, incident="i1", problem="spill", wasted_l=1.0)
    assert [error.field for error in lost.problems()] == ["waste_drum"]
    unmeasured = Incident(at=AT, incident="i1", problem="spill", waste_drum="d1")
    assert [error.field for error in unmeasured.problems()] == ["wasted_l"]

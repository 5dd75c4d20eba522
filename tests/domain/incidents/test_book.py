"""An incident keeps all that was said of it, field by field."""

from datetime import UTC, datetime, timedelta

from app.domain.incidents.book import INCIDENT_BOOK, IncidentState, StepDone
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import (
    Incident,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
    StationHeld,
    TankHeld,
)
from app.domain.roomlog.kinds.waste import DrumMoved, DrumQuarantined
from app.domain.things import fold

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def after(minutes: int) -> datetime:
    return AT + timedelta(minutes=minutes)


REPORTED = Incident(
    at=AT, id="i", incident="i1", problem="leak", by="Wren", tank="t1", station="s1", drum="d1",
    pickup="p1", volume_l=3.0, solvent="isopropanol", lot="L7", people="Dunlin", wasted_l=2.0,
    waste_drum="d2", done="Pads down", note="By the door",
)  # fmt: skip
AS_REPORTED = IncidentState(
    "i1", problem="leak", at=AT, by="Wren", tank="t1", station="s1", drum="d1", pickup="p1",
    volume_l=3.0, solvent="isopropanol", lot="L7", people="Dunlin", done="Pads down",
    note="By the door", wasted_l=2.0, waste_drum="d2",
)  # fmt: skip
HELD: list[Entry] = [
    TankHeld(at=after(1), tank="t1", reason="Leak", cause="incident", incident="i1"),
    TankHeld(at=after(1), tank="t2", reason="Leak", cause="incident", incident="i1"),
    TankHeld(at=after(2), tank="t1", reason="Leak", cause="incident", incident="i1"),
    StationHeld(at=after(1), station="s2", reason="Leak", cause="incident", incident="i1"),
    StationHeld(at=after(1), station="s1", reason="Leak", cause="incident", incident="i1"),
    DrumQuarantined(at=after(1), drum="d2", reason="Leak", incident="i1"),
    DrumQuarantined(at=after(2), drum="d1", reason="Leak", incident="i1"),
]


def step(minutes: int, key: str, **more: object) -> IncidentStep:
    values = {"id": f"{key}-{minutes}", "by": "Wren", **more}
    return IncidentStep(at=after(minutes), incident="i1", step=key, **values)  # type: ignore[arg-type]


def test_a_report_keeps_every_word() -> None:
    assert fold(INCIDENT_BOOK, "i1", [REPORTED]) == AS_REPORTED
    bare = Incident(at=AT, incident="i1", problem="spill")
    assert fold(INCIDENT_BOOK, "i1", [bare]) == IncidentState("i1", problem="spill", at=AT)


def test_what_it_put_out_of_use_is_named_once_in_its_order() -> None:
    state = fold(INCIDENT_BOOK, "i1", [REPORTED, *HELD])
    assert (state.held, state.stations) == (("t1", "t2"), ("s2", "s1"))
    assert state.quarantined == ("d2", "d1")


def test_a_follow_up_that_is_settled_again_counts_as_last_said() -> None:
    first = step(3, "absorbed", note="Half of it")
    skipped = step(4, "reported", by="Lee", not_needed=True, note="Too little")
    again = step(5, "absorbed", by="Dunlin")
    state = fold(INCIDENT_BOOK, "i1", [REPORTED, first, skipped, again])
    assert state.steps == (
        StepDone("reported", after(4), "Lee", "Too little", True, "reported-4"),
        StepDone("absorbed", after(5), "Dunlin", "", False, "absorbed-5"),
    )
    assert state.step("absorbed") == state.steps[1]
    assert (state.step("cause"), state.step_before("absorbed")) == (None, None)


def test_a_close_says_by_whom_when_and_with_what_found() -> None:
    closed = IncidentClosed(at=after(9), incident="i1", lead="Plover", reason="Seal replaced")
    state = fold(INCIDENT_BOOK, "i1", [REPORTED, closed])
    assert (state.is_closed, state.closed_at) == (True, after(9))
    assert (state.closed_by, state.outcome) == ("Plover", "Seal replaced")
    assert not INCIDENT_BOOK.is_open(state)
    assert INCIDENT_BOOK.is_open(fold(INCIDENT_BOOK, "i1", [REPORTED]))


def test_opened_again_every_follow_up_is_to_do_and_the_last_word_before_is_kept() -> None:
    told: list[Entry] = [
        REPORTED, step(3, "absorbed", note="First"), step(4, "cause"),
        IncidentClosed(at=after(9), incident="i1", lead="Plover", reason="Seal replaced"),
        IncidentReopened(at=after(20), incident="i1", reason="It drips again"),
    ]  # fmt: skip
    state = fold(INCIDENT_BOOK, "i1", told)
    assert (state.is_closed, state.closed_at, state.closed_by) == (False, None, "")
    assert state.steps == ()
    assert [one.step for one in state.before] == ["absorbed", "cause"]
    told += [
        step(21, "absorbed", note="Second"),
        IncidentClosed(at=after(30), incident="i1", lead="Plover", reason="Again"),
        IncidentReopened(at=after(40), incident="i1", reason="Still"),
    ]
    state = fold(INCIDENT_BOOK, "i1", told)
    assert [(one.step, one.note) for one in state.before] == [("cause", ""), ("absorbed", "Second")]
    assert state.step_before("absorbed") == StepDone(
        "absorbed", after(21), "Wren", "Second", False, "absorbed-21"
    )
    assert state.step_before("cause") is not None
    assert state.step_before("reported") is None


def test_what_is_no_word_of_an_incident_changes_nothing() -> None:
    moved = DrumMoved(at=after(1), drum="d1", area="central")
    assert fold(INCIDENT_BOOK, "i1", [REPORTED, moved]) == AS_REPORTED

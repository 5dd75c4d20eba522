"""A finding that nobody has dealt with stops refit and refill, on a page and for programs."""

from dataclasses import replace

import pytest
from sqlmodel import Session

from app.domain.checklists.filling import level_l, marks_of, target_l
from app.domain.checklists.tank_contents import standing
from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.checklists import StepDone, StepOverruled
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.waste import Drum
from app.services.acts.swaps import swapping
from app.services.acts.swaps.ticking import Doubtful
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.swaps.inspected import shut_before
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.services.swaps.led import Run, entries, room_id, state_of

SEAL = [{"component": "t1-seal", "part": "shaft_seal", "name": "Shaft seal"}]


def weeping(run: Run) -> None:
    """The seal is looked at in this swap: it weeps, replace it. Signed, nothing was fitted."""
    at = run.hand().at
    record(
        run.store, ROOM,
        [
            Component(at=START, component="t1-seal", part="shaft_seal", name="Shaft seal",
                      tank="t1"),
            InspectionStarted(at=at, inspection="i1", tank="t1", positions=SEAL, swap=run.key),
            InspectionAnswered(at=at, by="Wren", inspection="i1", component="t1-seal",
                               answers={"seal_weeps": "yes"}, verdict="replace"),
            InspectionClosed(at=at, by="Wren", inspection="i1"),
        ],
        NOW,
    )  # fmt: skip


def drained(store: Store) -> Run:
    run = Run(store)
    run.until_drained()
    return run


def test_a_part_to_replace_stops_refit_and_refill_until_it_is_replaced(store: Store) -> None:
    run = drained(store)
    weeping(run)
    run.tick("inspect")
    run.tick("wipe")
    assert "Replace first: Shaft seal" in run.refused("refit")["gate"]
    fitted = ComponentReplaced(at=run.hand().at, component="t1-seal", because="finding")
    record(store, ROOM, [fitted], NOW)
    run.tick("refit")
    run.tick("fill", filled_l=39.0)


def test_a_lead_lets_a_part_pass_with_a_reason_and_the_refill_with_it(store: Store) -> None:
    run = drained(store)
    weeping(run)
    run.tick("inspect")
    with pytest.raises(FieldErrors):
        run.lead("refit", "part", reason=" ")
    with pytest.raises(FieldErrors):
        run.lead("refit", "part", by="Wren")
    run.lead("refit", "part", reason="Seal comes on Thursday, tank is watched")
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0)


def test_a_later_finding_is_not_passed_by_an_earlier_word(store: Store) -> None:
    run = drained(store)
    run.tick("inspect")
    run.lead("refit", "part", reason="Nothing to replace yet")
    weeping(run)
    assert "Replace first" in run.refused("refit")["gate"]


@pytest.mark.parametrize("gate", ["part", "inspection"])
def test_a_word_from_before_a_finding_was_known_passes_nothing_however_early_its_time(
    store: Store, gate: str
) -> None:
    """Entered late, for ten minutes before the lead's word: the lead knew nothing of it."""
    run = drained(store)
    run.tick("inspect")
    run.tick("wipe")
    early = run.hand().at
    seal = Component(at=START, component="t1-seal", part="shaft_seal", name="Shaft seal", tank="t1")
    record(store, ROOM, [seal], NOW)
    run.lead("refit" if gate == "part" else "fill", gate, reason="Nothing found so far")
    verdict = {"part": "replace", "inspection": "take_out_of_service"}[gate]
    found = [
        InspectionStarted(at=early, inspection="i1", tank="t1", positions=SEAL, swap=run.key),
        InspectionAnswered(at=early, by="Wren", inspection="i1", component="t1-seal",
                           answers={"seal_weeps": "yes"}, verdict=verdict),
        InspectionClosed(at=early, by="Wren", inspection="i1"),
    ]  # fmt: skip
    held = TankHeld(at=early, tank="t1", reason="Seal weeps", cause="inspection", inspection="i1")
    record(store, ROOM, [*found, *([held] if gate == "inspection" else [])], NOW)
    if gate == "part":
        assert "Replace first" in run.refused("refit")["gate"]
        return
    with Session(store.reader) as session:
        fill = run.state.step("fill")
        assert fill is not None
        shut = shut_before(session, room_id(store), run.state, fill)
    assert any("Seal weeps" in one.message for one in shut)


@pytest.mark.parametrize(
    "anew, stands",
    [
        ({"note": "Seen by two"}, True),
        ({"by": "Wren Low"}, True),
        ({"reason": "Seal burst"}, False),
    ],
    ids=["note", "name", "reason"],
)
def test_a_word_stays_when_a_note_of_the_finding_is_put_right_and_not_when_its_reason_is(
    store: Store, anew: dict[str, str], stands: bool
) -> None:
    """Whoever read that the seal weeps said nothing of one that burst."""
    run = drained(store)
    run.tick("inspect")
    run.tick("wipe")
    held = TankHeld(at=run.hand().at, id="h1", by="Wren", tank="t1", reason="Seal weeps",
                    cause="inspection", inspection="i1")  # fmt: skip
    record(store, ROOM, [held], NOW)
    word = StepOverruled(at=run.hand().at, by="Curlew", second="Dunlin", swap=run.key, step="fill",
                         gate="inspection", reason="It drips into a tray")  # fmt: skip
    record(store, ROOM, [word], NOW)
    record(store, ROOM, [replace(held, id="h2", corrects="h1", **anew)], NOW)
    record(store, ROOM, [replace(held, id="h3", corrects="h2", **anew)], NOW)
    with Session(store.reader) as session:
        fill = run.state.step("fill")
        assert fill is not None
        shut = shut_before(session, room_id(store), run.state, fill)
    assert any("Seal" in one.message for one in shut) is not stands


def test_a_program_meets_the_same_gate(store: Store) -> None:
    run = drained(store)
    weeping(run)
    run.tick("inspect")
    tick = StepDone(at=run.hand().at, by="Wren", swap=run.key, step="refit")
    with pytest.raises(FieldErrors) as caught:
        enter(store, ROOM, [tick], NOW)
    assert "Replace first: Shaft seal" in caught.value.by_field()["step"]


def test_a_damaged_sensor_opens_a_look_that_stops_the_refill(store: Store) -> None:
    run = drained(store)
    run.tick("inspect")
    run.tick("sensor", sensor_state="damaged")
    [begun] = entries(store, "inspection_started")
    assert begun
    assert state_of(store, "component", "t1-sensor").name == "Sensor"
    refused = run.refused("refit")["gate"]
    assert "begun but is not signed" in refused
    swapping.undo(store, ROOM, run.key, "sensor", run.hand(), NOW)
    assert entries(store, "inspection_started") == [begun]
    run.lead("refit", "inspection", reason="Sensor taken out, read by hand")
    run.tick("wipe")
    run.tick("refit")


def test_an_open_look_at_the_other_tank_of_a_pair_takes_no_sensor_in(store: Store) -> None:
    run = Run(store, "dirty", "clean")
    run.until_drained()
    run.tick("inspect")
    lid = {"component": "lid", "part": "lid_seal", "name": "Lid"}
    other = InspectionStarted(at=run.hand().at, inspection="i1", tank="clean", positions=[lid])
    record(store, ROOM, [other], NOW)
    run.tick("sensor", sensor_state="damaged")
    assert len(entries(store, "inspection_started")) == 2


@pytest.mark.parametrize(
    "look, part", [("full", "sensor"), ("empty", "drain"), ("empty", "sensor")]
)
def test_an_open_look_takes_the_sensor_in_only_where_it_asks_about_it(
    store: Store, look: str, part: str
) -> None:
    record(store, ROOM, [
        Component(at=START, component="probe", part="sensor", name="Probe", tank="t1"),
        Component(at=START, component="tap", part="drain", name="Tap", tank="t1"),
    ], NOW)  # fmt: skip
    run = drained(store)
    run.lead("inspect", "inspection", reason="Dark")
    run.tick("inspect")
    key = {"sensor": "probe", "drain": "tap"}[part]
    place = {"component": key, "part": part, "name": part}
    begun = InspectionStarted(at=run.hand().at, inspection="i1", tank="t1", look=look,
                              positions=[place])  # fmt: skip
    record(store, ROOM, [begun], NOW)
    begun_before = entries(store, "inspection_started")
    if (look, part) == ("empty", "sensor"):
        run.tick("sensor", sensor_state="damaged")
        assert entries(store, "inspection_started") == begun_before
        return
    assert "does not ask about the sensor" in run.refused("sensor", sensor_state="damaged")[
        "sensor_state"
    ]  # fmt: skip
    said = {"answers": {"sensor_state": "damaged"}, "swap": run.key, "step": "sensor"}
    with pytest.raises(FieldErrors) as caught:
        enter(store, ROOM, [StepDone(at=run.hand().at, by="Wren", **said)], NOW)  # type: ignore[arg-type]
    assert "does not ask about the sensor" in caught.value.by_field()["step"]


def test_a_program_that_finds_the_sensor_damaged_opens_its_look(store: Store) -> None:
    run = drained(store)
    run.tick("inspect")
    said = StepDone(at=run.hand().at, by="Wren", swap=run.key, step="sensor",
                    answers={"sensor_state": "damaged"})  # fmt: skip
    enter(store, ROOM, [said], NOW)
    assert len(entries(store, "inspection_started")) == 1
    assert "begun but is not signed" in run.refused("refit")["gate"]


@pytest.mark.parametrize("state", ["clean", "film stays"])
def test_a_sensor_that_is_not_damaged_opens_nothing(store: Store, state: str) -> None:
    run = drained(store)
    run.tick("inspect")
    run.tick("sensor", sensor_state=state)
    assert entries(store, "inspection_started") == []
    run.tick("wipe")
    run.tick("refit")


def test_the_look_takes_the_tank_s_own_sensor(store: Store) -> None:
    own = Component(at=START, component="probe", part="sensor", name="Probe", tank="t1")
    record(store, ROOM, [own], NOW)
    run = drained(store)
    run.lead("inspect", "inspection", reason="Dark")
    run.tick("inspect")
    run.tick("sensor", sensor_state="damaged")
    assert state_of(store, "component", "t1-sensor") is None
    assert entries(store, "inspection_started")


def test_a_swap_that_stood_still_for_long_is_asked_about_before_the_fill(store: Store) -> None:
    run = drained(store)
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    run.minute += 125
    with pytest.raises(Doubtful, match="Nothing has been ticked since"):
        run.tick("fill", filled_l=38.0)
    run.minute -= 10
    run.tick("fill", filled_l=38.0)


def test_far_less_drained_than_was_there_wants_what_is_left(store: Store) -> None:
    run = Run(store)
    run.tick("protect")
    run.tick("isolate")
    run.tick("choose_drum", drum="d1")
    run.tick("bond")
    assert "Enter what is left" in run.refused("drain", drained_l=15.0)["heel_l"]
    run.tick("drain", drained_l=15.0, heel_l=22.0)
    assert run.state.tick("drain") is not None


def bonded(store: Store, *pair: str) -> Run:
    run = Run(store, *pair)
    for step in ("protect", "isolate"):
        run.tick(step)
    run.tick("choose_drum", drum="d1")
    run.tick("bond")
    return run


def test_what_is_missing_at_the_drain_is_asked_while_somebody_can_look(store: Store) -> None:
    """The close accepts a loss of 5 % of the tank, 2 L, without a word. What is short of that is
    asked for at the drain, where it stands in the tank or in a second drum."""
    run = bonded(store)
    bath_l = run.state.estimated_l
    short_l = round(bath_l - 0.8 - 2.0 - 0.05, 2)  # the usual heel, the tolerance, and a bit
    assert "Enter what is left" in run.refused("drain", drained_l=short_l)["heel_l"]
    run.tick("drain", drained_l=round(short_l + 0.1, 2))
    swapping.undo(store, ROOM, run.key, "drain", run.hand(), NOW)
    run.tick("drain", drained_l=short_l, heel_l=0)  # somebody looked: a loss, the close asks why
    assert run.state.tick("drain") is not None


def test_what_is_left_in_the_clean_tank_is_asked_and_stands_there(store: Store) -> None:
    """A part of the clean bath that was not moved is neither lost nor forgotten at the fill."""
    run = bonded(store, "dirty", "clean")
    run.look("drain")
    run.tick("drain", drained_l=39.0)
    for step in ("inspect", "wipe", "refit", "isolate_clean"):
        run.tick(step)
    assert "Enter what is left" in run.refused("move_clean", moved_l=31.0)["heel_l"]
    assert "never held more" in run.refused("move_clean", moved_l=31.0, heel_l=12.0)["heel_l"]
    run.tick("move_clean", moved_l=31.0, heel_l=8.5)
    left = standing(run.state, "clean", 2.0)
    assert left is not None
    assert (left.litres, left.is_seen) == (8.5, True)
    run.tick("clean_tank")
    run.tick("refit_clean")
    assert "above the upper mark" in run.refused("fill", filled_l=38.0, lot="ipa|A7")["filled_l"]
    assert target_l(run.state, 2.0) == pytest.approx(level_l(*marks_of(run.state)) - 8.5)


def leaking(run: Run) -> None:
    """Before the drain the seal drips: out of service. Signed; the tank is held."""
    at = run.hand().at
    record(
        run.store, ROOM,
        [
            Component(at=START, component="t1-seal", part="shaft_seal", name="Shaft seal",
                      tank="t1"),
            InspectionStarted(at=at, inspection="i2", tank="t1", positions=SEAL, swap=run.key,
                              look="full"),
            InspectionAnswered(at=at, by="Wren", inspection="i2", component="t1-seal", look="full",
                               answers={"seal_drop": "yes"}, verdict="take_out_of_service"),
            TankHeld(at=at, tank="t1", reason="Shaft seal: it drips", cause="inspection",
                     inspection="i2"),
            InspectionClosed(at=at, by="Wren", inspection="i2"),
        ],
        NOW,
    )  # fmt: skip


def test_a_tank_is_not_put_together_with_a_part_that_is_out_of_service(store: Store) -> None:
    """An empty look that finds nothing does not clear what dripped while the tank was full."""
    run = drained(store)
    leaking(run)
    at = run.hand().at
    record(store, ROOM, [
        InspectionStarted(at=at, inspection="i3", tank="t1", positions=SEAL, swap=run.key),
        InspectionAnswered(at=at, by="Wren", inspection="i3", component="t1-seal",
                           answers={"seal_weeps": "no"}, verdict="serviceable"),
        InspectionClosed(at=at, by="Wren", inspection="i3"),
    ], NOW)  # fmt: skip
    run.tick("inspect")
    run.tick("wipe")
    assert "Do not refit it: Shaft seal" in run.refused("refit")["gate"]
    with pytest.raises(FieldErrors, match="Do not refit it"):
        enter(store, ROOM, [StepDone(at=run.hand().at, by="Wren", swap=run.key, step="refit")], NOW)
    new = ComponentReplaced(at=run.hand().at, component="t1-seal", because="finding",
                            inspection="i2")  # fmt: skip
    record(store, ROOM, [new], NOW)
    run.tick("refit")
    assert "forbids the refill" in run.refused("fill", filled_l=38.0)["gate"]  # till a lead's word


@pytest.mark.parametrize("tank", ["dirty", "clean"])
def test_an_earlier_word_passes_no_finding_at_either_tank_of_a_pair(
    store: Store, tank: str
) -> None:
    run = Run(store, "dirty", "clean")
    run.lead("fill", "inspection", reason="Nothing found so far")
    held = TankHeld(at=run.hand().at, tank=tank, reason="Seal weeps", cause="inspection",
                    inspection="i1")  # fmt: skip
    record(store, ROOM, [held], NOW)
    fill = run.state.step("fill")
    assert fill is not None
    with Session(store.reader) as session:
        shut = shut_before(session, room_id(store), run.state, fill)
    assert any("Seal weeps" in one.message for one in shut)


def test_a_lead_alone_lets_no_part_that_is_out_of_service_be_refitted(store: Store) -> None:
    run = drained(store)
    leaking(run)
    with pytest.raises(FieldErrors, match="second person must agree"):
        run.lead("refit", "part", reason="Blanked off, it stays shut down")


def test_another_drum_for_the_rest_needs_room_for_the_rest_alone(store: Store) -> None:
    """The bath is in a drum already: the next one takes rinses. The way to it is named."""
    run = bonded(store)
    run.look("drain")
    run.tick("drain", drained_l=39.0)
    run.tick("inspect")
    few = Drum(at=START, drum="d3", name="W-15", capacity_l=60, stream="isopropanol_resin",
               area="wash_station", volume_l=50)  # fmt: skip
    record(store, ROOM, [few], NOW)
    words = run.refused("rinse", rinse_l=20.0, lot="ipa|A7")["rinse_l"]
    assert "Undo “Choose and ready the drum”" in words
    swapping.undo(store, ROOM, run.key, "choose_drum", run.hand(), NOW)
    run.tick("choose_drum", drum="d3")
    run.tick("bond")
    run.tick("rinse", rinse_l=3.0, lot="ipa|A7")
    held = {key: state_of(store, "drum", key).volume_l for key in ("d1", "d3")}
    assert held == pytest.approx({"d1": 39.0, "d3": 53.0})

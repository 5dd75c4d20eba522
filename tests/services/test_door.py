"""The door into the room log: what is said together is held against what came before it."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import Conflict, FieldErrors
from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog import checks
from app.domain.roomlog.kinds import Entry, Resin, Withdrawal
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import Incident, IncidentClosed, IncidentStep, TankHeld
from app.domain.roomlog.kinds.inspections import Component, InspectionAnswered, InspectionStarted
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.domain.roomlog.kinds.waste import Drum, Pour
from app.services import door
from app.services.definitions import context
from app.services.refusals import RULES
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish, wash
from tests.furnished import new_store

HOUR = timedelta(hours=1)
POSITION = {"component": "c1", "part": "shaft_seal", "name": "Shaft seal"}
ANSWERS = {one.key: "yes" if one.key == "seal_leaks" else "no" for one in CONDITIONS["shaft_seal"]}


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A room with a lead, a drum for 90 L, five gloves, and an inspection under way."""
    made = new_store(tmp_path)
    furnish(made, tanks=2)
    door.bring_in(made, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        Drum(at=START, drum="d1", name="Drum 1", capacity_l=100.0, stream="isopropanol_resin",
             area="central"),
        Item(at=START, item="gloves", name="Gloves", category="protection", unit="pair"),
        StockReceived(at=START, item="gloves", quantity=5.0),
        Component(at=START, tank="t1", **POSITION),  # type: ignore[arg-type]
        InspectionStarted(at=START, inspection="n1", tank="t1", positions=[POSITION]),
    ], NOW)  # fmt: skip
    return made


def state(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, find_room(session, ROOM).id or 0, kind, key)


def pour(litres: float, **more: Any) -> Pour:
    return Pour(at=NOW, drum="d1", volume_l=litres, stream="isopropanol_resin", **more)


def use(count: float) -> StockUsed:
    return StockUsed(at=NOW, item="gloves", quantity=count, purpose="other")


def test_pours_sent_together_do_not_fill_a_drum_beyond_its_limit(store: Store) -> None:
    with pytest.raises(FieldErrors) as refused:
        door.enter(store, ROOM, [pour(60), wash(1), pour(40)], NOW)
    assert (refused.value.place, refused.value.errors[0].field) == (2, "volume_l")
    assert refused.value.errors[0].rule == "drum_over_limit"
    assert state(store, "drum", "d1").volume_l == 0
    assert len(door.enter(store, ROOM, [pour(60), wash(1), pour(30)], NOW).ids) == 3
    assert state(store, "drum", "d1").volume_l == 90


def test_what_is_used_together_is_on_the_shelf_together(store: Store) -> None:
    with pytest.raises(FieldErrors):
        door.enter(store, ROOM, [use(3), use(3)], NOW)
    door.enter(store, ROOM, [use(3), use(2)], NOW)
    assert state(store, "item", "gloves").on_hand == 0


def test_a_thing_is_set_up_and_used_in_one_go(store: Store) -> None:
    masks = Item(
        at=NOW, item="masks", name="Masks", category="protection", unit="piece", by="Curlew"
    )
    came = StockReceived(at=NOW, item="masks", quantity=4.0)
    taken = StockUsed(at=NOW, item="masks", quantity=4.0, purpose="other")
    door.enter(store, ROOM, [masks, came, use(1), taken], NOW)
    assert state(store, "item", "masks").on_hand == 0


def test_a_withdrawal_sent_along_counts_for_what_follows(store: Store) -> None:
    held = TankHeld(at=NOW - HOUR, id="h", tank="t1", reason="Leaks", cause="lead", by="Wren")
    door.enter(store, ROOM, [held], NOW)
    back = Withdrawal(at=NOW, by="Wren", withdraws="h")
    assert len(door.enter(store, ROOM, [back, wash(0.001)], NOW).ids) == 2


def test_a_tank_is_not_washed_in_by_the_entry_behind_its_hold(store: Store) -> None:
    held = TankHeld(at=NOW - HOUR, by="Wren", tank="t1", reason="Leaks", cause="lead")
    with pytest.raises(FieldErrors):
        door.enter(store, ROOM, [held, wash(0.001)], NOW)
    assert state(store, "hold", "t1") is None
    assert len(door.enter(store, ROOM, [wash(0.001), held], NOW).ids) == 2


def test_a_finding_is_taken_with_the_hold_before_it_and_not_without(store: Store) -> None:
    said = InspectionAnswered(at=NOW, inspection="n1", component="c1", answers=ANSWERS)
    with pytest.raises(FieldErrors, match="Send a tank_held"):
        door.enter(store, ROOM, [said], NOW)
    held = TankHeld(
        at=NOW, tank="t1", reason="Shaft seal: It leaks", cause="inspection", inspection="n1"
    )
    assert len(door.enter(store, ROOM, [held, said], NOW).ids) == 2


def test_an_answer_that_holds_a_tank_is_not_withdrawn_past_its_hold(store: Store) -> None:
    said = InspectionAnswered(at=NOW, id="a", inspection="n1", component="c1", answers=ANSWERS)
    held = TankHeld(at=NOW, tank="t1", reason="Leaks", cause="inspection", inspection="n1")
    door.bring_in(store, ROOM, [held, said], NOW)
    with pytest.raises(Conflict, match="on the part's page"):
        door.enter(store, ROOM, [Withdrawal(at=NOW, by="Wren", withdraws="a")], NOW)
    assert state(store, "inspection", "n1").looks[0].verdict


def test_a_log_that_is_brought_in_is_refused_by_no_rule(store: Store) -> None:
    door.bring_in(store, ROOM, [pour(60), pour(60)], NOW)
    assert state(store, "drum", "d1").flags == ("over_capacity",)


@pytest.mark.parametrize(
    "entry, rule, field",
    [
        (IncidentClosed(at=NOW, incident="i1", lead="Wren", reason="Fine"),
         "problems and their follow-ups", "lead"),
        (IncidentStep(at=NOW, incident="i1", step="no-such-step"),
         "problems and their follow-ups", "step"),
        (DutyDone(at=NOW, duty="no-such-duty", outcome="in_order"), "duties", "duty"),
        (PriceList(at=NOW, prices="prices", currency="EUR"), "a room keeps its currency",
         "currency"),
    ],
)  # fmt: skip
def test_what_a_page_refuses_a_program_is_refused_as_well(
    store: Store, entry: Entry, rule: str, field: str
) -> None:
    known = [
        Incident(at=START, incident="i1", problem="spill", tank="t1"),
        PriceList(at=START, prices="prices", currency="USD"),
    ]
    door.bring_in(store, ROOM, known, NOW)
    with pytest.raises(FieldErrors) as refused:
        door.enter(store, ROOM, [entry], NOW)
    assert {(one.rule, one.field) for one in refused.value.errors} >= {(rule, field)}


def test_each_rule_has_a_name_of_its_own() -> None:
    rules = {id(rule): rule for rule in RULES.values()}.values()
    names = [rule.name for rule in rules]
    assert all(names)
    assert len(set(names)) == len(names)


def test_a_room_gets_no_more_resins_than_it_can_follow(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One after the other or at once, entered or brought in; a new word on one of them is none."""
    with Session(store.reader) as session:
        known = context(session, find_room(session, ROOM).id or 0).resins
    monkeypatch.setattr(checks, "MOST_RESINS", len(known) + 2)
    new = [Resin(at=NOW, resin=f"r{n}", name=f"R {n}", density_g_ml=1.1) for n in range(3)]
    for way in (door.enter, door.bring_in):
        with pytest.raises(FieldErrors) as refused:
            way(store, ROOM, new, NOW)
        assert (refused.value.place, refused.value.errors[0].field) == (2, "name")
    door.enter(store, ROOM, new[:2], NOW)
    with pytest.raises(FieldErrors):
        door.enter(store, ROOM, new[2:], NOW)
    door.enter(store, ROOM, [replace(new[0], name="R 0 grey")], NOW)

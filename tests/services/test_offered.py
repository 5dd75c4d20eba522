"""What is offered is possible, what is unlikely is asked, and one fault is said once."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.errors import Doubtful
from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import StationHeld
from app.domain.roomlog.kinds.inspections import Component, ComponentReplaced
from app.domain.roomlog.kinds.waste import Drum, DrumChanged
from app.services import harm
from app.services.door import bring_in, enter
from app.services.refusals import problems_of
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.services.swaps.led import Run, swap_store
from tests.services.waste_room import drum, pour, refused, state, waste_room
from tests.visiting import visiting

HOUR_AGO = NOW - timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    found = waste_room(tmp_path)
    yield found
    found.close()


def test_a_lead_lets_a_small_drum_be_chosen_and_nowhere_overfilled(tmp_path: Path) -> None:
    store = swap_store(tmp_path)
    run = Run(store)
    for step in ("prepare", "protect", "isolate"):
        run.tick(step)
    small = Drum(at=START, drum="d3", name="W-15", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station", volume_l=30)  # fmt: skip
    bring_in(store, ROOM, [small], NOW)
    run.lead("choose_drum", "drum_room", reason="Shared with W-14")
    run.tick("choose_drum", drum="d3")
    run.tick("bond")
    for step in ("drain", "rinse"):
        with pytest.raises(Exception, match="changes nothing"):
            run.lead(step, "drum_room")
    with pytest.raises(Exception, match="changes nothing"):
        run.lead("drain", "lot", about="ipa|OLD")
    assert "room for 24" in run.refused("drain", drained_l=28.0)["drained_l"]
    run.tick("drain", drained_l=39.0, drum_2="d2", drum_2_l=16.0)
    store.close()


def test_an_overfull_drum_is_set_up_only_once_somebody_has_answered(store: Store) -> None:
    """Isopropanol filled at 20 C and warmed to 55 C expands by 3.9 % (49 CFR 173.24a(d))."""
    full = drum("d9", capacity_l=200.0, fill_limit_percent=98.0, volume_l=195.0)
    with pytest.raises(Doubtful, match="bursts the drum") as asked:
        enter(store, ROOM, [full], NOW)
    assert [doubt.name for doubt in asked.value.doubts] == ["drum_overfull"]
    enter(store, ROOM, [drum("d8", capacity_l=200.0, volume_l=180.0)], NOW)
    enter(store, ROOM, [full], NOW, confirmed=["drum_overfull"])
    assert state(store, "d9").volume_l == 195.0


def test_a_drum_that_becomes_overfull_by_a_smaller_size_is_asked_about(store: Store) -> None:
    enter(store, ROOM, [drum("d8", capacity_l=200.0, volume_l=100.0)], NOW)
    smaller = DrumChanged(at=NOW, drum="d8", capacity_l=101.0)
    with pytest.raises(Doubtful, match="bursts the drum"):
        enter(store, ROOM, [smaller], NOW)
    enter(store, ROOM, [DrumChanged(at=NOW, drum="d8", name="Blue")], NOW)


def test_a_bin_for_wipes_takes_nothing_out_of_a_tank_whatever_the_scale_says(
    store: Store,
) -> None:
    """28 kg booked as 40 L has the density of damp wipes, and may be a bath all the same."""
    bring_in(store, ROOM, [drum("w1", stream="wipes", capacity_l=60.0)], NOW)
    light = {"mass_before_kg": 10.0, "mass_after_kg": 38.0}
    assert "takes nothing from a tank" in refused(
        store, pour(1, 40.0, "w1", tank="t1", **light)
    )["tank"]  # fmt: skip
    enter(store, ROOM, [pour(1, 40.0, "w1", **light)], NOW)


@pytest.fixture
def curing(tmp_path: Path) -> Iterator[TestClient]:
    """A room with a curing station, a month old, and nothing looked at since."""
    with visiting(tmp_path, [
        Station(at=START, station="n", name="North", source="led", wavelength_nm=405.0,
                layout="centre", new_mw_cm2=20.0, longest_minutes=30.0),
        Irradiance(at=START + timedelta(days=1), station="n", centre_mw_cm2=20.0),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0, dry_minutes=0.0),
    ]) as client:  # fmt: skip
        yield client


def rules_at_a_cure(client: TestClient) -> list[str]:
    store = client.app.state.store  # type: ignore[attr-defined]
    cure = Cure(at=NOW, station="n", resin="slate", parts=3, minutes=1.0)
    with Session(store.reader) as session:
        return [one.rule for one in problems_of(session, find_room(session, ROOM), cure, NOW)]


def asked_at_a_cure(client: TestClient) -> dict[str, str]:
    """The questions about a cure, by the fault that each is of."""
    store = client.app.state.store  # type: ignore[attr-defined]
    cure = Cure(at=NOW, station="n", resin="slate", parts=3, minutes=1.0)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        return {one.cell.fault: one.message for one in harm.found(session, room, cure, NOW)}


def test_one_interlock_fault_is_one_refusal(curing: TestClient) -> None:
    store = curing.app.state.store  # type: ignore[attr-defined]
    found = DutyDone(at=HOUR_AGO, duty="interlock", of="n", outcome="fault",
                     note="light stays on", by="Wren")  # fmt: skip
    bring_in(store, ROOM, [found], NOW)
    assert rules_at_a_cure(curing) == ["interlock_fault"]
    assert "Do not cure here.</b> Light stays on." in curing.get(
        f"/rooms/{ROOM}/stations/n"
    ).text  # fmt: skip
    other = StationHeld(at=HOUR_AGO, station="n", cause="lead", reason="The door is bent")
    bring_in(store, ROOM, [other], NOW)
    assert sorted(rules_at_a_cure(curing)) == ["interlock_fault", "station_held"]


def test_what_is_overdue_stands_on_the_room_page(curing: TestClient) -> None:
    room, store = f"/rooms/{ROOM}", curing.app.state.store  # type: ignore[attr-defined]
    looked_at = NOW - timedelta(days=60)
    bring_in(store, ROOM, [
        DutyDone(at=looked_at, duty=duty, of=of, outcome="in_order", by="Wren")
        for duty, of in (("interlock", "n"), ("eyewash", None))
    ], NOW)  # fmt: skip
    page = curing.get(room).text
    assert "Interlock test overdue" in page
    assert "North: last " in page
    assert "Eyewash not run in time" in page
    done = DutyDone(at=HOUR_AGO, duty="interlock", of="n", outcome="in_order", by="Wren")
    bring_in(store, ROOM, [done], NOW)
    assert "Interlock test overdue" not in curing.get(room).text


def test_a_new_interlock_is_tested_before_a_cure(curing: TestClient) -> None:
    store = curing.app.state.store  # type: ignore[attr-defined]
    tested = DutyDone(at=HOUR_AGO - timedelta(hours=1), duty="interlock", of="n",
                      outcome="in_order", by="Wren")  # fmt: skip
    bring_in(store, ROOM, [
        tested,
        Component(at=START, component="di", part="door_interlock", name="Door interlock",
                  station="n"),
    ], NOW)  # fmt: skip
    assert "interlock_overdue" not in asked_at_a_cure(curing)
    new = ComponentReplaced(at=HOUR_AGO, component="di", because="finding", by="Wren")
    bring_in(store, ROOM, [new], NOW)
    assert (
        "new one fitted Mon 2 Mar, not tested since" in asked_at_a_cure(curing)["interlock_overdue"]
    )
    assert "North: new one fitted Mon 2 Mar" in curing.get(f"/rooms/{ROOM}").text
    bring_in(store, ROOM, [replace(tested, at=NOW - timedelta(minutes=5))], NOW)
    assert "interlock_overdue" not in asked_at_a_cure(curing)
    assert "new one fitted" not in curing.get(f"/rooms/{ROOM}").text


@pytest.mark.parametrize("part", ["lamp_window", "reflector"])
def test_the_light_is_measured_behind_a_new_window_or_reflector(
    curing: TestClient, part: str
) -> None:
    store = curing.app.state.store  # type: ignore[attr-defined]
    measured = Irradiance(at=HOUR_AGO - timedelta(hours=1), station="n", centre_mw_cm2=20.0)
    bring_in(store, ROOM, [
        measured, Component(at=START, component="p", part=part, name="Its part", station="n"),
    ], NOW)  # fmt: skip
    assert "light_path_new" not in asked_at_a_cure(curing)
    new = ComponentReplaced(at=HOUR_AGO, component="p", because="finding", by="Wren")
    bring_in(store, ROOM, [new], NOW)
    assert "fitted Mon 2 Mar" in asked_at_a_cure(curing)["light_path_new"]
    bring_in(store, ROOM, [replace(measured, at=NOW - timedelta(minutes=5))], NOW)
    assert "light_path_new" not in asked_at_a_cure(curing)


def test_the_answer_that_stores_nothing_comes_first(curing: TestClient) -> None:
    typed = {"name": "W-9", "stream": "isopropanol_resin", "capacity_l": "200", "area": "central",
             "fill_limit_percent": "98", "volume_l": "195"}  # fmt: skip
    answer = curing.post(f"/rooms/{ROOM}/waste/new", data=typed)
    assert answer.status_code == 422
    asked = answer.text[answer.text.index("doubt-choices") :]
    assert asked.index('value="change"') < asked.index("store it")

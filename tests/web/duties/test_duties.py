"""The due list, the month's close and the storage page, through their forms."""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import TopUp
from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import DutyDone, MonthClose
from app.domain.roomlog.kinds.incidents import StationReleased
from app.domain.roomlog.kinds.inspections import InspectionClosed, InspectionStarted
from app.domain.roomlog.kinds.instruments import InstrumentAdded
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumChecked, Pour, WasteRules
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.duties.due import resin_brought_l
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.answers import sure
from tests.factories import NOW, ROOM, START, sensor_reading, wash

AT = f"/rooms/{ROOM}"
DUTIES = f"{AT}/duties"


def state(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, find_room(session, ROOM).id or 0, kind, key)


def section(page: str, group: str) -> str:
    """The rows of the due list of one group, wherever they stand."""
    rows = page.split('<li class="duty duty-')[1:]
    return "".join(row.partition("</section>")[0] for row in rows if row.startswith(f"{group}"))


def said(duty: str, **more: str) -> dict[str, str]:
    return {"duty": duty, "of": "", "by": "Wren", **more}


def test_what_is_never_done_is_due_and_says_so(client: TestClient) -> None:
    page = client.get(DUTIES).text
    for name in (
        "Interlock of the wash cover",
        "Eyewash run",
        "Hood and extraction, simple check",
    ):
        assert name in section(page, "today")  # the room began today
    overdue = section(page, "overdue")
    assert "Reading of the bath" in overdue  # its tank began two weeks ago
    assert "No reading since the fill" in overdue


def test_what_keeps_people_safe_stands_before_what_is_further_past_its_day(
    client: TestClient,
) -> None:
    page = client.get(DUTIES).text
    first = page.split('id="g-first"')[1].split("</section>")[0]
    names = re.findall(r"<b>([^<]+)</b></a>", first)
    assert "Reading of the bath" in section(page, "overdue")
    assert len(names) == 3
    assert set(names) < {
        "Hood and extraction, simple check", "Interlock of the wash cover", "Eyewash run",
        "Spill kit", "Instruments against a known sample",
    }  # fmt: skip


def test_one_touch_marks_it_done_with_who(client: TestClient, store: Store) -> None:
    page = client.post(f"{DUTIES}/done", data=said("eyewash")).text
    assert "Eyewash run" in section(page, "week")
    assert re.search(r"Last just now,\s+Wren", page)
    done = state(store, "duty", "eyewash").last("")
    assert (done.by, done.is_fault) == ("Wren", False)
    undo = re.search(r'action="([^"]+/undo/[^"]+)"', page)
    assert undo is not None
    assert "Eyewash run" in section(client.post(undo[1]).text, "today")


def test_a_fault_stays_in_sight_until_it_is_put_right(client: TestClient) -> None:
    no_word = client.post(f"{DUTIES}/done", data=said("eyewash", fault="on"))
    assert no_word.status_code == 422
    assert "Say what was not in order." in no_word.text
    page = client.post(
        f"{DUTIES}/done", data=said("eyewash", fault="on", note="No water comes")
    ).text
    assert "No water comes" in section(page, "today")
    assert "Fault found today" in page
    assert "Eyewash not in order" in client.get(AT).text


def test_an_instrument_is_held_against_a_known_sample(client: TestClient) -> None:
    half = client.post(f"{DUTIES}/done", data=said("instrument", expected="0,7856"))
    assert "Enter both the known value and the value shown." in half.text
    assert 'value="0,7856"' in half.text
    page = client.post(
        f"{DUTIES}/done", data=said("instrument", expected="0.7856", shown="0.7861")
    ).text
    assert "0.7856 known, 0.7861 shown" in page


def test_what_the_log_proves_is_done_by_itself_and_by_nothing_else(
    client: TestClient, store: Store
) -> None:
    refused = client.post(f"{DUTIES}/done", data=said("reading", of="t1"))
    assert refused.status_code == 422
    assert "The log ticks this one off." in refused.text
    drum = {"capacity_l": 200.0, "area": "central", "stream": "isopropanol_resin"}
    record(store, ROOM, [
        sensor_reading(1, 3.0, by="Dunlin"),
        Drum(at=START, drum="d1", name="W-1", **drum),
        Pour(at=START, drum="d1", tank="t1", volume_l=20.0),
        DrumChecked(at=NOW - timedelta(days=8), drum="d1", by="Wren", lid_closed=True,
                    label_complete=True, date_visible=True, no_leak=True, aisle_free=True),
    ], NOW)  # fmt: skip
    page = client.get(DUTIES).text
    week = section(page, "week")
    assert "1 T1" in week
    assert re.search(r"Last 24 h ago,\s+Dunlin", week)
    overdue = section(page, "overdue")
    assert "Look at the drum" in overdue
    assert "1 day overdue" in overdue
    assert "Last 8 days ago, Wren" in overdue


def test_a_closed_inspection_does_the_duty_of_its_tank(client: TestClient, store: Store) -> None:
    impeller = {"component": "t1-impeller", "part": "impeller", "name": "Impeller"}
    at = NOW - timedelta(days=1)
    record(store, ROOM, [
        InspectionStarted(at=at, inspection="i1", tank="t1", positions=[impeller], by="Wren"),
        InspectionClosed(at=at + timedelta(hours=1), inspection="i1", by="Dunlin"),
    ], NOW)  # fmt: skip
    later = section(client.get(DUTIES).text, "later")
    assert f'href="{AT}/tanks/t1/inspection"' in later
    assert "In 90 days" in later
    assert "Last 23 h ago, Dunlin" in later
    assert "Never done here" in later  # the other tank, an interval after it came into use


def test_training_is_due_for_each_person(client: TestClient, store: Store) -> None:
    assert "nobody has been entered with a role yet" in client.get(DUTIES).text
    record(store, ROOM, [CrewMember(at=START, crew="crew", name="Dunlin", role="technician")], NOW)
    assert "Dunlin" in section(client.get(DUTIES).text, "today")
    page = client.post(f"{DUTIES}/done", data=said("training", of="Dunlin")).text
    assert "Dunlin" in section(page, "later")
    assert client.post(f"{DUTIES}/done", data=said("training", of="Nobody")).status_code == 422


def test_the_count_of_overdue_stands_in_the_menu_of_the_room(
    client: TestClient, store: Store
) -> None:
    assert "2 overdue" in client.get(AT).text  # two tanks never read
    record(store, ROOM, [sensor_reading(1, 3.0, tank=tank) for tank in ("t1", "t2")], NOW)
    page = client.get(AT).text
    assert "overdue</span>" not in page


def test_the_site_sets_an_interval_and_adds_a_duty(client: TestClient, store: Store) -> None:
    changed = {"name": "Interlocks", "how": "As posted", "every_days": "1", "grace_days": "0"}
    assert client.post(f"{DUTIES}/interlock", data=changed).status_code == 200
    assert state(store, "duty", "interlock").every_days == 1
    page = client.get(f"{DUTIES}/settings").text
    assert "set by the site" in page
    own = {"name": "Glove stock", "subject": "room", "every_days": "14", "grace_days": "2"}
    assert "Glove stock" in client.post(f"{DUTIES}/settings", data=own).text
    assert "Glove stock" in client.get(DUTIES).text
    bad = client.post(f"{DUTIES}/settings", data={**own, "name": "Masks", "every_days": "0"})
    assert bad.status_code == 422
    assert 'value="Masks"' in bad.text
    assert client.post(f"{DUTIES}/settings", data={**own, "name": ""}).status_code == 422


def test_a_duty_is_stopped_with_a_reason_that_stays_to_be_seen(client: TestClient) -> None:
    form = {"name": "Eyewash run", "is_stopped": "on"}
    assert "Say why" in client.post(f"{DUTIES}/eyewash", data=form).text
    client.post(f"{DUTIES}/eyewash", data={**form, "reason": "Landlord does it"})
    page = client.get(DUTIES).text
    assert "Landlord does it" in page
    assert "Eyewash run" not in section(page, "today")
    assert client.get(f"{DUTIES}/nothing").status_code == 404


CLOSE = f"{AT}/tanks/t1/month-close"


def test_a_month_is_closed_from_line_to_line(client: TestClient, store: Store) -> None:
    missing = client.post(CLOSE, data={"by": "Wren"})
    assert missing.status_code == 422
    assert "Fill the bath to its line first" in missing.text
    at = NOW - timedelta(days=10)
    record(store, ROOM, [
        MonthClose(at=at, tank="t1", is_at_line=True, by="Wren"),
        TopUp(at=NOW - timedelta(days=5), tank="t1", volume_l=2.0),
        TopUp(at=NOW - timedelta(days=1), tank="t1", volume_l=1.5, to_mark=True),
    ], NOW)  # fmt: skip
    page = client.get(CLOSE).text
    assert 'value="3.5"' in page
    negative = client.post(CLOSE, data={"is_at_line": "on", "added_l": "3.5", "removed_l": "4"})
    assert negative.status_code == 422
    assert "an addition is missing from the log" in negative.text
    done = client.post(
        CLOSE, data={"is_at_line": "on", "added_l": "3.5", "removed_l": "1", "solids_l": "0.25"}
    )
    assert done.status_code == 200
    assert "2.25 L" in done.text
    assert state(store, "month_close", "t1").last.loss_l == pytest.approx(2.25)
    assert "Close the month" not in section(client.get(DUTIES).text, "overdue").split("T2")[0]


def test_the_months_loss_is_free_of_the_resin_brought_in(client: TestClient, store: Store) -> None:
    # Balance of the solvent alone: what parts brought in (grams by the course) lies where solvent
    # did; 30 washes of 3,000 cm2 at some 0.02 g/cm2 are about 1.5 L of resin.
    start, end = NOW - timedelta(days=10), NOW - timedelta(days=1)
    washes = [wash(9 - i / 4, area_cm2=3000.0) for i in range(30)]
    close = MonthClose(at=end, tank="t1", is_at_line=True, added_l=3.5, removed_l=0.0, solids_l=0.0)
    record(store, ROOM, [MonthClose(at=start, tank="t1", is_at_line=True), *washes, close], NOW)
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        brought_l = resin_brought_l(session, room_id, "t1", (start, end), 1.1)
        nothing_l = resin_brought_l(session, room_id, "t1", (end, NOW), 1.1)
    assert 0.8 < brought_l < 3.0
    assert nothing_l == 0.0
    shown = re.findall(r"<b>([\d.]+) L</b>", client.get(CLOSE).text)
    assert [float(litres) for litres in shown] == [pytest.approx(3.5 + brought_l, abs=0.06)]


def test_the_first_close_asks_for_no_volumes(client: TestClient, store: Store) -> None:
    assert "This is the first close here" in client.get(CLOSE).text
    assert "This is the start" in client.post(CLOSE, data={"is_at_line": "on"}).text
    assert state(store, "month_close", "t1").last.loss_l is None


STORAGE = f"{AT}/storage"
VAPOUR = {
    "solvent": "isopropanol", "case": "spill", "volume_l": "1", "area_m2": "", "air_m_s": "0.25",
    "temperature_c": "20", "room_volume_m3": "60", "air_changes_per_hour": "6", "mixing": "1",
}  # fmt: skip


def test_baths_shelf_and_waste_count_together(client: TestClient, store: Store) -> None:
    assert "No limit has been entered" in client.get(STORAGE).text
    record(store, ROOM, [
        SiteRules(at=START, site="site", flammable_limit_l=150.0),
        Item(at=START, item="ipa", name="Alcohol 99", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=START, item="ipa", quantity=30.0),
        Drum(at=START, drum="d1", name="W-1", capacity_l=200.0, stream="isopropanol_resin",
             area="central"),
        Pour(at=START, drum="d1", tank="t1", volume_l=60.0),
        wash(1),
    ], NOW)  # fmt: skip
    page = client.get(STORAGE).text
    for words in ("Alcohol 99", "W-1", "1 T1", "Over the limit", "too much"):
        assert words in page


def test_a_delivery_is_asked_about_before_it_is_booked(client: TestClient, store: Store) -> None:
    assert "there is no answer" in client.get(STORAGE, params={"more_l": "20"}).text
    record(store, ROOM, [SiteRules(at=START, site="site", flammable_limit_l=100.0)], NOW)
    assert "stays within the limit" in client.get(STORAGE, params={"more_l": "10"}).text
    assert "the site allows 100 L" in client.get(STORAGE, params={"more_l": "60"}).text
    refused = client.get(STORAGE, params={"more_l": "-3"})
    assert refused.status_code == 422
    assert "must be between" in refused.text


def test_a_spill_is_estimated_as_a_caution(client: TestClient) -> None:
    page = client.get(STORAGE, params=VAPOUR).text
    # 1 L at 785.6 g in 60 m3, worked by hand: 5327 ppm.
    assert "5,327 ppm" in page or "5,326 ppm" in page
    assert "A caution, never a clearance." in page
    assert "within the flammable range" in page
    assert page.index("Leave the room now.") < page.index("evaporates at about")
    assert "Leave at 2,000 ppm" in page
    assert "safe" not in re.sub(r"safety", "", page.split("<main")[1].lower())


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"room_volume_m3": ""}, "Enter a number."),
        ({"temperature_c": "90"}, "must be between -10 and 60"),
        ({"area_m2": "0.05"}, "This pool would be 2 cm deep"),
        ({"case": "lid"}, "Enter a number."),
        ({"mixing": "0"}, "must be between 1 and 10"),
        ({"solvent": "mystery"}, "Choose one of the solvents."),
        ({"volume_l": ""}, "Enter how much was spilled."),
        ({"case": "rack"}, "Enter a number."),
        ({"case": "rack", "area_m2": "0.5"}, "This film would be 2 mm thick"),
        ({"air_m_s": "abc"}, "is not a number"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(
    client: TestClient, changes: dict[str, str], words: str
) -> None:
    answer = client.get(STORAGE, params=VAPOUR | changes)
    assert answer.status_code == 422
    assert words in answer.text


def cells(page: str) -> list[list[str]]:
    """The rows of the estimate: minutes, room, head over it, share of the flammable limit."""
    table = page.split("at a head bent over the liquid")[1].split("</table>", maxsplit=1)[0]
    body = table.split("<tbody>")[1]
    rows = re.findall(r"<tr><th[^>]*>(.*?)</th>(.*?)</tr>", body)
    return [[first, *re.findall(r"<td>(.*?)</td>", rest)] for first, rest in rows]


def test_a_head_over_the_bath_breathes_more_than_the_room(client: TestClient) -> None:
    """142 g/h of 2-propanol into 60 m3 at 6 changes: 160.5 ppm in the room, and 81.8 ppm more in
    a half ball of 0.5 m through which 0.196 m3/s pass (G/beta), worked by hand."""
    page = client.get(STORAGE, params=VAPOUR | {"case": "lid", "area_m2": "0.25"}).text
    assert [row[0] for row in cells(page)] == ["1 min", "5 min", "15 min", "60 min", "240 min"]
    assert cells(page)[-1][1:3] in (["160", "242"], ["161", "242"], ["160", "243"], ["161", "243"])


def test_parts_on_a_rack_give_vapour_until_they_are_dry(client: TestClient) -> None:
    """0.2 m2 of parts with a film of 0.1 mm: 20 mL, 15.7 g at 113.6 g/h: dry in 8 minutes."""
    page = client.get(STORAGE, params=VAPOUR | {"case": "rack", "area_m2": "0.2", "volume_l": ""})
    assert page.status_code == 200
    assert "What is on the parts takes about 8 minutes to evaporate." in page.text
    early, late = cells(page.text)[1], cells(page.text)[2]
    assert float(early[2]) > float(early[1])
    assert late[2] == late[1]  # dry by then: the head breathes what the room holds
    assert "Leave the room now." not in page.text


def test_limits_are_those_of_the_rules_the_site_works_by(client: TestClient, store: Store) -> None:
    asked = VAPOUR | {"solvent": "dipropylene_glycol_methyl_ether", "case": "lid", "area_m2": "0.2"}
    page = client.get(STORAGE, params=asked).text
    here, elsewhere = page.split("Limits by “")[1].split("Elsewhere, for comparison")
    assert "100 ppm (NIOSH" in here
    assert "50 ppm (EH40/2005" in elsewhere
    record(store, ROOM, [
        WasteRules(at=START, waste_rules="waste_rules", rule_set="england", category="en_producer")
    ], NOW)  # fmt: skip
    page = client.get(STORAGE, params=asked).text
    here, elsewhere = page.split("Limits by “")[1].split("Elsewhere, for comparison")
    assert "50 ppm (EH40/2005" in here
    assert "NIOSH" in elsewhere
    assert "Leave at 600 ppm" in page


def test_no_limit_is_told_as_none_and_no_trace_as_nought(client: TestClient, store: Store) -> None:
    record(store, ROOM, [
        WasteRules(at=START, waste_rules="waste_rules", rule_set="europe", category="producer")
    ], NOW)  # fmt: skip
    asked = VAPOUR | {"case": "lid", "area_m2": "0.001", "room_volume_m3": "10000"}
    page = client.get(STORAGE, params=asked).text
    assert "No exposure limit is kept here" in page
    assert cells(page)[0][1] == "less than 1"
    assert cells(page)[0][3] == "less than 0.1 %"


STATION = Station(
    at=START, station="s1", name="Lamp House 1", source="led", wavelength_nm=405, layout="centre",
    new_mw_cm2=20.0,
)  # fmt: skip
FAULT = {"of": "s1", "fault": "on", "note": "Door switch sticks"}


def test_a_faulty_interlock_holds_its_station_by_the_same_entry(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [
        STATION, CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0),
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    ], NOW)  # fmt: skip
    page = client.post(f"{DUTIES}/done", data=said("interlock", **FAULT)).text
    hold = state(store, "station", "s1").hold
    assert (hold.is_held, hold.reason, hold.cause) == (True, "Door switch sticks", "guard")
    assert "Door switch sticks" in client.get(AT).text
    cure = {"station": "s1", "resin": "slate", "minutes": "0.84", "by": "Wren"}
    refused = client.post(f"{AT}/cure", data=cure)
    assert refused.status_code == 422
    undo = re.search(r'action="([^"]+/undo/[^"]+)"', page)
    assert undo is not None
    client.post(undo[1])
    assert not state(store, "station", "s1").hold.is_held


def test_a_guard_is_used_again_after_a_test_and_a_lead_s_word(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [
        STATION, CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0),
        Irradiance(at=START + timedelta(days=1), station="s1", centre_mw_cm2=20.0),
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    ], NOW - timedelta(minutes=30))  # fmt: skip
    found = DutyDone(at=NOW - timedelta(minutes=20), id="f1", duty="interlock", of="s1",
                     outcome="fault", note="Door switch sticks", by="Wren")  # fmt: skip
    enter(store, ROOM, [found], NOW - timedelta(minutes=20))
    gone = client.post(f"/api/v1/rooms/{ROOM}/entries/f1/withdrawal", json={"by": "Dunlin"})
    assert gone.status_code == 409
    cure = Cure(at=NOW, station="s1", resin="slate", minutes=0.84, by="Wren")
    enter(
        store,
        ROOM,
        [
            StationReleased(
                at=NOW - timedelta(minutes=10), station="s1", lead="Curlew", reason="New switch"
            )
        ],
        NOW,
    )
    with pytest.raises(FieldErrors) as untested:
        enter(store, ROOM, [cure], NOW)
    assert "interlock_fault" in {one.rule for one in untested.value.errors}
    done = DutyDone(at=NOW - timedelta(minutes=5), duty="interlock", of="s1", outcome="in_order")
    enter(store, ROOM, [done, cure], NOW)


def test_an_interlock_of_the_whole_room_in_an_older_log_counts_for_each_guard(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [STATION, DutyDone(at=NOW, duty="interlock", outcome="in_order")], NOW)
    page = client.get(DUTIES).text
    assert "Interlock of the cure chamber" in section(page, "week")
    assert "Interlock of the wash cover" in section(page, "week")


def test_rules_whose_review_day_passed_are_overdue_until_somebody_looked_them_up(
    client: TestClient, store: Store
) -> None:
    old = {"sqg_days": {"value": 150, "source": "Permit 7", "as_of": "2025-01-10"}}
    record(store, ROOM, [WasteRules(at=START, waste_rules="waste_rules", edits=old)], NOW)
    assert "Look the rules up again" in section(client.get(DUTIES).text, "overdue")
    assert "Look it up again" in client.get(f"{AT}/waste/rules").text
    page = client.post(f"{DUTIES}/done", data=said("rules_review")).text
    assert "Look the rules up again" in section(page, "later")
    rules = client.get(f"{AT}/waste/rules").text
    assert "Look it up again</b>" not in rules
    assert "Looked up again here" in rules


def measured(**more: str) -> dict[str, str]:
    return said("hood_measured", **more)


def test_the_speed_of_air_is_a_number_with_its_trend(client: TestClient, store: Store) -> None:
    for days, speed in ((200, 0.60), (100, 0.55)):
        at = NOW - timedelta(days=days)
        old = DutyDone(at=at, duty="hood_measured", outcome="in_order", speed_m_s=speed)
        record(store, ROOM, [old], NOW)
    page = client.post(f"{DUTIES}/done", data=measured(speed_m_s="0.48")).text
    assert "Saved." in page
    assert "0.48 m/s, before that 0.55; 20 % less than at first" in page


def test_a_speed_belongs_to_its_duty_and_an_anemometer_to_a_speed(client: TestClient) -> None:
    page = client.post(f"{DUTIES}/done", data=said("eyewash", speed_m_s="0.5"))
    assert page.status_code == 422
    assert "This duty measures no air speed." in page.text
    page = client.post(f"{DUTIES}/done", data=measured(instrument="a1"))
    assert page.status_code == 422
    assert "Enter what the anemometer shows." in page.text


def test_an_anemometer_past_its_day_is_asked_about_and_named(
    client: TestClient, store: Store
) -> None:
    day = (NOW - timedelta(days=500)).date()
    new = InstrumentAdded(at=START, instrument="a1", name="Vane", sort="anemometer",
                          calibrated_on=day, due_on=day + timedelta(days=365))  # fmt: skip
    meter = InstrumentAdded(at=START, instrument="h1", name="Float", sort="hydrometer")
    record(store, ROOM, [new, meter], NOW)
    assert "Vane" in client.get(DUTIES).text
    wrong = client.post(f"{DUTIES}/done", data=measured(speed_m_s="0.5", instrument="h1"))
    assert wrong.status_code == 422
    assert "does not show this" in wrong.text
    asked = client.post(f"{DUTIES}/done", data=measured(speed_m_s="0.5"))  # the only one is named
    assert asked.status_code == 422
    assert "Vane, due" in asked.text
    assert state(store, "duty", "hood_measured") is None
    sure(client, f"{DUTIES}/done", measured(speed_m_s="0.5", instrument="a1"))
    assert state(store, "duty", "hood_measured").speeds[-1][1] == 0.5
    assert state(store, "instrument", "a1").readings == 1

"""Curing on its pages: stations, readings, relamps, recipes, cures; and what does not fit."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import Session

from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import StationState
from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.curing import Irradiance, LampHours, Relamped, Station
from app.services import curing
from app.services.roomlog import record
from app.services.rooms import find_room
from app.store.engine import Store
from app.web.curing_words import NO_BREAK, hours
from tests.factories import NOW, ROOM

AT = f"/rooms/{ROOM}"
NEW = f"{AT}/stations/new"
SLATE = f"{AT}/cure/recipes/slate"
COURSE = ((1000, 19.7), (2000, 19.42), (3000, 19.2), (4000, 18.92), (5000, 18.7), (6000, 18.42))


def filled(**changes: str) -> dict[str, str]:
    form = {
        "name": "Lamp House 1", "station": "house1", "source": "led", "wavelength_nm": "405",
        "layout": "centre_and_corners", "light_sources": "24", "new_mw_cm2": "20",
        "longest_minutes": "30", "chamber_temperature_c": "60",
    }  # fmt: skip
    return form | changes


def aged(store: Store, **more: Any) -> None:
    """A station with a course of readings up to yesterday, and 8 hours run a day."""
    start = NOW - timedelta(days=800)
    values: dict[str, Any] = {
        "at": start, "station": "house1", "name": "Lamp House 1", "source": "led",
        "wavelength_nm": 405.0, "layout": "centre_and_corners", "light_sources": 24,
        "new_mw_cm2": 20.0, "longest_minutes": 30.0, "chamber_temperature_c": 60.0,
    }  # fmt: skip
    entries: list[Any] = [Station(**(values | more))]
    for index, (run, mean) in enumerate(COURSE):
        at = NOW - timedelta(days=1 + 125 * (5 - index))
        entries.append(
            Irradiance(
                at=at, station="house1", hours_h=run, centre_mw_cm2=mean + 1,
                back_left_mw_cm2=mean - 1, front_right_mw_cm2=mean,
            )
        )  # fmt: skip
    entries.append(LampHours(at=NOW - timedelta(days=40), station="house1", hours_h=5690))
    record(store, ROOM, entries, NOW)


def state(store: Store, key: str = "house1") -> StationState:
    with Session(store.reader) as session:
        return curing.find_station(session, find_room(session, ROOM).id or 0, key)


def recipe(store: Store) -> RecipeState | None:
    with Session(store.reader) as session:
        return curing.recipes(session, find_room(session, ROOM).id or 0).get("slate")


def entries(client: Any, kind: str) -> list[dict[str, Any]]:
    found = client.get(f"/api/v1{AT}/entries?kind={kind}").json()["entries"]
    return [item["entry"] for item in found]


def test_a_station_is_set_up_and_asks_for_its_first_reading(client: Any, store: Store) -> None:
    assert "No curing station" in client.get(f"{AT}/stations").text
    answer = client.post(NEW, data=filled(station=""))
    assert answer.status_code == 200
    assert "never measured" in answer.text
    assert "Read the radiometer at the marked positions" in answer.text
    assert state(store, "lamp-house-1").wavelength_nm == 405
    assert "no reading" in client.get(f"{AT}/stations").text


@pytest.mark.parametrize(
    "changes, message",
    [
        ({"wavelength_nm": "1000"}, "must be between 200 and 500 nm"),
        ({"wavelength_nm": ""}, "Wavelength is missing"),
        ({"new_mw_cm2": "0"}, "must be between 0.001"),
        ({"relamp_percent": "120"}, "must be between 10 and 99"),
        ({"hours_h": "-5"}, "must be between 0"),
        ({"station": "new"}, "cannot be a key"),
        ({"name": " "}, "Name is missing"),
    ],
)
def test_a_station_that_cannot_be_is_refused_beside_its_field(
    client: Any, changes: dict[str, str], message: str
) -> None:
    answer = client.post(NEW, data=filled(**changes))
    assert answer.status_code == 422
    assert message in answer.text
    assert entries(client, "station") == []


def test_a_station_is_set_up_once(client: Any) -> None:
    client.post(NEW, data=filled())
    answer = client.post(NEW, data=filled())
    assert answer.status_code == 422
    assert "a curing station with this key already" in answer.text


def test_settings_change_and_a_station_goes_out_of_use(client: Any, store: Store) -> None:
    client.post(NEW, data=filled())
    sent = filled(relamp_percent="80", has_turntable="on", is_retired="on")
    assert client.post(f"{AT}/stations/house1/settings", data=sent).status_code == 200
    found = state(store)
    assert (found.relamp_percent, found.has_turntable, found.is_retired) == (80, True, True)
    sent = filled(relamp_percent="80", has_turntable="on")
    client.post(f"{AT}/stations/house1/settings", data=sent)
    assert not state(store).is_retired
    assert "relamp_percent" not in entries(client, "station_changed")[0]
    before = len(entries(client, "station_changed"))
    client.post(f"{AT}/stations/house1/settings", data=sent)
    assert len(entries(client, "station_changed")) == before
    bad = client.post(f"{AT}/stations/house1/settings", data=filled(longest_minutes="0"))
    assert bad.status_code == 422


def test_a_reading_is_stored_with_its_positions(client: Any, store: Store) -> None:
    client.post(NEW, data=filled())
    form = client.get(f"{AT}/stations/house1/log/reading").text
    assert 'name="back_left_mw_cm2"' in form
    assert 'name="left_mw_cm2"' not in form
    sent = {"unit": "mw_cm2", "centre_mw_cm2": "20,5", "back_left_mw_cm2": "16", "hours_h": "0"}
    answer = client.post(f"{AT}/stations/house1/log/reading", data=sent)
    assert "Saved: irradiance measured" in answer.text
    last = state(store).last_reading
    assert last is not None
    assert last.positions == {"back_left": 16, "centre": 20.5}


def test_a_reading_in_another_unit_of_light_is_converted(client: Any, store: Store) -> None:
    # 1 mW/cm2 = 10 W/m2 = 1000 uW/cm2
    client.post(NEW, data=filled())
    path = f"{AT}/stations/house1/log/reading"
    client.post(path, data={"unit": "w_m2", "centre_mw_cm2": "205"})
    client.post(path, data={"unit": "uw_cm2", "centre_mw_cm2": "20400"})
    means = [reading.mean_mw_cm2 for reading in state(store).readings]
    assert means == pytest.approx([20.5, 20.4])


@pytest.mark.parametrize(
    "sent, message",
    [
        ({"centre_mw_cm2": "0"}, "Centre must be between 0.001"),
        ({"centre_mw_cm2": ""}, "Centre is missing"),
        ({"centre_mw_cm2": "abc"}, "abc"),
        ({"centre_mw_cm2": "-4"}, "must be between"),
        ({"centre_mw_cm2": "20", "unit": "lux"}, "lux and others say nothing about UV"),
        ({"centre_mw_cm2": "20", "band_nm": "365"}, "does not read its light"),
        ({"centre_mw_cm2": "20", "hours_h": "99999"}, "h have passed"),
        ({"centre_mw_cm2": "20", "at": "2030-01-01T10:00"}, "lies in the future"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_kept_on_the_form(
    client: Any, sent: dict[str, str], message: str
) -> None:
    client.post(NEW, data=filled())
    values = {"unit": "mw_cm2", "front_left_mw_cm2": "17.25", **sent}
    answer = client.post(f"{AT}/stations/house1/log/reading", data=values)
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="17.25"' in answer.text
    assert entries(client, "irradiance") == []


def test_a_reading_ten_times_off_is_asked_about(client: Any) -> None:
    client.post(NEW, data=filled())
    path = f"{AT}/stations/house1/log/reading"
    answer = client.post(path, data={"unit": "mw_cm2", "centre_mw_cm2": "205"})
    assert answer.status_code == 422
    assert "Is it in W/m2?" in answer.text
    assert entries(client, "irradiance") == []
    client.post(path, data={"unit": "mw_cm2", "centre_mw_cm2": "205", "confirmed": "1"})
    assert len(entries(client, "irradiance")) == 1


def test_hours_do_not_run_backwards(client: Any, store: Store) -> None:
    aged(store)
    path = f"{AT}/stations/house1/log/hours"
    answer = client.post(path, data={"hours_h": "5999"})
    assert answer.status_code == 422
    assert "do not run backwards" in answer.text
    answer = client.post(path, data={"hours_h": "6900"})
    assert "only 24 h have passed" in answer.text
    answer = client.post(path, data={"hours_h": "6100", "at": "2026-02-01T10:00"})
    assert "The meter showed 6000 h later" in answer.text
    assert state(store).hours_h == 6000
    assert client.post(path, data={"hours_h": "6008"}).status_code == 200
    assert state(store).hours_h == 6008


def test_a_relamp_starts_anew_and_can_be_taken_back(client: Any, store: Store) -> None:
    aged(store)
    path = f"{AT}/stations/house1/log/relamp"
    answer = client.post(path, data={"part": "array 7"})
    assert "Saved: relamped" in answer.text
    assert state(store).readings == ()
    assert state(store).relamps[0].hours_h == 6000
    undone = entries(client, "relamped")[0]["id"]
    answer = client.post(f"{AT}/stations/house1/undo/{undone}")
    assert "Taken back: relamped" in answer.text
    assert len(state(store).readings) == 6
    late = client.post(path, data={"at": "2020-01-01T10:00"})
    assert late.status_code == 422


def test_a_late_relamp_leaves_the_readings_behind_it(store: Store) -> None:
    aged(store)
    at = NOW - timedelta(days=30)
    record(store, ROOM, [Relamped(at=at, station="house1")], NOW)
    found = state(store)
    assert [reading.hours_h for reading in found.readings] == [6000]
    assert found.relamps[0].hours_h == 5690


def test_the_station_page_shows_tested_and_projected_figures(client: Any, store: Store) -> None:
    aged(store)
    page = client.get(f"{AT}/stations/house1").text
    # From the course made up for checking: alpha 1.326e-5 /h, L70 at 26 757 h, cap 36 000 h.
    assert "6 times the tested hours" in page
    assert hours(36_000) in page
    assert f"26{NO_BREAK}75" in page
    assert "1.33 %" in page
    assert "Interlock" in page
    assert 'class="t-middle lamp-projected"' in page
    assert "above 400 nm" in page
    assert "Inspect</a>" not in page or "/inspection" in page


def test_today_takes_longer_on_an_aged_lamp(client: Any, store: Store) -> None:
    aged(store)
    client.post(SLATE, data={"reference_minutes": "5", "reference_mw_cm2": "20"})
    page = client.get(f"{AT}/cure?resin=slate").text
    # 6000 mJ/cm2 at 20 mW/cm2 * 0.9217 (the line at 6000 h): 325.5 s, 1.085 times.
    assert "5 min 25 s" in page
    assert "1.08 times the new lamp" in page


def test_a_cure_is_logged_with_its_dose(client: Any, store: Store) -> None:
    aged(store)
    client.post(SLATE, data={"dose_mj_cm2": "6000", "wavelength_nm": "405"})
    wash = Wash(at=NOW - timedelta(hours=1), tank="t1", resin="slate", parts=4)
    record(store, ROOM, [wash], NOW)
    form = client.get(f"{AT}/cure?resin=slate&station=house1").text
    assert "Out of the wash long enough" in form
    assert 'value="5.42"' in form
    sent = {
        "resin": "slate", "station": "house1", "minutes": "5.42", "lot": "B-114", "tank": "t1",
        "washed_at": "2026-03-02T11:00",
    }  # fmt: skip
    answer = client.post(f"{AT}/cure", data=sent)
    assert "Saved: cure" in answer.text
    stored = entries(client, "cure")[0]
    assert stored["dose_mj_cm2"] == pytest.approx(6000, rel=0.005)
    assert stored["dose_asked_mj_cm2"] == 6000
    assert stored["dried_minutes"] == 60
    assert stored["lot"] == "B-114"
    assert state(store).hours_h == pytest.approx(6000 + 5.42 / 60)


def test_a_cure_too_soon_after_its_wash_is_asked_about_and_flagged(
    client: Any, store: Store
) -> None:
    aged(store)
    client.post(SLATE, data={"dose_mj_cm2": "6000"})
    wash = Wash(at=NOW - timedelta(minutes=10), tank="t1", resin="slate", parts=4)
    record(store, ROOM, [wash], NOW)
    assert "Wait 20 min more" in client.get(f"{AT}/cure?resin=slate&station=house1").text
    sent = {
        "resin": "slate", "station": "house1", "minutes": "5.42", "tank": "t1",
        "washed_at": "2026-03-02T11:50",
    }  # fmt: skip
    answer = client.post(f"{AT}/cure", data=sent)
    assert answer.status_code == 422
    assert "left the wash 10 min before" in answer.text
    assert entries(client, "cure") == []
    answer = client.post(f"{AT}/cure", data={**sent, "confirmed": "1"})
    assert "too soon after its wash" in answer.text


@pytest.mark.parametrize(
    "sent, message",
    [
        ({"minutes": "0"}, "must be between 0.05"),
        ({"minutes": "x"}, "x"),
        ({"washed_at": "2026-03-02T12:30"}, "must lie before the cure"),
        ({"washed_at": "yesterday"}, "is not a time"),
        ({"at": "2026-03-05T12:30"}, "lies in the future"),
        ({"tank": "none"}, "There is no tank"),
        ({"resin": "kiln"}, "no cure recipe for this resin"),
        ({"station": "gone"}, "no curing station"),
    ],
)
def test_a_cure_that_cannot_be_is_refused(
    client: Any, store: Store, sent: dict[str, str], message: str
) -> None:
    aged(store)
    client.post(SLATE, data={"dose_mj_cm2": "6000"})
    values = {"resin": "slate", "station": "house1", "minutes": "5.4", **sent}
    answer = client.post(f"{AT}/cure", data=values)
    assert answer.status_code == 422
    assert message in answer.text
    assert entries(client, "cure") == []


def test_a_station_too_weak_is_refused_with_the_reason(client: Any, store: Store) -> None:
    aged(store)
    client.post(SLATE, data={"dose_mj_cm2": "6000", "least_mw_cm2": "25"})
    page = client.get(f"{AT}/cure?resin=slate").text
    assert "25 or more" in page
    assert "No station here can cure this resin today" in page
    sent = {"resin": "slate", "station": "house1", "minutes": "5.4"}
    answer = client.post(f"{AT}/cure", data=sent)
    assert answer.status_code == 422
    assert "25 or more" in answer.text
    assert entries(client, "cure") == []


def test_a_dose_no_station_can_deliver_is_refused(client: Any, store: Store) -> None:
    aged(store)
    answer = client.post(SLATE, data={"dose_mj_cm2": "60000"})
    assert answer.status_code == 422
    assert "No station here can deliver this dose. The most is 36000 mJ/cm2" in answer.text
    assert recipe(store) is None
    answer = client.post(SLATE, data={"reference_minutes": "600", "reference_mw_cm2": "20"})
    assert "The most is 36000" in answer.text


@pytest.mark.parametrize(
    "sent, message",
    [
        ({}, "Give the dose, or the time"),
        ({"dose_mj_cm2": "6000", "reference_minutes": "5"}, "not both"),
        ({"reference_minutes": "5"}, "give both"),
        ({"dose_mj_cm2": "0"}, "must be between 1"),
        ({"dose_mj_cm2": "6 J/cm2"}, "6 J/cm2"),
        ({"dose_mj_cm2": "6000", "working_curve": "20; 0.2"}, "two different exposures"),
        ({"dose_mj_cm2": "6000", "working_curve": "20 0.2\n40; 0.3"}, "Line 1"),
        ({"dose_mj_cm2": "6000", "working_curve": "20; a\n40; 0.3"}, "Line 1"),
        ({"dose_mj_cm2": "6000", "working_curve": "20; 0.3\n40; 0.2"}, "must grow"),
    ],
)
def test_a_recipe_that_cannot_be_is_refused(
    client: Any, store: Store, sent: dict[str, str], message: str
) -> None:
    answer = client.post(SLATE, data={"wash": "clean bath", **sent})
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="clean bath"' in answer.text
    assert recipe(store) is None


def test_a_recipe_with_a_working_curve_shows_its_fit(client: Any, store: Store) -> None:
    # Points of D_p 0.175 mm, E_c 8 mJ/cm2.
    curve = "10; 0.03905\n20; 0.16035\n40; 0.28165\n80; 0.40295"
    client.post(SLATE, data={"dose_mj_cm2": "6000", "working_curve": curve, "turn_half_way": "on"})
    page = client.get(SLATE).text
    assert "0.1750 mm" in page
    assert "8.00 mJ/cm²" in page
    found = recipe(store)
    assert found is not None
    assert found.turn_half_way
    assert "20; 0.16035" in page


def test_what_is_not_there_is_named(client: Any) -> None:
    for path in ("stations/gone", "stations/gone/settings", "stations/gone/log/reading",
                 "cure/recipes/gone"):  # fmt: skip
        assert client.get(f"{AT}/{path}").status_code == 404
    client.post(NEW, data=filled())
    assert client.get(f"{AT}/stations/house1/log/nothing").status_code == 404
    other = entries(client, "tank")[0]["id"]
    assert client.post(f"{AT}/stations/house1/undo/{other}").status_code == 404


def test_a_form_sent_twice_is_stored_once(client: Any) -> None:
    client.post(NEW, data=filled())
    sent = {"unit": "mw_cm2", "centre_mw_cm2": "20", "submission": "abc"}
    for _ in range(2):
        client.post(f"{AT}/stations/house1/log/reading", data=sent)
    assert len(entries(client, "irradiance")) == 1


def test_the_cards_of_the_room_cost_one_statement(client: Any, store: Store) -> None:
    aged(store)
    client.post(NEW, data=filled(station="house2", name="Lamp House 2"))
    statements: list[str] = []

    def count(_conn: Any, _cursor: Any, statement: str, *_: Any) -> None:
        statements.append(statement)

    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        event.listen(store.reader, "before_cursor_execute", count)
        try:
            cards = curing.cards(session, room_id, NOW)
        finally:
            event.remove(store.reader, "before_cursor_execute", count)
    assert [card.key for card in cards] == ["house1", "house2"]
    assert [card.state for card in cards] == ["ok", "measure"]
    assert len(statements) == 1


def test_an_empty_room_of_resins_and_recipes_says_what_to_do(client: Any) -> None:
    page = client.get(f"{AT}/cure").text
    assert "no recipe yet: set it" in page
    assert "There is no cure recipe for this resin yet" in client.get(f"{AT}/cure?resin=slate").text
    client.post(SLATE, data={"dose_mj_cm2": "6000"})
    assert "No curing station is in use here" in client.get(f"{AT}/cure?resin=slate").text
    assert "6000 mJ/cm²" in client.get(f"{AT}/cure/recipes").text


def test_what_a_program_sends_is_held_against_the_station(client: Any, store: Store) -> None:
    aged(store)
    sent = {"kind": "lamp_hours", "at": NOW.isoformat(), "station": "house1", "hours_h": 10}
    answer = client.post(f"/api/v1{AT}/entries", json=sent)
    assert answer.status_code == 422
    assert "do not run backwards" in answer.text
    assert client.post(f"/api/v1{AT}/entries", json={**sent, "hours_h": 6001}).status_code == 201

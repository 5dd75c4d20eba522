"""The room's instruments on their pages, and the forms that name one."""

import re
from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.instruments import InstrumentAdded
from app.services.door import bring_in
from app.services.entries import entry_of
from app.store.engine import Store
from tests.answers import STORE_IT
from tests.factories import NOW, ROOM, START, sensor_reading
from tests.web.conftest import entries_of

AT = f"/rooms/{ROOM}"
NEW = {
    "name": "Float 1", "sort": "hydrometer", "offset": "0.002", "uncertainty": "0.0005",
    "calibrated_on": "2026-01-05", "due_on": "2026-07-05", "certificate": "C-17", "by": "Wren",
}  # fmt: skip
PROBE = InstrumentAdded(
    at=START, id="p", instrument="p1", name="Probe 1", sort="sensor", offset=1.0,
    calibrated_on=date(2026, 1, 5), due_on=date(2026, 7, 5),
)  # fmt: skip


def text_of(answer: Response) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())


def test_an_empty_room_says_what_to_add_and_links_to_the_form(client: TestClient) -> None:
    page = client.get(f"{AT}/instruments")
    assert "No instrument has been added yet" in page.text
    assert f'href="{AT}/instruments/new"' in page.text
    assert f'href="{AT}/instruments"' in client.get(AT).text  # from the menu


def test_an_instrument_is_added_shown_with_its_book_and_taken_back(client: TestClient) -> None:
    added = client.post(f"{AT}/instruments/new", data=NEW, follow_redirects=False)
    assert added.status_code == 303
    page = client.get(added.headers["location"])
    said = text_of(page)
    assert "0.002 g/mL too high, standard uncertainty 0.0005 g/mL" in said
    assert "Sun 5 Jul" in said
    assert "Wren added Float 1 to the instruments: hydrometer (g/mL)" in said
    undo = re.search(r'action="([^"]+/undo/[^"]+)"', page.text)
    assert undo is not None
    assert "Float 1" in text_of(client.get(f"{AT}/instruments"))
    client.cookies.set("person", "Wren")
    assert client.post(undo[1], follow_redirects=False).status_code == 303
    assert client.get(f"{AT}/instruments/float-1").status_code == 404
    assert "No instrument has been added yet" in client.get(f"{AT}/instruments").text


@pytest.mark.parametrize(
    "field, typed, word",
    [
        ("due_on", "2026-01-04", "after the calibration"),
        ("uncertainty", "-0.1", "between 0 and"),
        ("offset", "0.9", "Enter it in g/mL"),
        ("offset", "much", "number"),
        ("name", "", "missing"),
        ("calibrated_on", "2027-01-01", "not later"),
    ],
)
def test_what_does_not_fit_is_said_and_what_was_typed_stays(
    client: TestClient, store: Store, field: str, typed: str, word: str
) -> None:
    before = len(entries_of(store))
    answer = client.post(f"{AT}/instruments/new", data={**NEW, field: typed})
    assert answer.status_code == 422
    beside = re.search(rf'id="e-{field}"[^>]*>([^<]+)<', answer.text)
    assert beside is not None
    assert word in beside[1]
    assert 'value="C-17"' in answer.text
    assert len(entries_of(store)) == before


def test_the_same_name_twice_is_refused_beside_the_name(client: TestClient) -> None:
    client.post(f"{AT}/instruments/new", data=NEW)
    again = client.post(f"{AT}/instruments/new", data={**NEW, "submission": "other"})
    assert again.status_code == 422
    assert "There is already an instrument “Float 1”" in again.text


def test_a_calibration_moves_the_due_day_and_the_figures(client: TestClient) -> None:
    client.post(f"{AT}/instruments/new", data=NEW)
    form = client.get(f"{AT}/instruments/float-1/log/calibration")
    assert "g/mL" in form.text
    typed = {"calibrated_on": "2026-03-01", "offset": "-0.001", "by": "Wren"}
    client.post(f"{AT}/instruments/float-1/log/calibration", data=typed)
    said = text_of(client.get(f"{AT}/instruments/float-1"))
    assert "0.001 g/mL too low, standard uncertainty 0.0005 g/mL" in said
    assert "Calibration due Mon 1 Mar 2027" in said
    assert "0.002 g/mL too high" in said  # the certificate before it


def test_set_aside_and_put_back_change_what_the_page_offers(client: TestClient) -> None:
    client.post(f"{AT}/instruments/new", data=NEW)
    page = f"{AT}/instruments/float-1"
    assert f"{page}/log/put-back" not in client.get(page).text
    client.post(f"{page}/log/set-aside", data={"reason": "Cracked", "by": "Wren"})
    aside = client.get(page).text
    assert "Do not use it" in aside
    assert f"{page}/log/set-aside" not in aside
    client.post(f"{page}/log/put-back", data={"reason": "Only dirt", "by": "Wren"})
    assert "Do not use it" not in client.get(page).text
    client.post(f"{page}/log/retire", data={"by": "Wren"})
    assert "/log/" not in client.get(page).text.split("<main")[1].split("</main")[0]


READING = {"method": "sensor", "saturation_percent": "1.5", "by": "Wren"}


def test_the_reading_form_names_the_only_one_and_shows_what_it_means(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, [PROBE], NOW)
    form = f"{AT}/tanks/t1/log/reading"
    assert "Read with Probe 1" in client.get(f"{form}?method=sensor").text
    preview = client.get(f"{AT}/tanks/t1/preview", params=READING)
    assert "<strong>0.5 %</strong>" in preview.text  # 1 % is taken off
    done = client.post(form, data=READING, follow_redirects=False)
    assert done.status_code == 303
    entry = entry_of(entries_of(store, "reading")[-1])
    assert getattr(entry, "instrument", None) == "p1"
    assert "with the in-bath sensor (Probe 1): 1.5 %" in text_of(client.get(f"{AT}/log"))


def test_of_several_the_reading_form_lets_one_be_chosen(client: TestClient, store: Store) -> None:
    other = InstrumentAdded(at=START, instrument="p2", name="Probe 2", sort="sensor")
    bring_in(store, ROOM, [PROBE, other], NOW)
    form = client.get(f"{AT}/tanks/t1/log/reading?method=sensor")
    assert '<option value="p2"' in form.text
    typed = {**READING, "saturation_percent": "0.1", "instrument": "p2"}
    assert client.post(f"{AT}/tanks/t1/log/reading", data=typed).status_code == 200
    assert getattr(entry_of(entries_of(store, "reading")[-1]), "instrument", None) == "p2"


def test_a_form_asks_about_an_overdue_one_and_stores_it_once_answered(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, [PROBE], NOW)
    typed = {
        "calibrated_on": "2025-01-05", "due_on": "2026-02-01", "by": "Wren",
        "at": (START + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M"),
    }  # fmt: skip
    client.post(f"{AT}/instruments/p1/log/calibration", data=typed)
    assert "Overdue" in client.get(f"{AT}/instruments").text
    assert "Probe 1" in client.get(f"{AT}/duties").text
    asked = client.post(f"{AT}/tanks/t1/log/reading", data=READING)
    assert asked.status_code == 422
    assert "Instrument past its calibration day: Probe 1" in asked.text
    found = STORE_IT.search(asked.text)
    assert found is not None
    done = client.post(
        f"{AT}/tanks/t1/log/reading", data={**READING, "confirmed": found[1]},
        follow_redirects=False,
    )  # fmt: skip
    assert done.status_code == 303


def test_a_radiometer_reading_names_the_only_uv_meter(client: TestClient, store: Store) -> None:
    meter = InstrumentAdded(
        at=START, instrument="u1", name="Meter 1", sort="uv_meter", offset=4.0, uncertainty=2.0
    )
    station = Station(
        at=START, station="s1", name="Station 1", source="led", wavelength_nm=405,
        layout="centre", new_mw_cm2=20.0,
    )  # fmt: skip
    bring_in(store, ROOM, [meter, station], NOW)
    form = f"{AT}/stations/s1/log/reading"
    assert "Read with Meter 1" in client.get(form).text
    typed = {"unit": "mw_cm2", "centre_mw_cm2": "18.72", "by": "Wren"}
    assert client.post(form, data=typed, follow_redirects=False).status_code == 303
    assert getattr(entry_of(entries_of(store, "irradiance")[-1]), "instrument", None) == "u1"
    assert "18.0 mW/cm²" in client.get(f"{AT}/stations/s1").text  # 18.72 / 1.04
    aside = {"reason": "Cap is lost", "by": "Wren"}
    client.post(f"{AT}/instruments/u1/log/set-aside", data=aside)
    refused = client.post(form, data={**typed, "centre_mw_cm2": "18.6"})
    assert refused.status_code == 422
    assert "Instrument set aside: Meter 1, Cap is lost" in refused.text


def test_programs_read_the_same(client: TestClient, store: Store) -> None:
    bring_in(store, ROOM, [PROBE, sensor_reading(1, 1.5, instrument="p1")], NOW)
    api = f"/api/v1/rooms/{ROOM}"
    known = client.get(f"{api}/instruments").json()["known"]
    assert [(one["key"], one["unit"], one["offset"], one["due_on"]) for one in known] == [
        ("p1", "%", 1.0, "2026-07-05")
    ]
    assert known[0]["readings"] == 1
    things = client.get(f"{api}/books/instrument").json()
    assert "Probe 1" in str(things)
    wrong = {"kind": "reading", "tank": "t1", "method": "sensor", "saturation_percent": 0.1,
             "instrument": "nobody"}  # fmt: skip
    answer = client.post(f"{api}/entries", json=wrong)
    assert answer.status_code == 422
    assert "There is no instrument “nobody”" in answer.json()["errors"][0]["message"]


def test_an_instrument_is_found_by_its_name_or_certificate(client: TestClient) -> None:
    client.post(f"{AT}/instruments/new", data=NEW)
    for asked in ("float", "C-17"):
        found = client.get(f"{AT}/find", params={"q": asked}).text
        assert f"{AT}/instruments/float-1" in found, asked


OTHER = InstrumentAdded(
    at=START,
    id="p-2",
    instrument="p2",
    name="Probe 2",
    sort="sensor",
    calibrated_on=date(2026, 1, 5),
)
READ = f"{AT}/tanks/t1/log/reading"
SAID = {"method": "sensor", "saturation_percent": "0.1", "by": "Wren"}


def test_a_form_asks_which_of_several_instruments_was_read(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, [PROBE, OTHER], NOW)
    asked = client.post(READ, data=SAID)
    assert asked.status_code == 422
    assert "Choose the instrument you read." in asked.text
    assert entries_of(store, "reading") == []
    for key, stored in (("p2", "p2"), ("-", None)):
        page = client.post(READ, data={**SAID, "instrument": key}, follow_redirects=False)
        found = STORE_IT.search(page.text)
        if found:
            page = client.post(READ, follow_redirects=False,
                               data={**SAID, "instrument": key, "confirmed": found[1]})  # fmt: skip
        assert page.status_code == 303, text_of(page)
        last = entry_of(entries_of(store, "reading")[-1])
        assert getattr(last, "instrument", "") == stored


def test_the_instrument_read_last_at_the_tank_is_offered_first(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, [PROBE, OTHER], NOW)

    def offered() -> list[str]:
        page = client.get(f"{READ}?method=sensor").text
        return re.findall(r'<option value="(p\d|-|)"', page[page.index('id="f-instrument"') :])[:4]

    assert offered() == ["", "p1", "p2", "-"]
    bring_in(store, ROOM, [sensor_reading(1, 0.1, instrument="p2")], NOW)
    assert offered() == ["", "p2", "p1", "-"]


def test_a_program_and_an_import_name_no_instrument_and_the_log_says_so(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, [PROBE, OTHER], NOW)
    said = {"kind": "reading", "tank": "t1", "method": "sensor", "saturation_percent": 0.1}
    at = {"confirm": "reading_unlike"}
    assert client.post(f"/api/v1{AT}/entries", json=said, params=at).status_code == 201
    bring_in(store, ROOM, [sensor_reading(1, 0.1, id="brought")], NOW)
    assert client.get(f"{AT}/log").text.count("instrument not named") == 2
    named = said | {"instrument": "p1"}
    assert client.post(f"/api/v1{AT}/entries", json=named, params=at).status_code == 201
    assert client.get(f"{AT}/log").text.count("instrument not named") == 2


HEATS = [
    InstrumentAdded(at=START, id=f"h-{n}", instrument=f"h{n}", name=f"Thermometer {n}",
                    sort="thermometer", offset=float(n))
    for n in (1, 2)
]  # fmt: skip
DENSE = {
    "method": "hydrometer", "density_g_ml": "0.789", "temperature_c": "20", "by": "Wren",
}  # fmt: skip


def test_a_reading_with_a_temperature_names_the_thermometer(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, HEATS[:1], NOW)
    assert "Temperature by Thermometer 1" in text_of(client.get(f"{READ}?method=hydrometer"))
    assert "Thermometer 1" not in text_of(client.get(f"{READ}?method=sensor"))
    assert client.post(READ, data=DENSE, follow_redirects=False).status_code == 303
    assert getattr(entry_of(entries_of(store, "reading")[-1]), "thermometer", None) == "h1"
    assert "temperature by Thermometer 1" in text_of(client.get(f"{AT}/log"))
    bring_in(store, ROOM, HEATS[1:], NOW)
    other = {**DENSE, "density_g_ml": "0.790"}
    asked = client.post(READ, data=other)
    assert asked.status_code == 422
    assert "Choose the thermometer you read." in asked.text
    assert 'value="0.790"' in asked.text
    done = client.post(READ, data={**other, "thermometer": "h2"}, follow_redirects=False)
    assert done.status_code == 303
    assert getattr(entry_of(entries_of(store, "reading")[-1]), "thermometer", None) == "h2"

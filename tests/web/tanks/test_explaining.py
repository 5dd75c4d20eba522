"""What the readings of a tank say, on its page and the board: one tap settles it, or it is left."""

import json
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.config import Settings
from app.domain.roomlog.kinds import Reading, TopUp
from app.main import create_app
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow, TankRow
from tests.connections import watched
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import prepare
from tests.steady import changed_bath, residue, steady_bath

ROOM_PAGE = f"/rooms/{ROOM}"
TANK = f"{ROOM_PAGE}/tanks/t1"
LEAVE = f"{TANK}/explanation"


@pytest.fixture
def changed(store: Store) -> Store:
    """A bath that nobody says was changed, read three times since."""
    record(store, ROOM, changed_bath(), NOW)
    return store


def row(store: Store, key: str = "t1") -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()


def entries(store: Store, kind: str) -> list[EntryRow]:
    with Session(store.reader) as session:
        return list(session.exec(select(EntryRow).where(EntryRow.kind == kind)))


def tapped(page: str) -> str:
    """Where the one tap leads."""
    found = re.search(r'class="said".*?href="([^"]*)"', page, re.S)
    assert found is not None
    return found.group(1).replace("&amp;", "&")


def values(page: str, name: str) -> str:
    found = re.search(rf'name="{name}"[^>]*value="([^"]*)"', page)
    assert found is not None, name
    return found.group(1)


def test_the_tank_says_one_sentence_and_the_board_a_short_line(
    client: TestClient, changed: Store
) -> None:
    page, board = client.get(TANK).text, client.get(ROOM_PAGE).text
    assert "Three residue tests since Sat 28 Feb agree on 0.5 %" in page
    assert page.count('class="said"') == 1
    assert "Log the swap" in page
    assert "The bath reads like fresh solvent" not in page
    assert re.search(r"A swap was (probably|almost surely) not logged \(\d\d %\)\.", board)
    assert row(changed).flags == "swap_missing"


def test_the_tap_opens_the_swap_with_its_probable_day_and_saving_it_ends_the_sentence(
    client: TestClient, changed: Store
) -> None:
    form = client.get(tapped(client.get(TANK).text)).text
    at = values(form, "at")
    assert NOW - timedelta(days=3) < datetime.fromisoformat(at + "+00:00") < NOW - timedelta(days=2)
    assert re.search(r'<details class="more at-once" id="at-once" open>', form)
    typed = {name: values(form, name) for name in ("drained_l", "filled_l", "at")}
    page = client.post(f"{TANK}/swap/at-once", data={**typed, "by": "Kim"})
    assert page.status_code == 200
    assert 'class="said"' not in page.text
    assert row(changed).flags == ""
    assert row(changed).fill == 1
    assert row(changed).mean_percent == pytest.approx(0.5, abs=0.3)


def test_it_is_left_with_a_name_and_comes_back_with_as_many_readings(
    client: TestClient, changed: Store
) -> None:
    before = row(changed).mean_percent
    page = client.post(LEAVE, data={"explanation": "swap_missing", "by": "Kim"})
    assert "Kim dismissed an explanation for T1: a swap was not logged" in page.text
    assert 'class="said"' not in page.text
    [kept] = entries(changed, "explanation_dismissed")
    assert (kept.by, json.loads(kept.fields)["explanation"]) == ("Kim", "swap_missing")
    assert row(changed).flags == ""
    assert row(changed).mean_percent == before
    more = [residue(0.08, 0.5), residue(0.06, 0.5)]
    record(changed, ROOM, more, NOW)
    assert 'class="said"' not in client.get(TANK).text


def test_leaving_it_can_be_undone_at_once(client: TestClient, changed: Store) -> None:
    client.cookies.set("person", "Kim")
    page = client.post(LEAVE, data={"explanation": "swap_missing", "by": "Kim"})
    undo = re.search(r'action="([^"]*/undo/[^"]*)"', page.text)
    assert undo is not None
    again = client.post(undo.group(1))
    assert "Taken back" in again.text
    assert 'class="said"' in again.text
    assert row(changed).flags == "swap_missing"


def test_without_a_name_nothing_is_left(client: TestClient, changed: Store) -> None:
    page = client.post(LEAVE, data={"explanation": "swap_missing", "by": " ", "note": "why not"})
    assert page.status_code == 422
    assert "Enter who decides this." in page.text
    assert 'value="why not"' in page.text
    assert entries(changed, "explanation_dismissed") == []


@pytest.mark.parametrize("name", ["top_up_missing", "nonsense", ""])
def test_what_is_not_said_cannot_be_left(client: TestClient, changed: Store, name: str) -> None:
    page = client.post(LEAVE, data={"explanation": name, "by": "Kim"})
    assert page.status_code == 422
    assert 'role="alert"' in page.text
    assert entries(changed, "explanation_dismissed") == []
    answer = client.post(
        f"/api/v1/rooms/{ROOM}/entries",
        json={"kind": "explanation_dismissed", "tank": "t1", "explanation": name, "by": "Kim"},
    )
    assert answer.status_code == 422
    assert entries(changed, "explanation_dismissed") == []


def test_the_page_of_an_explanation_shows_the_readings_and_what_else_was_weighed(
    client: TestClient, changed: Store
) -> None:
    page = client.get(LEAVE).text
    for reading in ("t1-m2", "t1-m1", "t1-m0.1"):
        assert f"/entries/{reading}" in page
    assert "Log the swap" in page
    record(changed, ROOM, [residue(0.05, 9.0, id="odd")], NOW)
    assert client.get(LEAVE).status_code == 200


def test_where_nothing_is_said_the_page_says_so(client: TestClient) -> None:
    assert "The last readings and the log agree" in client.get(LEAVE).text


def test_a_wash_with_noughts_too_many_is_set_right_in_one_tap(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [*steady_bath(), wash(0.5, id="huge", area_cm2=120_000.0)], NOW)
    page = client.get(TANK).text
    assert 'name="area_cm2" value="120000"' not in page  # no button offers it again
    href = tapped(page)
    assert href.startswith(f"{ROOM_PAGE}/entries/huge/correct?")
    form = client.get(href).text
    assert values(form, "area_cm2") == "1200"
    typed = {"area_cm2": "1200", "resin": "slate", "tank": "t1", "at": values(form, "at")}
    done = client.post(f"{ROOM_PAGE}/entries/huge/correct", data=typed)
    assert done.status_code == 200
    assert 'class="said"' not in done.text
    assert json.loads(entries(store, "wash")[-1].fields)["area_cm2"] == 1200


def test_a_reading_is_moved_to_the_tank_that_it_fits(client: TestClient, store: Store) -> None:
    record(store, ROOM, [*steady_bath(), residue(3, 0.1, "t2", id="other")], NOW)
    percent = row(store).mean_percent
    record(store, ROOM, [residue(1, percent, id="own"), residue(0.5, 0.1, id="astray")], NOW)
    href = tapped(client.get(TANK).text)
    assert href == f"{ROOM_PAGE}/entries/astray/correct?tank=t2"
    form = client.get(href).text
    assert '<option value="t2" selected>' in form
    typed = {name: values(form, name) for name in ("at", "sample_g", "residue_g")}
    done = client.post(f"{ROOM_PAGE}/entries/astray/correct", data={**typed, "tank": "t2"})
    assert done.status_code == 200
    assert row(store).flags == ""
    [moved] = [one for one in entries(store, "reading") if one.corrects == "astray"]
    assert moved.tank == "t2"


def test_only_readings_and_washes_change_their_tank_in_a_correction(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [TopUp(at=NOW, id="top", tank="t1", volume_l=1.0, by="Kim")], NOW)
    form = client.get(f"{ROOM_PAGE}/entries/top/correct?tank=t2").text
    assert 'name="tank"' not in form
    client.post(f"{ROOM_PAGE}/entries/top/correct", data={"tank": "t2", "volume_l": "2"})
    [moved] = [one for one in entries(store, "top_up") if one.corrects == "top"]
    assert moved.tank == "t1"


def test_the_instruments_are_listed_with_what_was_learned(client: TestClient, store: Store) -> None:
    assert "No reading has been logged yet" in client.get(f"{ROOM_PAGE}/instruments").text
    log = [residue(12 - day, 1.0) for day in range(11)]
    log += [
        Reading(at=NOW - timedelta(days=11.9 - day), tank="t1", method="sensor",
                values={"saturation_percent": 2.9})
        for day in range(11)
    ]  # fmt: skip
    record(store, ROOM, log, NOW)
    page = client.get(f"{ROOM_PAGE}/instruments").text
    assert "In-bath sensor of T1" in page
    assert re.search(r"Reads 1\.\d ± 0\.\d % too high since \w{3} \d+ Feb; corrected for\.", page)
    form = client.get(f"{TANK}/log/reading?method=sensor").text
    assert re.search(r"Reads 1\.\d ± 0\.\d % too high since", form)
    assert "Reads" not in client.get(f"{ROOM_PAGE}/tanks/t2/log/reading?method=sensor").text


def test_an_entry_a_year_after_the_last_reading_says_so_in_the_log(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [residue(13, 0.0, id="fresh"), wash(12, id="w0")], NOW)
    later = NOW + timedelta(days=400)
    late = [wash(-400 + 1, id="late", entered_at=later)]
    record(store, ROOM, late, later)
    log = client.get(f"{TANK}?part=log", headers={"HX-Request": "true"}).text
    line = next(one for one in log.split("<li") if "/entries/late" in one)
    assert "no reading for a year" in line
    early = next(one for one in log.split("<li") if "/entries/w0" in one)
    assert "no reading for a year" not in early


def test_a_density_alone_is_apparent_and_says_what_would_tell(
    client: TestClient, store: Store
) -> None:
    density = Reading(at=NOW - timedelta(days=1), tank="t1", method="hydrometer",
                      values={"density_g_ml": 0.8, "temperature_c": 20.0})  # fmt: skip
    record(store, ROOM, [density], NOW)
    page = client.get(TANK).text
    assert "apparent resin" in page
    assert "A residue test or a refractive index can." in page
    record(store, ROOM, [residue(0.5, 3.0)], NOW)
    assert "apparent resin" not in client.get(TANK).text


@pytest.fixture
def off(tmp_path: Path) -> Iterator[TestClient]:
    """A room of eight baths whose hydrometer reads about three percent too high in each."""
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: NOW)
    store, tanks = app.state.store, [f"t{number}" for number in range(1, 9)]
    furnish(store, tanks=len(tanks))
    dense = {"density_g_ml": 0.797, "temperature_c": 20.0}  # about 4 % in the room's solvent
    log = [
        each
        for day in (8, 6, 4, 2)
        for key in tanks
        for each in (
            residue(day, 0.0, key),
            Reading(at=NOW - timedelta(days=day - 0.1), tank=key, method="hydrometer",
                    values=dense),
        )
    ]  # fmt: skip
    record(store, ROOM, log, NOW)
    with watched(app), TestClient(app, base_url="http://room.test") as client:
        yield client


def test_an_instrument_that_is_off_is_one_line_of_the_board_and_said_at_its_tanks(
    off: TestClient,
) -> None:
    board = off.get(ROOM_PAGE).text
    assert (
        len(re.findall(r"It is \w+(?: \w+)? off. The figures allow for it; check it \(", board))
        == 1
    )
    assert f'href="{ROOM_PAGE}/instruments"' in board
    page = off.get(TANK).text
    assert re.search(r"The hydrometer reads \d\.\d ± \d\.\d % too high in T1, T2", page)
    assert "Check it with a residue test" in page
    off.post(LEAVE, data={"explanation": "instrument_off", "by": "Kim"})
    assert "check it (" not in off.get(ROOM_PAGE).text
    assert "The hydrometer reads" not in off.get(f"{ROOM_PAGE}/tanks/t2").text

"""A load logged on the tank's own page: who, questions, what it did, the last three."""

import re
from datetime import timedelta

from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Reject
from app.domain.roomlog.kinds.incidents import TankHeld
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, read_cycle, sensor_reading, wash
from tests.web.conftest import entries_of

TANK = f"/rooms/{ROOM}/tanks/t1"
LOAD = {"resin": "slate", "area_cm2": "400"}


def known(client: TestClient) -> None:
    """The tablet knows who holds it."""
    client.cookies.set("person", "Wren")


def washes(store: Store) -> int:
    return len([row for row in entries_of(store) if row.kind == "wash"])


def test_a_load_is_stored_and_the_page_stays_and_says_what_it_did(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [wash(2, id="w1"), sensor_reading(1, 5.0, id="r1")], NOW)
    known(client)
    sent = client.post(TANK, data={**LOAD, "submission": "s1"})
    assert sent.status_code == 200
    assert sent.url.path == TANK
    assert "Saved: Wren washed 400 cm² of Slate" in sent.text
    assert 'class="figure-was"' in sent.text
    assert 'class="slice"' in sent.text
    assert "Undo" in sent.text
    assert washes(store) == 2


def test_the_same_submission_counts_once(client: TestClient, store: Store) -> None:
    known(client)
    for _ in range(2):
        assert client.post(TANK, data={**LOAD, "submission": "s1"}).status_code == 200
    assert washes(store) == 1


def test_who_is_asked_where_the_room_knows_people_and_the_tablet_none(
    client: TestClient, store: Store
) -> None:
    assert client.post(TANK, data={**LOAD, "submission": "s0"}).status_code == 200  # nobody known
    record(store, ROOM, [wash(1, id="w1", by="Curlew")], NOW)
    asked = client.post(TANK, data={**LOAD, "area_cm2": "310", "submission": "s1"})
    assert asked.status_code == 422
    assert "Who are you?" in asked.text
    assert 'name="area_cm2" value="310"' in asked.text
    assert washes(store) == 2
    done = client.post(TANK, data={**LOAD, "area_cm2": "310", "submission": "s1", "by": "Curlew"})
    assert "Saved: Curlew washed 310 cm²" in done.text
    assert "as Curlew" in done.text


def test_a_double_is_asked_about_on_the_page_and_the_other_answer_stores_nothing(
    client: TestClient, store: Store
) -> None:
    known(client)
    client.post(TANK, data={**LOAD, "submission": "s1"})
    asked = client.post(TANK, data={**LOAD, "submission": "s2"})
    assert asked.status_code == 422
    assert "A second one, or the same one?" in asked.text
    assert 'id="tank"' in asked.text
    assert washes(store) == 1
    answer = re.search(r'name="confirmed" value="([^"]+)"', asked.text)
    assert answer
    client.post(TANK, data={**LOAD, "submission": "s2", "confirmed": answer[1], "by": "Wren"})
    assert washes(store) == 2


def test_who_would_change_it_comes_to_the_form_with_what_was_sent(client: TestClient) -> None:
    known(client)
    form = client.post(TANK, data={**LOAD, "submission": "s1", "confirmed": "change"})
    assert form.url.path == f"{TANK}/log/wash"
    assert 'value="400"' in form.text


def test_a_held_tank_takes_no_load(client: TestClient, store: Store) -> None:
    record(store, ROOM, [TankHeld(at=NOW, tank="t1", reason="It leaks", cause="lead")], NOW)
    known(client)
    page = client.get(TANK)
    assert "Do not wash here." in page.text
    assert "Wash as last" not in page.text
    sent = client.post(TANK, data={**LOAD, "submission": "s1"})
    assert sent.status_code == 422
    assert washes(store) == 0


def test_the_last_three_lead_to_their_corrections(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(5 - index, id=f"w{index}") for index in range(5)], NOW)
    page = client.get(TANK).text
    fixes = re.findall(r'href="/rooms/[^"]+/entries/(w\d)/correct"', page)
    assert fixes == ["w4", "w3", "w2"]
    form = client.get(f"/rooms/{ROOM}/entries/w4/correct").text
    assert "data-overwrites" in form


def test_the_last_three_leave_out_the_tank_on_whose_page_they_stand(
    client: TestClient, store: Store
) -> None:
    reject = Reject(at=NOW, by="Wren", tank="t1", finding="tacky", parts=1, id="x1")
    record(store, ROOM, [wash(1, id="w1", by="Wren"), reject], NOW)
    said = re.findall(r"<li id=\"last-[^>]*><p><b>(.*?)</b>", client.get(TANK).text)
    assert said[:2] == ["Wren rejected 1 part: tacky", "Wren washed 1,200 cm² of Slate"]


def test_a_bath_past_its_limit_says_so_once_and_whether_the_swap_is_ready(
    client: TestClient, store: Store
) -> None:
    washed = [wash(0.9 - n / 60, area_cm2=4000.0) for n in range(52)]
    read = [sensor_reading(0.5, 5.2), sensor_reading(0.01, 10.8)]
    record(store, ROOM, [*read_cycle(), *washed, *read], NOW)
    page = client.get(TANK).text
    assert page.count("Past its limit") == 1
    assert "Past 10 %" not in page
    assert "Past the first limit" not in page
    first, loads = page.index("stand-main"), page.index("wash-as-last")
    assert first < loads  # what a full bath needs stands before one more wash
    act = r'stand-main" href="[^"]+/swap"><span><b>Swap the bath</b>'
    assert re.search(act + "<small>(Still open: |All it needs is ready)", page)
    assert page.count("Swap the bath") == 1


def test_the_large_button_is_where_a_code_for_it_leads(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1, id="w1")], NOW)
    opened = client.get(f"/q/{ROOM}/l/t1", follow_redirects=False)
    assert opened.headers["location"] == f"{TANK}#wash-as-last"
    assert 'id="wash-as-last"' in client.get(TANK).text


def test_what_was_saved_long_ago_is_no_news(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1, id="old")], NOW - timedelta(minutes=5))
    assert "Saved:" not in client.get(TANK, params={"saved": "old"}).text
    assert "Saved:" not in client.get(TANK, params={"saved": "nothing"}).text


def test_a_retired_tank_and_an_archived_room_offer_no_act(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1)], NOW)
    data = {"name": "T1", "capacity_l": "40", "limit_value": "10", "is_retired": "on"}
    client.post(f"{TANK}/settings", data=data)
    page = client.get(TANK).text
    assert "Out of use" in page
    assert "Wash as last" not in page
    assert 'class="stand-tasks"' not in page


def test_a_live_update_keeps_span_and_filter(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1, id="w"), sensor_reading(2, 3.0, id="r")], NOW)
    page = client.get(
        TANK, params={"span": "90", "kind": "reading", "resin": "", "cursor": ""},
        headers={"HX-Request": "true"},
    )  # fmt: skip
    assert "<html" not in page.text
    assert 'name="span" value="90" data-kept' in page.text
    log = page.text.partition('id="log"')[2]
    assert "entries/r" in log
    assert "entries/w" not in log


def test_an_amount_of_time_ago_is_when_it_happened(client: TestClient, store: Store) -> None:
    known(client)
    client.post(f"{TANK}/log/wash", data={**LOAD, "submission": "a1", "ago": "15"})
    [row] = entries_of(store, "wash")
    assert NOW.timestamp() - row.at_us / 1e6 == 15 * 60
    bad = client.post(f"{TANK}/log/wash", data={**LOAD, "submission": "a2", "ago": "7"})
    assert bad.status_code == 422
    assert "Choose how long ago it was" in bad.text


def test_another_name_counts_before_the_tile(client: TestClient, store: Store) -> None:
    data = {**LOAD, "submission": "a1", "by": "Wren", "by_other": "Plover"}
    client.post(f"{TANK}/log/wash", data=data)
    assert [row.by for row in entries_of(store, "wash")] == ["Plover"]

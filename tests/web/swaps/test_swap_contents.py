"""A swap that stops, on its pages: what is in the tank, and what every page says then."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM, Drum, DrumClosed
from app.services.door import bring_in as record
from app.services.litres.reading import book_of
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import EntryRow
from app.store.things import thing
from tests.answers import sure
from tests.factories import NOW, ROOM, START
from tests.web.swaps.test_swaps import (
    SWAP,
    client,
    completed,
    kinds,
    tank,
    tick,
    until_bonded,
    until_filled,
)

__all__ = ("client",)
TANK = f"/rooms/{ROOM}/tanks/t1"
API = f"/api/v1/rooms/{ROOM}"


@pytest.fixture
def store(client: TestClient) -> Store:
    """The database behind the client."""
    return client.app.state.store  # type: ignore[attr-defined, no-any-return]


@pytest.fixture
def drained(client: TestClient) -> TestClient:
    """36 L of the bath are in the drum, 0.5 L were seen in the tank."""
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    tick(client, "drain", drained_l="36", heel_l="0.5")
    return client


def litres(client: TestClient, key: str = "t1") -> float:
    return float(client.get(f"{API}/tanks/{key}").json()["estimate"]["volume_l"])


def test_giving_up_asks_what_is_in_the_tank_with_the_drained_figure_beside(
    drained: TestClient, store: Store
) -> None:
    problem = drained.get(f"{SWAP}?view=problem").text
    assert f"{TANK}/contents?view=give-up" in problem
    assert f'action="{SWAP}/abandon"' not in problem
    page = drained.get(f"{TANK}/contents?view=give-up").text
    assert "What is in 1 T1 now?" in page
    assert "36.0 L of" in page
    assert "went into W-13" in page
    assert "Empty: 0.50 L left" in page
    refused = drained.post(f"{SWAP}/abandon", data={"by": "Wren"})
    assert refused.status_code == 422
    assert "Say what is in 1 T1" in refused.text
    assert "swap_abandoned" not in kinds(store)
    done = drained.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "empty"})
    assert done.status_code == 200
    assert kinds(store)[-2:] == ["swap_abandoned", "removal"]
    assert tank(store).swap_started_at_us is None
    assert litres(drained) == pytest.approx(0.5, abs=0.01)


def test_who_looked_is_touched_and_another_name_typed_counts_before_it(
    drained: TestClient, store: Store
) -> None:
    drained.cookies.clear()
    page = drained.get(f"{SWAP}?view=give-up").text
    assert 'type="radio" name="by" value="Wren"' in page
    sent = {"by": "Wren", "by_other": "Plover", "found": "empty"}
    assert drained.post(f"{SWAP}/abandon", data=sent).status_code == 200
    with Session(store.reader) as session:
        row = session.exec(select(EntryRow).where(EntryRow.kind == "swap_abandoned")).one()
        assert row.by == "Plover"


def test_an_answer_that_contradicts_the_drum_is_asked_about_and_keeps_what_was_typed(
    drained: TestClient, store: Store
) -> None:
    sent = {"by": "Wren", "found": "partly", "left_l": "30", "note": "Half of it"}
    page = drained.post(f"{SWAP}/abandon", data=sent)
    assert page.status_code == 422
    assert "are in W-13" in page.text
    assert 'value="30"' in page.text
    assert 'value="Half of it"' in page.text
    assert "swap_abandoned" not in kinds(store)
    sure(drained, f"{SWAP}/abandon", sent)
    assert litres(drained) == pytest.approx(30, abs=0.01)


def test_a_part_without_a_figure_has_its_message_beside_the_field(drained: TestClient) -> None:
    for left, words in (("", "Say how many litres"), ("much", "not a number"), ("90", "more than")):
        page = drained.post(f"{SWAP}/abandon", data={"found": "partly", "left_l": left, "by": "W"})
        assert page.status_code == 422
        assert words in page.text
        assert 'id="e-left_l"' in page.text


def test_nobody_can_look_holds_the_tank_on_every_page_until_somebody_does(
    drained: TestClient, store: Store
) -> None:
    drained.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "asked"})
    assert "Say what is in it" in drained.get(f"/rooms/{ROOM}").text
    page = drained.get(TANK).text
    assert "Say what is in this one to release it" in page
    assert f'href="{TANK}/contents"' in page
    hold = drained.get(f"{TANK}/hold").text
    assert "Say what is in it now" in hold
    assert "Release the tank" not in hold
    wash = {"resin": "slate", "parts": "3", "by": "Wren"}
    assert drained.post(f"{TANK}/log/wash", data=wash).status_code == 422
    sent = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    assert drained.post(f"{API}/entries", json=sent).status_code == 422
    assert drained.get(SWAP).url.path == f"{TANK}/contents"
    drained.post(f"{TANK}/contents", data={"by": "Dunlin", "found": "empty"})
    assert "Do not wash here" not in drained.get(TANK).text
    assert litres(drained) == pytest.approx(0.5, abs=0.01)
    assert kinds(store)[-1] == "removal"
    assert drained.get(f"{TANK}/contents").url.path == TANK


def test_a_pause_keeps_the_note_for_whoever_goes_on(drained: TestClient) -> None:
    assert f"{TANK}/contents?view=pause" in drained.get(f"{SWAP}?view=all").text
    assert "Pause the swap of" in drained.get(f"{TANK}/contents?view=pause").text
    sent = {
        "view": "pause",
        "found": "partly",
        "left_l": "1.2",
        "by": "Wren",
        "note": "Valve drips",
    }
    page = drained.post(f"{TANK}/contents", data=sent)
    assert page.url.path == TANK
    assert "Paused" in (step := drained.get(f"{SWAP}?step=inspect").text)
    assert "Valve drips" in step
    assert litres(drained) == pytest.approx(1.2, abs=0.01)


def test_a_completion_taken_back_and_a_giving_up_taken_back_end_with_the_question(
    client: TestClient, store: Store
) -> None:
    key, _ = completed(client)
    again = client.post(f"{SWAP}/reopen", data={"swap": key})
    assert again.url.path == f"{TANK}/contents"
    assert "The new bath" in again.text
    client.post(f"{TANK}/contents", data={"by": "Wren", "found": "filled"})
    client.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "filled"})
    assert "Go on with this swap" in client.get(f"{SWAP}/record?swap={key}").text
    again = client.post(f"{SWAP}/reopen", data={"swap": key})
    assert again.url.path == f"{TANK}/contents"
    assert tank(store).swap_started_at_us is not None


def test_a_tank_held_in_the_middle_of_its_swap_asks_at_once(drained: TestClient) -> None:
    page = drained.post(f"{TANK}/hold", data={"reason": "Drips", "by": "Wren"})
    assert page.url.path == f"{TANK}/contents"
    drained.post(f"{TANK}/contents", data={"by": "Wren", "found": "empty"})
    assert "Drips" in drained.get(TANK).text


def test_the_pages_of_a_drained_tank_offer_and_store_no_entry(
    drained: TestClient, store: Store
) -> None:
    before = kinds(store)
    forms = {
        "wash": {"resin": "slate", "parts": "3"},
        "top-up": {"volume_l": "5"},
        "reading": {"method": "sensor", "saturation_percent": "3"},
    }
    for task, typed in forms.items():
        page = drained.post(f"{TANK}/log/{task}", data={**typed, "by": "Wren"})
        assert page.status_code == 422, task
        assert "A swap emptied this tank at" in page.text
    assert kinds(store) == before


def test_the_tank_s_page_says_what_is_in_it_while_it_is_swapped(drained: TestClient) -> None:
    assert "0.50 L of bath" in drained.get(TANK).text


def test_the_heel_of_a_swap_entered_at_once_is_stored_with_how_it_is_known(
    client: TestClient, store: Store
) -> None:
    sent = {"drained_l": "36", "heel_l": "0.4", "filled_l": "37", "by": "Wren"}
    sure(client, f"{SWAP}/at-once", sent)
    with Session(store.reader) as session:
        row = session.exec(select(EntryRow).where(EntryRow.kind == "swap")).one()
    assert '"heel_l":0.4' in row.fields
    assert '"heel_basis":"seen"' in row.fields
    assert litres(client) == pytest.approx(37.4, abs=0.01)


def test_a_swap_given_up_behind_the_fill_keeps_its_new_bath(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_filled(client)
    page = client.get(f"{TANK}/contents?view=give-up").text
    assert "The new bath: 39.5 L" in page
    client.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "filled"})
    assert litres(client) == pytest.approx(39.5, abs=0.01)
    assert client.get(f"{API}/tanks/t1").json()["washes_since_fill"] == 0


def test_an_empty_tank_is_no_sound_bath_on_any_page(drained: TestClient) -> None:
    drained.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "empty"})
    page = drained.get(TANK).text
    assert "Nearly empty" in page
    assert "Wash as last" not in page
    room = drained.get(f"/rooms/{ROOM}").text
    assert "Nearly empty. Swap the bath or fill it up." in room
    asked = drained.post(f"{TANK}/log/wash", data={"resin": "slate", "parts": "3", "by": "Wren"})
    assert asked.status_code == 422
    assert "Only about 0.5 L are in this tank" in asked.text


def test_a_tank_of_which_nobody_knows_the_contents_shows_no_figure(drained: TestClient) -> None:
    drained.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "asked"})
    page = drained.get(TANK).text
    assert "Not known" in page
    assert f"{TANK}/log/top-up" not in page
    assert "Already there when the fill began</th><td></td><td>-" not in page
    assert "A lead releases it once the cause is settled" not in page


def test_a_swap_that_stops_in_the_middle_of_its_fill_asks_for_the_fill_first(
    drained: TestClient, store: Store
) -> None:
    """What is in the tank is fresh and off the shelf: said as what was left, it would be the old
    bath, and stand on the shelf as well."""
    said = {"by": "Wren", "found": "partly", "left_l": "20.5"}
    early = drained.get(f"{TANK}/contents?view=give-up").text
    assert "Enter the fill first" not in early  # nothing can be filled yet
    asked = drained.post(f"{SWAP}/abandon", data=said)
    assert "enter the fill first, with its lot" in asked.text
    tick(drained, "inspect")
    tick(drained, "rinse", rinse_l="2", lot="ipa|A7")
    for step in ("wipe", "refit"):
        tick(drained, step)
    for view in ("give-up", "pause"):
        page = drained.get(f"{TANK}/contents?view={view}").text
        assert f'href="{SWAP}?step=fill">Enter the fill first' in page
    tick(drained, "fill", filled_l="20", lot="ipa|A7", note="Stopped in the middle of it")
    assert "Enter the fill first" not in drained.get(f"{TANK}/contents?view=give-up").text
    drained.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "filled"})
    assert litres(drained) == pytest.approx(20.5, abs=0.01)
    with Session(store.reader) as session:
        item = thing(session, find_room(session, ROOM).id or 0, ITEM, "ipa")
        assert item is not None
        assert {one.lot: one.quantity for one in item.lots} == {"A7": pytest.approx(60 - 22)}
        found = book_of(session, find_room(session, ROOM), NOW + timedelta(hours=1))
    assert found.apart == ()
    assert found.litres("tank:t1") == pytest.approx(20.5)


def test_a_given_up_swap_with_more_in_its_tank_than_was_left_points_to_the_top_up(
    drained: TestClient,
) -> None:
    drained.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "asked"})
    asked = drained.post(f"{TANK}/contents", data={"by": "Wren", "found": "partly",
                                                   "left_l": "20.5"})  # fmt: skip
    assert "choose Empty here and then log it as a top-up" in asked.text


def test_given_up_at_the_drain_it_asks_what_is_in_the_tank_and_offers_the_drain(
    client: TestClient, store: Store
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    for step in ("prepare", "protect", "isolate"):
        tick(client, step)
    tick(client, "choose_drum", drum="d1")
    assert "Nothing has been drained yet" in client.get(f"{SWAP}?view=problem").text
    tick(client, "bond")
    problem = client.get(f"{SWAP}?view=problem").text
    assert f"{TANK}/contents?view=give-up" in problem
    assert f"{TANK}/contents?view=pause" in problem
    page = client.get(f"{TANK}/contents?view=give-up").text
    assert "According to the steps, nothing was taken out." in page
    assert "As before, nothing taken out: about 3" in page
    assert f'href="{SWAP}?step=drain">Enter the drain first' in page
    assert client.post(f"{SWAP}/abandon", data={"by": "Wren"}).status_code == 422
    assert "swap_abandoned" not in kinds(store)
    tick(client, "drain", drained_l="20", heel_l="19.5")
    page = client.get(f"{TANK}/contents?view=give-up").text
    assert "As entered: 19.5 L left" in page
    assert "Enter the drain first" not in page
    client.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "empty"})
    assert litres(client) == pytest.approx(19.5, abs=0.01)
    with Session(store.reader) as session:
        assert book_of(session, find_room(session, ROOM), NOW + timedelta(hours=1)).apart == ()


def test_a_swap_given_up_before_anything_flowed_asks_for_one_touch(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    before_l = litres(client)
    done = client.post(f"{SWAP}/abandon", data={"by": "Wren", "found": "as_before"})
    assert done.status_code == 200
    assert litres(client) == pytest.approx(before_l, abs=0.01)
    wash_ = {"resin": "slate", "parts": "3", "by": "Wren"}
    assert client.post(f"{TANK}/log/wash", data=wash_).status_code == 200


def test_of_two_tablets_the_slower_one_is_told_what_the_other_said(drained: TestClient) -> None:
    """And keeps its own figures: nothing is overwritten without a word."""
    page = drained.get(f"{TANK}/contents?view=pause").text
    mark = re.search(r'name="seen" value="([0-9a-f]+)"', page)
    assert mark is not None
    first = {"view": "pause", "found": "partly", "left_l": "0.6", "by": "Dunlin", "seen": mark[1]}
    assert drained.post(f"{TANK}/contents", data=first).status_code == 200
    slower = first | {"left_l": "1.2", "by": "Wren", "note": "Sludge"}
    for address in ("contents", "swap/abandon"):
        back = drained.post(f"{TANK}/{address}", data=slower)
        assert back.status_code == 422
        assert "Dunlin said meanwhile that 1 T1 holds 0.60 L" in back.text
        assert 'value="1.2"' in back.text
        assert 'value="Sludge"' in back.text
    assert litres(drained) == pytest.approx(0.6, abs=0.01)
    assert sure(drained, f"{TANK}/contents", slower).status_code == 200
    assert litres(drained) == pytest.approx(1.2, abs=0.01)
    seen = re.search(r'name="seen" value="([0-9a-f]+)"', drained.get(f"{TANK}/contents").text)
    assert seen is not None
    assert seen[1] != mark[1]
    again = slower | {"left_l": "1.1", "seen": seen[1]}
    assert drained.post(f"{TANK}/contents", data=again).status_code == 200
    assert litres(drained) == pytest.approx(1.1, abs=0.01)


def test_a_drum_that_is_closed_in_mid_swap_is_chosen_anew(
    drained: TestClient, store: Store
) -> None:
    """The drained litres stay in it, and the rinse goes into the other one."""
    other = Drum(at=START, drum="d2", name="W-14", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station")  # fmt: skip
    now = drained.app.state.clock()  # type: ignore[attr-defined]
    record(store, ROOM, [other, DrumClosed(at=now, drum="d1", is_cool=True, by="Wren")], now)
    tick(drained, "inspect")
    back = tick(drained, "rinse", 422, rinse_l="2", lot="ipa|A7")
    assert "W-13 is closed for shipping" in back
    assert "Undo “Choose and ready the drum” and choose another drum there" in back
    drained.post(f"{SWAP}/steps/choose_drum/undo", data={"by": "Wren"})
    tick(drained, "choose_drum", drum="d2")
    tick(drained, "bond")
    tick(drained, "rinse", rinse_l="2", lot="ipa|A7")
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        held = [thing(session, room_id, DRUM, key).volume_l for key in ("d1", "d2")]
    assert held == [36.0, 2.0]


def test_who_answers_after_another_gave_the_swap_up_is_told_that_nothing_was_stored(
    drained: TestClient, store: Store
) -> None:
    done = {"by": "Dunlin", "found": "empty", "submission": "first"}
    assert drained.post(f"{SWAP}/abandon", data=done).status_code == 200
    before = kinds(store)
    slower = {"by": "Wren", "found": "partly", "left_l": "1.2", "submission": "second"}
    for address in (f"{TANK}/contents", f"{SWAP}/abandon"):
        late = drained.post(address, data=slower)
        assert late.status_code == 409
        assert "Somebody ended this swap meanwhile" in late.text
        assert drained.post(address, data=done).url.path == TANK  # the same touch twice
    assert kinds(store) == before

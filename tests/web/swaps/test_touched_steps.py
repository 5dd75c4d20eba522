"""What was typed at a step of a swap and is not ticked yet stays over a reload and a dead browser,
and shows on the next tablet; points to confirm only to whoever touched them, and not for long."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from tests.clocks import Clock
from tests.factories import ROOM, START
from tests.visiting import visiting

SWAP = f"/rooms/{ROOM}/tanks/t1/swap"


@pytest.fixture
def client(tmp_path: Path, clock: Clock) -> Iterator[TestClient]:
    """A tablet of Wren's, in a swap that has begun."""
    with visiting(tmp_path, [
        Drum(at=START, drum="d1", name="W-13", capacity_l=60, stream="isopropanol_resin",
             area="wash_station"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.8),
        StockReceived(at=START, item="ipa", quantity=60, lot="A7"),
    ], clock=clock) as client:  # fmt: skip
        assert client.post(f"{SWAP}/start", data={"by": "Wren"}).status_code == 200
        yield client


def touch(client: TestClient, step: str, name: str, value: str, more: str = "") -> Any:
    path = f"{SWAP}/steps/{step}/touched" if step else f"{SWAP}/touched"
    return client.post(path + more, data={"name": name, "value": value, "over": ""})


def shown(client: TestClient, step: str, more: str = "") -> str:
    return client.get(f"{SWAP}?step={step}{more}").text


def checked(page: str) -> set[str]:
    boxes = re.findall(r'<input type="checkbox"[^>]* name="(\w+)" checked', page)
    tiles = re.findall(r'<input type="radio" name="(\w+)" value="([^"]+)"[^>]* checked', page)
    return {*boxes, *(f"{name}={value}" for name, value in tiles)}


def tick(client: TestClient, step: str, **answers: str) -> None:
    points = {f"confirm_{place}": "on" for place in range(8)}
    answer = client.post(f"{SWAP}/steps/{step}/tick", data={**points, **answers})
    assert answer.status_code == 200, answer.text


def test_a_reload_keeps_figures_and_points_of_a_step(client: TestClient) -> None:
    assert touch(client, "prepare", "confirm_1", "on").status_code == 204
    assert touch(client, "prepare", "note", "Door propped open").status_code == 204
    assert touch(client, "drain", "drained_l", "38.25").status_code == 204
    assert touch(client, "drain", "heel_l", "0.3").status_code == 204
    first, drain = shown(client, "prepare"), shown(client, "drain")
    assert checked(first) == {"confirm_1"}
    assert 'value="Door propped open"' in first
    assert re.search(r'name="drained_l"[^>]* value="38.25"', drain)
    assert re.search(r'name="heel_l"[^>]* value="0.3"', drain)
    assert "Not saved yet" in first
    assert "Not saved yet" in drain


def test_a_point_that_was_taken_back_stays_open(client: TestClient) -> None:
    touch(client, "prepare", "confirm_1", "on")
    touch(client, "prepare", "confirm_1", "")
    page = shown(client, "prepare")
    assert checked(page) == set()
    assert "Not saved yet" not in page


def test_another_person_sees_the_figures_and_confirms_the_points_anew(client: TestClient) -> None:
    touch(client, "isolate", "confirm_0", "on")
    touch(client, "isolate", "lock_number", "L-7")
    client.cookies.clear()
    client.cookies.set("person", "Teal")
    page = shown(client, "isolate")
    assert checked(page) == set()
    assert 'value="L-7"' in page


def test_points_are_confirmed_anew_after_a_while(client: TestClient, clock: Clock) -> None:
    touch(client, "prepare", "confirm_0", "on")
    clock.now += timedelta(minutes=14)
    assert checked(shown(client, "prepare")) == {"confirm_0"}
    clock.now += timedelta(minutes=2)
    assert checked(shown(client, "prepare")) == set()


def test_what_is_ticked_is_no_draft_any_more_nor_after_an_undo(client: TestClient) -> None:
    touch(client, "prepare", "confirm_0", "on")
    touch(client, "prepare", "note", "Door propped open")
    tick(client, "prepare")
    assert touch(client, "prepare", "confirm_0", "on").status_code == 204  # it came late
    client.post(f"{SWAP}/steps/prepare/undo", data={"by": "Wren"})
    page = shown(client, "prepare")
    assert checked(page) == set()
    assert "Door propped open" not in page


def test_a_tile_and_a_reading_come_back_with_their_method(client: TestClient) -> None:
    touch(client, "sensor", "sensor_state", "film stays")
    assert "sensor_state=film stays" in checked(shown(client, "sensor"))
    for name, value in (("density_g_ml", "0.7861"), ("temperature_c", "21")):
        assert touch(client, "read", name, value, "?method=hydrometer").status_code == 204
    page = shown(client, "read")
    assert '<input type="hidden" name="method" value="hydrometer">' in page
    assert re.search(r'name="density_g_ml"[^>]* value="0.7861"', page)
    page = shown(client, "read", "&method=refractometer")
    assert "0.7861" not in page


def test_the_note_of_the_close_is_kept(client: TestClient) -> None:
    assert touch(client, "", "note", "Lid left open").status_code == 204
    assert 'value="Lid left open"' in client.get(f"{SWAP}?view=close").text


@pytest.mark.parametrize(
    "step, name, value",
    [("prepare", "drained_l", "1"), ("prepare", "confirm_9", "on"), ("prepare", "note", "x" * 2001),
     ("drain", "weighed", "x"), ("prepare", "by", "Teal"), ("", "swap", "x"),
     ("drain", "heel_l/..", "1")],
)  # fmt: skip
def test_what_is_no_field_of_the_step_is_not_kept(
    client: TestClient, step: str, name: str, value: str
) -> None:
    assert touch(client, step, name, value).status_code == 422


def test_a_step_that_is_not_there_keeps_nothing(client: TestClient) -> None:
    assert touch(client, "nowhere", "note", "x").status_code == 404

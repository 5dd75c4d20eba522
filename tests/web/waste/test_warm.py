"""Warmth of a drum is asked for in the weekly check, and cautions are those of the bath."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.errors import Doubtful
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import (
    AREAS,
    DrumChecked,
    DrumClosed,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    PickupBooked,
)
from app.services.door import bring_in, enter
from app.services.rooms import find_room
from app.services.waste import drums
from tests.factories import NOW, ROOM, tank
from tests.services.waste_room import drum
from tests.visiting import visiting

AT = f"/rooms/{ROOM}"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with visiting(tmp_path, [
        drum("d1", volume_l=20.0), drum("d2", volume_l=20.0), tank("wet", solvent="water_based"),
        tank("slow", solvent="tripropylene_glycol_methyl_ether"),
    ]) as client:  # fmt: skip
        yield client


def test_a_drum_found_warm_in_the_weekly_check_goes_into_quarantine(client: TestClient) -> None:
    page = client.get(f"{AT}/waste/check").text
    assert "Is it warmer than the room?" in page
    assert "works only with oxygen" in page
    sent = {"all+d1": "on", "is_warm+d2": "on", "by": "Wren"}
    assert client.post(f"{AT}/waste/check", data=sent).status_code == 200
    store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        found = drums(session, find_room(session, ROOM).id or 0)
    assert not found["d1"].is_quarantined
    assert found["d2"].is_warm
    assert found["d2"].is_quarantined
    assert "warm, hissing or bulging: in quarantine" in client.get(f"{AT}/log").text


def test_a_closed_drum_of_resin_says_that_it_needs_air(client: TestClient) -> None:
    assert "Becker and Vogel" in client.get(f"{AT}/waste/drums/d1").text
    store = client.app.state.store  # type: ignore[attr-defined]
    bring_in(store, ROOM, [DrumClosed(at=NOW, drum="d1", is_cool=True)], NOW)
    assert "so that air stays above the liquid" in client.get(f"{AT}/waste/drums/d1").text
    assert "cool and out of light" in client.get(f"{AT}/waste/drums/d1/label").text


def test_a_top_up_of_water_or_of_a_slow_solvent_is_not_called_flammable(
    client: TestClient,
) -> None:
    assert "Flammable solvent" in client.get(f"{AT}/tanks/t1/log/top-up").text
    wet = client.get(f"{AT}/tanks/wet/log/top-up").text
    assert "Flammable solvent" not in wet
    assert "It carries resin. Gloves and glasses on." in wet
    slow = client.get(f"{AT}/tanks/slow/log/top-up").text
    assert "Flammable solvent" not in slow
    assert "Burns once it is warm (flash point" in slow


def test_a_warm_drum_is_asked_about_before_it_is_moved_or_fetched(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    bring_in(store, ROOM, [DrumChecked(at=NOW, drum="d1", is_warm=True)], NOW)
    with Session(store.reader) as session:
        here = drums(session, find_room(session, ROOM).id or 0)["d1"].area
    area = next(one for one in AREAS if one != here)
    asks = "It may burst. Is it cold and quiet now?"
    page = client.post(f"{AT}/waste/drums/d1/do/move", data={"area": area, "by": "Wren"})
    assert (page.status_code, asks in page.text) == (422, True)
    booking = {"pickup_on": "2026-03-20", "hauler": "Marl", "drum+d1": "on", "by": "Wren"}
    page = client.post(f"{AT}/waste/pickups", data=booking)
    assert (page.status_code, asks in page.text) == (422, True)
    moved = DrumMoved(at=NOW, drum="d1", area=area, by="Wren")
    booked = PickupBooked(at=NOW, pickup="p1", drums=["d1"], hauler="Marl",
                          pickup_on=NOW.date() + timedelta(days=9))  # fmt: skip
    for entry in (moved, booked):
        with pytest.raises(Doubtful, match="may burst"):
            enter(store, ROOM, [entry], NOW)
    enter(store, ROOM, [moved, booked], NOW, confirmed=["drum_still_warm"])
    bring_in(store, ROOM, [DrumReleased(at=NOW, drum="d1", lead="Curlew", reason="Cold")], NOW)
    back = DrumMoved(at=NOW, drum="d1", area=here, by="Wren")
    enter(store, ROOM, [back], NOW)


def test_a_warm_drum_offers_no_bung_to_tighten_and_no_weight_to_take(client: TestClient) -> None:
    """Whoever reads only the first thing on the page keeps away (common practice, no source)."""
    store = client.app.state.store  # type: ignore[attr-defined]
    page = client.get(f"{AT}/waste/drums/d1").text
    assert "do/close" in page
    weight = {"kind": "scale_weight", "scale": "Floor", "drum": "d1", "moment": "after"}
    api = f"/api/v1{AT}/entries"
    for moment, kg in (("before", 30.0), ("after", 35.0)):
        sent = weight | {"moment": moment, "shown_kg": kg}
        assert client.post(api, json=sent).status_code == 201
    form = client.get(f"{AT}/waste/drums/d1/pour").text
    assert "scale-take" in form
    assert "Keep away" not in form
    bring_in(store, ROOM, [DrumChecked(at=NOW, drum="d1", is_warm=True)], NOW)
    page = client.get(f"{AT}/waste/drums/d1").text
    assert "do/close" not in page
    form = client.get(f"{AT}/waste/drums/d1/pour").text
    assert "Keep away, keep others away." in form
    assert "Pour nothing in." in form
    assert "scale-take" not in form


def test_a_drum_that_reacts_leaks_or_is_set_apart_is_not_said_to_take_more(
    client: TestClient,
) -> None:
    """Nobody makes room on paper in a drum to keep away from; by form and as a program."""
    store = client.app.state.store  # type: ignore[attr-defined]
    free = DrumReleased(at=NOW, drum="d1", lead="Curlew", reason="Cold, looked at")
    warm = DrumChecked(at=NOW, drum="d1", is_warm=True, no_leak=True)
    found: list[tuple[list[Entry], list[Entry], str]] = [
        ([warm], [free], "warm, hissing or bulging"),
        ([DrumQuarantined(at=NOW, drum="d1", reason="Smells")], [free], "is in quarantine: Smells"),
        ([DrumChecked(at=NOW, drum="d1", no_leak=False)], [], "leaking, rusty or bulging"),
    ]
    sent = {"fill_limit_percent": 80.0, "capacity_l": 100.0}
    same = {"kind": "drum_changed", "drum": "d1", "by": "Curlew"}
    for made, ends, words in found:
        bring_in(store, ROOM, made, NOW)
        for name, value in {"fill_limit_percent": 95.0, "capacity_l": 400.0}.items():
            answer = client.post(f"/api/v1{AT}/entries", json={**same, name: value})
            assert (answer.status_code, words in answer.text) == (422, True), answer.text
            typed = {"name": "W-1", **{n: str(v) for n, v in {**sent, name: value}.items()}}
            page = client.post(f"{AT}/waste/drums/d1/settings", data={**typed, "by": "Curlew"})
            assert (page.status_code, words in page.text) == (422, True), name
        less = client.post(f"/api/v1{AT}/entries", json={**same, "fill_limit_percent": 80.0})
        assert less.status_code == 201, less.text
        bring_in(store, ROOM, ends, NOW)


def test_a_warm_drum_is_asked_about_before_it_is_opened(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    bring_in(store, ROOM, [
        DrumClosed(at=NOW, drum="d1", is_cool=True), DrumChecked(at=NOW, drum="d1", is_warm=True),
    ], NOW)  # fmt: skip
    opened = DrumOpened(at=NOW, drum="d1", by="Wren")
    with pytest.raises(Doubtful, match="may burst"):
        enter(store, ROOM, [opened], NOW)
    page = client.post(f"{AT}/waste/drums/d1/do/open", data={"by": "Wren"})
    assert (page.status_code, "It may burst." in page.text) == (422, True)
    enter(store, ROOM, [opened], NOW, confirmed=["drum_still_warm"])

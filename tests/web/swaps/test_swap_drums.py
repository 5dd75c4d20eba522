"""The drums that a checklist offers: those of the plan first, none past its last day unasked."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds.waste import Drum, WasteRules
from app.services.door import bring_in as record
from app.services.planning.proposal import drums_for
from app.services.rooms import find_room
from app.store.engine import Store
from tests.answers import sure
from tests.factories import NOW, ROOM, START, sensor_reading, tank, wash
from tests.visiting import visiting

AT = f"/rooms/{ROOM}"
SWAP = f"{AT}/tanks/t1/swap"
LONG_AGO = NOW - timedelta(days=85)


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A bath that is over its limit, and drums of one stream in the central area."""
    with visiting(tmp_path, [
        *(wash(day, "t1", area_cm2=7000.0) for day in range(13, 0, -1)),
        sensor_reading(13.0, 0.4),
        WasteRules(at=START, waste_rules="waste_rules", rule_set="us_federal", category="lqg"),
        drum("old", "Old", 50.0, first_pour_at=LONG_AGO - timedelta(days=30)),
        drum("late", "Late", 20.0, first_pour_at=LONG_AGO),
        drum("full", "Nearly full", 150.0),
        drum("new", "New", 0.0),
    ]) as client:  # fmt: skip
        client.cookies.set("person", "Wren")
        yield client


def drum(key: str, name: str, held_l: float, **more: Any) -> Drum:
    return Drum(
        at=START, drum=key, name=name, capacity_l=205.0, stream="isopropanol_resin",
        area="central", volume_l=held_l or None, **more,
    )  # fmt: skip


def offered(client: TestClient, step: str, name: str) -> list[str]:
    page = client.get(f"{SWAP}?step={step}").text
    select = re.search(rf'<select id="f-{name}".*?</select>', page, re.DOTALL)
    if select is not None:
        return re.findall(r'<option value="([^"]*)"', select[0])
    return re.findall(rf'name="{name}" value="([^"]*)"', page)


def tick(client: TestClient, step: str, **answers: str) -> Any:
    points = {f"confirm_{place}": "on" for place in range(8)}
    return client.post(f"{SWAP}/steps/{step}/tick", data={**points, **answers})


def planned(client: TestClient) -> list[str]:
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        return [one.key for one in drums_for(session, find_room(session, ROOM), "t1", NOW)]


def test_the_checklist_offers_first_the_drum_that_the_plan_sets_aside(client: TestClient) -> None:
    """The drum with least days left that takes the whole bath: 90 days of 40 CFR 262.17(a) end for
    Late in five days and were over for Old a month ago."""
    assert planned(client) == ["late"]
    sure(client, f"{SWAP}/start", {})
    assert offered(client, "choose_drum", "drum") == ["late", "new", "full", "old"]
    page = client.get(f"{SWAP}?step=choose_drum").text
    words = {
        text.partition(",")[0]: text for text in re.findall(r"<span>([^<]*room for[^<]*)", page)
    }
    end = "room for 164 L, leaves by Sat 7 Mar 2026, planned for this swap"
    assert words["Late"].endswith(end)
    assert "had to leave by" in words["Old"]
    assert "planned" not in words["New"]


def test_what_was_chosen_is_the_swap_s_in_the_plan_and_offered_no_second_time(
    client: TestClient,
) -> None:
    sure(client, f"{SWAP}/start", {})
    assert tick(client, "protect").status_code == 200
    assert tick(client, "choose_drum", drum="new").status_code == 200
    assert planned(client) == ["new"]
    assert offered(client, "drain", "drum_2") == ["", "full", "late", "old"]


def test_a_drum_past_its_last_day_is_asked_about_once(client: TestClient) -> None:
    sure(client, f"{SWAP}/start", {})
    tick(client, "protect")
    asked = tick(client, "choose_drum", drum="old")
    assert asked.status_code == 422
    assert "Drum past its last day: Old, it had to leave by" in asked.text
    sure(
        client,
        f"{SWAP}/steps/choose_drum/tick",
        {"drum": "old", "confirm_0": "on", "confirm_1": "on"},
    )
    again = tick(client, "drain", drained_l="38", heel_l="1")
    assert "Drum past its last day" not in again.text
    poured = client.post(
        f"/api/v1{AT}/entries", json={"kind": "pour", "drum": "old", "volume_l": 2.0, "by": "Wren"}
    )
    assert [one["name"] for one in poured.json()["questions"]] == ["drum_past_day"]


def test_the_drum_that_the_plan_sets_aside_for_a_pair_takes_bath_and_both_rinses(
    client: TestClient,
) -> None:
    """The bath less a heel of 0.8 L, and two rinses of 2.8 L. Plan, list and step say the same
    of a drum, the one that has to leave first before others."""
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    record(
        store, ROOM,
        [
            tank("clean"), tank("dirty", pair="clean"),
            *(wash(day, "dirty", area_cm2=7000.0) for day in range(13, 0, -1)),
            *(drum(f"n{room_l}", f"N{room_l}", 205 * 0.9 - room_l,
                   first_pour_at=LONG_AGO - timedelta(hours=60 - room_l)) for room_l in ROOMS_L),
        ],
        NOW,
    )  # fmt: skip
    tanks = client.get(f"/api/v1/rooms/{ROOM}/tanks").json()["tanks"]
    bath_l = next(one["estimate"]["volume_l"] for one in tanks if one["key"] == "dirty")
    at = f"{AT}/tanks/dirty/swap"
    started = sure(client, f"{at}/start", {"from_tank": "clean"})
    assert started.status_code == 200, started.text
    page = client.get(f"{at}?step=choose_drum").text
    first = re.findall(r'name="drum" value="([^"]*)"|<option value="([^"]*)"', page)[0]
    shown = re.findall(r"[^<>]*planned for this swap", page)
    assert len(shown) == 1
    answer = client.post(
        f"{at}/steps/choose_drum/tick",
        data={"confirm_0": "on", "confirm_1": "on", "drum": first[0] or first[1]},
    )
    assert answer.status_code == 200, (shown, answer.text[-3000:])
    for room_l in ROOMS_L:
        words = re.search(rf"N{room_l},[^<]*", page)
        assert words is not None
        is_short = "too little for bath and rinse" in words[0]
        said = client.post(f"{at}/steps/choose_drum/undo", data={"by": "Wren"}) and client.post(
            f"{at}/steps/choose_drum/tick",
            data={"confirm_0": "on", "confirm_1": "on", "drum": f"n{room_l}"},
        )
        assert (said.status_code == 422) == is_short, (room_l, said.text[-2000:])
        assert is_short == (room_l < bath_l - 0.8 + 2 * 2.8), words[0]


ROOMS_L = (41, 43, 44, 45, 46)

"""What a form never sends and a program may: names of things that are not there, blanks for words,
what another person said taken back. None of it gets round what keeps people safe."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, LotHeld, StockReceived
from app.domain.roomlog.kinds.waste import DrumChecked
from tests.factories import NOW, ROOM, START, tank
from tests.services.waste_room import ago, drum
from tests.visiting import visiting

API = f"/api/v1/rooms/{ROOM}/entries"
SLOW = "tripropylene_glycol_methyl_ether"
NO_SHEET = "own:Blend:0.9:20::::::"
AN_HOUR_AGO = NOW - timedelta(hours=1)
IN_ORDER = dict.fromkeys(("lid_closed", "label_complete", "date_visible", "no_leak"), True)


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with visiting(tmp_path, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        tank("held"), tank("slow", solvent=SLOW), tank("hot", solvent=SLOW),
        tank("blend", solvent=NO_SHEET),
        TankBuild(at=START, tank="hot", is_ultrasonic=True),
        TankHeld(at=AN_HOUR_AGO, tank="held", reason="It drips", cause="lead", by="Wren"),
        drum("d1", volume_l=40.0), drum("d2", material="plastic"), drum("d3", volume_l=40.0),
        DrumChecked(at=AN_HOUR_AGO, id="warm", drum="d3", is_warm=True, by="Wren", **IN_ORDER),
        Item(at=START, item="ipa", name="Alcohol", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=START, item="ipa", quantity=40.0, lot="L1"),
        LotHeld(at=ago(1), id="lot", item="ipa", lot="L1", standing="withdrawn", reason="Recalled",
                by="Wren"),
        DutyDone(at=AN_HOUR_AGO, id="hood", duty="hood_look", outcome="fault", note="No draught",
                 by="Wren"),
    ]) as client:  # fmt: skip
        yield client


def say(client: TestClient, kind: str, *confirmed: str, **fields: Any) -> Response:
    """An entry that a program sends."""
    return client.post(API, json={"kind": kind, **fields}, params={"confirm": list(confirmed)})


def field_of(answer: Response) -> list[str]:
    assert answer.status_code == 422, answer.text
    return [error["field"] for error in answer.json()["errors"]]


def names_of(answer: Response) -> list[str]:
    assert answer.status_code == 409, answer.text
    return [question["name"] for question in answer.json()["questions"]]


@pytest.mark.parametrize("into", [{"solvent": "isopropanol"}, {"from_tank": "t1"}])
def test_a_tank_with_ultrasound_is_not_swapped_to_what_catches_fire(
    client: TestClient, into: dict[str, str]
) -> None:
    sent = {"tank": "hot", "drained_l": 39.0, "filled_l": 39.0, **into}
    assert "tank" in field_of(say(client, "swap", "hood_fault", "purity_unlike", **sent))


def test_a_tank_with_ultrasound_is_not_set_up_anew_with_what_catches_fire(
    client: TestClient,
) -> None:
    same = {"tank": "hot", "name": "Hot", "capacity_l": 40.0, "by": "Curlew"}
    assert field_of(say(client, "tank", **same, solvent="isopropanol")) == ["solvent"]
    assert say(client, "tank", **same, solvent=SLOW).status_code == 201


@pytest.mark.parametrize("heat", [{"is_ultrasonic": True}, {"heated_to_c": 45.0}])
def test_a_flash_point_that_nobody_has_said_is_no_high_one(
    client: TestClient, heat: dict[str, Any]
) -> None:
    assert field_of(say(client, "tank_build", tank="blend", **heat)) == ["lead"]


@pytest.mark.parametrize(
    "kind, fields",
    [
        ("swap", {"tank": "held", "swap": "made-up", "filled_l": 39.0, "drained_l": 39.0}),
        ("removal", {"tank": "held", "volume_l": 4.0, "incident": "made-up"}),
        ("top_up", {"tank": "held", "volume_l": 4.0}),
    ],
)
def test_the_name_of_a_swap_or_problem_that_is_not_there_passes_nothing(
    client: TestClient, kind: str, fields: dict[str, Any]
) -> None:
    asked = names_of(say(client, kind, **fields))
    assert {"tank_held", "hood_fault"} & set(asked)


@pytest.mark.parametrize("more", [{"swap": "made-up"}, {"incident": "made-up"}, {}])
def test_much_alcohol_goes_into_plastic_only_with_a_lead(
    client: TestClient, more: dict[str, str]
) -> None:
    sent = {"drum": "d2", "volume_l": 20.0, "tank": "t1", **more}
    assert "lead" in field_of(say(client, "pour", "hood_fault", "pads_in_liquid", **sent))


def test_much_alcohol_moves_from_drum_to_plastic_drum_only_with_a_leads_word(
    client: TestClient,
) -> None:
    sent = {"drum": "d2", "from_drum": "d1", "volume_l": 20.0, "waste_kg": 16.0}
    asked = ("hood_fault",)
    assert field_of(say(client, "drum_transfer", *asked, **sent)) == ["lead"]
    assert field_of(say(client, "drum_transfer", *asked, **sent, lead="Nobody Here")) == ["lead"]
    assert say(client, "drum_transfer", *asked, **sent, lead="Curlew").status_code == 201
    assert (
        say(
            client, "drum_transfer", *asked, **sent | {"volume_l": 5.0, "waste_kg": 4.0}
        ).status_code
        == 201
    )


def test_nothing_is_moved_out_of_a_warm_drum(client: TestClient) -> None:
    sent = {"drum": "d1", "from_drum": "d3", "volume_l": 2.0, "waste_kg": 1.6}
    assert "drum" in field_of(say(client, "drum_transfer", **sent))


@pytest.mark.parametrize("entry", ["warm", "lot", "hood"])
def test_what_one_person_found_is_not_taken_back_by_another(client: TestClient, entry: str) -> None:
    answer = client.post(f"{API}/{entry}/withdrawal", json={"by": "Dunlin"})
    assert answer.status_code == 409, answer.text


@pytest.mark.parametrize(
    "entry, said",
    [
        ("warm", {"kind": "drum_checked", "drum": "d3", **IN_ORDER}),
        ("hood", {"kind": "duty_done", "duty": "hood_look", "outcome": "in_order"}),
        ("lot", {"kind": "lot_held", "item": "ipa", "lot": "L1", "standing": "quarantined",
                 "reason": "It is fine"}),
    ],
)  # fmt: skip
def test_what_one_person_found_is_not_corrected_away_by_another(
    client: TestClient, entry: str, said: dict[str, Any]
) -> None:
    answer = client.post(f"{API}/{entry}/correction", json={"by": "Dunlin", **said})
    assert answer.status_code == 409, answer.text


def test_a_fault_of_the_hood_ends_with_the_duty_in_order(client: TestClient) -> None:
    assert say(client, "duty_done", duty="hood_look", outcome="in_order", by="Wren").is_success
    assert say(client, "wash", tank="t1", resin="slate", parts=3).status_code == 201
    assert client.post(f"{API}/hood/withdrawal", json={"by": "Dunlin"}).status_code == 201


def test_what_its_maker_has_withdrawn_is_not_said_to_be_in_quarantine(client: TestClient) -> None:
    sent = {"item": "ipa", "lot": "L1", "reason": "Look again", "by": "Dunlin"}
    assert field_of(say(client, "lot_held", standing="quarantined", **sent)) == ["standing"]


@pytest.mark.parametrize(
    "kind, fields",
    [
        ("lot_held", {"item": "ipa", "lot": "L1", "standing": "withdrawn", "reason": "Recalled"}),
        ("drum_quarantined", {"drum": "d1", "reason": "It hisses"}),
        ("tank_held", {"tank": "t1", "reason": "It drips", "cause": "lead"}),
    ],
)
def test_a_name_stands_under_all_that_is_held(
    client: TestClient, kind: str, fields: dict[str, Any]
) -> None:
    assert field_of(say(client, kind, **fields)) == ["by"]
    assert say(client, kind, **fields, by="Wren").status_code == 201


@pytest.mark.parametrize(
    "kind, field, fields",
    [
        ("tank_released", "reason", {"tank": "held", "lead": "Curlew"}),
        ("drum_released", "reason", {"drum": "d3", "lead": "Curlew"}),
        ("lot_released", "reason", {"item": "ipa", "lot": "L1", "lead": "Curlew"}),
        ("tank_held", "reason", {"tank": "t1", "cause": "lead", "by": "Wren"}),
        ("crew_member", "name", {"crew": "crew", "role": "lead"}),
        ("own_solvent", "name", {"own_solvents": "own_solvents", "density_g_ml": 0.9}),
    ],
)
def test_blanks_are_no_words(
    client: TestClient, kind: str, field: str, fields: dict[str, Any]
) -> None:
    assert field_of(say(client, kind, **{field: " \t"}, **fields)) == [field]


@pytest.mark.parametrize("name", ["Isopropanol", "isopropanol", "IPA", "2-Propanol"])
def test_an_own_solvent_does_not_pass_for_one_of_the_list(client: TestClient, name: str) -> None:
    sheet = {"own_solvents": "own_solvents", "density_g_ml": 0.9, "flash_point_c": 200.0}
    assert field_of(say(client, "own_solvent", name=name, **sheet)) == ["name"]


def test_a_second_report_does_not_write_over_the_first(client: TestClient) -> None:
    assert say(client, "incident", incident="i1", problem="leak", tank="t1").status_code == 201
    again = say(client, "incident", incident="i1", problem="near_miss", tank="slow")
    assert field_of(again) == ["incident"]


def test_what_is_corrected_to_another_tank_is_asked_about_that_tank(client: TestClient) -> None:
    said = {"kind": "top_up", "volume_l": 1.0}
    stored = say(client, "top_up", "hood_fault", tank="t1", volume_l=1.0)
    address = f"{API}/{stored.json()['ids'][0]}/correction"
    into_held = client.post(address, json={**said, "tank": "held"})
    assert "tank_held" in names_of(into_held)
    same = client.post(address, json={**said, "tank": "t1", "volume_l": 1.1})
    assert same.status_code == 201


def test_a_fault_is_not_moved_before_what_mended_the_one_before(client: TestClient) -> None:
    fault = {"kind": "duty_done", "duty": "hood_look", "outcome": "fault", "note": "No draught"}
    early = {**fault, "at": (NOW - timedelta(days=3)).isoformat(), "by": "Dunlin"}
    moved = client.post(f"{API}/hood/correction", json=early)
    assert moved.status_code == 409
    assert "enter the duty as in order" in moved.text
    said = {**fault, "at": AN_HOUR_AGO.isoformat(), "note": "No draught at all", "by": "Dunlin"}
    assert client.post(f"{API}/hood/correction", json=said).status_code == 201


@pytest.mark.parametrize(
    "plastic, metal",
    [
        ({}, {"kind": "drum_changed", "drum": "d2", "material": "metal"}),
        (
            {"kind": "tank_build", "tank": "t1", "material": "plastic"},
            {"kind": "tank_build", "tank": "t1", "material": "metal"},
        ),
    ],
)
def test_plastic_does_not_become_metal_unasked(
    client: TestClient, plastic: dict[str, Any], metal: dict[str, Any]
) -> None:
    if plastic:
        assert say(client, **plastic).status_code == 201
    assert names_of(say(client, **metal)) == ["now_metal"]
    kind = metal.pop("kind")
    assert say(client, kind, "now_metal", **metal).status_code == 201


@pytest.mark.parametrize("typed", ["l1", " L1 ", "\uff2c1"])
def test_a_withdrawn_lot_is_not_good_again_because_its_label_is_typed_another_way(
    client: TestClient, typed: str
) -> None:
    """Case, width and spaces do not make two lots, as they do not where a lot is recalled."""
    sent = {"item": "ipa", "lot": typed, "quantity": 1.0}
    received = say(client, "stock_received", **sent)
    assert "lot_withdrawn" in names_of(received)
    assert "lot" in field_of(say(client, "stock_used", purpose="top_up", tank="t1", **sent))
    released = {"item": "ipa", "lot": typed, "lead": "Curlew", "reason": "Tested", "by": "Curlew"}
    assert say(client, "lot_released", **released).status_code == 201
    assert say(client, "stock_used", "hood_fault", purpose="cleaning", **sent).status_code == 201

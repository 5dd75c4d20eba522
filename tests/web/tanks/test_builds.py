"""Material, heat and ultrasound of a tank, and pours through plastic, by every door."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Swap, Wash
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.site import CrewMember
from app.services.acts.swaps.swapping import undo
from app.services.door import bring_in
from tests.factories import NOW, ROOM, START, tank
from tests.services.swaps.led import Run, swap_store
from tests.services.waste_room import drum
from tests.visiting import visiting

AT, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}/entries"
FORM = f"{AT}/tanks/t1/log/build"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with visiting(tmp_path, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        drum("d1", material="plastic"), drum("d2", material="metal"),
        tank("slow", solvent="tripropylene_glycol_methyl_ether"),
    ]) as client:  # fmt: skip
        yield client


def test_a_heated_tank_of_alcohol_is_refused_without_a_leads_reason(client: TestClient) -> None:
    assert "Material, heat, ultrasound" in client.get(f"{AT}/tanks/t1").text
    sent = {"material": "metal", "is_ultrasonic": "on", "by": "Wren"}
    refused = client.post(FORM, data=sent)
    assert refused.status_code == 422
    assert "It may catch fire. Only with a lead and a reason." in refused.text
    alone = client.post(FORM, data={**sent, "lead": "Curlew"})
    assert "Enter the lead and the reason." in alone.text
    word = {"lead": "Wren", "reason": "Rated for it"}
    assert "Only a lead can do this" in client.post(FORM, data={**sent, **word}).text
    assert client.post(FORM, data={**sent, **word, "lead": "Curlew"}).status_code == 200
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    assert client.post(API, json=wash).status_code == 201
    again = client.get(FORM).text
    assert re.search(r'<option value="metal" selected', again)
    assert re.search(r'name="is_ultrasonic" checked', again)
    assert "Rated for it" not in again


def test_a_leads_word_for_heat_ends_with_the_solvent_it_was_given_for(client: TestClient) -> None:
    hot = {"kind": "tank_build", "tank": "slow", "material": "metal", "heated_to_c": 110}
    word = {"lead": "Curlew", "reason": "Watched while it is warm"}
    sure = {"confirm": ["tank_build_heated_to_c"]}
    early = {"at": (NOW - timedelta(hours=2)).isoformat()}
    assert client.post(API, json={**hot, **word, **early}, params=sure).status_code == 201
    wash = {"kind": "wash", "tank": "slow", "resin": "slate", "parts": 3}
    assert client.post(API, json=wash).status_code == 201
    same = {"kind": "swap", "tank": "slow", "drained_l": 39.0, "filled_l": 39.0}
    told = {"confirm": ["purity_unlike"]}
    again = client.post(API, json=same, params=told)
    assert again.status_code == 201, again.text
    assert client.post(API, json=wash).status_code == 201
    other = {**same, "solvent": "isopropanol"}
    refused = client.post(API, json=other, params=told)
    assert refused.status_code == 422
    assert "heated to 110 °C" in refused.json()["errors"][0]["message"]
    set_up = {"kind": "tank", "tank": "slow", "name": "Slow", "capacity_l": 40.0}
    refused = client.post(API, json={**set_up, "solvent": "isopropanol"})
    assert refused.status_code == 422
    store = client.app.state.store  # type: ignore[attr-defined]
    quick = Swap(
        at=NOW - timedelta(hours=1), tank="slow", drained_l=39.0, filled_l=39.0,
        solvent="isopropanol",
    )  # fmt: skip
    bring_in(store, ROOM, [quick], NOW)
    refused = client.post(API, json=wash)
    assert refused.status_code == 422
    assert "flash point of the bath" in refused.json()["errors"][0]["message"]
    anew = client.post(API, json={**hot, **word}, params=sure)
    assert anew.status_code == 201  # said of what is in it now
    assert client.post(API, json=wash).status_code == 201


def test_nobody_is_taken_to_have_said_metal(client: TestClient) -> None:
    page = client.get(FORM).text
    assert '<option value="" selected>Not given</option>' in page
    assert '<option value="metal">' in page
    assert client.post(FORM, data={"heated_to_c": "", "by": "Wren"}).status_code == 200


def test_a_program_does_not_heat_a_bath_that_catches_fire_either(client: TestClient) -> None:
    sent = {"kind": "tank_build", "tank": "slow", "material": "metal", "heated_to_c": 40}
    assert client.post(API, json=sent).status_code == 201
    answer = client.post(API, json={**sent, "tank": "t1"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "lead"


def test_a_heated_tank_that_was_brought_in_takes_no_wash(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    hot = TankBuild(at=START, tank="t1", material="metal", heated_to_c=40.0)
    bring_in(store, ROOM, [hot], NOW)
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    answer = client.post(API, json=wash)
    assert answer.status_code == 422
    assert "heated to 40 °C" in answer.json()["errors"][0]["message"]


def test_much_alcohol_goes_into_plastic_only_with_a_leads_word(client: TestClient) -> None:
    pour: dict[str, Any] = {"kind": "pour", "drum": "d1", "tank": "t1", "volume_l": 6}
    answer = client.post(API, json=pour)
    assert answer.status_code == 422
    assert "name the lead who agrees" in answer.json()["errors"][0]["message"]
    assert client.post(API, json={**pour, "lead": "Wren"}).status_code == 422
    assert client.post(API, json={**pour, "volume_l": 5}).status_code == 201
    assert client.post(API, json={**pour, "lead": "Curlew"}).status_code == 201
    assert client.post(API, json={**pour, "drum": "d2"}).status_code == 201
    page = client.get(f"{AT}/waste/drums/d1/pour?tank=t1").text
    assert "Plastic cannot be bonded" in page
    assert "Lead who agrees" in page
    typed = {"tank": "t1", "volume_l": "6", "by": "Wren"}
    refused = client.post(f"{AT}/waste/drums/d1/pour", data=typed)
    assert refused.status_code == 422
    assert "name the lead who agrees" in refused.text


NO_FLASH_GIVEN, NO_BOILING = "own:Bare:0.9:20::190::::", "own:Thin:0.684:20:-4:::::"


@pytest.mark.parametrize("solvent", [NO_FLASH_GIVEN, NO_BOILING])
def test_what_a_data_sheet_leaves_open_lets_nothing_through_plastic(
    client: TestClient, solvent: str
) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    held = [tank("own", solvent=solvent, fresh_purity_percent=None),
            drum("d5", stream=solvent, material="plastic")]  # fmt: skip
    bring_in(store, ROOM, held, NOW)
    pour: dict[str, Any] = {"kind": "pour", "drum": "d5", "tank": "own", "volume_l": 6}
    answer = client.post(API, json=pour)
    assert answer.status_code == 422
    assert "Plastic cannot be bonded" in answer.json()["errors"][0]["message"]
    assert client.post(API, json={**pour, "lead": "Curlew"}).status_code == 201


def test_a_mixture_of_unknown_flash_point_needs_a_lead_too(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    mixed = "own_with_alcohol"
    bring_in(store, ROOM, [
        drum("m1", stream=mixed, volume_l=20.0), drum("m2", stream=mixed, material="plastic"),
    ], NOW)  # fmt: skip
    moved = {"kind": "drum_transfer", "from_drum": "m1", "drum": "m2", "volume_l": 6.0,
             "waste_kg": 6.0}  # fmt: skip
    answer = client.post(API, json=moved)
    assert answer.status_code == 422
    assert "flash point is not known" in answer.json()["errors"][0]["message"]
    assert client.post(API, json={**moved, "lead": "Curlew"}).status_code == 201


def test_a_slow_bath_that_alcohol_was_poured_into_needs_a_lead_on_plastic(
    client: TestClient,
) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    wrong = Incident(at=NOW - timedelta(hours=1), incident="n1", problem="wrong_solvent",
                     tank="slow", solvent="isopropanol", volume_l=5.0)  # fmt: skip
    bring_in(store, ROOM, [
        drum("m1", stream="glycol_ether_with_alcohol", material="plastic"), wrong,
    ], NOW)  # fmt: skip
    pour: dict[str, Any] = {"kind": "pour", "drum": "m1", "tank": "slow", "volume_l": 6}
    answer = client.post(API, json=pour)
    assert answer.status_code == 422
    assert "Plastic cannot be bonded" in answer.text


def test_bonding_is_told_where_something_may_burn(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    bring_in(store, ROOM, [
        tank("aqua", solvent="water_based", fresh_purity_percent=None),
        drum("w1", stream="water_wash"), drum("w2", stream="water_with_alcohol"),
    ], NOW)  # fmt: skip
    for key, of, is_told in (("w1", "aqua", False), ("w2", "aqua", True), ("d2", "t1", True)):
        page = client.get(f"{AT}/waste/drums/{key}/pour?tank={of}").text
        assert ("Bond before you open the bung" in page) == is_told, key


def test_the_bond_of_a_swap_waits_for_a_leads_word_on_plastic(tmp_path: Path) -> None:
    store = swap_store(tmp_path)
    bring_in(store, ROOM, [TankBuild(at=START, tank="t1", material="plastic")], NOW)
    run = Run(store)
    for step in ("prepare", "protect", "isolate"):
        run.tick(step)
    run.tick("choose_drum", drum="d1")
    assert "class IB liquid through plastic" in run.refused("bond")["gate"]
    run.lead("bond", "plastic", reason="Grounded dip pipe, slow")
    run.tick("bond")
    run.tick("drain", drained_l=39.0)
    store.close()


def test_a_leads_word_on_plastic_is_about_the_drum_that_was_chosen(tmp_path: Path) -> None:
    store = swap_store(tmp_path)
    bring_in(store, ROOM, [TankBuild(at=START, tank="t1", material="plastic")], NOW)
    run = Run(store)
    for step in ("prepare", "protect", "isolate"):
        run.tick(step)
    run.tick("choose_drum", drum="d1")
    run.lead("bond", "plastic", reason="Metal drum on the grounded grid")
    run.tick("bond")
    undo(store, ROOM, run.key, "choose_drum", run.hand(), NOW)
    run.tick("choose_drum", drum="d2")
    assert "class IB liquid through plastic" in run.refused("bond")["gate"]
    run.lead("bond", "plastic", reason="This one is grounded too")
    run.tick("bond")
    store.close()


SLOW = "tripropylene_glycol_methyl_ether"
QUICK = {"lead": "Curlew", "reason": "Watched while it is warm"}


def _loads(first_h: float, count: int, *tanks: str) -> list[Wash]:
    """Large loads, an hour apart, in one tank after the other."""
    return [
        Wash(at=NOW - timedelta(hours=first_h - number, minutes=-10 * place), tank=one,
             resin="slate", area_cm2=2000.0, by="Wren")
        for number in range(count)
        for place, one in enumerate(tanks)
    ]  # fmt: skip


def test_a_leads_word_for_heat_ends_once_alcohol_came_over_on_parts(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    rinse = tank("rinse", solvent=SLOW, capacity_l=20.0, min_l=15.0)
    bring_in(store, ROOM, [rinse, tank("dirty", pair="rinse")], NOW)
    hot = {"kind": "tank_build", "tank": "rinse", "material": "metal", "heated_to_c": 110}
    early = {"at": (NOW - timedelta(hours=100)).isoformat()}
    sure = {"confirm": ["tank_build_heated_to_c", "flash_lowered"]}
    assert client.post(API, json={**hot, **QUICK, **early}, params=sure).status_code == 201
    wash = {"kind": "wash", "tank": "rinse", "resin": "slate", "parts": 3}
    bring_in(store, ROOM, _loads(90, 4, "dirty", "rinse"), NOW)
    assert client.post(API, json=wash).status_code == 201  # a trace: above 60 °C
    bring_in(store, ROOM, _loads(80, 60, "dirty", "rinse"), NOW)
    refused = client.post(API, json=wash, params=sure)
    assert refused.status_code == 422
    assert "heated to 110 °C" in refused.json()["errors"][0]["message"]
    anew = client.post(API, json={**hot, **QUICK}, params=sure)
    assert anew.status_code == 201  # said of the bath as it is now
    assert client.post(API, json=wash, params=sure).status_code == 201
    bring_in(store, ROOM, _loads(2, 1, "dirty", "rinse"), NOW)
    assert client.post(API, json=wash, params=sure).status_code == 201  # it was so already


def test_heat_near_the_flash_point_of_what_came_over_needs_a_leads_word(
    client: TestClient,
) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    rinse = tank("rinse", solvent=SLOW, capacity_l=20.0, min_l=15.0)
    bring_in(store, ROOM, [rinse, tank("dirty", pair="rinse")], NOW)
    bring_in(store, ROOM, _loads(90, 16, "dirty", "rinse"), NOW)
    hot = {"kind": "tank_build", "tank": "rinse", "material": "metal", "heated_to_c": 55}
    sure = {"confirm": ["tank_build_heated_to_c", "flash_lowered"]}
    refused = client.post(API, json=hot, params=sure)
    assert refused.status_code == 422, refused.text
    said = refused.json()["errors"][0]["message"]
    assert re.search(r"flash point of the bath is about (6\d|7[01]) °C, computed", said)
    bring_in(store, ROOM, [TankBuild(at=START, tank="rinse", heated_to_c=55.0)], NOW)
    wash = {"kind": "wash", "tank": "rinse", "resin": "slate", "parts": 3}
    assert client.post(API, json=wash, params=sure).status_code == 422


def test_a_heated_or_ultrasonic_water_bath_after_alcohol_needs_a_leads_word_at_every_door(
    client: TestClient,
) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    water = tank("water", solvent="water_based", capacity_l=20.0, min_l=15.0)
    bring_in(store, ROOM, [water, tank("dirty", pair="water")], NOW)
    sent = {"kind": "tank_build", "tank": "water", "material": "metal"}
    warm, sonic = {**sent, "heated_to_c": 50}, {**sent, "is_ultrasonic": True}
    sure = {"confirm": ["tank_build_heated_to_c", "flash_lowered"]}
    wash = {"kind": "wash", "tank": "water", "resin": "slate", "parts": 3}
    for build in (warm, sonic):  # plain water: no question about fire
        assert client.post(API, json=build, params=sure).status_code == 201
        assert client.post(API, json=wash).status_code == 201
    bring_in(store, ROOM, _loads(90, 60, "dirty", "water"), NOW)
    for build in (warm, sonic):
        refused = client.post(API, json=build, params=sure)
        assert refused.status_code == 422, refused.text
        assert "flash point of the bath is about" in refused.text
        bring_in(store, ROOM, [TankBuild(at=NOW, tank="water", **{
            key: value for key, value in build.items() if key not in ("kind", "tank")
        })], NOW)  # fmt: skip
        page = client.post(f"{AT}/tanks/water/log/wash", data={"resin": "slate", "parts": "3"})
        assert page.status_code == 422
        assert client.post(API, json=wash, params=sure).status_code == 422
    said = client.get(f"{AT}/tanks/water").text
    assert "Treat this bath as flammable." in said
    assert "Ask for a flash test" in said
    assert "Water-based wash with alcohol carried in" in said


def test_a_water_bath_after_alcohol_asks_before_it_is_washed_in_or_poured(
    client: TestClient,
) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    water = tank("water", solvent="water_based", capacity_l=20.0, min_l=15.0)
    bring_in(store, ROOM, [
        water, tank("dirty", pair="water"), drum("w1", stream="water_wash", material="metal"),
        drum("w2", stream="water_with_alcohol", material="metal"),
    ], NOW)  # fmt: skip
    bring_in(store, ROOM, _loads(90, 60, "dirty", "water"), NOW)
    wash = {"kind": "wash", "tank": "water", "resin": "slate", "parts": 3}
    asked = client.post(API, json=wash)
    assert asked.status_code == 409, asked.text
    assert "flash_lowered" in asked.text
    pour = {"kind": "pour", "drum": "w1", "tank": "water", "volume_l": 5}
    assert "flash_lowered" in client.post(API, json=pour).text
    assert "flash_lowered" not in client.post(API, json={**pour, "drum": "w2"}).text
    alcohol = client.post(API, json={**pour, "drum": "w2", "tank": "dirty"})
    assert alcohol.status_code == 422


def test_each_slow_solvent_has_a_stream_of_its_own_for_that(client: TestClient) -> None:
    """Propylene carbonate after alcohol: no drum of glycol ether is named for it."""
    store = client.app.state.store  # type: ignore[attr-defined]
    carbonate = tank("pc", solvent="propylene_carbonate", capacity_l=20.0, min_l=15.0)
    bring_in(store, ROOM, [carbonate, tank("dirty", pair="pc")], NOW)
    bring_in(store, ROOM, _loads(90, 60, "dirty", "pc"), NOW)
    said = client.get(f"{AT}/tanks/pc").text
    assert "Treat this bath as flammable." in said
    assert "Glycol ether with alcohol" not in said
    assert "Propylene carbonate with flammable solvent carried in" in said


def test_a_leads_word_does_not_cover_a_bath_that_moves_in(client: TestClient) -> None:
    store = client.app.state.store  # type: ignore[attr-defined]
    rinse = tank("rinse", solvent=SLOW, capacity_l=20.0, min_l=15.0)
    bring_in(store, ROOM, [rinse, tank("dirty", pair="rinse")], NOW)
    hot = {"kind": "tank_build", "tank": "slow", "material": "metal", "heated_to_c": 110}
    sure = {"confirm": [
        "tank_build_heated_to_c", "flash_lowered", "purity_unlike", "swap_filled_l",
    ]}  # fmt: skip
    said = client.post(API, json={**hot, **QUICK}, params=sure)
    assert said.status_code == 201, said.text
    bring_in(store, ROOM, _loads(80, 60, "dirty", "rinse"), NOW)
    move = {"kind": "swap", "tank": "slow", "from_tank": "rinse", "drained_l": 39.0,
            "filled_l": 19.0}  # fmt: skip
    refused = client.post(API, json=move, params=sure)
    assert refused.status_code == 422, refused.text
    assert "heated to 110 °C" in refused.json()["errors"][0]["message"]

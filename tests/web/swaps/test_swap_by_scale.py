"""A scale sends its weights; whoever is at the step sees them come, and takes one by a touch."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow, TankRow
from tests.clocks import Clock
from tests.factories import ROOM, START, tank, wash
from tests.visiting import visiting

SWAP = f"/rooms/{ROOM}/tanks/t1/swap"
ENTRIES = f"/api/v1/rooms/{ROOM}/entries"
TARE_KG = 9.5
FRESH_KG_L = 0.7849
"""Isopropanol at 20 C, kg/L: CRC Handbook of Chemistry and Physics, from memory. That of the room
holds some water, so it is up to 1 % denser."""


@pytest.fixture
def client(tmp_path: Path, clock: Clock) -> Iterator[TestClient]:
    """A room with a used bath, two drums whose empty weight is on file, solvent on the shelf."""
    with visiting(tmp_path, [
        *(wash(9 - i, area_cm2=3000.0) for i in range(6)),
        *(
            Drum(at=START, drum=key, name=name, capacity_l=60, stream="isopropanol_resin",
                 area="wash_station", tare_kg=TARE_KG)
            for key, name in (("d1", "W-13"), ("d2", "W-14"))
        ),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.8),
        StockReceived(at=START, item="ipa", quantity=60, lot="A7"),
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    ], clock=clock) as client:  # fmt: skip
        until_drain(client)
        yield client


def tick(client: TestClient, step: str, expect: int = 200, **answers: str) -> str:
    sent = {f"confirm_{place}": "on" for place in range(8)} | {"by": "Wren"} | answers
    page = client.post(f"{SWAP}/steps/{step}/tick", data=sent)
    assert page.status_code == expect, page.text
    return page.text


def until_drain(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    for step in ("prepare", "protect", "isolate"):
        tick(client, step)
    tick(client, "choose_drum", drum="d1")
    tick(client, "bond")


def until_fill(client: TestClient) -> None:
    tick(client, "drain", drained_l="39", heel_l="0.5")
    tick(client, "inspect")
    tick(client, "rinse", rinse_l="2", lot="ipa|A7")
    for step in ("wipe", "refit"):
        tick(client, step)


def send(client: TestClient, mass_kg: float, moment: str = "after", **more: Any) -> Any:
    """A scale sends a weight; of the swap's drum unless it names something else."""
    named = {} if {"drum", "tank"} & more.keys() else {"drum": "d1"}
    key = more.pop("key", None)
    body = {"kind": "scale_weight", "scale": "Floor", "shown_kg": mass_kg, "moment": moment}
    headers = {"Idempotency-Key": key} if key else {}
    return client.post(ENTRIES, json=body | named | more, headers=headers)


def page(client: TestClient, step: str = "drain") -> str:
    return client.get(SWAP, params={"step": step}).text


def offered(client: TestClient, step: str = "drain") -> str:
    """The id of the weight that one touch takes at a step; empty where none is offered."""
    found = re.search(r'name="weighed" value="([^"]+)" formnovalidate', page(client, step))
    return found[1] if found else ""


def stored(client: TestClient, kind: str) -> list[str]:
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).where(EntryRow.kind == kind)).all()
    return [row.fields for row in rows if row.voided_by is None]


def drum_l(client: TestClient, key: str = "d1") -> float:
    book = client.get(f"/api/v1/rooms/{ROOM}/books/drum/{key}").json()
    return float(book["state"]["volume_l"])


def bath_kg_l(client: TestClient) -> float:
    """1/rho = w/rho_R + (1-w)/rho_S, volumes that add up (ideal mixture; docs/formulas.md)."""
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        row = session.exec(select(TankRow).where(TankRow.key == "t1")).one()
    w = row.mean_percent / 100
    return 1 / (w / row.resin_density_g_ml + (1 - w) / row.solvent_density_g_ml)


def test_a_weight_arrives_at_the_step_and_one_touch_takes_it(client: TestClient) -> None:
    litres = 30.0 / bath_kg_l(client)
    assert offered(client) == ""
    assert send(client, TARE_KG + 30.0).status_code == 201
    uid = offered(client)
    part = client.get(SWAP, params={"part": "scale", "step": "drain", "swap": key(client)}).text
    assert f"take {litres:.1f} L" in part
    tick(client, "drain", weighed=uid, heel_l="0.5")
    assert drum_l(client) == pytest.approx(litres, abs=0.01)
    assert offered(client) == ""


def key(client: TestClient) -> str:
    found = re.search(r"part=scale&amp;swap=([^&]+)&", page(client))
    assert found
    return found[1]


def test_a_weight_before_pouring_counts_instead_of_the_books(client: TestClient) -> None:
    send(client, TARE_KG + 1.0, "before")
    send(client, TARE_KG + 31.0)
    tick(client, "drain", weighed=offered(client), heel_l="0.5")
    assert drum_l(client) == pytest.approx(30.0 / bath_kg_l(client), abs=0.01)


def test_a_weight_that_is_sent_again_counts_once(client: TestClient) -> None:
    first = send(client, TARE_KG + 30.0, key="s-1")
    again = send(client, TARE_KG + 30.0, key="s-1")
    assert again.json() == first.json()
    assert again.headers["Idempotent-Replayed"] == "true"
    same_id = [send(client, TARE_KG + 30.0, id="w-7").status_code for _ in range(2)]
    assert same_id == [201, 200]
    assert len(stored(client, "scale_weight")) == 2


def test_a_touch_that_is_sent_again_pours_once(client: TestClient, clock: Clock) -> None:
    send(client, TARE_KG + 30.0)
    uid = offered(client)
    for _ in range(2):
        tick(client, "drain", weighed=uid, heel_l="0.5", submission="touch-1")
        clock.wait(minutes=20)
    assert len(stored(client, "pour")) == 1
    assert len(stored(client, "step_done")) == 6


def test_an_old_weight_is_not_offered_and_not_taken(client: TestClient, clock: Clock) -> None:
    send(client, TARE_KG + 30.0)
    uid = offered(client)
    clock.wait(minutes=16)
    assert offered(client) == ""
    assert "more than 15 minutes old" in tick(client, "drain", 422, weighed=uid)
    assert stored(client, "pour") == []


def test_a_weight_that_another_followed_is_not_taken(client: TestClient, clock: Clock) -> None:
    send(client, TARE_KG + 30.0)
    uid = offered(client)
    clock.wait(minutes=1)
    send(client, TARE_KG + 31.0)
    assert "has sent another weight since" in tick(client, "drain", 422, weighed=uid)
    assert offered(client) not in ("", uid)


def test_a_scale_that_moves_offers_nothing_until_it_rests(client: TestClient, clock: Clock) -> None:
    for kg in (12.0, 21.0, 30.0):
        send(client, TARE_KG + kg)
        clock.wait(seconds=2)
    assert offered(client) == ""
    assert "The scale still moves" in page(client)
    clock.wait(seconds=11)
    send(client, TARE_KG + 30.0)
    assert offered(client) != ""


@pytest.mark.parametrize("mass_kg", [-0.2, 4500.1, float("1e300")])
def test_a_weight_below_nothing_or_past_any_scale_is_refused(
    client: TestClient, mass_kg: float
) -> None:
    answer = send(client, mass_kg)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "shown_kg"
    assert stored(client, "scale_weight") == []


def test_a_drum_lighter_than_empty_is_refused(client: TestClient) -> None:
    answer = send(client, TARE_KG - 2.0)
    assert answer.status_code == 422
    assert "9.5 kg empty" in answer.json()["errors"][0]["message"]


@pytest.mark.parametrize("mass_kg, status", [(60 * 1.3 + TARE_KG, 201), (90.0, 422), (414.0, 422)])
def test_a_drum_heavier_than_full_is_refused(
    client: TestClient, mass_kg: float, status: int
) -> None:
    """The ten times and the pounds of a scale: 60 L weigh no 1.3 kg each."""
    answer = send(client, mass_kg)
    assert answer.status_code == status
    if status == 422:
        (error,) = answer.json()["errors"]
        assert error["field"] == "shown_kg"
        assert error["message"] == (
            "W-13 weighs at most about 88 kg full; this is more. Does the scale send kilograms?"
        )


def test_the_weight_of_another_drum_is_refused_at_the_swap_and_never_offered(
    client: TestClient,
) -> None:
    answer = send(client, TARE_KG + 30.0, drum="d2", tank="t1")
    assert answer.status_code == 422
    assert "drains into W-13, not W-14" in answer.json()["errors"][0]["message"]
    assert send(client, TARE_KG + 30.0, drum="d2").status_code == 201
    assert offered(client) == ""
    assert "The scale names W-14. This swap drains into W-13." in page(client)


def test_a_drum_that_is_not_here_and_a_weight_of_nothing_are_refused(client: TestClient) -> None:
    assert send(client, 20.0, drum="d9").json()["errors"][0]["field"] == "drum"
    body = {"kind": "scale_weight", "scale": "Floor", "shown_kg": 20.0, "moment": "after"}
    assert client.post(ENTRIES, json=body).status_code == 422


def test_a_drum_that_lost_weight_is_not_offered(client: TestClient, clock: Clock) -> None:
    send(client, TARE_KG + 1.5, "before")
    clock.wait(seconds=20)
    send(client, TARE_KG + 0.5)
    assert offered(client) == ""
    assert "this is less. Is it the right drum?" in page(client)


def test_more_than_the_bath_held_is_not_offered_and_not_taken(client: TestClient) -> None:
    send(client, TARE_KG + 60.0, id="w-1")
    assert offered(client) == ""
    assert "but the tank gives at most" in page(client)
    assert "Is it the right drum?" in tick(client, "drain", 422, weighed="w-1")
    assert stored(client, "pour") == []


def test_more_than_the_tank_takes_is_not_offered_and_not_taken(
    client: TestClient, clock: Clock
) -> None:
    until_fill(client)
    clock.wait(minutes=1)
    send(client, 90.0, "before", tank="t1")
    clock.wait(minutes=4)
    send(client, 90.0 - 80 * FRESH_KG_L, tank="t1", id="w-1")
    assert offered(client, "fill") == ""
    # 40 L and what nobody can see at a mark, without the 0.5 L that were left in it.
    assert "but the tank takes at most 39.7 L" in page(client, "fill")
    refused = tick(client, "fill", 422, weighed="w-1", lot="ipa|A7")
    assert "Is it the right container?" in refused


def test_more_rinse_than_the_tank_holds_is_not_offered(client: TestClient, clock: Clock) -> None:
    tick(client, "drain", drained_l="39", heel_l="0.5")
    tick(client, "inspect")
    clock.wait(minutes=1)
    send(client, 87.0)  # 40 kg more than the drum weighs by the books
    assert offered(client, "rinse") == ""
    assert "but the tank holds" in page(client, "rinse")


def test_a_weight_that_names_another_tank_is_not_offered(client: TestClient, clock: Clock) -> None:
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    record(store, ROOM, [tank("t2")], clock.now)
    assert send(client, TARE_KG + 30.0, drum="d1", tank="t2").status_code == 201
    assert offered(client) == ""
    assert send(client, TARE_KG + 30.0, drum="d1", tank="t1").status_code == 201
    assert offered(client) != ""


def test_a_drum_far_from_its_books_before_pouring_is_not_offered(
    client: TestClient, clock: Clock
) -> None:
    send(client, TARE_KG + 20.0, "before")
    clock.wait(seconds=20)
    send(client, TARE_KG + 50.0, id="w-1")
    assert offered(client) == ""
    assert "by the books this drum weighed 9.5 kg. Is it the right drum?" in page(client)
    tick(client, "drain", 422, weighed="w-1")
    assert stored(client, "pour") == []


def test_a_container_on_the_scale_says_the_fill(client: TestClient, clock: Clock) -> None:
    until_fill(client)
    send(client, 31.0, tank="t1")
    assert "did not send what the container weighed before" in page(client, "fill")
    clock.wait(minutes=1)
    send(client, 32.0, "before", tank="t1")
    clock.wait(minutes=4)
    send(client, 32.0 - 39 * FRESH_KG_L, tank="t1")
    shown = re.search(r"take ([\d.]+) L", page(client, "fill"))
    assert shown
    assert float(shown[1]) == pytest.approx(39.0, rel=0.01)
    tick(client, "fill", weighed=offered(client, "fill"), lot="ipa|A7")
    (used,) = [one for one in stored(client, "stock_used") if '"quantity":2' not in one][-1:]
    quantity = float(re.search(r'"quantity": ?([\d.]+)', used)[1])  # type: ignore[index]
    assert quantity == pytest.approx(39.0, rel=0.01)


def test_a_container_weighed_before_the_rinse_says_no_fill(
    client: TestClient, clock: Clock
) -> None:
    """The rinse came out of it too."""
    send(client, 34.0, "before", tank="t1")
    clock.wait(minutes=1)
    until_fill(client)
    clock.wait(minutes=1)
    send(client, 32.0 - 30 * FRESH_KG_L, tank="t1")
    assert "did not send what the container weighed before" in page(client, "fill")


def test_the_drum_on_the_scale_says_the_rinse(client: TestClient, clock: Clock) -> None:
    tick(client, "drain", drained_l="39", heel_l="0.5")
    tick(client, "inspect")
    clock.wait(minutes=1)
    full_l, book = drum_l(client), client.get(f"/api/v1/rooms/{ROOM}/books/drum/d1").json()
    mass_kg = book["state"]["mass_kg"]
    send(client, TARE_KG + mass_kg + 2 * FRESH_KG_L)
    tick(client, "rinse", weighed=offered(client, "rinse"), lot="ipa|A7")
    assert drum_l(client) - full_l == pytest.approx(2.0, rel=0.01)


def test_a_pour_and_a_top_up_take_the_weight_into_their_forms(
    client: TestClient, clock: Clock
) -> None:
    send(client, TARE_KG + 5.0, drum="d2")
    form = client.get(f"/rooms/{ROOM}/waste/drums/d2/pour").text
    assert f"mass_before_kg={TARE_KG:.3f}&mass_after_kg={TARE_KG + 5:.3f}" in form.replace(
        "&amp;", "&"
    )
    send(client, 20.0, "before", tank="t1")
    clock.wait(minutes=1)
    send(client, 20.0 - FRESH_KG_L, tank="t1")
    shown = re.search(r"volume_l=([\d.]+)", client.get(f"/rooms/{ROOM}/tanks/t1/log/top-up").text)
    assert shown
    assert float(shown[1]) == pytest.approx(1.0, rel=0.01)


def test_weights_move_no_litre(client: TestClient) -> None:
    before = client.get(f"/api/v1/rooms/{ROOM}/litres").json()["groups"]
    send(client, TARE_KG + 30.0)
    assert client.get(f"/api/v1/rooms/{ROOM}/litres").json()["groups"] == before

"""What a tablet kept is asked about where a hold was set meanwhile, and is not lost."""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds.curing import CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.incidents import StationHeld, TankHeld
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, LotHeld, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumClosed, DrumQuarantined, PickupBooked
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import STORE_IT
from tests.factories import NOW, ROOM, START

AT = f"/rooms/{ROOM}"
AGO = NOW - timedelta(hours=2)
BEFORE, AFTER = AGO - timedelta(minutes=30), AGO + timedelta(minutes=30)
HERE = [
    CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    TankHeld(at=AGO, tank="t1", reason="The seal leaks", cause="lead", by="Dunlin"),
    Station(at=START, station="s1", name="Station 1", source="led", wavelength_nm=405.0,
            layout="centre", new_mw_cm2=20.0, longest_minutes=30.0),
    Irradiance(at=START + timedelta(days=1), station="s1", centre_mw_cm2=20.0),
    CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0, dry_minutes=0.0),
    StationHeld(at=AGO, station="s1", reason="The lid is cracked", cause="lead", by="Dunlin"),
    *(Drum(at=START, drum=key, name=f"Drum {key}", capacity_l=200.0, area="central",
           stream="isopropanol_resin", volume_l=20.0) for key in ("d1", "d2")),
    DrumClosed(at=START, drum="d2", is_cool=True),
    PickupBooked(at=START, pickup="p1", drums=["d2"], hauler="Marl Waste", pickup_on=NOW.date()),
    *(DrumQuarantined(at=AGO, drum=key, reason="Unknown in it", by="Dunlin")
      for key in ("d1", "d2")),
    Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
         solvent="isopropanol"),
    StockReceived(at=START, item="ipa", quantity=40.0, lot="L1"),
    LotHeld(at=AGO, item="ipa", lot="L1", standing="quarantined", reason="Smells", by="Dunlin"),
]  # fmt: skip
FORMS: dict[str, tuple[str, dict[str, str]]] = {
    "wash": ("/tanks/t1/log/wash", {"resin": "slate", "area_cm2": "520"}),
    "cure": ("/cure", {"station": "s1", "resin": "slate", "minutes": "0.9167",
                       "came_from": "none"}),
    "pour": ("/waste/drums/d1/pour", {"volume_l": "2", "tank": "t2"}),
    "top_up": ("/tanks/t2/log/top-up", {"volume_l": "0.5", "bottle": "ipa|L1"}),
}  # fmt: skip


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    record(store, ROOM, HERE, NOW)
    return client


def send(room: TestClient, act: str, at: Any, confirmed: str = "") -> Any:
    path, typed = FORMS[act]
    told = {"X-Sent-By": "outbox", "X-Touched-At": at.isoformat(), "X-Touched-By": "Wren"}
    form = {"by": "Wren", "submission": f"kept-{act}-{confirmed}", **typed}
    form |= {"confirmed": confirmed} if confirmed else {}
    return room.post(AT + path, data=form, headers=told, follow_redirects=False)


def said(answer: Any) -> str:
    """The main part of a page, without its tags."""
    main = answer.text[answer.text.find("<main") :]
    return re.sub(r"<[^>]*>|\s+", " ", main)[:1500]


def kept(store: Store, kind: str) -> list[EntryRow]:
    with Session(store.reader) as session:
        return list(
            session.exec(select(EntryRow).where(EntryRow.kind == kind, EntryRow.by == "Wren"))
        )


@pytest.mark.parametrize("act", FORMS)
@pytest.mark.parametrize("at, question", [(BEFORE, "happen before that"), (AFTER, "happen anyway")])
def test_what_was_done_without_knowing_of_a_hold_is_asked_and_then_stored(
    room: TestClient, store: Store, act: str, at: Any, question: str
) -> None:
    answer = send(room, act, at)
    assert answer.status_code == 422
    assert question in answer.text, said(answer)
    assert not kept(store, act)
    found = STORE_IT.search(answer.text)
    assert found is not None
    answer = send(room, act, at, found[1])
    assert answer.status_code in (200, 303), said(answer)
    assert len(kept(store, act)) == 1
    word = "entered after the" if at == BEFORE else "done during the"
    assert word in room.get(f"{AT}/log").text


@pytest.mark.parametrize("act", FORMS)
def test_a_time_typed_into_a_form_is_no_way_round_the_hold(
    room: TestClient, store: Store, act: str
) -> None:
    path, typed = FORMS[act]
    when = {"at": AFTER.strftime("%Y-%m-%dT%H:%M"), "by": "Wren", "submission": f"typed-{act}"}
    answer = room.post(AT + path, data={**typed, **when}, follow_redirects=False)
    assert answer.status_code in (409, 422)
    assert "happen anyway" not in answer.text
    assert not kept(store, act)


def test_a_shipment_that_waited_stays_refused(room: TestClient, store: Store) -> None:
    """Whoever is at the gate asks: a drum in quarantine is not on the road by a tablet's word."""
    told = {"X-Sent-By": "outbox", "X-Touched-At": AFTER.isoformat(), "X-Touched-By": "Wren"}
    form = {"drum+d2": "on", "document": "M-1", "by": "Wren", "submission": "ship"}
    answer = room.post(f"{AT}/waste/pickups/p1/ship", data=form, headers=told,
                       follow_redirects=False)  # fmt: skip
    assert answer.status_code == 422
    assert "in quarantine" in answer.text
    assert not kept(store, "pickup_shipped")

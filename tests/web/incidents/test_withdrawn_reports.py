"""A report that is withdrawn leaves its holds: the page says so, and leads on to the release."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, tank

AT = f"/rooms/{ROOM}"
AGO = (NOW - timedelta(hours=1)).isoformat()
THINGS = {
    "tank": ("fire", {"tank": "t9"}, f"{AT}/tanks/t9/hold"),
    "drum": ("drum_warm", {"drum": "d9"}, f"{AT}/waste/drums/d9"),
    "station": ("eye_light", {"station": "s9"}, f"{AT}/stations/s9/hold"),
}


@pytest.mark.parametrize("sort", THINGS)
def test_what_a_withdrawn_report_holds_is_named_with_the_way_to_its_release(
    client: TestClient, store: Store, sort: str
) -> None:
    record(store, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"), tank("t9"),
        Station(at=START, station="s9", name="Cure one", source="led", wavelength_nm=405.0,
                layout="centre"),
        Drum(at=START, drum="d9", name="W-9", stream="isopropanol_resin", capacity_l=200.0,
             area="wash_station", volume_l=20.0),
    ], NOW)  # fmt: skip
    problem, named, release = THINGS[sort]
    body = {"kind": "incident", "incident": "i9", "problem": problem, "at": AGO, "by": "Dunlin"}
    told = client.post(f"/api/v1{AT}/entries", json={**body, **named})
    assert told.status_code == 201, told.text
    page = f"{AT}/entries/{told.json()['ids'][0]}"
    client.cookies.set("person", "Curlew")
    assert "This does not release" in client.get(page).text
    sent = {"note": "It was the bath beside it", "by": "Curlew", "submission": "w" * 16}
    after = client.post(f"{page}/withdraw", data=sent)
    assert after.url.path == page
    assert "what it put out of use still is" in after.text
    assert f'href="{release}"' in after.text
    assert client.get(release).status_code == 200

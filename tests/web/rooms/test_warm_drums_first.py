"""A drum that a weekly check found warm stands first on the room page and the wall, unreported."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.waste import Drum, DrumChecked
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START

AT = f"/rooms/{ROOM}"
IN_ORDER = {"lid_closed": True, "label_complete": True, "date_visible": True}


@pytest.fixture(autouse=True)
def _drum(store: Store) -> None:
    drum = Drum(at=START, drum="d9", name="W-9", stream="isopropanol_resin", capacity_l=200.0,
                area="wash_station", volume_l=20.0)  # fmt: skip
    record(store, ROOM, [drum], NOW)


def checked(store: Store, **found: bool) -> None:
    values = {**IN_ORDER, "no_leak": True, **found}
    record(store, ROOM, [DrumChecked(at=NOW - timedelta(hours=1), drum="d9", **values)], NOW)


def test_a_warm_drum_stands_first_everywhere(client: TestClient, store: Store) -> None:
    assert "Drum warm, hissing or bulging" not in client.get(AT).text
    checked(store, is_warm=True)
    for page in (AT, f"{AT}/wall"):
        text = client.get(page).text
        assert "Drum warm, hissing or bulging" in text, page
        assert "Drum W-9" in text, page
    assert f'href="{AT}/waste/drums/d9"' in client.get(AT).text


def test_a_drum_that_leaks_by_its_check_is_told(client: TestClient, store: Store) -> None:
    checked(store, no_leak=False)
    text = client.get(AT).text
    assert "Drum leaks, rusts or bulges. Move the contents into a sound drum" in text


def test_a_drum_is_booked_for_pickup_with_its_trouble_beside_it(
    client: TestClient, store: Store
) -> None:
    checked(store, is_warm=True)
    text = client.get(f"{AT}/waste/pickups").text
    assert "W-9, 1" in text.replace("&#34;", "")
    assert "warm, hissing or bulging: keep away" in text
    assert "in quarantine: a lead releases it before it ships" in text


def test_a_warm_drum_offers_nothing_that_moves_or_empties_it(
    client: TestClient, store: Store
) -> None:
    page = f"{AT}/waste/drums/d9"
    offers = ("/do/move", f"{page}/transfer", "Book a pickup", f"{page}/pour")
    before = client.get(page).text
    assert all(one in before for one in offers)
    checked(store, is_warm=True)
    text = client.get(page).text
    assert not [one for one in offers if one in text]
    assert "Keep away, keep others away." in text
    guide = f"{AT}/problem/drum_warm?drum=d9"
    assert guide in text
    assert client.get(guide).status_code == 200

"""A top-up out of a container of the shelf: the wrong one is stopped before the pour."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.answers import sure
from tests.factories import NOW, ROOM, START

FORM = f"/rooms/{ROOM}/tanks/t1/log/top-up"


@pytest.fixture
def shelf(client: TestClient, store: Store) -> TestClient:
    """Alcohol of two strengths and a glycol ether."""
    slow = "tripropylene_glycol_methyl_ether"
    kinds = (("ipa", "isopropanol", 99.0), ("weak", "isopropanol", 87.0), ("tpm", slow, 99.0))
    entries: list[Any] = []
    for key, solvent, purity in kinds:
        entries += [
            Item(at=START, item=key, name=key.upper(), category="solvent", unit="L",
                 solvent=solvent, purity_percent=purity),
            StockReceived(at=START, item=key, quantity=10.0, lot="A7"),
        ]  # fmt: skip
    record(store, ROOM, entries, NOW)
    return client


def on_hand(store: Store, item: str) -> float:
    with Session(store.reader) as session:
        state: Any = thing(session, find_room(session, ROOM).id or 0, "item", item)
    return float(state.on_hand)


def top_ups(client: TestClient) -> int:
    return len(client.get(f"/api/v1/rooms/{ROOM}/entries?kind=top_up").json()["entries"])


def test_it_leaves_the_shelf_and_enters_the_bath_in_one_go(shelf: TestClient, store: Store) -> None:
    assert "IPA, lot A7" in shelf.get(FORM).text
    form = {"volume_l": "2", "bottle": "ipa|A7", "submission": "s1"}
    for _ in range(2):
        assert shelf.post(FORM, data=form).status_code == 200
    assert (on_hand(store, "ipa"), top_ups(shelf)) == (pytest.approx(8.0), 1)


def test_undoing_it_puts_it_back_on_the_shelf(shelf: TestClient, store: Store) -> None:
    form = {"volume_l": "2", "bottle": "ipa|A7", "by": "Wren"}
    sent = sure(shelf, FORM, form, follow_redirects=False)
    uid = sent.headers["location"].partition("saved=")[2]
    assert shelf.post(f"/rooms/{ROOM}/tanks/t1/undo/{uid}").status_code == 200
    assert on_hand(store, "ipa") == 10.0


def test_the_wrong_solvent_is_stopped_and_nothing_is_stored(
    shelf: TestClient, store: Store
) -> None:
    answer = shelf.post(FORM, data={"volume_l": "2", "bottle": "tpm|A7"})
    assert answer.status_code == 422
    assert "Stop: the bath holds Isopropanol" in answer.text
    assert (on_hand(store, "tpm"), top_ups(shelf)) == (10.0, 0)


def test_more_than_the_lot_holds_is_refused(shelf: TestClient, store: Store) -> None:
    assert shelf.post(FORM, data={"volume_l": "12", "bottle": "ipa|A7"}).status_code == 422
    assert shelf.post(FORM, data={"volume_l": "1", "bottle": "nothing|A7"}).status_code == 422
    assert (on_hand(store, "ipa"), top_ups(shelf)) == (10.0, 0)


def test_a_weaker_lot_is_asked_about(shelf: TestClient, store: Store) -> None:
    form = {"volume_l": "2", "bottle": "weak|A7"}
    asked = shelf.post(FORM, data=form)
    assert asked.status_code == 422
    assert "Its water will read like resin" in asked.text
    assert sure(shelf, FORM, form).status_code == 200
    assert on_hand(store, "weak") == pytest.approx(8.0)


def test_without_a_shelf_the_form_is_as_short_as_before(client: TestClient) -> None:
    assert "From which container" not in client.get(FORM).text
    assert client.post(FORM, data={"volume_l": "2"}).status_code == 200


def test_what_fits_the_bath_is_offered_first_and_another_solvent_is_marked(
    shelf: TestClient,
) -> None:
    offered = re.findall(r'<option value="[^"]*\|A7"[^>]*>([^<]*)', shelf.get(FORM).text)
    assert offered == ["IPA, lot A7", "WEAK, lot A7", "TPM, lot A7: not for this bath"]

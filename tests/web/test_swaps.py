"""A swap from its start to its completion."""

from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.services.roomlog import record
from app.store.engine import Store
from app.store.tables import TankRow
from tests.factories import NOW, ROOM, wash

SWAP = f"/rooms/{ROOM}/tanks/t1/swap"


def tank(store: Store) -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == "t1")).one()


def test_it_works(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(13 - i * 0.2, area_cm2=4000.0) for i in range(40)], NOW)
    loaded = tank(store).mean_percent
    assert "Before you start" in client.get(SWAP).text
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    assert tank(store).swap_started_at_us is not None
    data = {"drained_l": "39", "filled_l": "39", "solvent": "isopropanol",
            "fresh_purity_percent": "99.5", "confirmed": "1"}  # fmt: skip
    page = client.post(f"{SWAP}/complete", data=data)
    assert page.status_code == 200
    after = tank(store)
    assert after.swap_started_at_us is None
    assert after.fill == 1
    assert after.fresh_purity_percent == 99.5
    assert after.mean_percent < 0.2 * loaded


def test_a_swap_given_up_leaves_the_bath(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(3)], NOW)
    client.post(f"{SWAP}/start")
    client.post(f"{SWAP}/abandon")
    assert tank(store).swap_started_at_us is None
    assert tank(store).fill == 0


def test_more_than_the_tank_holds_is_refused(client: TestClient, store: Store) -> None:
    page = client.post(f"{SWAP}/complete", data={"drained_l": "39", "filled_l": "390"})
    assert page.status_code == 422
    assert 'value="390"' in page.text
    assert tank(store).fill == 0


def test_a_swap_is_undone_by_withdrawing_it(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(3, area_cm2=9000.0)], NOW)
    before = tank(store).mean_percent
    page = client.post(f"{SWAP}/complete", data={"confirmed": "1"}, follow_redirects=False)
    entry = page.headers["location"].split("saved=")[1]
    client.post(f"/rooms/{ROOM}/tanks/t1/undo/{entry}")
    assert tank(store).fill == 0
    assert abs(tank(store).mean_percent - before) < 0.01

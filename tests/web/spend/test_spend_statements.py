"""The spending pages ask the database as much of a long log as of a short one."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from app.domain.roomlog.kinds import Entry, TopUp
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.kinds.waste import Pour
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM
from tests.services.spend.test_weekly_costs import costly, stocked

AT = f"/rooms/{ROOM}/spend"


def statements(client: TestClient, store: Store, path: str) -> int:
    """How many statements the first reading of a page behind an entry takes."""
    record(store, ROOM, [OtherCost(at=NOW, prices="prices", cost_cents=1, purpose="other",
                                   what="Cloth")], NOW)  # fmt: skip
    found: list[str] = []

    def count(*told: object) -> None:
        found.append(str(told[2]))

    event.listen(store.reader, "before_cursor_execute", count)
    try:
        assert client.get(path).status_code == 200
    finally:
        event.remove(store.reader, "before_cursor_execute", count)
    return len(found)


def many() -> list[Entry]:
    """What costs, and fills, hour by hour."""
    found: list[Entry] = []
    for hour in range(1, 13 * 24):
        at = NOW - timedelta(hours=hour)
        found += [
            StockUsed(at=at, item="ipa", quantity=0.01, tank="t1", purpose="top_up"),
            TopUp(at=at, tank="t1", volume_l=0.01),
            Pour(at=at, drum="d1", volume_l=0.01, tank="t1", resin_percent=5),
        ]
    return found


@pytest.mark.parametrize("page", ["", "?span=52", "/balance", "/ahead"])
def test_a_page_takes_no_more_statements_the_longer_the_log_is(
    client: TestClient, store: Store, page: str
) -> None:
    record(store, ROOM, [*stocked(), *costly()], NOW)
    client.get(AT + page)
    few = statements(client, store, AT + page)
    record(store, ROOM, many(), NOW)
    client.get(AT + page)
    assert statements(client, store, AT + page) <= few <= 30

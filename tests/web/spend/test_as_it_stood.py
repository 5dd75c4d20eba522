"""Past weeks go by the settings that applied then: a change today leaves them as they were."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Entry, Swap, TankChange, TopUp
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import Item
from app.domain.roomlog.kinds.waste import Drum, Pour
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, wash

SPEND = f"/rooms/{ROOM}/spend"
WEEK = "2026-W09"


def day(days: float) -> datetime:
    return NOW - timedelta(days=days)


def lines(client: TestClient, **asked: str) -> str:
    return client.get(f"{SPEND}/lines", params={"week": WEEK, **asked}).text


def rates(**given: int) -> PriceList:
    return PriceList(at=START, prices="prices", currency="EUR", **given)


def late(client: TestClient) -> int:
    page = client.get(f"{SPEND}/quality", params={"week": WEEK}).text
    return len(re.findall(r'<th scope="row"><a href="/rooms/[^"]+/entries/', page))


@pytest.mark.parametrize("then, now, count", [(30.0, 4.0, 0), (4.0, 30.0, 3)])
def test_a_wash_is_late_by_the_limit_that_its_tank_had_then(
    client: TestClient, store: Store, then: float, now: float, count: int
) -> None:
    entries: list[Entry] = [
        TankChange(at=START, id="then", tank="t1", limit_percent=then),
        *(wash(12 - i / 5, id=f"b{i}", area_cm2=8_000) for i in range(20)),  # the week before
        *(wash(5 - i, id=f"w{i}") for i in range(3)),
    ]  # fmt: skip
    record(store, ROOM, entries, NOW)
    assert late(client) == count
    record(store, ROOM, [TankChange(at=NOW, id="now", tank="t1", limit_percent=now)], NOW)
    assert late(client) == count
    said = "3 of 3 washes past the limit" if count else "None of 3 washes was past the limit."
    assert said in client.get(SPEND, params={"week": WEEK}).text


def test_a_past_swap_keeps_the_minutes_that_one_usually_took_then(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [
        rates(labour_cents_per_hour=3_000),
        SiteRules(at=START, id="then", site="site", swap_minutes=60),
        Swap(at=day(5), id="s1", tank="t1"),
    ], NOW)  # fmt: skip
    assert "€30.00" in lines(client, category="labour")  # an hour at 30.00
    record(store, ROOM, [SiteRules(at=NOW, id="now", site="site", swap_minutes=120)], NOW)
    assert "€30.00" in lines(client, category="labour")
    record(store, ROOM, [Swap(at=NOW, id="s2", tank="t1")], NOW)
    assert "€60.00" in lines(client, week="2026-W10", category="labour")


def test_a_past_fill_keeps_the_rate_though_the_shelf_keeps_its_solvent_now(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [
        rates(solvent_cents_per_l=400),
        TopUp(at=day(5), id="up", tank="t1", volume_l=3.0),
    ], NOW)  # fmt: skip
    assert "€12.00" in lines(client, category="solvent")
    shelf = Item(at=NOW, id="i", item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol")  # fmt: skip
    record(store, ROOM, [shelf], NOW)
    assert "€12.00" in lines(client, category="solvent")
    assert "with nothing taken from the shelf" not in client.get(SPEND, params={"week": WEEK}).text


def test_settings_first_entered_after_the_history_was_brought_in_apply_to_all_of_it(
    client: TestClient, store: Store
) -> None:
    bare = Swap(at=day(5), id="s1", tank="t1")
    record(store, ROOM, [rates(labour_cents_per_hour=3_000), bare], NOW)
    assert "€45.00" in lines(client, category="labour")  # 90 minutes: the program's own default
    record(store, ROOM, [SiteRules(at=NOW, id="now", site="site", swap_minutes=40)], NOW)
    assert "€20.00" in lines(client, category="labour")


def test_a_budget_that_changed_since_judges_no_week_that_was_over(
    client: TestClient, store: Store
) -> None:
    monday = datetime(2026, 3, 2, tzinfo=UTC)  # the first instant of 2026-W10
    cost = OtherCost(at=day(5), id="o", prices="prices", cost_cents=15_000, purpose="other",
                     what="Tea")  # fmt: skip
    then, after = rates(weekly_budget_cents=10_000), rates(weekly_budget_cents=20_000)
    record(store, ROOM, [then, replace(after, at=monday), cost], NOW)
    page = client.get(SPEND, params={"week": WEEK}).text
    assert "€50.00 over the budget" in page  # 150.00 against 100.00


def test_what_is_unexplained_is_flagged_by_the_tolerance_that_applied_then(
    client: TestClient, store: Store
) -> None:
    moves: list[Entry] = [
        SiteRules(at=START, id="then", site="site", loss_tolerance_percent=50),
        Drum(at=START, id="d", drum="d1", name="Drum 1", capacity_l=200, area="central",
             stream="isopropanol_resin"),
        Swap(at=day(5), id="s1", tank="t1", drained_l=39, filled_l=40),
        Pour(at=day(5), id="p1", drum="d1", volume_l=29, tank="t1"),
    ]  # fmt: skip
    record(store, ROOM, moves, NOW)
    address = f"{SPEND}/balance?week={WEEK}&span=1"
    assert "more than 50 % of what moved" in client.get(address).text
    assert "More than the tolerance" not in client.get(address).text
    record(store, ROOM, [SiteRules(at=NOW, id="n", site="site", loss_tolerance_percent=1)], NOW)
    page = client.get(address).text
    assert "more than 50 % of what moved" in page
    assert "More than the tolerance" not in page

"""Every value of a set of rules works: another value gives another label, page, clock or plan.

A room that stands near every limit is looked at under each rule as it is and with another value.
Both times the value is the site's own, with one source, so that only the value differs.
"""

import itertools
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.waste import PickupBooked, PickupShipped, WasteRules
from app.domain.waste.rule_model import Category, Rule, RuleSet
from app.domain.waste.rules import RULE_SETS
from app.main import create_app
from app.services.door import bring_in
from tests.factories import NOW, ROOM, furnish, tank
from tests.furnished import prepare
from tests.services.waste_room import ago, drum, pour

AT = f"/rooms/{ROOM}"
PAGES = (
    f"{AT}/waste", f"{AT}/waste/new", f"{AT}/storage", f"{AT}/waste/pickups/p1", f"{AT}/duties",
    *(f"{AT}/waste/drums/{key}" for key in ("d1", "d2", "w1", "d4")),
    *(f"{AT}/waste/drums/{key}/label" for key in ("d1", "d5", "g1")),
    f"{AT}/plan", f"{AT}/waste/months",
)  # fmt: skip
UNCOUNTED = ["wipes", "glycol_ether_resin"]
TURNS = itertools.count()
FILLED = {
    "month_kg": 900.0, "on_site_kg": 1500.0, "storage_days": 365.0, "satellite_volume": 200.0,
    "satellite_days": 3.0, "copy_days": 60.0, "keep_years": 3.0, "full_at_c": 55.0,
}  # fmt: skip
"""What a site enters where a set leaves it open."""
OTHERS = (0.25, 4.0, 0.9, 1.1)
DRIFTS = re.compile(r'name="submission" value="[^"]*"|value="[0-9a-f]{32}\w?"|nonce="[^"]*"')


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A browser on a room with something under every rule."""
    folder = tmp_path_factory.mktemp("rules")
    prepare(folder)
    app = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    furnish(app.state.store, tanks=1)
    bring_in(app.state.store, ROOM, list(room_near_all_limits(folder)), NOW)
    with TestClient(app, base_url="http://room.test") as client:
        yield client


def room_near_all_limits(_: Path) -> Iterator[Any]:
    """Drums in both areas, excluded wipes, a bulk container, a shipment without its copy."""
    yield SiteRules(at=ago(350), site="site", solvent_lead_days=3, country="none")
    yield tank("dpm", solvent="dipropylene_glycol_methyl_ether")
    for key, days, area in (("d1", 80, "wash_station"), ("d2", 80, "central"), ("d4", 5, "central"),
                            ("d6", 80, "wash_station")):  # fmt: skip
        yield drum(key, days, area=area, capacity_l=205.0)
    yield drum("d5", 5, area="central", capacity_l=1000.0)
    yield drum("g1", 5, area="central", stream="glycol_ether_resin")
    yield drum("w1", 30, stream="wipes", volume_l=5.0, waste_kg=3.0, first_pour_at=ago(30))
    yield drum("d7", 345, area="central", capacity_l=205.0)
    yield pour(344, 150.0, "d7")
    yield pour(79, 180.0, "d6")
    yield pour(78, 150.0, "d1")
    yield pour(75, 170.0, "d2")
    yield pour(3, 100.0, "d4")
    yield pour(2, 900.0, "d5")
    yield pour(2, 40.0, "g1")
    yield pour(1, 20.0, "d1")
    yield drum("s1", 90, area="central")
    yield pour(89, 60.0, "s1")
    left = ago(50)
    yield PickupBooked(at=left, pickup="p1", pickup_on=left.date(), hauler="Teal", drums=["s1"])
    yield PickupShipped(at=left, pickup="p1", drums=["s1"], document="M-1")


def values_of(rule_set: RuleSet) -> dict[str, float]:
    """The values of a set, and what a site enters where it leaves one open."""
    return {
        each.key: FILLED[each.key] if each.value is None else each.value for each in rule_set.rules
    }


def under(client: TestClient, rule_set: RuleSet, category: Category, values: Any) -> None:
    """The room goes on under a set with these values, all of the site's own."""
    edits = {
        key: {"value": value, "source": "Permit 7", "as_of": "2026-01-05"}
        for key, value in values.items()
    }
    entry = WasteRules(
        at=NOW - timedelta(days=1) + timedelta(seconds=next(TURNS)),
        waste_rules="waste_rules",
        rule_set=rule_set.key,
        category=category.key,
        edits=edits,
        uncounted=UNCOUNTED,
    )
    bring_in(client.app.state.store, ROOM, [entry], NOW)  # type: ignore[attr-defined]


def seen(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, path
    return DRIFTS.sub("", answer.text)


def works(client: TestClient, rule_set: RuleSet, rule: Rule, kept: dict[str, Any]) -> bool:
    """Some page looks otherwise under some category once the rule has another value."""
    before = values_of(rule_set)
    others = [by * before[rule.key] for by in OTHERS]
    naming = [one for one in rule_set.categories if rule.key in vars(one).values()]
    for category in naming or reversed(rule_set.categories):
        for other in others:
            under(client, rule_set, category, before | {rule.key: other})
            if any(seen(client, path) != kept[category.key][path] for path in PAGES):
                return True
    return False


@pytest.mark.parametrize("rule_set", RULE_SETS.values(), ids=lambda each: each.key)
def test_another_value_of_any_rule_changes_what_people_see(
    client: TestClient, rule_set: RuleSet
) -> None:
    before = values_of(rule_set)
    kept = {}
    for category in rule_set.categories:
        under(client, rule_set, category, before)
        kept[category.key] = {path: seen(client, path) for path in PAGES}
        assert all(seen(client, path) == page for path, page in kept[category.key].items())
    idle = [rule.key for rule in rule_set.rules if not works(client, rule_set, rule, kept)]
    assert idle == []

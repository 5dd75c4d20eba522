"""Decisions about the days of swaps by program: the same rules as on the page."""

from datetime import timedelta
from typing import Any

import pytest

from app.domain.roomlog.kinds.inspections import Component, InspectionAnswered
from app.services.door import bring_in as record
from tests.factories import NOW, ROOM

URL = f"/api/v1/rooms/{ROOM}/entries"
TODAY = NOW.date()


def day(days: int) -> str:
    return (TODAY + timedelta(days=days)).isoformat()


def post(client: Any, kind: str, **values: Any) -> Any:
    return client.post(URL, json={"kind": kind, "tank": "t1", **values})


def test_a_swap_is_set_and_stands_in_its_book(client: Any) -> None:
    assert post(client, "swap_pinned", planned_on=day(2), by="Curlew").status_code == 201
    state = client.get(f"/api/v1/rooms/{ROOM}/books/plan/t1").json()["state"]
    assert (state["mode"], state["on_day"], state["by"]) == ("pinned", day(2), "Curlew")


@pytest.mark.parametrize(
    "kind, values, field",
    [
        ("swap_pinned", {"planned_on": day(-1)}, "planned_on"),
        ("swap_pinned", {"planned_on": day(400)}, "planned_on"),
        ("swap_moved", {"planned_on": day(2), "from_on": day(2), "reason": "x"}, "planned_on"),
        ("swap_postponed", {"not_before_on": day(0), "reason": "x"}, "not_before_on"),
        ("swap_postponed", {"not_before_on": day(5)}, "reason"),
        ("swap_released", {}, "tank"),
    ],
)
def test_what_the_page_refuses_is_refused_here(
    client: Any, kind: str, values: dict[str, Any], field: str
) -> None:
    refused = post(client, kind, **values)
    assert refused.status_code == 422
    assert field in {error["field"] for error in refused.json()["errors"]}


def test_the_swaps_ahead_come_with_what_they_need(client: Any) -> None:
    post(client, "swap_pinned", planned_on=day(2), by="Curlew")
    plan = client.get(f"/api/v1/rooms/{ROOM}/plan").json()
    assert plan["today"] == TODAY.isoformat()
    first = plan["proposals"][0]
    assert (first["tank"], first["day"], first["is_pinned"]) == ("t1", day(2), True)
    lines = {line["subject"]: line for line in plan["swaps"][0]["lines"]}
    assert lines["solvent"]["missing"] == pytest.approx(38)
    assert lines["drum"]["state"] == "short"
    assert plan["orders"][0]["tanks"] == ["t1"]


def test_a_part_that_waits_for_a_look_is_a_line_of_its_swap(client: Any) -> None:
    record(client.app.state.store, ROOM, [
        Component(at=NOW, component="c1", part="washer", name="Washer 1", tank="t1"),
        InspectionAnswered(at=NOW, inspection="i1", component="c1",
                           answers={"washer_worn": "unseen"}),
    ], NOW)  # fmt: skip
    plan = client.get(f"/api/v1/rooms/{ROOM}/plan")
    assert plan.status_code == 200, plan.text
    lines = {line["subject"]: line for line in plan.json()["swaps"][0]["lines"]}
    assert (lines["look"]["state"], lines["look"]["text"]) == ("unknown", "Washer 1")


@pytest.mark.parametrize("weeks", ["0", "27", "x", "-1"])
def test_weeks_that_cannot_be_looked_at_are_refused(client: Any, weeks: str) -> None:
    assert client.get(f"/api/v1/rooms/{ROOM}/plan?weeks={weeks}").status_code == 422

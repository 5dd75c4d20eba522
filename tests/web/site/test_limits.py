"""Exposure limits: a lead sets one with reason and source, a higher one is asked about."""

from datetime import timedelta
from typing import Any

import pytest

from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import WasteRules
from app.services.door import bring_in as record
from tests.answers import STORE_IT, sure
from tests.factories import NOW, ROOM

AT, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}"
HERE = f"{AT}/solvents/limits"
SENT = {
    "solvent": "isopropanol", "holds_for": "eight_hours", "limit_ppm": "200",
    "source": "Permit 7, section 3", "reason": "The authority asks for half.", "lead": "Ana Prado",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _lead(store: Any) -> None:
    lead = CrewMember(at=NOW - timedelta(days=9), crew="crew", name="Ana Prado", role="lead")
    other = CrewMember(at=NOW - timedelta(days=9), crew="crew", name="Bo", role="technician")
    record(store, ROOM, [lead, other], NOW)


def estimate(client: Any, **more: str) -> str:
    asked = {"solvent": "isopropanol", "case": "lid", "area_m2": "0.25", "air_m_s": "0.25",
             "temperature_c": "20", "room_volume_m3": "60", "air_changes_per_hour": "6",
             "mixing": "1"}  # fmt: skip
    return str(client.get(f"{AT}/storage", params=asked | more).text)


def test_a_limit_of_the_site_stands_in_the_place_of_the_carried_one(client: Any) -> None:
    before = estimate(client)
    assert "8 hours, 400 ppm (NIOSH Pocket Guide 0359; read" in before
    page = client.post(HERE, data=SENT)
    assert page.status_code == 200
    assert "<b>200 ppm</b>, set by the site" in page.text
    assert (
        "Permit 7, section 3, Mon 2 Mar 2026, Ana Prado: The authority asks for half." in page.text
    )
    after = estimate(client)
    assert "8 hours, 200 ppm (Permit 7, section 3; set by the site, Mon 2 Mar 2026)" in after
    assert "8 hours, 400 ppm (NIOSH" not in after
    assert "15 minutes, 500 ppm (NIOSH Pocket Guide 0359; read" in after
    assert "8 hours, 200 ppm (Ontario limits" in after
    book = client.get(f"{API}/books/solvent_limits/solvent_limits").json()["state"]
    assert book["own"]["isopropanol/8 hours"]["lead"] == "Ana Prado"


def test_a_limit_goes_back_to_the_carried_one_and_the_log_keeps_both(client: Any) -> None:
    client.post(HERE, data=SENT)
    back = SENT | {"limit_ppm": "", "source": "", "reason": "The permit ended."}
    page = client.post(HERE, data=back).text
    assert "set by the site" not in page
    assert "8 hours, 400 ppm (NIOSH Pocket Guide 0359; read" in estimate(client)
    log = client.get(f"{AT}/log").text
    assert log.count("Ana Prado set the limit of") == 2
    assert "The authority asks for half." in log


@pytest.mark.parametrize(
    "holds_for, ppm, is_asked",
    # NIOSH Pocket Guide 0359: 400 ppm over 8 hours, 500 over 15 minutes, 2000 is danger to life
    [("eight_hours", "400", False), ("eight_hours", "401", True), ("fifteen_minutes", "600", True),
     ("fifteen_minutes", "450", False), ("danger_to_life", "2500", True),
     ("danger_to_life", "1500", False)],
)  # fmt: skip
def test_a_limit_above_the_rules_is_asked_about_by_every_door(
    client: Any, holds_for: str, ppm: str, is_asked: bool
) -> None:
    sent = SENT | {"holds_for": holds_for, "limit_ppm": ppm}
    entry = {"kind": "solvent_limit", "solvent_limits": "solvent_limits", "by": "Ana Prado"}
    answer = client.post(f"{API}/entries", json=entry | sent | {"limit_ppm": float(ppm)})
    assert answer.status_code == (409 if is_asked else 201)
    if not is_asked:
        return
    assert [one["name"] for one in answer.json()["questions"]] == ["limit_raised"]
    page = client.post(HERE, data=sent)
    assert page.status_code == 422
    assert f"{ppm} ppm is above" in page.text
    assert f'value="{ppm}"' in page.text
    assert "set by the site" not in client.get(HERE).text
    assert sure(client, HERE, sent).status_code == 200
    assert f"<b>{ppm} ppm</b>, set by the site" in client.get(HERE).text


def test_air_above_the_danger_that_the_site_set_says_leave(client: Any) -> None:
    assert "Leave the room now." not in estimate(client, mixing="3")
    client.post(HERE, data=SENT | {"holds_for": "danger_to_life", "limit_ppm": "100"})
    page = estimate(client, mixing="3")
    assert "Leave the room now." in page
    assert "Leave at 100 ppm at the latest (Permit 7, section 3; set by the site" in page


def test_another_country_keeps_its_limit_beside_the_site_s(client: Any, store: Any) -> None:
    rules = WasteRules(at=NOW, waste_rules="waste_rules", rule_set="england",
                       category="en_producer")  # fmt: skip
    client.post(HERE, data=SENT)
    record(store, ROOM, [rules], NOW)
    page = estimate(client)
    assert "8 hours, 200 ppm (Permit 7, section 3; set by the site" in page
    assert "8 hours, 400 ppm (NIOSH Pocket Guide 0359; read" in page  # elsewhere, for comparison


@pytest.mark.parametrize(
    "change, field",
    [
        ({"lead": "Bo"}, "Only a lead can do this: Ana Prado."),
        ({"lead": ""}, "Set by"),
        ({"reason": ""}, "Why it applies here"),
        ({"source": " "}, "Enter where this figure comes from."),
        ({"solvent": "water_based"}, "No limit is kept of"),
        ({"solvent": "own:Heptane:0.684:20:-4:98.4:48:400:100.2:250301"}, "on its data sheet"),
        ({"limit_ppm": "0"}, "between 0.01"),
        ({"limit_ppm": "low"}, "low"),
    ],
)
def test_what_is_no_limit_of_the_site_is_refused_beside_its_field(
    client: Any, change: dict[str, str], field: str
) -> None:
    page = client.post(HERE, data=SENT | change)
    assert page.status_code == 422
    assert field in page.text
    assert "set by the site" not in client.get(HERE).text


def test_the_page_says_how_each_limit_was_read(client: Any) -> None:
    page = client.get(HERE).text
    assert "400 ppm" in page
    assert "NIOSH Pocket Guide 0359; read" in page
    assert "EH40/2005, workplace exposure limits; from memory" in page
    filled = client.get(f"{HERE}?solvent=acetone&holds_for=eight_hours").text
    assert 'value="acetone" selected' in filled


def test_the_strictest_of_the_site_s_and_the_rules_limits_is_marked(client: Any) -> None:
    assert (
        ", <b>the strictest</b>"
        in client.post(HERE, data=SENT).text.split("set by the site")[1][:40]
    )
    above = {**SENT, "limit_ppm": "900", "submission": "above", "confirmed": "x"}
    asked = client.post(HERE, data=above)
    found = STORE_IT.search(asked.text)
    assert found
    page = client.post(HERE, data={**above, "confirmed": found[1]}).text
    own = page.split("<b>900 ppm</b>, set by the site")[1]
    assert not own.startswith(", <b>the strictest")
    assert "By the rules: 400 ppm, <b>the strictest</b>" in own

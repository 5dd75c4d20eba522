"""Closed days: chosen under the site's settings, and kept to by plan, pickups and deliveries."""

import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import holidays
import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.roomlog.kinds import Entry, Reading, Wash
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import (
    Item,
    OrderPlaced,
    StockReceived,
    StockScrapped,
)
from app.domain.roomlog.kinds.waste import Drum, WasteRules
from app.domain.site import SiteState
from app.main import create_app
from app.services.door import bring_in as record
from app.services.workdays import calendar_of
from app.store.engine import Store
from tests.answers import sure
from tests.factories import ROOM, furnish
from tests.furnished import prepare

AT = f"/rooms/{ROOM}"
YEAR_END = datetime(2026, 12, 14, 9, 0, tzinfo=UTC)  # a Monday


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A room in December: a bath that is full within days, a drum that has to leave."""
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: YEAR_END)
    store: Store = app.state.store
    furnish(store, tanks=1, time_zone="Europe/Dublin")
    central = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
    entries: list[Entry] = [
        *(Wash(at=YEAR_END - timedelta(days=14 - n), tank="t1", resin="slate", area_cm2=4000.0)
          for n in range(14)),
        Reading(at=YEAR_END - timedelta(days=13.9), tank="t1", method="sensor",
                values={"saturation_percent": 0.25}),
        WasteRules(at=central, waste_rules="waste_rules", rule_set="us_federal", category="sqg"),
        Drum(at=central, drum="d1", name="Drum 1", capacity_l=205.0, stream="isopropanol_resin",
             area="central", volume_l=60.0, first_pour_at=central, central_at=central),
        Item(at=central, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.0, supplier="Teal Supply"),
        StockReceived(at=central, item="ipa", quantity=100, lot="L1"),
        SiteRules(at=central, site="site", pickup_lead_days=5, country="IE"),
    ]  # fmt: skip
    record(store, ROOM, entries, YEAR_END)
    with TestClient(app, base_url="http://room.test") as client:
        yield client


@pytest.fixture
def store(client: TestClient) -> Store:
    return client.app.state.store  # type: ignore[attr-defined]


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def settings_form(client: TestClient) -> dict[str, str]:
    page = client.get(f"{AT}/site").text
    found = re.findall(r'<input[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', page)
    days = {f"day{n}": "on" for n in re.findall(r'name="day(\d)" checked', page)}
    chosen = re.search(r'name="country".*?value="([A-Z]{2}|none|)" selected', page, re.S)
    return {**dict(found), **days, "country": chosen[1] if chosen else ""}


@pytest.mark.parametrize(
    "country, part", [("IE", ""), ("DE", "BY"), ("US", "CA"), ("GB", "SCT"), ("JP", "")]
)
def test_the_closed_days_are_those_of_the_library(country: str, part: str) -> None:
    """`holidays` itself, asked without this program."""
    today = date(2026, 12, 14)
    mine = calendar_of(SiteState(country=country, subdivision=part), today).closed
    known = holidays.country_holidays(country, subdiv=part or None, years=[2026, 2027, 2028])
    assert {day for day in mine if 2026 <= day.year <= 2028} == set(known)


def test_none_and_nothing_chosen_close_no_day_and_own_closures_add_theirs() -> None:
    for country in ("", "none"):
        assert calendar_of(SiteState(country=country), date(2026, 12, 14)).closed == {}
    own = SiteState(country="IE", closed_days="2026-12-29 to 2026-12-31 Works holiday")
    found = calendar_of(own, date(2026, 12, 14))
    assert found.why_not(date(2026, 12, 30)) == "Closed: Works holiday"
    assert found.later(date(2026, 12, 24), 1) == date(2026, 12, 28)
    assert found.later(date(2026, 12, 28), 1) == date(2027, 1, 4)  # the 1st is a holiday


def test_a_country_is_chosen_and_its_days_are_listed(client: TestClient) -> None:
    form = settings_form(client)
    assert form["country"] == "IE"
    assert "Fri 25 Dec, Christmas Day; " in text_of(client.get(f"{AT}/site"))
    form |= {"country": "DE", "subdivision": "BY", "closed_days": "2026-12-28 Inventory"}
    answer = client.post(f"{AT}/site", data=form | {"submission": "s1"})
    assert answer.status_code == 200
    text = text_of(client.get(f"{AT}/site"))
    assert "Mon 28 Dec, Inventory" in text
    assert "Wed 6 Jan 2027, Epiphany" in text  # a holiday in Bavaria, not in all of Germany
    form |= {"country": "none", "subdivision": "", "closed_days": ""}
    client.post(f"{AT}/site", data=form | {"submission": "s2"})
    assert "Closed next" not in client.get(f"{AT}/site").text


@pytest.mark.parametrize(
    "field, text, said",
    [
        ("country", "XX", "No public holidays are known for “XX”."),
        ("subdivision", "ZZ", "No parts are listed for this country. Leave it empty."),
        ("closed_days", "Christmas", "does not begin with a day"),
    ],
)
def test_what_is_not_known_is_refused_beside_its_field(
    client: TestClient, field: str, text: str, said: str
) -> None:
    answer = client.post(f"{AT}/site", data=settings_form(client) | {field: text})
    assert answer.status_code == 422
    assert re.search(rf'id="e-{field}"[^>]*>[^<]*{re.escape(said)}', answer.text)
    sent = {"kind": "site_rules", "at": YEAR_END.isoformat(), "site": "site", field: text}
    assert client.post(f"/api/v1{AT}/entries", json=sent).status_code == 422


def test_a_part_of_another_country_names_those_that_are_known(client: TestClient) -> None:
    form = settings_form(client) | {"country": "DE", "subdivision": "CA"}
    assert "BY (Bayern)" in client.post(f"{AT}/site", data=form).text


def test_the_calendar_says_why_a_day_is_not_worked(client: TestClient) -> None:
    page = client.get(f"{AT}/plan").text
    assert "Closed: New Year&#39;s Day" in page or "Closed: New Year's Day" in page
    assert "Closed: Christmas Day" in page
    closed = client.get(f"/api/v1{AT}/plan").json()["closed"]
    assert {"day": "2027-01-01", "why": "Closed: New Year's Day"} in closed


def test_a_swap_is_never_proposed_for_a_closed_day_and_one_set_there_is_asked_about(
    client: TestClient,
) -> None:
    found = client.get(f"/api/v1{AT}/plan?weeks=26").json()
    closed = {one["day"] for one in found["closed"]}
    days = {one["day"] for one in found["proposals"]}
    assert days
    assert not days & closed
    assert all(date.fromisoformat(day).isoweekday() <= 5 for day in days)
    sent = {"action": "pin", "day": "2027-01-01", "by": "Curlew", "reason": "Quiet day"}
    asked = client.post(f"{AT}/plan/t1", data=sent | {"submission": "p1"})
    assert asked.status_code == 422
    assert "Fri 1 Jan 2027: Closed: New Year" in asked.text
    sure(client, f"{AT}/plan/t1", sent | {"submission": "p1"})
    assert "Not a working day (Closed: New Year" in text_of(client.get(f"{AT}/plan"))


def test_a_drum_that_has_to_leave_by_the_year_s_end_is_fetched_before_it(
    client: TestClient,
) -> None:
    """180 days after 4 July (40 CFR 262.16(b)) end on 31 December; three working days before it,
    with Christmas, the 26th and 27th off, is the 28th. On 1 January nobody works."""
    pickups = client.get(f"/api/v1{AT}/plan").json()["pickups"]
    of_drum = [one for one in pickups if any(w["drum"] == "Drum 1" for w in one["windows"])]
    assert [(one["day"], one["is_late"]) for one in of_drum] == [("2026-12-28", False)]
    assert "Drum 1 leaves by Mon 28 Dec" in text_of(client.get(f"{AT}/plan"))


def test_a_notice_that_reaches_behind_the_drum_s_day_is_late_in_words(
    client: TestClient, store: Store
) -> None:
    longer = SiteRules(at=YEAR_END, site="site", pickup_lead_days=13)
    record(store, ROOM, [longer], YEAR_END)
    pickups = client.get(f"/api/v1{AT}/plan").json()["pickups"]
    assert [(one["day"], one["is_late"]) for one in pickups[:1]] == [("2027-01-04", True)]
    text = text_of(client.get(f"{AT}/plan"))
    assert "Book a pickup for Mon 4 Jan 2027 at the earliest" in text
    assert "Ask the contractor for an earlier day, and ask your authority what applies" in text


def test_nothing_more_is_allotted_to_a_drum_past_its_day(client: TestClient, store: Store) -> None:
    swap = client.get(f"/api/v1{AT}/plan").json()["swaps"][0]
    line = next(one for one in swap["lines"] if one["subject"] == "drum")
    assert line["state"] == "ready"
    sooner = WasteRules(
        at=YEAR_END, waste_rules="waste_rules", rule_set="us_federal", category="lqg"
    )
    record(store, ROOM, [sooner], YEAR_END)  # 90 days of 40 CFR 262.17(a): over since October
    swap = client.get(f"/api/v1{AT}/plan").json()["swaps"][0]
    line = next(one for one in swap["lines"] if one["subject"] == "drum")
    assert (line["state"], line["there"]) == ("short", 0)


def test_a_booking_after_the_drum_s_last_day_or_on_a_closed_day_is_asked_about(
    client: TestClient,
) -> None:
    sent = {"pickup_on": "2027-01-01", "hauler": "Hauler", "drum+d1": "on", "by": "Curlew"}
    answer = client.post(f"{AT}/waste/pickups", data=sent | {"submission": "b1"})
    text = text_of(answer)
    assert "Fri 1 Jan 2027 is not a working day here (Closed: New Year" in text
    assert "Drum 1 may stay until Thu 31 Dec. This day is later." in text


def test_a_delivery_that_falls_on_a_closed_day_comes_on_the_next_working_day(
    client: TestClient, store: Store
) -> None:
    record(
        store, ROOM,
        [
            StockScrapped(at=YEAR_END, item="ipa", quantity=95.0, reason="lost"),
            OrderPlaced(at=YEAR_END, item="ipa", order="o1", quantity=500.0,
                        expected_on=date(2027, 1, 1)),
        ],
        YEAR_END,
    )  # fmt: skip
    later = client.get(f"/api/v1{AT}/plan?weeks=26").json()
    ready = {
        line["ready_on"]
        for swap in (*later["swaps"], *later["later"])
        for line in swap["lines"]
        if line["subject"] == "solvent" and line["ready_on"]
    }
    assert ready == {"2027-01-04"}


def test_a_start_does_not_wait_for_the_library_of_holidays() -> None:
    code = (
        "import sys, app.main, app.web.pages, app.api.application; print('holidays' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"

"""The pages of waste: drums, counters, checks, rules, months."""

import csv
import io
import re
from datetime import timedelta
from typing import Any

from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.waste import Drum, DrumQuarantined, WasteRules
from app.services.door import bring_in as record
from tests.factories import NOW, ROOM, sensor_reading, wash
from tests.services import waste_room
from tests.services.waste_room import pour, seen

WASTE = f"/rooms/{ROOM}/waste"


def drum(key: str = "d1", **more: Any) -> Drum:
    """A drum of 205 L in the central area, set up ten days ago."""
    return waste_room.drum(key, **({"capacity_l": 205.0, "area": "central"} | more))


def test_an_empty_room_says_what_to_do(client: Any) -> None:
    page = client.get(WASTE).text
    assert "No waste drum is here yet" in page
    assert f'href="{WASTE}/new"' in page


def test_every_page_of_waste_says_who_decides(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), pour()], NOW)
    paths = ("", "/drums/d1", "/drums/d1/pour", "/drums/d1/label", "/drums/d1/transfer", "/new",
             "/check", "/pickups", "/months", "/rules")  # fmt: skip
    for path in paths:
        page = client.get(WASTE + path).text
        assert "licensed waste contractor decide" in page, path


def test_the_page_draws_each_drum_against_its_fill_limit(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), drum("d2"), pour(3, 92.25)], NOW)
    page = client.get(WASTE).text
    assert "50 % of its fill limit" in page
    assert page.count('class="vessel') == 2
    assert "empty" in page


def test_days_left_and_the_warning_come_from_the_rules(client: Any, store: Any) -> None:
    chosen = WasteRules(
        at=NOW - timedelta(days=9), waste_rules="waste_rules", rule_set="us_federal",
        category="sqg",
    )  # fmt: skip
    old = drum(volume_l=50.0, first_pour_at=NOW - timedelta(days=177))
    record(store, ROOM, [chosen, old], NOW)
    page = client.get(WASTE).text
    assert "<b>3</b> <small>days</small>" in page
    assert "Book its pickup" in page
    late = drum("d2", volume_l=50.0, first_pour_at=NOW - timedelta(days=181))
    record(store, ROOM, [late], NOW)
    assert "Past its day" in client.get(WASTE).text


def test_the_drum_that_presses_most_stands_first(client: Any, store: Any) -> None:
    def left(key: str, days: int) -> Drum:
        return drum(key, volume_l=50.0, first_pour_at=NOW - timedelta(days=180 - days))

    chosen = WasteRules(
        at=NOW - timedelta(days=9), waste_rules="waste_rules", rule_set="us_federal",
        category="sqg",
    )  # fmt: skip
    warm = DrumQuarantined(at=NOW, drum="warm", reason="Warm", by="Wren")
    drums = [drum("none"), left("calm", 150), left("soon", 90), left("late", -1)]
    record(store, ROOM, [chosen, *drums, left("warm", 160), warm], NOW)
    found = re.findall(r'waste/drums/(\w+)"', client.get(WASTE).text)
    assert list(dict.fromkeys(found)) == ["warm", "late", "soon", "calm", "none"]


def test_the_month_is_shown_with_what_the_next_swap_adds(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), drum("d2"), pour(0.5, 90.0)], NOW)
    record(store, ROOM, [wash(9 - i, area_cm2=26000.0) for i in range(9)], NOW)
    record(store, ROOM, [sensor_reading(8.9, 1.5)], NOW)
    page = client.get(WASTE).text
    found = seen(store)
    assert found.next_swap is not None
    assert f"adds about {found.next_swap.mass_kg:.0f} kg" in page
    assert found.month_kg < 100 < found.month_kg + found.next_swap.mass_kg
    assert "Over with the next swap" in page
    assert "small quantity generator" in page


def test_a_new_drum_is_set_up_in_the_rooms_unit(client: Any) -> None:
    form = {
        "name": "Blue drum", "capacity_l": "55", "stream": "wipes", "area": "wash_station",
        "fill_limit_percent": "90", "by": "Wren",
    }  # fmt: skip
    answer = client.post(f"{WASTE}/new", data=form)
    assert answer.url.path == f"{WASTE}/drums/blue-drum"
    assert "49.5 L" in answer.text
    again = client.post(f"{WASTE}/new", data=form)
    assert again.status_code == 422
    assert "There is already a drum “Blue drum”. Give the new one another name." in again.text


def test_a_drum_that_cannot_be_is_refused_beside_its_field(client: Any, store: Any) -> None:
    form = {"name": "", "capacity_l": "-3", "stream": "x", "area": "moon", "volume_l": "abc"}
    answer = client.post(f"{WASTE}/new", data=form)
    assert answer.status_code == 422
    for message in ("Name is missing", "between 0.5 and 3000", "is not a number"):
        assert message in answer.text
    assert 'value="-3"' in answer.text
    assert seen(store).all_drums == {}


def test_the_fill_limit_offered_is_that_of_the_rules(client: Any, store: Any) -> None:
    assert 'value="90"' in client.get(f"{WASTE}/new").text
    own = {"headspace_percent": {"value": 7, "source": "Site", "as_of": "2026-03-01"}}
    change = WasteRules(at=NOW - timedelta(days=1), waste_rules="waste_rules", edits=own)
    record(store, ROOM, [change], NOW)
    assert 'value="93"' in client.get(f"{WASTE}/new").text


def test_the_weekly_check_of_several_drums_is_one_act(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), drum("d2"), drum("d3")], NOW)
    assert "Check is due" in client.get(WASTE).text
    form = {"all+d1": "on", "seen+d2": "on", "no_leak+d2": "on", "note+d2": "Label torn"}
    client.post(f"{WASTE}/check", data=form)
    found = seen(store).all_drums
    assert found["d1"].faults == ()
    assert found["d1"].checked_at is not None
    assert "No leak, rust or bulge" not in found["d2"].faults
    assert len(found["d2"].faults) == 4
    assert found["d3"].checked_at is None
    assert "Fault at the check" in client.get(WASTE).text
    nothing = client.post(f"{WASTE}/check", data={"all+d9": "on"})
    assert nothing.status_code == 422
    assert "at least one drum" in nothing.text


def test_a_drum_is_moved_closed_and_opened(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(area="wash_station"), pour()], NOW)
    at = f"{WASTE}/drums/d1/do"
    client.post(f"{at}/move", data={"area": "central", "by": "Wren"})
    assert seen(store).all_drums["d1"].central_at == NOW
    warm = client.post(f"{at}/close", data={})
    assert warm.status_code == 422
    assert "cool and quiet" in warm.text
    client.post(f"{at}/close", data={"is_cool": "on"})
    assert seen(store).all_drums["d1"].is_closed
    assert "Pour into it" not in client.get(f"{WASTE}/drums/d1").text
    client.post(f"{at}/open", data={})
    assert not seen(store).all_drums["d1"].is_closed
    assert client.post(f"{at}/burn", data={}).status_code == 404


def test_an_overfull_drum_takes_no_more_and_leaving_it_open_comes_first(
    client: Any, store: Any
) -> None:
    record(store, ROOM, [drum(volume_l=200.0)], NOW)
    at = f"{WASTE}/drums/d1"
    assert "Pour into it" not in client.get(at).text
    asked = client.post(f"{at}/do/close", data={"is_cool": "on"})
    assert asked.status_code == 422
    assert asked.text.index(">Not now<") < asked.text.index(">Do it anyway<")
    left = client.post(f"{at}/do/close", data={"is_cool": "on", "confirmed": "change"})
    assert "Do it anyway" not in left.text
    assert not seen(store).all_drums["d1"].is_closed


def test_quarantine_stays_until_a_lead_releases(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), CrewMember(at=NOW, crew="crew", name="Curlew", role="lead")], NOW)
    at = f"{WASTE}/drums/d1"
    missing = client.post(f"{at}/do/quarantine", data={"reason": " "})
    assert missing.status_code == 422
    page = client.post(f"{at}/do/quarantine", data={"reason": "<b>Hot</b>", "by": "Wren"}).text
    assert "In quarantine: &lt;b&gt;Hot&lt;/b&gt;" in page
    refused = client.post(f"{at}/do/release", data={"lead": "Wren", "reason": "Cool"})
    assert "Only a lead may release it: Curlew." in refused.text
    client.post(f"{at}/do/release", data={"lead": "Curlew", "reason": "Cool"})
    assert not seen(store).all_drums["d1"].is_quarantined


def test_settings_of_a_drum_change_only_what_was_typed(client: Any, store: Any) -> None:
    record(store, ROOM, [drum()], NOW)
    form = {"name": "Drum 1", "capacity_l": "205", "fill_limit_percent": "85",
            "stream": "isopropanol_resin", "inner_height_cm": "85"}  # fmt: skip
    client.post(f"{WASTE}/drums/d1/settings", data=form)
    found = seen(store).all_drums["d1"]
    assert (found.fill_limit_percent, found.inner_height_cm) == (85.0, 85.0)
    entry = client.get(f"/api/v1/rooms/{ROOM}/entries?kind=drum_changed").json()["entries"][0]
    assert "capacity_l" not in entry


def test_a_leaking_drum_is_emptied_into_another(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), drum("d2"), pour()], NOW)
    at = f"{WASTE}/drums/d1/transfer"
    assert "Choose the drum" in client.post(at, data={"volume_l": "40"}).text
    much = client.post(at, data={"volume_l": "41", "to_drum": "d2"})
    assert (much.status_code, "holds 40.0 L only" in much.text) == (422, True)
    kg = seen(store).all_drums["d1"].mass_kg
    client.post(at, data={"volume_l": "40", "to_drum": "d2"})
    found = seen(store).all_drums
    assert found["d1"].is_empty
    assert round(found["d2"].mass_kg, 3) == round(kg, 3)


def test_a_leaking_drum_is_offered_what_fits(client: Any, store: Any) -> None:
    at = f"{WASTE}/drums/d1/transfer"
    record(
        store, ROOM, [drum(), drum("d2", capacity_l=20.0), drum("d3", capacity_l=30.0), pour()], NOW
    )
    page = client.get(at).text
    assert 'value="27"' in page  # 90 % of 30 L, of the 40 L in it
    assert "No drum here takes all 40.0 L" in page
    assert page.index('value="d3"') < page.index('value="d2"')
    record(store, ROOM, [drum("d4", capacity_l=120.0), drum("d5", capacity_l=60.0)], NOW)
    page = client.get(at).text
    assert 'value="40"' in page
    assert "No drum here takes all" not in page
    offered = [page.index(f'value="{key}"') for key in ("d5", "d4", "d3", "d2")]
    assert offered == sorted(offered)


def test_rules_are_chosen_and_edited_with_their_source(client: Any, store: Any) -> None:
    rules = f"{WASTE}/rules"
    assert "Nobody has chosen yet" in client.get(rules).text
    page = client.post(rules, data={"category": "us_federal/sqg", "uncounted+water_wash": "on"})
    assert "40 CFR 262.16(b)" in page.text
    assert "second hand" in page.text
    chosen = seen(store).rules
    assert (chosen.category.key, chosen.uncounted) == ("sqg", ("water_wash",))
    form = {f"value+{key}": f"{rule.value:g}" for key, rule in chosen.rules.items()}
    bare = client.post(f"{rules}/values", data={**form, "value+sqg_days": "120"})
    assert bare.status_code == 422
    assert "say where your value comes from" in bare.text
    wrong = {**form, "value+sqg_days": "soon", "source+sqg_days": "State"}
    assert "is not a number" in client.post(f"{rules}/values", data=wrong).text
    assert seen(store).rules.value("sqg_days") == 180
    client.post(f"{rules}/values", data={**wrong, "value+sqg_days": "120"})
    rule = seen(store).rules.rules["sqg_days"]
    assert (rule.value, rule.source, rule.confidence) == (120, "State", "the site's own")
    client.post(f"{rules}/values", data=form)
    assert seen(store).rules.value("sqg_days") == 180


def test_another_set_starts_without_the_values_of_the_first(client: Any, store: Any) -> None:
    own = {"warn_days": {"value": 30, "source": "Site", "as_of": "2026-03-01"}}
    record(
        store, ROOM, [WasteRules(at=NOW, waste_rules="waste_rules", edits=own)], NOW
    )  # fmt: skip
    client.post(f"{WASTE}/rules", data={"category": "europe/producer"})
    found = seen(store).rules
    assert (found.set.key, found.edits, found.value("warn_days")) == ("europe", {}, 14)
    assert client.post(f"{WASTE}/rules", data={"category": "moon/x"}).status_code == 422


def test_months_are_a_table_and_a_file_that_no_spreadsheet_runs(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), pour(0.5, 50.0), pour(5, 80.0)], NOW)
    page = client.get(f"{WASTE}/months").text
    assert "Mar 2026" in page
    assert "Feb 2026" in page
    answer = client.get(f"{WASTE}/months.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "attachment" in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["month"] for row in rows] == ["2026-03", "2026-02"]
    march = seen(store).totals[(2026, 3)]
    assert float(rows[0]["kg"]) == round(march.total_kg, 2)
    assert rows[0]["category_of_month"] == "Very small quantity generator"
    for row in csv.reader(io.StringIO(answer.text)):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


def month_rows(client: Any) -> dict[str, dict[str, str]]:
    """The file of months, by month."""
    text = client.get(f"{WASTE}/months.csv").text
    return {row["month"]: row for row in csv.DictReader(io.StringIO(text))}


def test_a_past_month_is_judged_by_the_limit_that_applied_then(client: Any, store: Any) -> None:
    def limit(days: float, kg: float) -> SiteRules:
        at = NOW - timedelta(days=days)
        return SiteRules(at=at, site="site", waste_month_limit_kg=kg)

    record(store, ROOM, [limit(20, 200), drum(), pour(0.5, 50.0), pour(5, 80.0)], NOW)
    before = month_rows(client)["2026-02"]
    assert before["limit_kg"] == "200"
    record(store, ROOM, [limit(0.6, 30)], NOW)  # on 1 March
    after = month_rows(client)
    assert after["2026-02"] == before
    assert after["2026-03"]["limit_kg"] == "30"
    page = client.get(f"{WASTE}/months").text
    february = page.split("Feb 2026")[1].split("</tr>")[0]
    assert "200 kg" in february
    assert "Over the limit" not in february
    assert "Over the limit" in page.split("Mar 2026")[1].split("</tr>")[0]


def test_a_past_month_keeps_the_category_and_the_streams_that_counted_then(
    client: Any, store: Any
) -> None:
    def rules(days: float, **more: Any) -> WasteRules:
        return WasteRules(at=NOW - timedelta(days=days), waste_rules="waste_rules", **more)

    chosen = rules(20, rule_set="us_federal", category="sqg")
    record(store, ROOM, [chosen, drum(), pour(5, 130.0)], NOW)
    before = month_rows(client)["2026-02"]
    assert (before["limit_kg"], before["counts"]) == ("1000", "yes")
    assert before["category_of_month"] == "Small quantity generator"
    edits = {"vsqg_month_kg": {"value": 500.0, "source": "State", "as_of": "2026-03-01"}}
    record(store, ROOM, [rules(0.5, category="vsqg", edits=edits)], NOW)
    assert month_rows(client)["2026-02"] == before
    own = rules(0.4, rule_set="own", category="own", edits={})
    record(store, ROOM, [own], NOW)
    assert month_rows(client)["2026-02"] == before


def test_rules_that_were_chosen_first_apply_to_the_months_before(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), pour(5, 80.0)], NOW)
    assert month_rows(client)["2026-02"]["limit_kg"] == "100"  # the strictest, until one chooses
    chosen = WasteRules(at=NOW, waste_rules="waste_rules", rule_set="us_federal", category="sqg")
    record(store, ROOM, [chosen], NOW)
    assert month_rows(client)["2026-02"]["limit_kg"] == "1000"


def test_a_pour_of_last_month_is_shown_against_the_limit_of_last_month(
    client: Any, store: Any
) -> None:
    limits = [
        SiteRules(at=NOW - timedelta(days=days), site="site", waste_month_limit_kg=kg)
        for days, kg in ((20, 200.0), (0.6, 30.0))
    ]
    record(store, ROOM, [*limits, drum()], NOW)
    form = {"volume_l": "50", "at": "2026-02-25T10:00"}
    page = client.get(f"{WASTE}/drums/d1/pour/preview", params=form).text
    assert "200 kg" in page
    assert "Over the limit" not in page


def test_the_sites_own_limit_comes_first(client: Any, store: Any) -> None:
    record(store, ROOM, [SiteRules(at=NOW, site="site", waste_month_limit_kg=30.0)], NOW)
    record(store, ROOM, [drum(), pour()], NOW)
    page = client.get(WASTE).text
    assert "of 30 kg" in page
    assert "Limit: site settings" in page
    assert "Over the limit" in page

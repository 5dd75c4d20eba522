"""What the rules say on pages: reviews, codes on labels and pickups, wipes, papers to keep."""

from datetime import UTC, datetime, timedelta
from typing import Any

from app.domain.roomlog.kinds.solvents import OwnSolvent
from app.domain.roomlog.kinds.waste import PickupBooked, PickupShipped, WasteRules
from app.services.door import bring_in as record
from tests.answers import sure
from tests.factories import NOW, ROOM
from tests.services.waste_room import drum, pour

WASTE = f"/rooms/{ROOM}/waste"
CODES = {"codes+isopropanol_resin": "D001", "un_number+isopropanol_resin": "UN1993",
         "shipping_name+isopropanol_resin": "Waste flammable liquids, n.o.s. (isopropanol)",
         "class_group+isopropanol_resin": "3, PG II"}  # fmt: skip
SHIPPING = "UN1993, Waste flammable liquids, n.o.s. (isopropanol), 3, PG II"


def chosen(**more: Any) -> WasteRules:
    values = {"rule_set": "us_federal", "category": "sqg"} | more
    return WasteRules(at=NOW - timedelta(days=9), waste_rules="waste_rules", **values)


def test_codes_stand_on_labels_and_pickups(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(), pour()], NOW)
    label = f"{WASTE}/drums/d1/label"
    assert "This stream lacks waste codes or a shipping name" in client.get(label).text
    assert sure(client, f"{WASTE}/rules/marks", CODES).status_code == 200
    page = client.get(label).text
    assert "D001" in page
    assert SHIPPING in page
    assert "This stream lacks waste codes or a shipping name" not in page
    day = (NOW + timedelta(days=5)).date()
    booked = PickupBooked(at=NOW, pickup="p1", pickup_on=day, hauler="Teal Waste", drums=["d1"])
    record(store, ROOM, [booked], NOW)
    page = client.get(f"{WASTE}/pickups/p1").text
    assert "D001" in page
    assert SHIPPING in page


def test_a_wrong_un_number_is_said_at_its_field(client: Any) -> None:
    page = client.post(f"{WASTE}/rules/marks", data=CODES | {"un_number+isopropanol_resin": "1993"})
    assert page.status_code == 422
    assert "A UN number is UN and four digits" in page.text
    assert 'value="D001"' in page.text


def test_excluded_wipes_bear_their_own_words_and_day(client: Any, store: Any) -> None:
    bin_ = drum(stream="wipes", capacity_l=60.0, volume_l=5.0, waste_kg=1.0,
                first_pour_at=NOW - timedelta(days=170))  # fmt: skip
    record(store, ROOM, [chosen(uncounted=["wipes"]), bin_], NOW)
    label = client.get(f"{WASTE}/drums/d1/label").text
    assert "EXCLUDED SOLVENT-CONTAMINATED WIPES" in label
    assert "HAZARDOUS WASTE<" not in label
    page = client.get(WASTE).text
    assert "excluded wipes since" in client.get(f"{WASTE}/drums/d1").text.lower()
    assert "<b>10</b> <small>days</small>" in page


def test_a_review_that_is_due_shows_on_the_rules_page(client: Any, store: Any) -> None:
    edits = {"warn_days": {"value": 21, "source": "Site", "as_of": "2024-01-05"}}
    record(store, ROOM, [chosen(edits=edits)], NOW)
    page = client.get(f"{WASTE}/rules").text
    assert "1 value should be looked up again" in page
    assert "Look it up again" in page
    assert "check again by" in page


def test_sets_for_california_and_england_can_be_chosen(client: Any) -> None:
    page = client.post(f"{WASTE}/rules", data={"category": "california/ca_sqg"})
    assert page.status_code == 200
    assert "22 CCR 66262.16(b)" in page.text
    page = client.post(f"{WASTE}/rules", data={"category": "england/en_producer"})
    assert "no longer than twelve months" in page.text
    storage = client.get(f"/rooms/{ROOM}/storage").text
    assert "flash point up to 60 °C" in storage


def test_papers_say_until_when_they_are_kept(client: Any, store: Any) -> None:
    left = datetime(2026, 2, 20, 9, tzinfo=UTC)
    record(store, ROOM, [
        drum(), pour(),
        PickupBooked(at=left, pickup="p1", pickup_on=left.date(), hauler="Teal", drums=["d1"]),
        PickupShipped(at=left, pickup="p1", drums=["d1"], document="M-1"),
    ], NOW)  # fmt: skip
    page = client.get(f"{WASTE}/pickups/p1").text
    assert "Keep its document until" in page
    assert "2029" in page


def test_a_bulk_container_is_told_of(client: Any, store: Any) -> None:
    record(store, ROOM, [drum(capacity_l=1000.0), pour()], NOW)
    assert "other marks apply" in client.get(f"{WASTE}/drums/d1/label").text


def test_the_page_of_england_names_no_number_of_another_country(client: Any, store: Any) -> None:
    sheet = OwnSolvent(at=NOW - timedelta(days=9), own_solvents="own_solvents", name="Heptane",
                       density_g_ml=0.684, flash_point_c=-4.0)  # fmt: skip
    record(store, ROOM, [chosen(rule_set="england", category="en_producer"), sheet], NOW)
    page = client.get(f"{WASTE}/rules").text
    table = page[page.index('id="streams"') :]
    assert "commonly HP 3" in table
    assert "D001" not in table
    assert "CFR" not in table
    assert "Spent Heptane with resin" in table

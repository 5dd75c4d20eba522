"""The form of a pour: by scale, dip or volume; refused, asked about, stored."""

import re
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event

from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.waste import DrumClosed
from app.services.door import bring_in as record
from tests.answers import sure
from tests.factories import NOW, ROOM, tank
from tests.web.settings import change_settings
from tests.web.waste.test_waste import WASTE, drum, pour, seen

POUR = f"{WASTE}/drums/d1/pour"
CREW = CrewMember(at=NOW - timedelta(days=9), crew="crew", name="Heron", role="lead")


@pytest.fixture(autouse=True)
def furnished(store: Any) -> None:
    """A drum of 205 L that may hold 184.5 L, 85 cm inside."""
    record(store, ROOM, [drum(inner_height_cm=82.0)], NOW)


def held(store: Any) -> Any:
    return seen(store).all_drums["d1"]


def test_a_weighed_pour_gives_its_volume(client: Any, store: Any) -> None:
    form = {"tank": "t1", "mass_before_kg": "21.5", "mass_after_kg": "53.9", "by": "Wren",
            "resin_percent": "13.5"}  # fmt: skip
    answer = client.post(POUR, data=form)
    assert answer.url.path == f"{WASTE}/drums/d1"
    assert "Saved." in answer.text
    (filling,) = held(store).fillings
    assert (filling.mass_kg, filling.is_weighed) == (pytest.approx(32.4), True)
    # 32.4 kg / (0.135/1.10 + 0.865/0.788)^-1 kg/L = 39.5 L, worked by hand
    assert filling.volume_l == pytest.approx(39.5, abs=0.1)
    assert filling.by == "Wren"


def test_a_scale_may_show_pounds(client: Any, store: Any) -> None:
    """1 lb is 0.45359237 kg exactly (international pound of 1959)."""
    client.post(POUR, data={"mass_before_kg": "50", "mass_after_kg": "100", "mass_unit": "lb"})
    assert held(store).mass_kg == pytest.approx(50 * 0.45359237, abs=0.001)
    typed = {"mass_before_kg": "50 lb", "mass_after_kg": "100", "mass_unit": "lb"}
    answer = client.post(POUR, data=typed)
    assert answer.status_code == 422
    assert "Enter just the number" in answer.text
    assert 'value="50 lb"' in answer.text


def test_a_dip_gives_the_volume_of_the_rise(client: Any, store: Any) -> None:
    client.post(POUR, data={"dip_before_cm": "0", "dip_after_cm": "16.4"})
    assert held(store).volume_l == pytest.approx(205 * 16.4 / 82.0)


def test_resin_is_that_of_the_tanks_estimate(client: Any, store: Any) -> None:
    client.post(POUR, data={"tank": "t1", "volume_l": "20"})
    light = held(store).mass_kg
    client.post(POUR, data={"volume_l": "20"})
    assert held(store).mass_kg - light > light  # without a tank, a bath at its swap is taken


def test_gallons_are_read_as_the_room_says(client: Any, store: Any) -> None:
    settings = {"name": "Test room", "time_zone": "UTC", "volume_unit": "us_gal",
                "temperature_unit": "f", "mass_unit": "oz", "area_unit": "in2"}  # fmt: skip
    change_settings(client, settings)
    client.post(POUR, data={"volume_l": "10"})
    assert held(store).volume_l == pytest.approx(37.854, abs=0.001)


@pytest.mark.parametrize(
    "form, message",
    [
        ({}, "Enter the scale before and after"),
        ({"volume_l": "190"}, "room for 184 L"),
        ({"volume_l": "-2"}, "between 0.01 and 3000"),
        ({"volume_l": "2 gal"}, "Enter just the number"),
        ({"mass_before_kg": "30"}, "Enter the figure before and the figure after."),
        (
            {"mass_before_kg": "30", "mass_after_kg": "20"},
            "The figure after a pour must be higher than before.",
        ),
        ({"volume_l": "20", "mass_before_kg": "20", "mass_after_kg": "60"}, "pounds"),
        ({"volume_l": "20", "tank": "t9"}, "There is no tank"),
        ({"volume_l": "20", "tank": "tpm"}, "One stream per drum"),
        ({"volume_l": "20", "at": "2027-01-01T10:00"}, "future"),
        ({"volume_l": "20", "at": "yesterday"}, "Enter the day and time"),
    ],
)
def test_what_does_not_fit_is_said_and_nothing_is_stored(
    client: Any, store: Any, form: dict[str, str], message: str
) -> None:
    record(store, ROOM, [tank("tpm", solvent="tripropylene_glycol_methyl_ether")], NOW)
    answer = client.post(POUR, data=form)
    assert answer.status_code == 422
    assert message in answer.text
    for name in ("volume_l", "mass_before_kg"):
        if name in form:
            assert f'value="{form[name]}"' in answer.text
    assert held(store).fillings == ()


def test_wipes_and_solids_are_weighed_in_and_nothing_is_said_of_bungs(
    client: Any, store: Any
) -> None:
    """What is read past here is read past where liquid flows."""
    record(store, ROOM, [drum("d2", stream="wipes", name="B-1")], NOW)
    page, of_liquid = (client.get(f"{WASTE}/drums/{key}/pour").text for key in ("d2", "d1"))
    assert "Bond before you open the bung" in of_liquid
    assert "Lead who agrees" in of_liquid
    for words in ("Bond before", "dip stick", "through plastic"):
        assert words not in page
    needed = re.compile(r'name="mass_after_kg"[^>]* required')
    assert needed.search(page)
    assert not needed.search(of_liquid)


def test_a_closed_drum_says_so(client: Any, store: Any) -> None:
    shut = DrumClosed(at=NOW - timedelta(hours=1), drum="d1", is_cool=True)
    record(store, ROOM, [shut], NOW)
    answer = client.post(POUR, data={"volume_l": "5"})
    assert (answer.status_code, "closed for shipping" in answer.text) == (422, True)


def test_a_month_that_would_pass_its_limit_is_asked_about_first(client: Any, store: Any) -> None:
    record(store, ROOM, [pour(0.5, 100.0)], NOW)
    assert 80 < seen(store).month_kg < 100
    form = {"volume_l": "40", "submission": "s1"}
    asked = client.post(POUR, data=form)
    assert asked.status_code == 422
    assert "of 100 kg: over the limit" in asked.text
    assert "small quantity generator" in asked.text
    assert len(held(store).fillings) == 1
    stored = sure(client, POUR, form)
    assert stored.status_code == 200
    assert len(held(store).fillings) == 2
    client.post(POUR, data=form)
    assert len(held(store).fillings) == 2  # the same touch twice


def test_a_month_far_from_its_limit_is_not_asked_about(client: Any, store: Any) -> None:
    record(store, ROOM, [SiteRules(at=NOW, site="site", waste_month_limit_kg=1000.0)], NOW)
    assert client.post(POUR, data={"volume_l": "40"}).status_code == 200


def test_the_preview_shows_the_month_after_the_pour(client: Any, store: Any) -> None:
    query = {"volume_l": "110", "resin_percent": "13.5"}
    block = client.get(f"{POUR}/preview", params=query).text
    assert "<html" not in block
    assert "60 % of its fill limit" in block
    assert "Near the limit" in block
    assert "Over the limit" in client.get(f"{POUR}/preview", params={"volume_l": "150"}).text
    assert "room for 184 L" in client.get(f"{POUR}/preview", params={"volume_l": "250"}).text
    assert "appear here before you save" in client.get(f"{POUR}/preview").text
    plain = client.get(POUR, params=query).text
    assert "60 % of its fill limit" in plain
    assert held(store).fillings == ()


def test_a_wrong_pour_is_corrected_through_the_log(client: Any, store: Any) -> None:
    client.post(POUR, data={"volume_l": "40"})
    (filling,) = held(store).fillings
    at = f"/rooms/{ROOM}/entries/{filling.entry}"
    assert f'href="{at}"' in client.get(f"{WASTE}/drums/d1").text
    client.post(f"{at}/correct", data={"drum": "d1", "volume_l": "30"})
    assert held(store).volume_l == pytest.approx(30.0)
    (fixed,) = held(store).fillings
    client.post(f"/rooms/{ROOM}/entries/{fixed.entry}/withdraw", data={"note": "Not done"})
    assert held(store).is_empty


def test_a_correction_that_takes_the_month_over_its_limit_is_asked_about_on_its_page(
    client: Any, store: Any
) -> None:
    record(store, ROOM, [pour(0.6, 90.0), pour(0.5, 10.0, id="p2")], NOW)
    page = f"/rooms/{ROOM}/entries/p2/correct"
    typed = {"volume_l": "60", "tank": "t1"}
    asked = client.post(page, data=typed)
    assert asked.status_code == 422
    assert "of 100 kg: over the limit" in asked.text
    assert held(store).volume_l == pytest.approx(100)
    assert sure(client, page, typed).status_code == 200
    assert held(store).volume_l == pytest.approx(150)


def test_a_lead_can_be_named_wherever_one_is_asked_for(client: Any, store: Any) -> None:
    """Of wet solids out of a tank of alcohol, and of a tank of plastic over a drum of metal."""
    bin_ = drum("d8", name="D-8", stream="solids_and_sludge", material="plastic", id="n8")
    metal = drum("d9", name="D-9", material="metal", id="n9")
    plastic = TankBuild(at=NOW, tank="t1", material="plastic")
    record(store, ROOM, [bin_, metal, plastic, CREW], NOW)
    wet = {"tank": "t1", "mass_before_kg": "1", "mass_after_kg": "21", "volume_l": "18"}
    for key, form in (("d8", wet), ("d9", {"tank": "t1", "volume_l": "18"})):
        page = f"{WASTE}/drums/{key}/pour"
        back = client.post(page, data=form)
        assert (back.status_code, "name the lead who agrees" in back.text) == (422, True)
        assert 'name="lead" value="Heron"' in back.text
        assert sure(client, page, form | {"lead": "Heron"}).status_code == 200
        assert seen(store).all_drums[key].volume_l == pytest.approx(18.0)


def test_a_page_that_asks_of_a_correction_writes_nothing(client: Any, store: Any) -> None:
    """A read that is upgraded to a write fails where another writes meanwhile: by SQLite's docs on
    isolation in WAL mode."""
    record(store, ROOM, [pour(0.6, 90.0), pour(0.5, 10.0, id="p2")], NOW)
    page = f"/rooms/{ROOM}/entries/p2/correct"
    written: list[str] = []

    def told(*args: Any) -> None:
        if not args[2].startswith(("SELECT", "PRAGMA", "BEGIN")):
            written.append(args[2])

    event.listen(store.reader, "before_cursor_execute", told)
    try:
        assert client.post(page, data={"volume_l": "60", "tank": "t1"}).status_code == 422
    finally:
        event.remove(store.reader, "before_cursor_execute", told)
    assert written == []

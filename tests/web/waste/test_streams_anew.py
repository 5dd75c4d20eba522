"""Who says anew what is in a drum that holds something, and what its label says until then."""

from typing import Any

import pytest

from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import (
    DrumChanged,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    Pour,
)
from app.services.door import bring_in as record
from app.services.door import enter
from tests.factories import NOW, ROOM
from tests.services.waste_room import ago, refused, state
from tests.web.waste.test_waste import WASTE, drum, pour

ENTRIES = f"/api/v1/rooms/{ROOM}/entries"
FOUND = "By the laboratory: water and cleaner"


@pytest.fixture
def held(store: Any) -> Any:
    """A drum in quarantine with 40 L of isopropanol, and a lead."""
    lead = CrewMember(at=ago(20), crew="crew", name="Curlew", role="lead")
    crew = CrewMember(at=ago(20), crew="crew", name="Wren", role="technician")
    shut = DrumQuarantined(at=ago(0.2), drum="d1", reason="Odd smell", by="Wren")
    record(store, ROOM, [lead, crew, drum(), pour(), shut], NOW)
    return store


def change(**more: Any) -> dict[str, Any]:
    return {"kind": "drum_changed", "at": NOW.isoformat(), "drum": "d1", "stream": "water_wash",
            **more}  # fmt: skip


def test_a_technician_does_not_say_by_a_program_what_is_in_a_drum(client: Any, held: Any) -> None:
    sent = client.post(ENTRIES, json=change(by="Wren", note=FOUND))
    assert sent.status_code >= 400
    assert "Curlew" in sent.text
    assert state(held).stream == "isopropanol_resin"


def test_a_lead_says_it_with_what_the_test_found(client: Any, held: Any) -> None:
    bare = client.post(ENTRIES, json=change(by="Curlew"))
    assert bare.status_code == 422
    assert "Say what the test found" in bare.text
    assert client.post(ENTRIES, json=change(by="Curlew", note=FOUND)).status_code == 201
    assert state(held).stream == "water_wash"


def test_the_form_asks_for_a_lead(client: Any, held: Any) -> None:
    form = {"name": "Drum 1", "capacity_l": "205", "stream": "water_wash", "note": FOUND}
    page = client.post(f"{WASTE}/drums/d1/settings", data={**form, "by": "Wren"})
    assert "Curlew" in page.text
    assert state(held).stream == "isopropanol_resin"


def test_a_correction_by_a_technician_does_not_either(client: Any, held: Any) -> None:
    said = DrumChanged(at=ago(0.1), id="c1", drum="d1", name="Left drum", by="Wren")
    record(held, ROOM, [said], NOW)
    sent = client.post(ENTRIES, json=change(by="Wren", note=FOUND, corrects="c1"))
    assert sent.status_code >= 400
    assert state(held).stream == "isopropanol_resin"


def test_sent_with_the_pour_before_it_a_technician_does_not_either(store: Any) -> None:
    lead = CrewMember(at=ago(20), crew="crew", name="Curlew", role="lead")
    record(store, ROOM, [lead, drum()], NOW)
    shut = DrumQuarantined(at=ago(0.2), drum="d1", reason="Odd smell", by="Wren")
    said = DrumChanged(at=ago(0.1), drum="d1", stream="water_wash", note=FOUND, by="Wren")
    assert "Only a lead" in refused(store, pour(), shut, said)["by"]


def test_an_empty_drum_is_anybodys(client: Any, held: Any) -> None:
    record(held, ROOM, [drum("d2")], NOW)
    sent = client.post(ENTRIES, json=change(by="Wren", drum="d2"))
    assert sent.status_code == 201


def test_the_label_in_quarantine_keeps_the_worst_of_what_went_in(client: Any, held: Any) -> None:
    """40 CFR 262.15(a)(5)(ii): a container is marked with an indication of its hazards."""
    label = f"{WASTE}/drums/d1/label"
    record(held, ROOM, [
        DrumChanged(at=ago(0.1), drum="d1", stream="water_wash", note=FOUND, by="Curlew")
    ], NOW)  # fmt: skip
    page = client.get(label).text
    assert "Not known: treat it as unknown until tested" in page
    assert "Unknown: treat as flammable" in page
    assert "Ignitable" in page
    assert "Isopropanol, dissolved acrylate resin" in page
    released = DrumReleased(at=ago(0.05), drum="d1", lead="Curlew", reason="Tested")
    record(held, ROOM, [released], NOW)
    page = client.get(label).text
    assert "Not known" not in page
    assert "Unknown: treat as" not in page


@pytest.mark.parametrize("moved_l", [5.0, 40.0])
def test_what_came_from_another_drum_keeps_its_hazards(
    client: Any, held: Any, moved_l: float
) -> None:
    """A part of it or all: the other drum is empty then, and was not as it was moved."""
    move = DrumTransfer(at=ago(0.1), drum="d2", from_drum="d1", volume_l=moved_l, waste_kg=4.0)
    said = DrumChanged(at=ago(0.15), drum="d1", stream="water_wash", note=FOUND, by="Curlew")
    shut = DrumQuarantined(at=ago(0.05), drum="d2", reason="From drum 1")
    record(held, ROOM, [said, drum("d2", stream="water_wash"), move, shut], NOW)
    assert "Ignitable" in client.get(f"{WASTE}/drums/d2/label").text


def test_the_quarantine_of_a_drum_goes_along_with_what_is_moved_out_of_it(held: Any) -> None:
    """Nobody has said that the contents are good: another drum does not make them so."""
    move = DrumTransfer(at=ago(0.05), drum="d2", from_drum="d1", volume_l=40.0, waste_kg=32.0,
                        by="Wren")  # fmt: skip
    enter(held, ROOM, [drum("d2"), move], NOW)
    assert state(held, "d2").is_quarantined
    assert state(held, "d2").quarantine_reason == "From Drum 1: Odd smell"
    more = DrumTransfer(at=ago(0.01), drum="d3", from_drum="d2", volume_l=40.0, waste_kg=32.0,
                        by="Wren")  # fmt: skip
    enter(held, ROOM, [drum("d3"), more], NOW)
    assert "Odd smell" in state(held, "d3").quarantine_reason


def test_a_mixed_drum_is_known_again_by_the_form_though_its_stream_stays(
    client: Any, held: Any
) -> None:
    """The test found what the label says. The form that shows it chosen already would say
    nothing."""
    water = Pour(at=ago(0.3), drum="d1", volume_l=1.0, stream="water_wash", by="Wren")
    record(held, ROOM, [water], NOW)
    assert state(held).is_mixed
    page = client.get(f"{WASTE}/drums/d1/settings").text
    assert 'value="isopropanol_resin" selected' not in page
    assert "Not tested yet" in page
    form = {"name": "Drum 1", "capacity_l": "205"}
    client.cookies.set("person", "Curlew")
    client.post(f"{WASTE}/drums/d1/settings", data={**form, "stream": "", "name": "Left"})
    assert (state(held).name, state(held).is_mixed) == ("Left", True)
    bare = client.post(f"{WASTE}/drums/d1/settings", data={**form, "stream": "isopropanol_resin"})
    assert "Say what the test found" in bare.text
    sent = {**form, "stream": "isopropanol_resin", "note": FOUND}
    client.post(f"{WASTE}/drums/d1/settings", data=sent)
    assert not state(held).is_mixed

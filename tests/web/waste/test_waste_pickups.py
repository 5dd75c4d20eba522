"""Pickups on their pages: booked, cancelled, shipped, a signed copy that is missing."""

from datetime import timedelta
from typing import Any

import pytest

from app.domain.roomlog.kinds.waste import DrumClosed, PickupBooked, PickupShipped
from app.services.door import bring_in as record
from tests.answers import STORE_IT
from tests.factories import NOW, ROOM
from tests.web.waste.test_waste import WASTE, drum, pour, seen

PICKUPS = f"{WASTE}/pickups"


@pytest.fixture(autouse=True)
def furnished(store: Any) -> None:
    """Two drums, the first closed."""
    shut = DrumClosed(at=NOW - timedelta(hours=2), drum="d1", is_cool=True)
    record(store, ROOM, [drum(), drum("d2"), pour(), shut], NOW)


def book(client: Any, **more: str) -> Any:
    form = {"pickup_on": "2026-03-27", "hauler": "Marl Waste", "drum+d1": "on", "drum+d2": "on"}
    return client.post(PICKUPS, data=form | more)


def the_pickup(store: Any) -> Any:
    (found,) = seen(store).pickups.values()
    return found


def test_a_pickup_is_booked_shown_and_shipped(client: Any, store: Any) -> None:
    page = book(client).text
    assert "Fri 27 Mar 2026" in page
    assert "already booked" in page  # no drum is left to book
    key = the_pickup(store).key
    assert "Fri 27 Mar 2026" in client.get(f"{WASTE}/drums/d1").text
    form = {"drum+d1": "on", "document": "M-1001", "cost_cents": "415.50", "shipped_kg": "36"}
    page = client.post(f"{PICKUPS}/{key}/ship", data=form).text
    assert "document M-1001" in page
    assert "cost 415.50" in page
    assert the_pickup(store).cost_cents == 41550
    assert {one.key for one in seen(store).open_drums} == {"d2"}
    assert "</svg>Left the site</span>" in client.get(f"{WASTE}/drums/d1").text
    assert "Signed copy" in page
    client.post(f"{PICKUPS}/{key}/copy", data={})
    assert the_pickup(store).stage == "closed"


def test_a_drum_that_is_not_closed_stays_with_the_reason(client: Any, store: Any) -> None:
    book(client)
    at = f"{PICKUPS}/{the_pickup(store).key}/ship"
    answer = client.post(at, data={"drum+d1": "on", "drum+d2": "on", "document": "M-1"})
    assert answer.status_code == 422
    assert "Drum 2 is not closed. Close it first." in answer.text
    assert 'value="M-1"' in answer.text
    assert the_pickup(store).stage == "booked"


@pytest.mark.parametrize(
    "form, message",
    [
        ({"pickup_on": "2026-03-01"}, "This day has passed."),
        ({"pickup_on": "soon"}, "is not a day"),
        ({"pickup_on": ""}, "Day is missing"),
        ({"hauler": " "}, "Contractor is missing"),
    ],
)
def test_a_booking_that_cannot_be_is_refused(
    client: Any, store: Any, form: dict[str, str], message: str
) -> None:
    answer = book(client, **form)
    assert answer.status_code == 422
    assert message in answer.text
    assert seen(store).pickups == {}


def test_a_booking_without_a_drum_is_refused(client: Any) -> None:
    answer = client.post(PICKUPS, data={"pickup_on": "2026-03-27", "hauler": "Marl Waste"})
    assert answer.status_code == 422
    assert "Choose at least one drum." in answer.text


def test_shipping_needs_a_document(client: Any, store: Any) -> None:
    book(client)
    at = f"{PICKUPS}/{the_pickup(store).key}/ship"
    answer = client.post(at, data={"drum+d1": "on", "cost_cents": "cheap"})
    assert answer.status_code == 422
    assert "Document number is missing" in answer.text
    assert "is not a number" in answer.text


def test_a_cancelled_pickup_says_why_and_frees_the_drums(client: Any, store: Any) -> None:
    book(client)
    key = the_pickup(store).key
    assert client.post(f"{PICKUPS}/{key}/cancel", data={"reason": ""}).status_code == 422
    page = client.post(f"{PICKUPS}/{key}/cancel", data={"reason": "Lorry broke down"}).text
    assert "cancelled, Lorry broke down" in page
    assert 'name="drum+d1"' in client.get(PICKUPS).text
    twice = client.post(f"{PICKUPS}/{key}/cancel", data={"reason": "Again"})
    assert twice.status_code == 422
    assert "changed meanwhile" in twice.text
    assert client.post(f"{PICKUPS}/{key}/burn", data={}).status_code == 404


def shipped_days_ago(store: Any, days: float) -> None:
    at = NOW - timedelta(days=days)
    old = drum("d5", volume_l=20.0)
    entries = [
        PickupBooked(at=at, pickup="p5", drums=["d5"], pickup_on=at.date(), hauler="Marl Waste"),
        PickupShipped(at=at, pickup="p5", drums=["d5"], document="M-5"),
    ]
    record(store, ROOM, [old, *entries], NOW)


@pytest.mark.parametrize("days, is_missing", [(59, False), (60, False), (61, True)])
def test_a_signed_copy_is_missing_after_sixty_days(
    client: Any, store: Any, days: float, is_missing: bool
) -> None:
    """40 CFR 262.42(b): 60 days from the acceptance by the first transporter."""
    shipped_days_ago(store, days)
    assert ("Signed copy missing</span>" in client.get(PICKUPS).text) == is_missing


def test_a_pickup_whose_day_has_passed_asks_whether_it_came(client: Any, store: Any) -> None:
    at = NOW - timedelta(days=5)
    booked = PickupBooked(
        at=at, pickup="p5", drums=["d2"], pickup_on=at.date(), hauler="Marl Waste"
    )
    record(store, ROOM, [booked], NOW)
    assert "Did it come?" in client.get(PICKUPS).text


def test_a_pickup_inside_the_usual_notice_is_asked_about_and_booked_once_confirmed(
    client: Any, store: Any
) -> None:
    # 15 working days from Monday 2 March are Monday 23 March.
    answer = book(client, pickup_on="2026-03-20")
    assert answer.status_code == 422
    asked = (
        "The contractor usually needs 15 working days, so Mon 23 Mar at the earliest. "
        "Did they agree to come on Fri 20 Mar?"
    )
    assert asked in answer.text
    assert 'value="2026-03-20"' in answer.text
    assert 'name="drum+d2" checked' in answer.text
    assert seen(store).pickups == {}
    (yes,) = STORE_IT.findall(answer.text)
    assert book(client, pickup_on="2026-03-21", confirmed=yes).status_code == 422  # another day
    assert book(client, pickup_on="2026-03-20", confirmed=yes).status_code == 200
    assert the_pickup(store).pickup_on.isoformat() == "2026-03-20"


def test_a_booking_on_the_first_day_of_the_notice_is_not_asked_about(
    client: Any, store: Any
) -> None:
    assert book(client, pickup_on="2026-03-23").status_code == 200
    assert the_pickup(store).pickup_on.isoformat() == "2026-03-23"


def test_a_booking_on_no_working_day_is_asked_about(client: Any, store: Any) -> None:
    answer = book(client, pickup_on="2026-03-28")
    assert "Sat 28 Mar is not a working day here (Saturdays are not working days)." in answer.text
    assert seen(store).pickups == {}


def test_what_the_room_refuses_is_refused_before_anything_is_asked(client: Any) -> None:
    answer = book(client, pickup_on="2026-03-01")
    assert "This day has passed." in answer.text
    assert "usually needs" not in answer.text

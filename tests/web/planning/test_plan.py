"""The pages of swaps ahead: calendar, readiness in words, decisions and their undoing."""

import re
from datetime import date, timedelta
from typing import Any

import pytest

from app.domain.calendar_words import day_words
from app.domain.planning.lines import Line
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.qualifications import Qualified
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.supplies import Item, OrderPlaced, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumClosed, PickupBooked, Pour
from app.services.door import bring_in as record
from app.services.planning.proposal import next_swaps
from app.store import queries
from app.store.engine import Store
from app.web.deps import Visit, get_visit
from app.web.planning.plain import chance_words, joined
from app.web.planning.views import shortfall_text, tank_card
from app.web.planning.words import Words
from app.web.render import ENVIRONMENT
from tests.answers import STORE_IT
from tests.factories import NOW, ROOM, sensor_reading, wash
from tests.services.planning.rooms import opened_swap
from tests.web.settings import change_settings

PLAN = f"/rooms/{ROOM}/plan"
WEEK_AGO = NOW - timedelta(days=7)
MON = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def washed(store: Store) -> None:
    """The first bath fills up in days, the second in weeks."""
    entries = [wash(day, "t1", area_cm2=7000.0) for day in range(13, 0, -1)]
    entries += [wash(day - 0.3, "t2", area_cm2=4500.0) for day in range(13, 0, -1)]
    entries += [sensor_reading(12.9, 0.4)]  # as the estimate has it: it only makes days known
    record(store, ROOM, entries, NOW)


def stocked(store: Store, litres: float = 60.0) -> None:
    record(
        store,
        ROOM,
        [
            Item(at=WEEK_AGO, item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.0, container_sizes=[18.9, 3.8]),
            StockReceived(at=WEEK_AGO, item="ipa", quantity=litres, lot="L-1"),
            Drum(at=WEEK_AGO, drum="d1", name="Drum 1", capacity_l=205.0,
                 stream="isopropanol_resin", area="central"),
        ],
        NOW,
    )  # fmt: skip


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def decide(client: Any, tank: str = "t2", **form: str) -> Any:
    values = {"action": "pin", "day": "2026-03-04", "by": "Curlew", "submission": "key"}
    return client.post(f"{PLAN}/{tank}", data=values | form)


def visit_of(client: Any) -> Visit:
    from sqlmodel import Session
    from starlette.requests import Request

    store = client.app.state.store
    scope = {"type": "http", "method": "GET", "headers": [], "path": "/", "query_string": b""}
    request = Request(scope)
    return get_visit(request, store, Session(store.reader), NOW, ROOM)


def test_the_page_has_a_table_of_weeks_and_each_swap(client: Any, store: Store) -> None:
    stocked(store)
    answer = client.get(PLAN)
    assert answer.status_code == 200
    assert answer.text.count("<time datetime=") >= 56
    assert 'id="swap-t1"' in answer.text
    assert 'id="swap-t2"' in answer.text
    assert "First shortage:" in answer.text
    text = text_of(answer)
    assert "Set aside: 38.0 L from L-1" in text
    assert "Left for this swap: 22.0 L; 16.0 L missing." in text
    assert "Order 1 × 18.9 L by" in text


@pytest.mark.parametrize(
    "missing_l, said",
    [(0.004, "under 0.01 L more is needed."), (0.5, "0.50 L more is needed.")],
)
def test_a_gap_too_small_for_the_figures_is_not_called_nothing(
    client: Any, store: Store, missing_l: float, said: str
) -> None:
    stocked(store)
    visit = visit_of(client)
    board = queries.board(visit.session, visit.room_id, NOW)
    found = next_swaps(visit.session, visit.room, board, visit.now).swap("t2")
    words = Words(visit.room, visit.today)
    visit.session.close()
    assert found is not None
    swap = found.swap
    line = Line(
        "drum", "short", key="isopropanol", needed=20.0, there=20.0 - missing_l, missing=missing_l
    )
    assert said in words.said(swap, line).text


@pytest.mark.parametrize("weeks, rows", [("8", 8), ("13", 13), ("26", 26), ("99", 8), ("x", 8)])
def test_the_weeks_looked_at_can_be_chosen(client: Any, weeks: str, rows: int) -> None:
    answer = client.get(f"{PLAN}?weeks={weeks}")
    assert answer.text.count("<time datetime=") == 7 * rows


def test_an_empty_shelf_and_no_drum_are_said_with_what_to_do(client: Any) -> None:
    text = text_of(client.get(PLAN))
    assert "38.0 L missing. Order 38.0 L" in text
    assert "Set up a drum of 56.8 L or more before the day" in text
    assert "No limit for flammable liquids has been entered" in text


def test_limits_of_the_site_are_counted_on_each_day(client: Any, store: Store) -> None:
    stocked(store)
    limits = SiteRules(at=WEEK_AGO, site="site", flammable_limit_l=100, waste_month_limit_kg=20)
    record(store, ROOM, [limits], NOW)
    text = text_of(client.get(PLAN))
    assert "the site&#39;s limit is 100 L" in text or "the site's limit is 100 L" in text
    assert "Put it off to Wed 1 Apr or later" in text


def test_volumes_are_shown_in_the_room_s_unit(client: Any, store: Store) -> None:
    stocked(store)
    settings = {
        "name": "Test room", "time_zone": "UTC", "volume_unit": "us_gal", "temperature_unit": "f",
        "mass_unit": "oz", "area_unit": "in2",
    }  # fmt: skip
    change_settings(client, settings)
    assert "10.0 US gal" in text_of(client.get(PLAN))  # 38 L


def test_a_day_is_set_and_taken_back(client: Any) -> None:
    answer = decide(client)
    assert answer.url.path == PLAN
    assert "Saved: set to Wed 4 Mar" in answer.text
    assert "Set to Wed 4 Mar by Curlew" in answer.text
    undo = re.search(r'action="([^"]+/undo/[^"]+)"', answer.text)
    assert undo is not None
    answer = client.post(undo[1])
    assert "Taken back" in answer.text
    assert "Set to Wed 4 Mar" not in answer.text
    history = client.get(f"{PLAN}/t2").text
    assert "corrected or withdrawn" in history


def test_what_a_late_day_costs_is_shown_before_it_is_saved(client: Any) -> None:
    late = {"action": "postpone", "day": "2026-03-31", "reason": "No people"}
    asked = decide(client, **late)
    assert asked.status_code == 422
    assert "That late?" in asked.text
    assert "past its limit" in asked.text
    assert 'value="2026-03-31"' in asked.text
    assert 'value="No people"' in asked.text
    assert client.get(f"/api/v1/rooms/{ROOM}/entries?kind=swap_postponed").json()["entries"] == []
    (answer,) = STORE_IT.findall(asked.text)
    done = decide(client, **late, confirmed=answer)
    assert "put off, not before Tue 31 Mar: No people" in done.text
    entry = client.get(f"/api/v1/rooms/{ROOM}/entries?kind=swap_postponed").json()["entries"][0]
    assert 1 < entry["entry"]["chance_percent"] <= 100


@pytest.mark.parametrize(
    "form, message",
    [
        ({"day": "31.03."}, "is not a day such as"),
        ({"day": ""}, "Enter the day."),
        ({"day": "2026-02-30"}, "is not a day such as"),
        ({"day": "2026-02-27"}, "This day has passed."),
        ({"day": "2027-02-26"}, "no further ahead than 26 weeks"),
        ({"action": "postpone"}, "Say why"),
        ({"action": "release"}, "Nothing has been decided"),
        ({"action": "jump"}, "Choose what to do."),
        ({"reason": "x" * 300}, "At most 200 characters"),
    ],
)
def test_what_does_not_fit_is_said_beside_its_field_and_nothing_is_stored(
    client: Any, form: dict[str, str], message: str
) -> None:
    answer = decide(client, **form)
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="Curlew"' in answer.text
    assert client.get(f"/api/v1/rooms/{ROOM}/entries?kind=swap_pinned").json()["entries"] == []


def test_only_a_lead_decides_where_one_is_entered(client: Any, store: Store) -> None:
    record(store, ROOM, [CrewMember(at=NOW, crew="crew", name="Curlew", role="lead")], NOW)
    assert "A lead decides days: Curlew." in decide(client, by="Wren").text
    assert "Saved: set to Wed 4 Mar" in decide(client).text


def test_a_double_touch_decides_once(client: Any) -> None:
    decide(client)
    decide(client)
    entries = client.get(f"/api/v1/rooms/{ROOM}/entries?kind=swap_pinned").json()["entries"]
    assert len(entries) == 1


def test_only_decisions_are_undone_here(client: Any) -> None:
    assert client.post(f"{PLAN}/undo/tank-t1").status_code == 409
    assert client.post(f"{PLAN}/undo/none").status_code == 404
    assert client.get(f"{PLAN}/none").status_code == 404


def test_what_a_bath_costs_by_day_rises(client: Any) -> None:
    page = client.get(f"{PLAN}/t1").text
    shares = [float(found) for found in re.findall(r'plan-bar-part" width="([\d.]+)%', page)]
    assert len(shares) > 5
    assert shares == sorted(shares)
    assert shares[-1] > 90


def test_the_room_page_s_line_names_the_first_that_falls_short(client: Any, store: Store) -> None:
    stocked(store)
    visit = visit_of(client)
    board = queries.board(visit.session, visit.room_id, NOW)
    text = shortfall_text(visit, board)
    visit.session.close()
    assert text.startswith("2 T2 by ")
    assert text.endswith("16.0 L of Isopropanol (2-propanol) 99 % by mass missing")


def test_a_tank_has_a_block_of_its_own(client: Any) -> None:
    visit = visit_of(client)
    card = tank_card(visit, visit.tank("t2"))
    visit.session.close()
    assert card is not None
    assert card.word == "Missing"
    assert card.heading == f"Next swap: {card.when}, proposed"
    assert [line.title for line in card.open_lines][:2] == ["Fresh solvent", "Room in drums"]
    made = ENVIRONMENT.from_string(
        "{% from 'planning/_readiness.html' import readiness_block %}"
        "{{ readiness_block(room, card) }}"
    ).render(room=visit.room, card=card)
    assert "Order 38.0 L" in made
    assert f'href="{PLAN}/t2"' in made


def test_words_of_days_chances_and_lists() -> None:
    assert day_words(date(2026, 12, 3), MON) == "Thu 3 Dec"
    assert day_words(date(2027, 1, 9), MON) == "Sat 9 Jan 2027"
    assert [chance_words(c).replace("\N{NO-BREAK SPACE}", " ") for c in (0.004, 0.237, 0.996)] == [
        "under 1 %", "24 %", "over 99 %",
    ]  # fmt: skip
    assert joined(["a"]) == "a"
    assert joined(["a", "b", "c"]) == "a, b and c"


def test_a_swap_that_is_poured_and_filled_says_so(client: Any, store: Store) -> None:
    steps = [StepDone(at=NOW, swap="s1", step=key) for key in ("drain", "rinse", "fill")]
    record(store, ROOM, [*opened_swap(), *steps], NOW)
    page = client.get(PLAN).text
    assert "Bath and rinse are in their drums." in page
    assert "The fresh solvent is in the tank." in page
    assert "under way" in page.lower()
    day = client.get(f"{PLAN}/t1").text
    assert "Go on with the swap" in day
    assert "decision" not in day


def test_later_swaps_take_what_is_left_by_their_chance_and_no_page_says_that_all_is_there(
    client: Any, store: Store
) -> None:
    """Enough for the next swap of each tank, nothing for those after them."""
    stocked(store, 80.0)
    page = text_of(client.get(f"{PLAN}?weeks=26"))
    assert "Nothing is missing for the swaps of these weeks." not in page
    assert "Nothing is missing for the next swap of any tank. Later swaps, still rough:" in page
    said = client.get(f"/api/v1{PLAN}?weeks=26").json()
    later = said["later"]
    assert len(later) > 8
    assert {one["round"] for one in later} > {1, 2}
    assert all(0 < one["share"] <= 1 for one in later)
    assert [one["share"] for one in later][-1] < 0.9 < later[0]["share"]
    solvent = [line for one in later for line in one["lines"] if line["subject"] == "solvent"]
    taken = sum(line["there"] for line in solvent)
    assert taken == pytest.approx(80 - 2 * 38, abs=0.1)
    wanted = sum(line["needed"] for line in solvent)
    assert wanted == pytest.approx(38 * sum(one["share"] for one in later), rel=0.01)
    missing = sum(line["missing"] for line in solvent)
    assert sum(order["total_l"] for order in said["later_orders"]) >= missing - 0.1
    assert said["orders"] == []


def test_a_swap_is_proposed_for_no_day_before_its_solvent_comes(client: Any, store: Store) -> None:
    comes_on = MON + timedelta(days=9)
    order = OrderPlaced(at=WEEK_AGO, item="ipa", order="o1", quantity=100.0, expected_on=comes_on)
    stocked(store, 1.0)
    record(store, ROOM, [order], NOW)
    found = client.get(f"/api/v1{PLAN}").json()["proposals"]
    first = next(one for one in found if one["tank"] == "t1")
    assert (first["day"], first["waits_for"]) == (comes_on.isoformat(), "solvent")
    text = text_of(client.get(PLAN))
    assert "1 T1 , Wed 11 Mar" in text
    assert "Not before Wed 11 Mar, when its solvent comes." in text
    assert (
        "First shortage: 1 T1, due Wed 4 Mar, fresh solvent comes only on Wed 11 Mar" in (text)
        or "fresh solvent comes only on Wed 11 Mar" in text
    )
    assert "T1, today" not in text


def test_a_swap_waits_for_the_pickup_that_makes_room_unless_an_empty_drum_is_set_up(
    client: Any, store: Store
) -> None:
    stocked(store, 200.0)
    full = Drum(at=WEEK_AGO, drum="d2", name="Drum 2", capacity_l=205.0, area="central",
                stream="isopropanol_resin", volume_l=180.0)  # fmt: skip
    record(store, ROOM, [DrumClosed(at=NOW, drum="d1", is_cool=True), full], NOW)
    first = client.get(f"/api/v1{PLAN}").json()["proposals"][0]
    earliest = date(2026, 3, 23)  # fifteen working days from Monday 2 March
    assert (first["tank"], first["day"], first["waits_for"]) == (
        "t1", earliest.isoformat(), "drum",
    )  # fmt: skip
    pickup = client.get(f"/api/v1{PLAN}").json()["pickups"][0]
    assert (pickup["day"], pickup["book_by_on"]) == (earliest.isoformat(), MON.isoformat())
    assert "when there is room in a drum" in text_of(client.get(PLAN))
    empty = Drum(at=NOW, drum="d3", name="Drum 3", capacity_l=205.0, area="central",
                 stream="isopropanol_resin")  # fmt: skip
    record(store, ROOM, [empty], NOW)
    first = client.get(f"/api/v1{PLAN}").json()["proposals"][0]
    assert (first["waits_for"], first["day"] < "2026-03-10") == ("", True)


def test_a_pickup_that_was_booked_as_proposed_is_not_asked_for_again(
    client: Any, store: Store
) -> None:
    stocked(store, 200.0)
    record(store, ROOM, [Pour(at=NOW, drum="d1", volume_l=150.0)], NOW)
    first = client.get(f"/api/v1{PLAN}").json()["pickups"][0]
    booked = PickupBooked(at=NOW, pickup="p1", pickup_on=date.fromisoformat(first["day"]),
                          hauler="", drums=["d1"])  # fmt: skip
    record(store, ROOM, [booked], NOW)
    said = client.get(f"/api/v1{PLAN}").json()
    assert all(one["day"] > first["day"] for one in said["pickups"])
    for swap in said["swaps"]:
        assert all(line["state"] != "short" for line in swap["lines"] if line["subject"] == "drum")


def test_readiness_names_who_does_swaps_the_parts_and_the_drum(client: Any, store: Store) -> None:
    stocked(store)
    said: list[Any] = [
        CrewMember(at=NOW - timedelta(days=30), crew="crew", name=name, role=role)
        for name, role in (("Wren", "technician"), ("Curlew", "lead"), ("Godwit", "manager"))
    ]
    gone = CrewMember(at=NOW, crew="crew", name="Curlew", role="lead", has_left=True)
    record(store, ROOM, [*said, gone], NOW)
    page = text_of(client.get(PLAN))
    assert "Here: Wren. Swaps need no qualification here." in page
    assert "Godwit" not in page
    assert "L into Drum 1" in page
    may = Qualified(at=NOW, qualifications="qualifications", person="Dunlin", act="swap",
                    until_on=NOW.date() + timedelta(days=90), lead="Wren")  # fmt: skip
    dunlin = CrewMember(at=NOW, crew="crew", name="Dunlin", role="technician")
    record(store, ROOM, [dunlin, may], NOW)
    page = text_of(client.get(PLAN))
    assert re.search(r"Qualified to swap baths [^:]*: Dunlin\.", page)

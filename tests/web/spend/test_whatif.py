"""What-if pages: cases side by side, messages beside the field of the right case, kept by name."""

import re
from datetime import timedelta
from html import unescape
from urllib.parse import parse_qs, urlparse

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import TankChange
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, tank, wash
from tests.services.spend.test_weekly_costs import costly, stocked, told

AT = f"/rooms/{ROOM}/spend/what-if"


@pytest.fixture
def spent(client: TestClient, store: Store) -> TestClient:
    """A room with a week of everything that costs."""
    record(store, ROOM, [*stocked(), *told(), *costly()], NOW)
    return client


def beside(page: str, field: str) -> str:
    """The message beside a field."""
    found = re.search(rf'id="e-{field}"[^>]*>([^<]*)<', page)
    return unescape(found.group(1)) if found else ""


def test_cases_stand_beside_the_room_and_the_address_holds_them(spent: TestClient) -> None:
    page = spent.get(f"{AT}?a_limit_percent=12&a_name=Later&b_baths=paired").text
    for title in ("As things are now", "A: Later", "Case B"):
        assert re.search(rf'<th scope="col" class="amount">{title}', page), title
    assert 'value="12"' in page
    assert "more resin on every part" in page
    assert "How sure this is" in page
    assert "What is assumed" in page


def test_a_year_names_all_that_is_in_it_and_what_is_not(spent: TestClient, store: Store) -> None:
    page = unescape(spent.get(AT).text)
    for title in ("Solvent", "Disposal", "Labour of swaps", "Everything else in the books"):
        assert f'<th scope="row">{title}' in page, title
    assert "repeats, the same in every case; in a year consumables" in page
    assert "out of use" not in page
    record(store, ROOM, [TankChange(at=NOW, tank="t2", is_retired=True)], NOW)
    assert "but not the cost of tanks out of use: €" in unescape(spent.get(AT).text)


def test_no_range_on_the_page_misses_the_rooms_own_past(spent: TestClient) -> None:
    page = unescape(spent.get(AT).text)
    table = page[page.index("In the books") :]
    rows = re.findall(r'<td class="amount">([^<]+)</td><td class="amount may-wrap">([^<]+)<', table)
    assert len(rows) == 5
    for booked, by_model in rows:
        value, *ends = (
            float(re.sub(r"[^0-9.]", "", text))
            for text in (booked, *by_model.split("(")[1].split(" to "))
        )
        assert ends[0] - 1 <= value <= ends[-1] + 1, (booked, by_model)
    said = re.search(r"(\d+) of (\d+) figures in the books fall within the ranges as", page)
    assert said is not None
    if said[1] != said[2]:
        assert f"{said[2]} of {said[2]} fall within them" in page


def test_another_limit_leaves_more_on_the_parts_of_a_room_of_pairs(
    spent: TestClient, store: Store
) -> None:
    pair = [tank("clean", limit_percent=2.0), tank("dirty", pair="clean"),
            *(wash(13 - i / 4, "dirty", area_cm2=3_000.0) for i in range(50))]  # fmt: skip
    record(store, ROOM, [*pair, *(TankChange(at=NOW, tank=key, is_retired=True)
                                  for key in ("t1", "t2"))], NOW)  # fmt: skip
    page = spent.get(f"{AT}?a_limit_percent=8&b_limit_percent=12&c_limit_percent=15").text
    row = page.split("Resin left on parts")[1].split("</tr>")[0]
    left = [int(re.sub(r"\D", "", text)) for text in re.findall(r"<span>([^<]+)</span>", row)]
    assert left[1] < left[2] < left[3]
    assert "parts carry a film of the dirty bath into the clean one" in page


def test_a_case_with_only_a_name_is_shown_as_now(spent: TestClient) -> None:
    page = spent.get(f"{AT}?b_name=Empty").text
    assert "B: Empty" in page
    assert "nothing changed" in page


def test_cases_may_stand_with_the_cheapest_first(spent: TestClient) -> None:
    asked = "a_name=Dear&a_disposal_per_kg=50&b_name=Cheap&b_disposal_per_kg=0"
    titles = re.compile(r'<th scope="col" class="amount">([AB]: \w+)')
    assert titles.findall(spent.get(f"{AT}?{asked}").text) == ["A: Dear", "B: Cheap"]
    page = spent.get(f"{AT}?{asked}&order=cost").text
    assert titles.findall(page) == ["B: Cheap", "A: Dear"]
    assert 'name="order" value="cost"' in page


def test_the_link_to_share_holds_every_case_and_the_order(spent: TestClient) -> None:
    asked = "a_name=Dear&a_disposal_per_kg=50&c_name=Pair&c_baths=paired&order=cost"
    page = spent.get(f"{AT}?{asked}").text
    found = re.search(r'id="f-link" readonly value="([^"]+)"', page)
    assert found is not None
    assert parse_qs(urlparse(unescape(found.group(1))).query) == parse_qs(asked)


@pytest.mark.parametrize(
    "asked,field,message",
    [
        ("a_limit_percent=90", "a_limit_percent",
         "Case A: the swap limit (mass %) must be between 1 and 40."),
        ("b_limit_percent=0", "b_limit_percent", "Case B: the swap limit"),
        ("a_limit_percent=ten", "a_limit_percent", "Case A: "),
        ("a_limit_percent=nan", "a_limit_percent", "Case A: "),
        ("c_size_percent=1e9", "c_size_percent", "Case C: "),
        ("c_size_percent=1000000000", "c_size_percent", "Case C: the bath size"),
        ("a_container_l=0", "a_container_l", "Case A: the size of a container"),
        ("a_disposal_per_kg=-1", "a_disposal_per_kg", "Case A: the price of a kilogram"),
        ("b_solvent=ethanol", "b_container_price", "Case B: nobody has bought Ethanol here yet"),
        ("a_solvent=moonshine", "a_solvent", "Case A: “solvent” cannot be “moonshine”"),
        ("a_container_price=50", "a_container_l", "Case A: enter the size of the container"),
        ("a_recovery_per_l=1", "a_recovery_percent", "Case A: enter how much the still recovers"),
        ("a_disposal_per_kg=1&a_disposal_per_drum=9", "a_disposal_per_kg", "not both"),
        ("b_name=" + "x" * 61, "b_name", "Case B: a name may have at most 60 letters"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_beside_its_field_and_stays_typed(
    spent: TestClient, asked: str, field: str, message: str
) -> None:
    answer = spent.get(f"{AT}?{asked}&c_name=Sound&c_disposal_per_kg=4")
    assert answer.status_code == 422
    assert message in beside(answer.text, field)
    for part in asked.split("&"):
        assert part.split("=")[1] in answer.text
    if not asked.startswith("c_"):
        assert re.search(r'class="amount">C: Sound', answer.text)


def test_a_case_is_kept_by_name_opened_again_and_taken_off(spent: TestClient) -> None:
    sent = {"place": "a", "a_name": "Later limit", "a_limit_percent": "12", "submission": "k1"}
    kept = spent.post(f"{AT}/keep", data=sent)
    assert "Kept as “" in kept.text
    assert "A: Later limit" in spent.get(f"{AT}?case=later-limit").text
    full = "a_limit_percent=9&b_limit_percent=9"
    assert "C: Later limit" in spent.get(f"{AT}?{full}&case=later-limit").text
    none_free = spent.get(f"{AT}?{full}&c_limit_percent=9&case=later-limit").text
    assert "All three columns are in use" in none_free
    spent.post(f"{AT}/drop/later-limit")
    assert "case=later-limit" not in spent.get(AT).text
    assert spent.post(f"{AT}/drop/later-limit").status_code == 404
    assert "This case is no longer kept" in spent.get(f"{AT}?case=later-limit").text


def test_names_that_read_alike_do_not_replace_each_other(spent: TestClient) -> None:
    for name, limit in (("Limit 12", "12"), ("limit-12!", "11"), ("Limit 12", "13")):
        spent.post(f"{AT}/keep", data={"place": "b", "b_name": name, "b_limit_percent": limit})
    page = spent.get(AT).text
    assert len(re.findall(r"/what-if/drop/", page)) == 2
    assert 'value="13"' in spent.get(f"{AT}?case=limit-12").text


@pytest.mark.parametrize(
    "sent,field,message",
    [
        ({"a_limit_percent": "12"}, "a_name", "Case A: give it a name to keep it."),
        ({"a_name": "None"}, "a_name", "nothing has been changed yet"),
        ({"a_name": "Bad", "a_limit_percent": "90"}, "a_limit_percent", "must be between 1 and 40"),
    ],
)
def test_a_case_that_does_not_fit_is_not_kept_and_stays_typed(
    spent: TestClient, sent: dict[str, str], field: str, message: str
) -> None:
    answer = spent.post(f"{AT}/keep", data={"place": "a", **sent, "b_size_percent": "80"})
    assert answer.status_code == 422
    assert message in beside(answer.text, field)
    for value in (*sent.values(), "80"):
        assert f'value="{value}"' in answer.text
    assert "/what-if/drop/" not in spent.get(AT).text


def test_a_room_without_baths_or_prices_says_what_is_missing(
    client: TestClient, store: Store
) -> None:
    assert "It is too early to say" in client.get(AT).text
    record(store, ROOM, told(), NOW)
    page = client.get(f"{AT}?a_limit_percent=12")
    assert page.status_code == 200
    assert "No price of solvent, no price of disposal, no rate of labour is known here" in page.text
    record(store, ROOM, costly()[:2], NOW + timedelta(hours=1))
    assert client.get(AT).status_code == 200

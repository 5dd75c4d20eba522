"""The pages of what the room spends: numbers, the entries behind them, forms, links."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.supplies import StockReceived
from app.services.roomlog import record
from app.store.engine import Store
from app.web.money import Money
from tests.factories import NOW, ROOM
from tests.services.spend.test_spend import costly, stocked

AT = f"/rooms/{ROOM}/spend"
WEEK = "week=2026-W09"


@pytest.fixture
def spent(client: TestClient, store: Store) -> TestClient:
    """A room with a week of everything that costs."""
    record(store, ROOM, [*stocked(), *costly()], NOW)
    return client


def test_the_page_opens_on_the_week_that_is_over_and_says_its_cause(spent: TestClient) -> None:
    page = spent.get(AT)
    assert "Week 2026-W09 cost €336.42, €136.42 over the budget" in page.text
    assert page.text == spent.get(f"{AT}?{WEEK}").text


def test_every_number_opens_into_entries_with_the_same_sum(spent: TestClient) -> None:
    page = spent.get(f"{AT}?{WEEK}").text
    links = re.findall(r'<a href="([^"]+/spend/lines[^"]*)">([^<]+)</a>', page)
    assert len(links) > 10
    for href, amount in links:
        found = spent.get(href.replace("&amp;", "&"))
        assert found.status_code == 200
        assert re.search(rf"<h1>.*: {re.escape(amount)}</h1>", found.text), href


def test_a_formula_in_a_note_is_harmless_text(spent: TestClient) -> None:
    page = spent.get(f"{AT}/lines?{WEEK}&category=other").text
    assert "=HYPERLINK(&#34;http://x&#34;)" in page
    table = spent.get(f"{AT}/week.csv?{WEEK}").text
    assert "'=HYPERLINK" in table


def test_a_supplier_of_eighty_characters_and_a_tax_free_price_keep_the_sums(
    spent: TestClient, store: Store
) -> None:
    more = StockReceived(at=NOW - timedelta(days=4), item="ipa", quantity=1, lot="C",
                         price_cents=999, supplier="S" * 80)  # fmt: skip
    record(store, ROOM, [more], NOW)
    assert "€9.99" in spent.get(f"{AT}/lines?{WEEK}&side=bought").text
    assert "€336.42" in spent.get(f"{AT}?{WEEK}").text


def test_a_week_without_data_says_so_and_how_to_begin(client: TestClient) -> None:
    page = client.get(f"{AT}?week=2020-W53")
    assert page.status_code == 200
    assert "Nothing was charged to week 2020-W53." in page.text
    assert "No cost is logged in this week." in page.text


@pytest.mark.parametrize("page", ["", "/lines", "/balance", "/week.csv", "/week.xlsx"])
def test_what_is_no_week_is_said(client: TestClient, page: str) -> None:
    answer = client.get(f"{AT}{page}?week=2025-W53")
    assert answer.status_code == 422
    assert "is no week such as 2026-W09" in answer.text


def test_the_workbook_is_handed_out_as_a_file(spent: TestClient) -> None:
    answer = spent.get(f"{AT}/week.xlsx?{WEEK}")
    assert answer.content.startswith(b"PK")
    assert f"spend-{ROOM}-2026-W09.xlsx" in answer.headers["content-disposition"]


def test_rates_are_stored_and_hold_from_now_on(spent: TestClient) -> None:
    sent = {"labour_cents_per_hour": "45.50", "weekly_budget_cents": "150", "submission": "r1"}
    answer = spent.post(f"{AT}/prices", data=sent)
    assert answer.url.params["saved"] == "1"
    page = spent.get(f"{AT}/prices").text
    assert 'value="45.50"' in page
    assert "€336.42" in spent.get(f"{AT}?{WEEK}").text  # the week that is over stays as it was


@pytest.mark.parametrize(
    "field,text,message",
    [
        ("labour_cents_per_hour", "-1", "An amount is zero or more"),
        ("currency", "USD", "counts in EUR"),
        ("currency", "euro", "three capital letters"),
        ("weekly_budget_cents", "much", "number"),
        ("locale", "Klingon", "en_IE"),
    ],
)
def test_rates_that_do_not_fit_are_refused_beside_the_field(
    spent: TestClient, field: str, text: str, message: str
) -> None:
    answer = spent.post(f"{AT}/prices", data={field: text, "submission": "x"})
    assert answer.status_code == 422
    assert message in answer.text
    assert f'value="{text}"' in answer.text


def test_another_cost_is_stored_and_counts(spent: TestClient) -> None:
    sent = {"what": "Filter rental", "cost_cents": "12.50", "purpose": "other",
            "at": "2026-02-25T10:00", "by": "Heron"}  # fmt: skip
    spent.post(f"{AT}/prices/cost", data=sent)
    assert "€348.92" in spent.get(f"{AT}?{WEEK}").text
    refused = spent.post(f"{AT}/prices/cost", data={**sent, "cost_cents": "-3"})
    assert refused.status_code == 422
    assert 'value="Filter rental"' in refused.text


def test_what_if_shows_cases_beside_the_room_and_its_address_holds_them(
    spent: TestClient,
) -> None:
    address = f"{AT}/what-if?a_limit_percent=12&a_name=Later&b_baths=paired"
    page = spent.get(address).text
    assert "A: Later" in page
    assert "B: unnamed" in page
    assert 'value="12"' in page
    assert "What each case takes for given" in page


def test_a_case_is_kept_by_name_opened_again_and_taken_off(spent: TestClient) -> None:
    sent = {"place": "a", "a_name": "Later limit", "a_limit_percent": "12", "submission": "k1"}
    kept = spent.post(f"{AT}/what-if/keep", data=sent)
    assert "Kept under its name" in kept.text
    again = spent.get(f"{AT}/what-if?case=later-limit").text
    assert "A: Later limit" in again
    spent.post(f"{AT}/what-if/drop/later-limit")
    assert "?case=later-limit" not in spent.get(f"{AT}/what-if").text


@pytest.mark.parametrize(
    "asked,message",
    [
        ("a_limit_percent=90", "lies between 1 and 40"),
        ("a_limit_percent=ten", "number"),
        ("a_solvent=ethanol", "Nobody has bought this solvent here yet"),
        ("a_solvent=moonshine", "no change that a case can make"),
        ("a_disposal_per_kg=-1", "lies between 0"),
    ],
)
def test_a_case_that_cannot_be_is_said_beside_its_field(
    spent: TestClient, asked: str, message: str
) -> None:
    page = spent.get(f"{AT}/what-if?{asked}")
    assert page.status_code == 422
    assert message in page.text


def test_a_case_without_a_name_is_not_kept(spent: TestClient) -> None:
    answer = spent.post(f"{AT}/what-if/keep", data={"place": "a", "a_limit_percent": "12"})
    assert answer.status_code == 422
    assert "Give the case a name" in answer.text


def test_balance_and_weeks_ahead_answer_on_a_room_that_has_seen_something(
    spent: TestClient,
) -> None:
    balance = spent.get(f"{AT}/balance?{WEEK}&span=1").text
    assert "Isopropanol" in balance
    assert "Unexplained" in balance
    assert "should cost" in spent.get(f"{AT}/ahead").text


@pytest.mark.parametrize(
    "locale,currency,text",
    # Unicode CLDR, as the babel library carries it: symbol, place and separators by locale.
    [
        ("en_IE", "EUR", "€1,234.56"),
        ("de_DE", "EUR", "1.234,56\N{NO-BREAK SPACE}€"),
        ("fr", "EUR", "1\N{NARROW NO-BREAK SPACE}234,56\N{NO-BREAK SPACE}€"),
        ("en_US", "USD", "$1,234.56"),
        ("de_CH", "CHF", "CHF\N{NO-BREAK SPACE}1’234.56"),
        ("xx", "EUR", "€1,234.56"),
        ("en_GB", "", "1,234.56"),
    ],
)
def test_amounts_are_written_as_people_of_a_place_write_them(
    locale: str, currency: str, text: str
) -> None:
    assert Money(currency, locale)(123_456) == text


def test_no_cent_is_lost_to_a_float() -> None:
    assert Money("EUR", "en_IE")(9_007_199_254_740_993) == "€90,071,992,547,409.93"
    assert Money("EUR", "en_IE")(None) == ""

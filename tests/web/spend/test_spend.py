"""The pages of what the room spends: numbers, the entries behind them, forms, links."""

import io
import re
from datetime import timedelta

import openpyxl
import pytest
from fastapi.testclient import TestClient

from app.domain.plural import MINUS
from app.domain.roomlog.kinds import Reject, TopUp
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.store.engine import Store
from app.web.money import Money
from tests.answers import sure
from tests.factories import NOW, ROOM, wash, withdraw
from tests.services.spend.test_weekly_costs import costly, stocked, told

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


def test_a_week_that_is_running_is_never_called_under_budget(
    spent: TestClient, store: Store
) -> None:
    # NOW is Monday noon of 2026-W10: a fourteenth of a week, €14.29 of the €200.00.
    page = spent.get(f"{AT}?week=2026-W10").text
    assert "Nothing was charged to week 2026-W10 so far." in page
    record(store, ROOM, [paid("o1", 1_000)], NOW)
    page = spent.get(f"{AT}?week=2026-W10").text
    assert "Week 2026-W10 has cost €10.00 so far: €190.00 of the budget is left" in page
    assert "under the budget" not in page
    record(store, ROOM, [paid("o2", 1_000)], NOW)
    page = spent.get(f"{AT}?week=2026-W10").text
    assert "€5.71 more than the budget to date (€14.29)" in page
    record(store, ROOM, [paid("o3", 30_000)], NOW)
    assert "€120.00 over the budget" in spent.get(f"{AT}?week=2026-W10").text


def test_a_running_week_is_compared_with_the_same_part_of_the_weeks_before(
    spent: TestClient, store: Store
) -> None:
    # Last week cost 336.42, but nothing by Monday noon: what is spent by then is all more.
    record(store, ROOM, [paid("o1", 1_000)], NOW)
    page = spent.get(f"{AT}?week=2026-W10").text
    assert "€10.00 more than usual by now" in page
    assert "A usual week up to this point" in page


def paid(key: str, cents: int) -> OtherCost:
    return OtherCost(at=NOW - timedelta(hours=1), id=key, prices="prices", cost_cents=cents,
                     purpose="other", what="Rent")  # fmt: skip


def test_a_week_that_has_not_begun_says_so(spent: TestClient) -> None:
    assert "Week 2026-W12 has not begun." in spent.get(f"{AT}?week=2026-W12").text


def test_the_reasons_have_the_sign_of_the_difference_and_add_up(
    spent: TestClient, store: Store
) -> None:
    # 2026-W08: 400.00 of other costs, no labour. W09: 336.42, with 45.00 more labour: it is less
    # for another reason.
    rent = OtherCost(at=NOW - timedelta(days=10), id="rent", prices="prices", cost_cents=40_000,
                     purpose="other", what="Rent")  # fmt: skip
    record(store, ROOM, [rent], NOW)
    page = spent.get(f"{AT}?{WEEK}").text
    assert "€63.58 less than usual" in page
    [why] = re.findall(r'class="spend-why">(.*?)</p>', page)
    assert "Mainly €387.50 less other costs." in why
    table = page[page.index('id="s-why"') : page.index('id="s-causes"')]
    amounts = [
        round(100 * float(text.replace("€", "").replace(",", "").replace(MINUS, "-")))
        for text in re.findall(rf'class="amount">(?:<a[^>]*>)?([+{MINUS}]?€[\d,.]+)<', table)
    ]
    usual, *changes, now = amounts
    assert (usual, now) == (40_000, 33_642)
    assert usual + sum(changes) == now


def test_a_change_opens_into_this_weeks_entries_beside_those_of_the_weeks_before(
    spent: TestClient, store: Store
) -> None:
    # By hand: 400.00 of other costs in W08 for T1, 12.50 in W09: 387.50 less.
    rent = OtherCost(at=NOW - timedelta(days=10), id="rent", prices="prices", cost_cents=40_000,
                     purpose="other", what="Rent", tank="t1")  # fmt: skip
    record(store, ROOM, [rent], NOW)
    page = spent.get(f"{AT}?{WEEK}").text
    links = dict(re.findall(r'<a href="([^"]+to=usual)">([^<]+)</a>', page))
    assert f"{MINUS}€387.50" in links.values()
    assert any("tank=t1" in href for href in links)
    for href, amount in links.items():
        opened = spent.get(href.replace("&amp;", "&")).text
        assert re.search(rf"<h1[^>]*>.*: {re.escape(amount)}</h1>", opened), href
        sums = opened[opened.index("The weeks before") :]
        usual, now, change = (
            round(100 * float(text.replace("€", "").replace(",", "").replace(MINUS, "-")))
            for text in re.findall(rf"([+{MINUS}]?€[\d,.]+)</td>", sums)[-3:]
        )
        assert now - usual == change, href
    assert "week=2026-W08&amp;category=other" in opened or "2026-W08" in opened


def test_the_parts_of_a_reason_add_up_to_it_as_shown(spent: TestClient, store: Store) -> None:
    # By hand: 400.00 less for T1, and the 12.50 of W09 that no tank has: 387.50 less.
    rent = OtherCost(at=NOW - timedelta(days=10), id="rent", prices="prices", cost_cents=40_000,
                     purpose="other", what="Rent", tank="t1")  # fmt: skip
    record(store, ROOM, [rent], NOW)
    page = spent.get(f"{AT}?{WEEK}").text
    table = page[page.index('id="s-why"') : page.index('id="s-causes"')]
    assert "the rest +€12.50" in table
    rows = [row for row in re.findall(r"<tr>.*?</tr>", table, re.S) if "tank=" in row]
    for row in rows:
        *parts, change = (
            round(100 * float(text.replace("€", "").replace(",", "").replace(MINUS, "-")))
            for text in re.findall(rf"[+{MINUS}]€[\d,.]+", row)
        )
        assert sum(parts) == change, row


def test_weeks_before_the_first_rates_and_costs_have_no_budget_and_no_amount(
    spent: TestClient,
) -> None:
    page = spent.get(f"{AT}?{WEEK}&span=52").text
    assert "2026-W01: no cost logged so far" in page
    assert "2026-W01: €0.00" not in page
    early = spent.get(f"{AT}?week=2025-W40").text
    assert "budget" not in early[early.index("<h1") : early.index("</h1>")]
    assert "spend-key-budget" not in early


def test_a_week_to_come_shows_no_empty_tables(spent: TestClient) -> None:
    page = spent.get(f"{AT}?week=2026-W12").text
    assert "so far" not in page
    assert "€0.00" not in page
    assert "/spend/ahead" in page


def test_a_running_week_says_how_it_should_end_against_the_budget(
    spent: TestClient, store: Store
) -> None:
    record(store, ROOM, [paid("o1", 19_000), *told()], NOW)
    page = spent.get(f"{AT}?week=2026-W10").text
    assert re.search(r"It should end at about €[\d,]+, about €[\d,]+ over the budget", page)
    assert "should end at" not in spent.get(f"{AT}?{WEEK}").text
    ahead = spent.get(f"{AT}/ahead").text
    assert "weekly budget, €200.00" in ahead
    assert "over the budget" in ahead


def test_late_washes_and_rejects_open_into_the_entries_of_their_week_alone(
    spent: TestClient, store: Store
) -> None:
    bad = [
        Reject(at=NOW - timedelta(days=days), id=f"r{days}", tank="t1", finding="tacky", parts=2)
        for days in (3, 12)
    ]
    record(store, ROOM, bad, NOW)
    page = spent.get(f"{AT}?{WEEK}").text
    [href] = re.findall(r'href="([^"]+/quality[^"]+of=rejects)"', page)
    opened = spent.get(href.replace("&amp;", "&")).text
    assert "Parts rejected, week 2026-W09: 2</h1>" in opened
    assert re.findall(r"/entries/(r\d+)", opened) == ["r3"]
    late = spent.get(f"{AT}/quality?{WEEK}&of=late").text
    shown = re.search(r"Washes past the limit</th><td class=\"amount\">(?:<a[^>]*>)?(\d+) of", page)
    assert shown is not None
    assert f"week 2026-W09: {shown[1]}</h1>" in late
    assert spent.get(f"{AT}/quality?{WEEK}&of=cheese").status_code == 422


def test_what_comes_next_is_told_to_the_page_of_the_week(spent: TestClient, store: Store) -> None:
    record(store, ROOM, told(), NOW)
    answer = spent.get(f"{AT}/next", headers={"hx-request": "true"}).text
    assert "this week (W10) should end at about €" in answer
    assert spent.get(f"{AT}/next").url.path == f"{AT}/ahead"


def test_quality_stands_beside_the_cost(spent: TestClient, store: Store) -> None:
    bad = [
        Reject(at=NOW - timedelta(days=3), tank="t1", finding="tacky", parts=3,
               outcome="washed_again"),
        Reject(at=NOW - timedelta(days=3), tank="t1", finding="cracked", outcome="scrapped"),
    ]  # fmt: skip
    record(store, ROOM, bad, NOW)
    page = spent.get(f"{AT}?{WEEK}").text
    assert "4 parts rejected, 3 tacky" in page
    table = page[page.index('id="s-quality"') :]
    shown = re.findall(
        r"(tacky|washed again|scrapped)</small></th><td class=\"amount\">(\d)", table
    )
    assert shown == [("tacky", "3"), ("washed again", "3"), ("scrapped", "1")]


def test_what_a_spill_took_from_the_shelf_is_priced_as_spoiled(
    spent: TestClient, store: Store
) -> None:
    at = NOW - timedelta(days=3)
    spill = [
        # 2 L of lot B at 200.00 for 40 L are spoiled: 10.00 more than the 10.00 that were scrapped.
        Incident(at=at, id="i1", incident="shelf", problem="spill", volume_l=2, done="wiped up"),
        StockUsed(at=at, id="u9", item="ipa", quantity=2, lot="B", purpose="spill"),
    ]
    record(store, ROOM, spill, NOW)
    page = spent.get(f"{AT}?{WEEK}").text
    assert "Week 2026-W09 cost €346.42" in page
    lines = spent.get(f"{AT}/lines?{WEEK}&category=spoiled").text
    assert "Isopropanol, spilled or spoiled" in lines
    assert re.search(r"<h1[^>]*>Spoiled or expired, week 2026-W09: €20.00</h1>", lines)


def test_every_number_opens_into_entries_with_the_same_sum(spent: TestClient) -> None:
    page = spent.get(f"{AT}?{WEEK}").text
    links = re.findall(r'<a href="([^"]+/spend/lines[^"]*)">([^<]+)</a>', page)
    assert len(links) > 35
    assert {"per=wash", "side=bought", "resin=slate&amp;category=solvent", "tank=none"} <= {
        href.partition("&amp;")[2] for href, _ in links
    }
    for href, amount in links:
        found = spent.get(href.replace("&amp;", "&"))
        assert found.status_code == 200
        assert re.search(rf"<h1[^>]*>.*: {re.escape(amount)}</h1>", found.text), href


def test_lines_lead_to_the_single_entry_with_the_same_cost(spent: TestClient) -> None:
    page = spent.get(f"{AT}/lines?{WEEK}&category=other").text
    [href] = re.findall(r'href="([^"]+/entries/o)"', page)
    assert "12.50" in spent.get(href).text


@pytest.mark.parametrize("asked,amount,words", [
    ("per=wash", "€37.38", "€336.42 of these entries, divided by 9 washes."),
    ("per=kg", "€74.76", "1 of 9 washes weighed. Their share of €336.42 is €37.38"),
])  # fmt: skip
def test_a_cost_for_each_says_how_it_comes_from_its_entries(
    spent: TestClient, store: Store, asked: str, amount: str, words: str
) -> None:
    # By hand: 336.42 for 9 washes, one of which is logged with 0.5 kg.
    record(store, ROOM, [wash(6.0, id="weighed", mass_g=500.0, corrects="w0")], NOW)
    page = spent.get(f"{AT}/lines?{WEEK}&{asked}").text
    assert f"week 2026-W09: {amount}</h1>" in page
    assert words in page
    assert '<td class="amount">€336.42</td>' in page


@pytest.mark.parametrize("page", ["lines", "week.csv"])
@pytest.mark.parametrize("asked,message", [
    ("category=cheese", "“cheese” is not a cause of costs. There are: solvent, disposal"),
    ("tank=nowhere", "“nowhere” is not a tank of this room"),
    ("solvent=moonshine", "“moonshine” is not a solvent"),
    ("resin=amber", "“amber” is not a resin of this room"),
    ("item=cake", "“cake” is not an item on the shelf"),
    ("side=left", "choose consumed or bought"),
    ("side=bought&category=solvent", "Purchases have no cause"),
])  # fmt: skip
def test_a_link_that_asks_for_what_is_not_there_says_so(
    spent: TestClient, page: str, asked: str, message: str
) -> None:
    answer = spent.get(f"{AT}/{page}?{WEEK}&{asked}")
    assert answer.status_code == 422
    assert message in answer.text
    assert "€0.00" not in answer.text


def test_a_link_without_its_year_and_one_with_another_span_say_what_is_wrong(
    client: TestClient,
) -> None:
    assert "Give its year and number, such as 2026-W09" in client.get(f"{AT}?week=W53").text
    assert "The trend shows 13 or 52 weeks" in client.get(f"{AT}?span=5").text


def test_links_keep_the_span_and_the_table_keeps_the_filters(spent: TestClient) -> None:
    page = spent.get(f"{AT}?{WEEK}&span=52").text
    assert "/spend?week=2026-W08&amp;span=52" in page
    lines = spent.get(f"{AT}/lines?{WEEK}&span=52&category=solvent&tank=t1").text
    assert "/spend?week=2026-W09&amp;span=52" in lines
    [href] = re.findall(r'href="([^"]+week\.csv[^"]*)"', lines)
    table = spent.get(href.replace("&amp;", "&")).text.splitlines()
    assert [row.split(",")[0] for row in table[1:]] == ["u1"]


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


def test_a_delivery_that_was_withdrawn_is_named_with_what_was_used_of_it(
    spent: TestClient, store: Store
) -> None:
    # Without lot A the 40 L that were used of it come from lot B, and nothing is left for u2.
    withdraw(store, ROOM, "in1", "Wren", "not ours", NOW, None)
    page = spent.get(f"{AT}?{WEEK}").text
    named = page[page.index("Taken from the shelf without a price") :]
    assert "/entries/u2" in named[: named.index("</section>")]
    assert "its delivery was withdrawn" in page
    links = re.findall(r'<a href="([^"]+/spend/lines[^"]*)">([^<]+)</a>', page)
    for href, amount in links:
        found = spent.get(href.replace("&amp;", "&")).text
        assert re.search(rf"<h1[^>]*>.*: {re.escape(amount)}</h1>", found), href


def test_cheap_things_that_round_to_no_cent_are_not_without_a_price(
    spent: TestClient, store: Store
) -> None:
    day = NOW - timedelta(days=4)
    wipes = [
        Item(at=day, item="wipes", name="Wipes", category="cleaning", unit="piece"),
        StockReceived(at=day, item="wipes", quantity=1000, lot="W", price_cents=100),
        StockUsed(at=day, item="wipes", quantity=1),
    ]
    record(store, ROOM, wipes, NOW)
    assert "without a price" not in spent.get(f"{AT}?{WEEK}").text


def test_a_formula_is_text_in_the_workbook_too(spent: TestClient) -> None:
    answer = spent.get(f"{AT}/week.xlsx?{WEEK}")
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    [cell] = [c for c in book["Entries"]["E"] if c.value and "HYPERLINK" in str(c.value)]
    assert (cell.data_type, cell.value) == ("s", '=HYPERLINK("http://x")')


def test_a_week_without_data_says_so_and_how_to_begin(client: TestClient) -> None:
    page = client.get(f"{AT}?week=2020-W53")
    assert page.status_code == 200
    assert "Nothing was charged to week 2020-W53." in page.text
    assert "No cost is logged for this week." in page.text


@pytest.mark.parametrize("page", ["", "/lines", "/balance", "/week.csv", "/week.xlsx"])
def test_what_is_no_week_is_said(client: TestClient, page: str) -> None:
    answer = client.get(f"{AT}{page}?week=2025-W53")
    assert answer.status_code == 422
    assert "2025 has the weeks W01 to W52: there is no W53 in it." in answer.text


def test_the_workbook_is_handed_out_as_a_file(spent: TestClient) -> None:
    answer = spent.get(f"{AT}/week.xlsx?{WEEK}")
    assert answer.content.startswith(b"PK")
    assert f"spend-{ROOM}-2026-W09.xlsx" in answer.headers["content-disposition"]


def test_rates_are_stored_and_hold_from_now_on(spent: TestClient) -> None:
    sent = {"labour_cents_per_hour": "40.50", "weekly_budget_cents": "250", "submission": "r1"}
    answer = spent.post(f"{AT}/prices", data=sent)
    assert answer.url.params["saved"] == "1"
    page = spent.get(f"{AT}/prices").text
    assert 'value="40.50"' in page
    assert "€336.42" in spent.get(f"{AT}?{WEEK}").text  # the week that is over stays as it was


@pytest.mark.parametrize(
    "field,text,message",
    [
        ("labour_cents_per_hour", "-1", "An amount must be zero or more"),
        ("currency", "USD", "This room uses EUR"),
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


def test_a_rate_that_is_emptied_is_none_from_then_on_and_what_is_not_sent_stays(
    spent: TestClient,
) -> None:
    spent.post(f"{AT}/prices", data={"disposal_cents_per_kg": "2.90", "submission": "r1"})
    page = spent.get(f"{AT}/prices").text
    assert "is not used. Empty the price per kg to use it" in page
    spent.post(f"{AT}/prices", data={"disposal_cents_per_kg": "", "submission": "r2"})
    page = spent.get(f"{AT}/prices").text
    assert "Waste is charged by the drum, €90.00" in page
    assert 'name="disposal_cents_per_kg" type="text" value=""' in page
    assert 'value="30.00"' in page
    refused = spent.post(f"{AT}/prices", data={"currency": "", "submission": "r3"})
    assert "A room keeps its currency" in refused.text
    assert refused.status_code == 422


@pytest.mark.parametrize("page,sent", [
    ("prices", {"weekly_budget_cents": "-5"}),
    ("prices/cost", {"what": "Filter", "cost_cents": "-5", "purpose": "other"}),
    ("prices/cost", {"what": "Filter", "cost_cents": "5", "purpose": "other", "at": "2031-01-01"}),
    ("prices/cost", {"what": "Filter", "cost_cents": "5", "purpose": "other", "tank": "nowhere"}),
])  # fmt: skip
def test_both_forms_say_above_themselves_that_nothing_was_stored(
    spent: TestClient, page: str, sent: dict[str, str]
) -> None:
    answer = spent.post(f"{AT}/{page}", data={**sent, "submission": "n"})
    assert answer.status_code == 422
    assert "One entry needs fixing. Nothing was stored." in answer.text
    assert answer.text.count('id="problems"') == 1


def test_a_currency_that_an_import_brought_along_is_named_with_a_way_out(
    spent: TestClient, store: Store
) -> None:
    record(store, ROOM, [PriceList(at=NOW, prices="prices", currency="USD")], NOW)
    for page in ("", "/prices"):
        text = spent.get(f"{AT}{page}").text
        assert "prices in USD. The room counts in EUR, and amounts are not converted" in text
    assert "€336.42" in spent.get(f"{AT}?{WEEK}").text


def test_another_cost_is_stored_and_counts(spent: TestClient) -> None:
    sent = {"what": "Filter rental", "cost_cents": "12.50", "purpose": "other",
            "at": "2026-02-25T10:00", "by": "Heron"}  # fmt: skip
    spent.post(f"{AT}/prices/cost", data=sent)
    assert "€348.92" in spent.get(f"{AT}?{WEEK}").text
    refused = spent.post(f"{AT}/prices/cost", data={**sent, "cost_cents": "-3"})
    assert refused.status_code == 422
    assert 'value="Filter rental"' in refused.text


def test_balance_and_weeks_ahead_answer_on_a_room_that_has_seen_something(
    spent: TestClient,
) -> None:
    balance = spent.get(f"{AT}/balance?{WEEK}&span=1").text
    assert "Isopropanol" in balance
    assert "Unexplained" in balance
    assert "the next weeks will cost" in spent.get(f"{AT}/ahead").text


@pytest.mark.parametrize("span", ["1", "13", "52"])
def test_every_row_of_the_balance_closes_as_it_is_shown_and_so_does_the_sum(
    spent: TestClient, span: str
) -> None:
    page = spent.get(f"{AT}/balance?{WEEK}&span={span}").text
    table = page[page.index("spend-balance") :]
    sides = len(
        re.findall(r'class="amount( is-plus)?">(Bought|Resin carried in|In new tanks)<', table)
    )
    rows = [
        [
            round(100 * float(text.replace(MINUS, "-").replace(",", "")))
            for text in re.findall(rf">({MINUS}?[0-9,]+\.[0-9]{{2}})<", row)
        ]
        for row in re.findall(r"<tr[^>]*><th scope=\"row\">.*?</tr>", table, re.DOTALL)
    ]
    assert len(rows) == max(13, int(span)) + 1
    assert sides == 3  # the tanks of this room were set up in these weeks
    for row in rows:
        assert sum(row[:sides]) == sum(row[sides:])
    assert [sum(column) for column in zip(*rows[:-1], strict=True)] == rows[-1]


def test_what_nobody_explains_is_flagged_with_its_solvent(spent: TestClient, store: Store) -> None:
    lost = StockUsed(at=NOW - timedelta(days=3), item="ipa", quantity=30, lot="B", purpose="other")
    record(store, ROOM, [lost], NOW)
    page = spent.get(f"{AT}/balance?{WEEK}&span=1").text
    assert "Look for a leak, a spill or an unlogged pour" in page
    row = page[page.index(">2026-W09</a>") :]
    assert "Isopropanol" in row[: row.index("</tr>")]


@pytest.mark.parametrize("asked", ["span=7", "span=x", "week=2025-W53"])
def test_a_balance_of_no_period_says_so(client: TestClient, asked: str) -> None:
    assert client.get(f"{AT}/balance?{asked}").status_code == 422


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


def test_what_was_taken_from_the_shelf_stands_where_it_came_from(
    spent: TestClient, store: Store
) -> None:
    # In W10 20 L of lot B go into a bath and nothing is bought: they come from the shelf.
    at = NOW - timedelta(hours=2)
    swap = [
        StockUsed(at=at, id="u7", item="ipa", quantity=20, lot="B", tank="t2", purpose="top_up"),
        TopUp(at=at, id="up7", tank="t2", volume_l=20),
    ]
    record(store, ROOM, swap, NOW)
    page = spent.get(f"{AT}/balance?week=2026-W10&span=1").text
    first = page[: page.index("Week by week")]
    assert re.search(r"Taken from the shelf</th><td class=\"amount\">20.00<", first)
    assert "More on the shelf than before" not in first
    sums = re.findall(r"Sum</th><td class=\"amount\">([\d.]+)<", first)
    assert len(sums) == 2
    assert sums[0] == sums[1]
    parts = re.findall(r"</i>[^<]+</th><td class=\"amount\">(-?[\d.]+)<", first)
    assert sum(map(float, parts)) == pytest.approx(float(sums[0]))


def test_the_balance_goes_no_further_than_the_week_that_is_running(spent: TestClient) -> None:
    page = spent.get(f"{AT}/balance?{WEEK}").text
    assert "week=2026-W10&amp;span=13" in page or "week=2026-W10&span=13" in page
    assert "After" not in spent.get(f"{AT}/balance?week=2026-W10").text
    answer = spent.get(f"{AT}/balance?week=2027-W07")
    assert answer.status_code == 422
    assert "has not begun" in answer.text


def test_the_history_of_rates_says_since_when_and_who_changed_what(spent: TestClient) -> None:
    spent.post(f"{AT}/prices", data={"weekly_budget_cents": "150", "submission": "r1"})
    page = spent.get(f"{AT}/prices").text
    history = page[page.index("How the rates changed") :]
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", history, re.DOTALL)
    assert len(rows) == 2
    assert "Weekly budget: €150.00 (before: €200.00)" in rows[0]
    assert "Labour" not in rows[0]
    assert "Labour, per hour: €30.00" in rows[1]


def test_an_amount_beyond_all_weeks_is_asked_about_before_it_is_stored(spent: TestClient) -> None:
    sent = {"what": "Filter", "cost_cents": "999999999.99", "purpose": "other",
            "at": "2026-02-25T10:00"}  # fmt: skip
    asked = spent.post(f"{AT}/prices/cost", data={**sent, "submission": "c1"})
    assert asked.status_code == 422
    assert "Is this right?" in asked.text
    assert 'value="999999999.99"' in asked.text
    assert "€336.42" in spent.get(f"{AT}?{WEEK}").text
    sure(spent, f"{AT}/prices/cost", {**sent, "submission": "c1"})
    page = spent.get(f"{AT}?{WEEK}").text
    assert "€1,000,000,336.41" in page
    ticks = re.findall(r'text-anchor="end">([^<]+)<', page)
    assert ticks
    assert max(map(len, ticks)) <= 7


def test_a_room_without_anything_is_told_no_range_of_nothing(client: TestClient) -> None:
    page = client.get(f"{AT}/ahead").text
    assert "likely between" not in page
    assert "It is too early to say what the next weeks will cost." in page


def test_litres_by_tank_solvent_and_resin_add_up_as_they_are_shown(spent: TestClient) -> None:
    page = spent.get(f"{AT}?{WEEK}").text
    for title in ("Tank", "Solvent", "Resin"):
        table = page[page.index(f'<h2 id="s-{title}"') :]
        table = table[: table.index("</table>")]
        *rows, whole = [round(100 * float(text)) for text in re.findall(r">([\d.]+) L<", table)]
        assert rows, title
        assert sum(rows) == whole == 4_150  # 40 L of the swap, 1.5 L of the top-up


def test_a_value_is_written_clear_of_the_bars_beside_it_and_names_its_week(
    spent: TestClient, store: Store
) -> None:
    # W08 and W09 cost much, W10 a cent: its value is wider than its bar, and lies above theirs.
    record(store, ROOM, [paid("cent", 1)], NOW)
    page = spent.get(f"{AT}?week=2026-W10&span=52").text
    drawn = page[page.index('class="spend-bars"') :].partition("</svg>")[0]
    tops = [
        (float(x), float(x) + float(width), float(y))
        for x, y, width in re.findall(
            r'class="spend-bar[^"]*" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)"', drawn
        )
    ]
    [(x, y)] = re.findall(r'class="spend-value" x="([\d.]+)" y="([\d.]+)"[^>]*>W10: €0.01<', drawn)
    half = 0.3 * 20 * len("W10: €0.01")  # a letter is about 0.6 of its height wide
    near = [top for left, right, top in tops if left < float(x) + half and right > float(x) - half]
    assert len(near) > 2
    assert float(y) < min(near)
    assert min(near) < 200  # the neighbour is a tall one: without it the value would hang lower


@pytest.mark.parametrize("days,is_whole", [(4.0, False), (6.9, True)])
def test_a_part_of_a_week_at_the_begin_of_the_log_is_no_usual_week(
    client: TestClient, store: Store, days: float, is_whole: bool
) -> None:
    # NOW is Monday noon of W10: 4 days before is Thursday of W09, 6.9 days before its Monday.
    add_room(store, RoomForm(name="New room", key="new"), NOW)
    cost = OtherCost(at=NOW - timedelta(days=days), id="a", prices="prices", cost_cents=100,
                     purpose="other", what="Rent")  # fmt: skip
    record(store, "new", [cost, paid("b", 300)], NOW)
    page = client.get("/rooms/new/spend?week=2026-W10").text
    assert ("There is no earlier week to compare with." in page) != is_whole

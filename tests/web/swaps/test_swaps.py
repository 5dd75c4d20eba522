"""The swap on its pages: entered at once, and led step by step without scripts."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog.kinds import Reading, SwapStarted
from app.domain.roomlog.kinds.inspections import (
    Component,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.instruments import InstrumentAdded
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum, Pour
from app.services.door import bring_in as record
from app.services.entries import entry_of
from app.store.engine import Store
from app.store.tables import EntryRow, TankRow
from tests.answers import sure
from tests.clocks import Clock
from tests.factories import NOW, ROOM, START, wash
from tests.factories import tank as tank_entry
from tests.visiting import visiting

SWAP = f"/rooms/{ROOM}/tanks/t1/swap"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A browser without scripts on a room with drums, solvent and a lead; its clock goes on."""
    with visiting(tmp_path, [
        tank_entry("clean"), tank_entry("dirty", pair="clean"),
        Drum(at=START, drum="d1", name="W-13", capacity_l=60, stream="isopropanol_resin",
             area="wash_station"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.8),
        StockReceived(at=START, item="ipa", quantity=60, lot="A7"),
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    ], clock=Clock(at_each_look=timedelta(seconds=30))) as client:  # fmt: skip
        yield client


@pytest.fixture
def store(client: TestClient) -> Store:
    """The database behind the client."""
    return client.app.state.store  # type: ignore[attr-defined, no-any-return]


def tank(store: Store, key: str = "t1") -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()


def kinds(store: Store) -> list[str]:
    """Kinds of the entries that count."""
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).order_by(EntryRow.id)).all()  # type: ignore[arg-type]
    return [row.kind for row in rows if row.voided_by is None]


def tick(
    client: TestClient, step: str, expect: int = 200, at: str = SWAP, is_sure: bool = False,
    **answers: str,
) -> str:  # fmt: skip
    """Tick a step as its form does, all points confirmed; the page that follows."""
    confirmed = {f"confirm_{place}": "on" for place in range(8)}
    path, sent = f"{at}/steps/{step}/tick", {**confirmed, **answers}
    page = sure(client, path, sent) if is_sure else client.post(path, data=sent)
    assert page.status_code == expect, page.text
    return page.text


def key_of(client: TestClient) -> str:
    """The swap that the page which completes it is of."""
    found = re.search(r'name="swap" value="([^"]+)"', client.get(SWAP + "?view=close").text)
    assert found is not None
    return found[1]


def completed(client: TestClient) -> tuple[str, str]:
    """A swap from its start to its completion, and the page that follows."""
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_done(client)
    key = key_of(client)
    sent = {"swap": key, "by": "Wren", "note": "Fine"}
    return key, client.post(f"{SWAP}/complete", data=sent).text


def until_bonded(client: TestClient, at: str = SWAP) -> None:
    for step in ("prepare", "protect", "isolate"):
        tick(client, step, at=at)
    tick(client, "choose_drum", drum="d1", at=at)
    tick(client, "bond", at=at)


def until_filled(client: TestClient, at: str = SWAP) -> None:
    until_bonded(client, at)
    tick(client, "drain", drained_l="39", heel_l="0.5", at=at)
    tick(client, "inspect", at=at)
    tick(client, "rinse", rinse_l="2", lot="ipa|A7", at=at)
    for step in ("wipe", "refit"):
        tick(client, step, at=at)
    tick(client, "fill", filled_l="39", lot="ipa|A7", at=at)


def until_done(client: TestClient) -> None:
    until_filled(client)
    tick(client, "leak_check")
    tick(client, "read", method="hydrometer", density_g_ml="0.7855", temperature_c="20",
         is_sure=True)  # fmt: skip
    for step in ("restart", "close_out"):
        tick(client, step)


def test_minutes_typed_at_the_last_step_are_what_labour_is_charged_for(
    client: TestClient, store: Store
) -> None:
    rates = PriceList(at=START, prices="prices", currency="EUR", labour_cents_per_hour=3_400)
    record(store, ROOM, [rates], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_filled(client)
    tick(client, "leak_check")
    tick(client, "read", method="hydrometer", density_g_ml="0.7855", temperature_c="20",
         is_sure=True)  # fmt: skip
    tick(client, "restart")
    tick(client, "close_out", minutes_taken="150")
    week = f"/rooms/{ROOM}/spend/lines?week=2026-W10&category=labour"
    page = client.get(week).text
    assert "minutes entered at its steps, 34.00 an hour" in page
    assert "150 min" in page
    assert "€85.00" in page  # 150 minutes at 34.00 an hour, worked by hand


def test_a_swap_is_led_from_its_first_step_to_its_record(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(13 - i * 0.2, area_cm2=4000.0) for i in range(40)], NOW)
    loaded = tank(store).mean_percent
    assert "Before you start" in client.get(SWAP).text
    page = client.post(f"{SWAP}/start", data={"by": "Wren"}).text
    assert "Clear the place" in page
    assert tank(store).swap_started_at_us is not None
    until_done(client)
    assert "Where each litre went" in client.get(SWAP + "?view=close").text
    key = key_of(client)
    page = client.post(f"{SWAP}/complete", data={"swap": key, "by": "Wren"}).text
    assert "Completed by Wren" in page
    after = tank(store)
    assert (after.swap_started_at_us, after.fill) == (None, 1)
    assert after.mean_percent < 0.2 * loaded
    assert {"pour", "stock_used", "reading", "swap", "swap_closed"} <= set(kinds(store))
    second = client.post(f"{SWAP}/complete", data={"swap": key, "by": "Dunlin"})
    assert second.status_code == 409
    assert "completed by Wren" in second.text
    client.post(f"{SWAP}/reopen", data={"swap": key})
    assert tank(store).fill == 0
    assert "swap_closed" not in kinds(store)


def test_every_step_asks_who_until_somebody_says(client: TestClient) -> None:
    page = client.post(f"{SWAP}/start")
    assert page.status_code == 422
    assert "Enter who does this" in page.text
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    assert 'name="by"' not in client.get(SWAP).text
    assert "Saved: Place is clear, Wren" in tick(client, "prepare")


def test_the_second_person_sees_who_did_a_step(client: TestClient, store: Store) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    tick(client, "prepare", by="Wren")
    page = tick(client, "prepare", by="Dunlin")
    assert "Wren had already done this" in page
    shown = client.get(SWAP + "?step=prepare").text
    assert "Wren did this" in shown
    assert "Ticked 1 more time, last by Dunlin" in shown
    assert kinds(store).count("step_done") == 2


def test_open_pages_fetch_what_changed(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    page = client.get(SWAP).text
    found = re.search(r'hx-get="([^"]+part=seen[^"]+)"', page)
    assert found is not None
    tick(client, "prepare", by="Dunlin")
    part = client.get(found[1].replace("&amp;", "&")).text
    assert "Dunlin did this" in part
    assert "<html" not in part
    rail = re.search(r'hx-get="([^"]+part=rail[^"]+)"', page)
    assert rail is not None
    assert "1 of 16 done" in client.get(rail[1].replace("&amp;", "&")).text


def test_what_does_not_fit_stands_beside_its_field_and_typed_values_stay(
    client: TestClient, store: Store
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    tick(client, "protect")
    tick(client, "isolate")
    tick(client, "choose_drum", drum="d1")
    tick(client, "bond")
    page = tick(client, "drain", 422, drained_l="390", note="Slow")
    assert 'value="390"' in page
    assert 'value="Slow"' in page
    assert "never held more" in page
    assert "is not a number" in tick(client, "drain", 422, drained_l="lots")
    assert "Enter just the number" in tick(client, "drain", 422, drained_l="39 gal")
    assert "Is this right?" in tick(client, "drain", 422, drained_l="10.3")
    assert "pour" not in kinds(store)


def test_a_gate_says_what_it_waits_for_and_a_lead_lets_it_pass(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    page = client.get(SWAP + "?step=drain").text
    assert "Protection is not confirmed yet" in page
    assert "is-missing" in page
    tick(client, "drain", 422, drained_l="39")
    word = {"gate": "ppe", "by": "Wren", "reason": "Drill"}
    refused = client.post(f"{SWAP}/steps/drain/overrule", data=word)
    assert refused.status_code == 422
    assert "Only a lead" in refused.text
    shown = client.post(f"{SWAP}/steps/drain/overrule", data={**word, "by": "Curlew"}).text
    assert "Overruled by Curlew" in shown
    assert "Drill" in shown
    assert "Protection is not confirmed yet" not in shown


def test_a_lead_lets_one_old_lot_pass_by_its_name(client: TestClient, store: Store) -> None:
    for lot, day in (("X1", date(2026, 2, 1)), ("X2", date(2025, 2, 1))):
        old = StockReceived(at=START, item="ipa", quantity=50, lot=lot, expires_on=day)
        record(store, ROOM, [old], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    page = client.get(f"{SWAP}?step=fill&view=problem").text
    assert "Use lot X1 of" in page
    assert 'value="lot:ipa|X2"' in page
    word = {"gate": "lot:ipa|X1", "by": "Curlew", "reason": "Tested clear"}
    assert client.post(f"{SWAP}/steps/fill/overrule", data=word).status_code == 200
    assert 'value="lot:ipa|X1"' not in client.get(f"{SWAP}?step=fill&view=problem").text
    offered = tiles(client, "fill")
    assert ('"ipa|X1"' in offered, '"ipa|X2"' in offered) == (True, False)


def test_a_lead_lets_one_purity_pass_by_its_figure(client: TestClient, store: Store) -> None:
    for key, percent in (("weak", 87.6), ("weaker", 70.0)):
        weak = Item(at=START, item=key, name=key.title(), category="solvent", unit="L",
                    solvent="isopropanol", purity_percent=percent)  # fmt: skip
        record(store, ROOM, [weak, StockReceived(at=START, item=key, quantity=60, lot="W1")], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    page = client.get(f"{SWAP}?step=fill&view=problem").text
    assert 'value="purity:87.6 %"' in page
    assert 'value="purity:70 %"' in page
    word = {"gate": "purity:87.6 %", "by": "Curlew", "reason": "The good one comes on Monday"}
    assert client.post(f"{SWAP}/steps/fill/overrule", data=word).status_code == 200
    page = client.get(f"{SWAP}?step=fill&view=problem").text
    assert 'value="purity:87.6 %"' not in page
    assert 'value="purity:70 %"' in page


def test_a_step_is_undone_where_it_was_done(client: TestClient, store: Store) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    tick(client, "protect")
    tick(client, "isolate")
    tick(client, "choose_drum", drum="d1")
    tick(client, "bond")
    assert "/steps/drain/undo" in tick(client, "drain", drained_l="39")
    page = client.post(f"{SWAP}/steps/drain/undo").text
    assert "Drain into the drum" in page
    assert "pour" not in kinds(store)


def test_behind_another_drum_the_bonding_that_it_opens_again_comes_next(
    client: TestClient,
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    client.post(f"{SWAP}/steps/choose_drum/undo")
    assert "<h1>Bond and earth both</h1>" in tick(client, "choose_drum", drum="d1")


def test_a_drum_that_is_full_in_the_middle_of_the_drain_asks_for_a_second_one(
    client: TestClient, store: Store
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    late = Pour(at=NOW, drum="d1", volume_l=30.0)
    second = Drum(at=START, drum="d2", name="W-14", capacity_l=60, stream="isopropanol_resin",
                  area="wash_station")  # fmt: skip
    record(store, ROOM, [second, late], NOW)
    page = tick(client, "drain", 422, drained_l="39", heel_l="0.5")
    assert "Let the rest into a second drum, and enter that below." in page
    assert re.search(r'<details class="more" open>\s*<summary>What is left in the tank', page)
    tick(client, "drain", drained_l="39", heel_l="0.5", drum_2="d2", drum_2_l="20")


def test_what_stays_in_the_clean_tank_is_asked_where_its_bath_is_moved(client: TestClient) -> None:
    at = f"/rooms/{ROOM}/tanks/dirty/swap"
    client.post(f"{at}/start", data={"by": "Wren", "from_tank": "clean"})
    assert "Left in the clean tank" in client.get(f"{at}?step=move_clean").text


def test_a_note_is_kept_with_its_step(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    client.post(f"{SWAP}/steps/prepare/note", data={"text": "Hood is loud"})
    assert "Hood is loud" in client.get(SWAP + "?view=all").text
    empty = client.post(f"{SWAP}/steps/prepare/note", data={"text": ""})
    assert empty.status_code == 422


def test_completing_says_which_steps_are_open(client: TestClient, store: Store) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    key = key_of(client)
    page = client.post(f"{SWAP}/complete", data={"swap": key})
    assert page.status_code == 422
    assert "Still open" in page.text
    assert tank(store).fill == 0


def test_a_pair_offers_to_move_the_clean_bath(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(2, tank="dirty", area_cm2=60000.0),
                         wash(1, tank="clean", area_cm2=4000.0)], NOW)  # fmt: skip
    at = f"/rooms/{ROOM}/tanks/dirty/swap"
    page = client.get(at).text
    assert "Move the bath of CLEAN here" in page
    assert re.search(r"a load uses about \d\d % of the fresh solvent", page)
    client.post(f"{at}/start", data={"by": "Wren", "from_tank": "clean"})
    assert tank(store, "clean").swap_started_at_us is not None
    assert "Move the clean bath here" in client.get(f"/rooms/{ROOM}/tanks/clean/swap").text


def test_the_list_is_printed_for_a_swap_and_for_none(client: TestClient) -> None:
    blank = client.get(f"{SWAP}/paper").text
    assert "Drain into the drum" in blank
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    tick(client, "prepare")
    assert "Wren" in client.get(f"{SWAP}/paper").text


def on_paper(page: str, step: str) -> str:
    """The row of a step on the paper form, without tags; a blank is shown as underscores."""
    row = next(one for one in page.split("<tr>") if step in one)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", row.replace("paper-blank", ">____<")))


def test_the_paper_form_has_what_is_recorded_and_blanks_for_the_rest(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_filled(client)
    page = client.get(f"{SWAP}/paper").text
    drained = on_paper(page, "Drain into the drum")
    assert "Volume drained: 39.0 L" in drained
    assert "Left in the tank: 0.50 L" in drained
    assert "____" not in drained
    assert "Drum: W-13" in on_paper(page, "Choose and ready the drum")
    assert "From lot: Isopropanol, lot A7" in on_paper(page, "Fill to between the marks")
    assert "Density or index, temperature: ____" in on_paper(page, "Take the first reading")
    tick(client, "leak_check")
    tick(client, "read", method="hydrometer", density_g_ml="0.7855", temperature_c="20",
         is_sure=True, note="Twice")  # fmt: skip
    read = on_paper(client.get(f"{SWAP}/paper").text, "Take the first reading")
    assert "Method: Hydrometer" in read
    assert "0.7855 g/mL" in read
    assert "Note: Twice" in read
    assert "____" not in read


def test_nothing_is_drawn_before_a_drum_is_chosen_and_the_message_leads_to_its_gate(
    client: TestClient,
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    page = tick(client, "drain", expect=422, drained_l="39")
    assert "step-picture" not in page  # a vessel that is being filled would say the opposite
    assert 'href="#f-gate"' in page
    assert page.count('id="f-gate"') == 1
    for step in ("prepare", "protect", "isolate"):
        tick(client, step)
    tick(client, "choose_drum", drum="d1")
    assert "step-picture" in client.get(f"{SWAP}?step=drain").text


def test_a_step_that_is_done_shows_names_and_not_keys(client: TestClient) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_filled(client)
    assert "Isopropanol, lot A7" in client.get(f"{SWAP}?step=fill").text
    assert "ipa|A7" not in client.get(f"{SWAP}?step=fill").text
    assert "<dd>W-13</dd>" in client.get(f"{SWAP}?step=choose_drum").text


def test_nothing_happens_at_a_step_when_no_swap_is_under_way(client: TestClient) -> None:
    assert client.post(f"{SWAP}/steps/drain/tick").status_code == 404
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    assert client.post(f"{SWAP}/steps/dance/tick").status_code == 404
    client.post(f"{SWAP}/abandon")
    gone = client.post(f"{SWAP}/steps/drain/tick", data={"by": "Wren"})
    assert gone.status_code == 409
    assert "given up by Wren" in gone.text


def test_a_swap_given_up_leaves_the_bath(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(3)], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    client.post(f"{SWAP}/abandon")
    assert tank(store).swap_started_at_us is None
    assert tank(store).fill == 0


def test_a_swap_started_without_a_list_is_given_up_or_entered(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [SwapStarted(at=NOW, tank="t1")], NOW)
    page = client.get(SWAP).text
    assert "without a checklist" in page
    assert "Give up this swap" in page
    client.post(f"{SWAP}/abandon")
    assert tank(store).swap_started_at_us is None


def test_a_swap_that_was_done_already_is_entered_at_once(client: TestClient, store: Store) -> None:
    data = {"drained_l": "39", "filled_l": "39", "solvent": "isopropanol",
            "fresh_purity_percent": "99.5"}  # fmt: skip
    assert sure(client, f"{SWAP}/at-once", data).status_code == 200
    assert (tank(store).fill, tank(store).fresh_purity_percent) == (1, 99.5)


def test_a_swap_entered_at_once_ends_the_list_that_is_open(
    client: TestClient, store: Store
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    sure(client, f"{SWAP}/at-once", {})
    assert tank(store).swap_started_at_us is None
    assert "Start the swap" in client.get(SWAP).text


def test_more_than_the_tank_holds_is_refused(client: TestClient, store: Store) -> None:
    page = client.post(f"{SWAP}/at-once", data={"drained_l": "39", "filled_l": "390"})
    assert page.status_code == 422
    assert 'value="390"' in page.text
    assert tank(store).fill == 0


def test_a_swap_is_undone_by_withdrawing_it(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(3, area_cm2=9000.0)], NOW)
    before = tank(store).mean_percent
    page = sure(client, f"{SWAP}/at-once", {}, follow_redirects=False)
    entry = page.headers["location"].split("saved=")[1]
    client.post(f"/rooms/{ROOM}/tanks/t1/undo/{entry}")
    assert tank(store).fill == 0
    assert abs(tank(store).mean_percent - before) < 0.01


def test_a_rinse_says_where_it_came_from(client: TestClient, store: Store) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    tick(client, "drain", drained_l="39", heel_l="0.5")
    tick(client, "inspect")
    page = tick(client, "rinse", 422, rinse_l="2")
    assert "Choose the lot, or say that it is not in the books." in page
    assert "stock_used" not in kinds(store)
    tick(client, "rinse", rinse_l="2", lot="-")
    assert "stock_used" not in kinds(store)
    client.post(f"{SWAP}/steps/rinse/undo")
    tick(client, "rinse", rinse_l="0")  # where there was none nothing is asked
    client.post(f"{SWAP}/steps/rinse/undo")
    tick(client, "rinse", rinse_l="2", lot="ipa|A7")
    assert "stock_used" in kinds(store)


def figures(page: str) -> list[list[tuple[str, str, float]]]:
    """The accounts of the balance as the page shows them: sign, label, litres."""
    table = page.split('<table class="balance">')[1].split("</table>", maxsplit=1)[0]
    rows = [
        re.findall(
            r'<th scope="row">(.*?)</th><td>(?:<span [^>]*>(.) </span>)?([\d.]+) L</td>', part
        )
        for part in table.split("<tbody>")[1:]
    ]
    return [[(sign, label, float(litres)) for label, sign, litres in one] for one in rows]


def test_a_pour_corrected_after_the_close_is_in_the_record_of_the_swap(
    client: TestClient, store: Store
) -> None:
    """Drum, book of litres and the printed record name the same litres."""
    key, page = completed(client)
    bath, into = figures(page)[0], figures(page)[-1]
    assert "changed since it was completed" not in page
    assert re.search(r"<h1>Swap of T1, \w+ \d+ Mar 2026 ", page)  # a record on paper says its year
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).where(EntryRow.kind == "pour")).all()
    first = entry_of(min(rows, key=lambda row: row.id or 0))
    assert isinstance(first, Pour)
    less = replace(first, id="", corrects=first.id, volume_l=first.volume_l - 1.5)
    record(store, ROOM, [less], NOW + timedelta(hours=1))
    page = client.get(f"{SWAP}/record?swap={key}").text
    now, drum = figures(page)[0], figures(page)[-1]
    assert f"changed since it was completed: {into[-1][2]:.1f} L in the drum then" in page
    assert now[1][2] == pytest.approx(bath[1][2] - 1.5)
    assert drum[-1][2] == pytest.approx(into[-1][2] - 1.5)
    assert (now[0], now[2]) == (bath[0], bath[2])


@pytest.mark.parametrize("is_pair", [False, True])
def test_the_balance_adds_up_as_it_is_shown(client: TestClient, is_pair: bool) -> None:
    at = SWAP.replace("t1", "dirty") if is_pair else SWAP
    more = {"from_tank": "clean"} if is_pair else {}
    sure(client, f"{at}/start", {"by": "Wren", **more})
    until_bonded(client, at)
    tick(client, "drain", drained_l="38.777", heel_l="0.333", at=at)
    for step in ("inspect", "wipe", "refit"):
        tick(client, step, at=at, is_sure=True)
    tick(client, "rinse", rinse_l="1.115", lot="-", at=at)
    if is_pair:
        tick(client, "isolate_clean", at=at)
        tick(client, "move_clean", moved_l="38.446", at=at)
        for step in ("clean_tank", "refit_clean"):
            tick(client, step, at=at)
    tick(client, "fill", filled_l="38.119", lot="ipa|A7", at=at, is_sure=True)
    page = client.get(f"{at}?view=close").text
    accounts = figures(page)
    assert len(accounts) == (5 if is_pair else 3)
    for lines in accounts:
        total = sum(-litres if sign == "−" else litres for sign, _, litres in lines[:-1])
        assert lines[-1][0] == "="
        assert abs(total) == pytest.approx(lines[-1][2], abs=1e-9)
    if is_pair:
        assert "Bath of DIRTY" in page
        assert "Bath of CLEAN" in page


def test_one_fill_target_stands_on_start_list_and_step(client: TestClient) -> None:
    """Half way between 40 and 30 L less the 0.3 L that were seen: 34.7 L, worked by hand."""
    sure(client, f"{SWAP}/start", {"by": "Wren"})
    until_bonded(client)
    tick(client, "drain", drained_l="39", heel_l="0.3")
    page = client.get(f"{SWAP}?step=fill").text
    assert "Add 34.7 L to bring it halfway between the marks." in page
    assert ">+ 34.7 L</text>" in page
    plan = client.get(f"/rooms/{ROOM}/plan").text
    assert "34.7 L to fill" in plan


def test_the_slower_of_two_tablets_is_offered_its_own_figures(
    client: TestClient, store: Store
) -> None:
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    tick(client, "drain", drained_l="39", heel_l="0.5", by="Wren")
    page = tick(client, "drain", drained_l="37.5", heel_l="2", by="Dunlin")
    assert "Wren was first, with other figures" in page
    assert "37.5 L" in page
    assert "39.0 L" in page
    mine = re.search(r'name="mine" value="([^"]+)"', page)
    assert mine is not None
    page = client.post(f"{SWAP}/steps/drain/undo", data={"mine": mine[1], "by": "Dunlin"}).text
    assert 'value="37.5"' in page
    assert 'value="2"' in page
    assert "pour" not in kinds(store)
    page = tick(client, "drain", drained_l="37.5", heel_l="2", by="Dunlin")
    page = tick(client, "drain", drained_l="37.5", heel_l="2", by="Wren")
    assert "was first, with other figures" not in page  # the same figures need no second look


def test_lock_key_holder_and_second_person_stand_in_the_record(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [CrewMember(at=START, crew="crew", name="Wren", role="technician")], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    page = client.get(f"{SWAP}?step=isolate").text
    assert "Number of the lock" in page
    assert 'name="key_holder" value="Curlew"' in page  # a tap, and never who does it
    assert 'name="key_holder" value="Wren"' not in page
    tick(client, "prepare")
    tick(client, "protect")
    alone = tick(client, "isolate", expect=422, key_holder="Wren")
    assert "Who holds its key, if not you: choose somebody other than Wren." in alone
    tick(client, "isolate", lock_number="12", key_holder="Curlew")
    done = client.get(f"{SWAP}?step=isolate").text
    assert "12" in done
    assert "Curlew" in done


def test_in_a_pair_the_page_of_a_step_names_its_tank(client: TestClient) -> None:
    at = f"/rooms/{ROOM}/tanks/dirty/swap"
    client.post(f"{at}/start", data={"by": "Wren", "from_tank": "clean"})
    assert "At <b>DIRTY</b></p>" in client.get(f"{at}?step=isolate").text
    for step in ("isolate_clean", "rinse_clean", "clean_tank", "refit_clean"):
        assert "At <b>CLEAN</b></p>" in client.get(f"{at}?step={step}").text
    assert "At <b>DIRTY</b> and <b>CLEAN</b>" in client.get(f"{at}?step=restart").text
    assert "At <b>DIRTY</b></p>" in client.get(f"{at}?step=drain").text
    assert "At <b>CLEAN</b></p>" in client.get(f"{at}?step=fill").text


def test_the_first_reading_asks_which_of_several_instruments_was_read(
    client: TestClient, store: Store
) -> None:
    """It is the baseline of the fill: whose offset it bears has to be known."""
    record(
        store, ROOM,
        [
            InstrumentAdded(at=START, instrument=f"{sort}-{n}", name=f"{sort} {n}", sort=sort)
            for sort, count in (("hydrometer", 2), ("thermometer", 1))
            for n in range(count)
        ],
        NOW,
    )  # fmt: skip
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_filled(client)
    tick(client, "leak_check")
    form = client.get(f"{SWAP}?step=read").text
    assert '<option value="hydrometer-1"' in form
    assert "Temperature by thermometer 0" in form
    figures = {"method": "hydrometer", "density_g_ml": "0.7855", "temperature_c": "20"}
    page = tick(client, "read", 422, **figures)
    assert "Choose the instrument you read." in page
    assert 'value="0.7855"' in page
    tick(client, "read", instrument="hydrometer-1", is_sure=True, **figures)
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).where(EntryRow.kind == "reading")).all()
    assert [(one.instrument, one.thermometer) for row in rows
            if isinstance(one := entry_of(row), Reading)] == [
        ("hydrometer-1", "thermometer-0")
    ]  # fmt: skip


def test_the_fill_offers_the_lot_of_the_rinse_where_it_has_the_whole_fill(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [StockReceived(at=START, item="ipa", quantity=20, lot="B1")], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    tick(client, "drain", drained_l="39", heel_l="0.5")
    tick(client, "inspect")
    assert "checked" not in tiles(client, "rinse")
    tick(client, "rinse", rinse_l="2", lot="ipa|B1")
    assert "checked" not in tiles(client, "fill")  # 18 L are left of it
    client.post(f"{SWAP}/steps/rinse/undo", data={})
    tick(client, "rinse", rinse_l="2", lot="ipa|A7")
    assert re.search(r'value="ipa\|A7"[^>]*checked', tiles(client, "fill"))


def tiles(client: TestClient, step: str) -> str:
    """The lots that a step offers, as the page has them."""
    page = client.get(f"{SWAP}?step={step}").text
    return "".join(re.findall(r'<input type="radio" name="lot"[^>]*>', page))


def test_the_clean_tank_of_a_pair_is_looked_at_once_its_bath_is_moved(
    client: TestClient, store: Store
) -> None:
    """It is full until then: its empty look is a step of its own, and nothing is filled before."""
    part = {"component": "seal", "part": "o_ring", "name": "O-ring"}
    record(store, ROOM, [Component(at=START, tank="clean", **part)], NOW)  # type: ignore[arg-type]
    at = f"/rooms/{ROOM}/tanks/dirty/swap"
    client.post(f"{at}/start", data={"by": "Wren", "from_tank": "clean"})
    until_bonded(client, at)
    tick(client, "drain", drained_l="39", heel_l="0.5", at=at)
    tick(client, "inspect", at=at)  # the drained tank has no parts set up
    tick(client, "rinse", rinse_l="0", at=at)
    for step in ("wipe", "refit"):
        tick(client, step, at=at)
    assert "not moved yet" in client.get(f"{at}?step=clean_tank").text
    tick(client, "isolate_clean", at=at)
    tick(client, "move_clean", moved_l="38.446", at=at)
    page = client.get(f"{at}?step=clean_tank").text
    assert "At CLEAN" in text(page)
    assert "tanks/clean/inspection" in page
    assert "Nobody has checked this tank" in tick(client, "clean_tank", 422, at=at)
    assert "not inspected and wiped yet" in tick(
        client, "fill", 422, at=at, filled_l="39", lot="ipa|A7"
    )
    clock = client.app.state.clock  # type: ignore[attr-defined]
    found = {"inspection": "i1", "by": "Wren"}
    sound = {one.key: "no" for one in CONDITIONS["o_ring"]}
    entries = [
        InspectionStarted(at=clock(), tank="clean", positions=[part], **found),
        InspectionAnswered(at=clock(), component="seal", verdict="serviceable", answers=sound,
                           **found),
        InspectionClosed(at=clock(), **found),
    ]  # fmt: skip
    record(store, ROOM, entries, clock())
    tick(client, "clean_tank", at=at)
    assert "clean bath is not refitted yet" in tick(
        client, "fill", 422, at=at, filled_l="39", lot="ipa|A7"
    )
    tick(client, "refit_clean", at=at)
    tick(client, "fill", filled_l="39", lot="ipa|A7", at=at)


def text(page: str) -> str:
    """A page without its tags."""
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_a_drain_that_takes_its_month_over_the_limit_is_asked_about_once(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [SiteRules(at=START, site="site", waste_month_limit_kg=20.0)], NOW)
    client.post(f"{SWAP}/start", data={"by": "Wren"})
    until_bonded(client)
    asked = tick(client, "drain", 422, drained_l="39", heel_l="0.5")
    assert "of 20 kg: over the limit" in asked
    assert kinds(store)[-1] == "step_done"
    tick(client, "drain", drained_l="39", heel_l="0.5", is_sure=True)
    assert kinds(store)[-2:] == ["step_done", "pour"]
    tick(client, "inspect")
    tick(client, "rinse", rinse_l="2", lot="ipa|A7")  # over it already

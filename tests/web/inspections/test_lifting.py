"""What holds a tank is taken back by whoever said it, soon after, else by a lead with a reason."""

from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from app.store.engine import Store
from app.store.tables import EntryRow
from tests.web.inspections.looking import AT, inspection, look, state
from tests.web.inspections.test_out_of_service import held, leak, undo

SEAL = "t1-shaft_seal-1"
LEAD = {"lead": "Curlew", "reason": "Rain water, not solvent"}


def take_back(room: TestClient, at: str, store: Store, **more: str) -> Any:
    entry = inspection(store).look(SEAL).entry
    return room.post(f"{at}/parts/{SEAL}/undo", data={"entry": entry, **more})


def withdrawn(store: Store) -> list[tuple[str, str]]:
    with Session(store.reader) as session:
        query = select(EntryRow).where(EntryRow.kind == "withdrawal").order_by(col(EntryRow.id))
        return [(row.by, row.note) for row in session.exec(query)]


def test_somebody_else_cannot_lift_the_hold_but_a_lead_can_with_a_reason(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    room.cookies.clear()
    refused = take_back(room, at, store)
    assert refused.status_code == 422
    assert "Only a lead can do this: Curlew." in refused.text
    assert take_back(room, at, store, lead="Dunlin", reason="No").status_code == 422
    silent = take_back(room, at, store, lead="Curlew")
    assert "Say why. This releases what is held." in silent.text
    assert (len(held(store)), withdrawn(store)) == (1, [])
    assert take_back(room, at, store, **LEAD).status_code == 200
    assert held(store) == []
    assert withdrawn(store) == [("Curlew", LEAD["reason"])] * 2


def test_whoever_said_it_takes_it_back_alone_for_ten_minutes(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    assert "within 10 minutes of entering them" in room.get(f"{at}/parts/{SEAL}").text
    with Session(store.reader) as session:
        for row in session.exec(select(EntryRow).where(EntryRow.kind == "inspection_answered")):
            row.recorded_at_us -= 11 * 60_000_000
            session.add(row)
        session.commit()
    page = room.get(f"{at}/parts/{SEAL}").text
    assert "Undo these answers" not in page
    assert "A lead takes this back" in page
    assert undo(room, at, store).status_code == 422
    assert look(room, at, "shaft_seal").status_code == 422
    assert len(held(store)) == 1


def test_the_hold_of_a_finding_is_not_withdrawn_from_the_log_by_people_or_programs(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    with Session(store.reader) as session:
        uid = session.exec(select(EntryRow).where(EntryRow.kind == "tank_held")).one().uid
    assert room.post(f"{AT}/entries/{uid}/withdraw", data={"note": "no"}).status_code == 409
    sent = room.post(f"/api/v1{AT}/entries/{uid}/withdrawal", json={"by": "Wren"})
    assert sent.status_code == 409, sent.text
    assert len(held(store)) == 1


def test_a_note_by_somebody_else_does_not_sign_the_answers_anew(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    first = inspection(store).look(SEAL)
    look(room, at, "shaft_seal", "seal_leaks", no_photo="Camera broken", by="Dunlin")
    second = inspection(store).look(SEAL)
    assert (second.by, second.at, second.no_photo) == ("Wren", first.at, "Camera broken")
    assert "Inspected by Wren," in room.get(f"{at}/report").text


def test_where_two_people_answered_the_report_names_both(room: TestClient, at: str) -> None:
    look(room, at, "shaft_seal")
    look(room, at, "shaft_seal", "seal_leaks", no_photo="Dark", by="Dunlin")
    assert "Inspected by Wren, then Dunlin," in room.get(f"{at}/report").text


def test_after_a_release_every_page_says_released_and_none_says_held(
    room: TestClient, at: str, store: Store
) -> None:
    leak(room, at)
    room.post(f"{AT}/tanks/t1/hold/release", data={**LEAD, "by": "Curlew", "second": "Dunlin"})
    assert not state(store, "hold", "t1").is_held
    for page in (at, f"{at}/parts/{SEAL}", f"{at}/report"):
        text = room.get(page).text
        assert "Released by Curlew" in text, page
        assert "until a lead releases it" not in text, page


def test_a_tank_that_is_being_swapped_and_held_is_not_shown_as_full(
    room: TestClient, at: str
) -> None:
    room.post(f"{AT}/tanks/t1/swap/start", data={"by": "Wren"})
    leak(room, at)
    page = room.get(f"{AT}/tanks/t1").text
    assert "Being swapped" in page
    assert "Held: why, and release" in page
    assert "The swap under way" in page
    assert "/tanks/t1/log/reading" not in page
    assert "/tanks/t1/log/top-up" not in page
    board = room.get(AT).text
    assert "out of use, being swapped, held" in board
    assert "Out of service: Shaft seal." in board


def test_the_swaps_step_says_what_the_inspection_found_and_puts_the_look_first(
    room: TestClient,
) -> None:
    room.post(f"{AT}/tanks/t1/swap/start", data={"by": "Wren"})
    step = f"{AT}/tanks/t1/swap?step=inspect"
    assert (
        'class="button primary" href="/rooms/north/tanks/t1/inspection'.replace("/rooms/north", AT)
        in room.get(step).text
    )
    begun = room.post(f"{AT}/tanks/t1/inspection", data={"by": "Wren", "submission": "s2" * 8})
    assert "Begun, not signed yet" in room.get(step).text
    leak(room, begun.url.path)
    for part in ("impeller", "o_ring", "washer"):
        look(room, begun.url.path, part)
    room.post(f"{begun.url.path}/close", data={"by": "Wren"})
    page = room.get(step).text
    assert "by Wren." in page
    assert "The tank is not filled until a lead releases it." in page
    assert f"{begun.url.path}/report" in page


def test_a_held_tanks_wash_form_says_so_and_offers_no_shortcut(room: TestClient, at: str) -> None:
    leak(room, at)
    page = room.get(f"{AT}/tanks/t1/log/wash").text
    assert "This tank is held: Shaft seal" in page
    assert "Same as before" not in page


def test_an_out_of_service_part_shows_all_that_was_seen_the_note_and_what_to_do_next(
    room: TestClient, at: str
) -> None:
    look(room, at, "shaft_seal", "seal_leaks", "seal_groove", no_photo="Dark", note="Drips fast")
    page = room.get(f"{at}/parts/{SEAL}").text
    shown = page.split('id="decided"')[1].split("</section>")[0]
    assert shown.count("<b>Yes</b>") == 2
    assert "Note: Drips fast" in shown
    assert "Lock it out and tag it" in shown


def test_signing_is_offered_once_no_photo_is_missing(room: TestClient, at: str) -> None:
    look(room, at, "shaft_seal", "seal_leaks")
    for part in ("impeller", "o_ring", "washer"):
        look(room, at, part)
    page = room.get(at).text
    assert "Before it is signed" in page
    assert ">Sign</button>" not in page
    look(room, at, "shaft_seal", "seal_leaks", no_photo="Dark")
    assert ">Sign</button>" in room.get(at).text


def test_a_good_part_whose_mate_is_replaced_says_so_on_its_page_and_in_the_report(
    room: TestClient, at: str
) -> None:
    look(room, at, "impeller")
    look(room, at, "washer", "washer_lobe_broken", no_photo="Dark")
    page = room.get(f"{at}/parts/t1-impeller-1").text
    assert "Replaced anyway" in page
    assert "Replaced with its mate, Washer" in room.get(f"{at}/report").text

"""The hand-over page: what it tells, what it keeps, who signs."""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Entry, Reject, SwapStarted, TopUp
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.shifts import HandedOver, TakenOver
from app.domain.roomlog.kinds.supplies import Item, LotHeld, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumQuarantined
from app.domain.shifts import ROOM as BOOK
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, tank, wash, withdraw
from tests.web.conftest import entries_of

PAGE = f"/rooms/{ROOM}/hand-over"
HOUR = timedelta(hours=1)


def text_of(page: str) -> str:
    """What a person reads of a page."""
    main = page.partition("<main")[2]
    plain = re.sub(r"<svg.*?</svg>|<[^>]*>", " ", main, flags=re.DOTALL)
    return re.sub(r"\s+", " ", plain)


def shown(client: TestClient) -> str:
    answer = client.get(PAGE)
    assert answer.status_code == 200
    return text_of(answer.text)


def sign(client: TestClient, by: str, path: str = "", **more: str) -> Any:
    return client.post(PAGE + path, data={"by": by, **more}, follow_redirects=False)


def handed(client: TestClient, by: str) -> str:
    """Hand over; the entry of it."""
    answer = sign(client, by)
    assert answer.status_code == 303
    return str(answer.headers["location"].partition("saved=")[2])


def signed_before(store: Store, hours: float = 6) -> None:
    """Wren handed over to Dunlin so many hours ago."""
    at = NOW - timedelta(hours=hours)
    said: list[Entry] = [
        HandedOver(at=at, by="Wren", hand_over=BOOK, id="h1"),
        TakenOver(at=at + timedelta(minutes=4), by="Dunlin", hand_over=BOOK, id="t1x", signed="h1"),
    ]
    record(store, ROOM, said, NOW)


def test_a_new_room_says_where_it_begins_and_that_all_is_calm(client: TestClient) -> None:
    page = shown(client)
    assert "Nobody has handed over here yet. The list starts at midnight." in page
    assert "Nothing is held." in page
    assert "No notes." in page
    assert "Since 00:00" in page


def test_after_a_hand_over_nobody_reads_that_there_was_none(
    client: TestClient, store: Store
) -> None:
    assert "nobody has handed over since" not in shown(client)
    signed_before(store)
    page = shown(client)
    assert "Nobody has handed over here yet" not in page
    assert "nobody has handed over since 06:00" in page


def test_what_is_overdue_at_many_tanks_says_how_long_at_the_most(
    client: TestClient, store: Store
) -> None:
    long_ago = tank("t9", at=NOW - timedelta(days=60))
    record(store, ROOM, [long_ago, tank("t8", at=NOW - timedelta(days=40))], NOW)
    [line] = re.findall(r"Close the month[^:]*: ([^.]*)\.", shown(client))
    assert line.startswith("up to ")
    assert "the first" not in line


def test_washes_are_one_line_with_the_tank_that_took_most(client: TestClient, store: Store) -> None:
    signed_before(store)
    entries = [wash((5 - n / 4) / 24, "t1", id=f"a{n}") for n in range(3)]
    record(store, ROOM, [*entries, wash(1 / 24, "t2", id="b1")], NOW)
    page = shown(client)
    assert re.search(r"4 washes in two tanks\. T1 took 3 of them: \d\.\d to \d\.\d %\.", page)
    assert "Since 06:00" in page


def test_one_thing_is_told_in_the_logs_own_sentence(client: TestClient, store: Store) -> None:
    signed_before(store)
    one = [
        wash(2 / 24, id="w1"),
        TopUp(at=NOW - HOUR, by="Wren", tank="t1", volume_l=3.0),
        Reject(at=NOW - HOUR, by="Wren", tank="t1", finding="tacky", parts=1),
    ]
    record(store, ROOM, one, NOW)
    page = shown(client)
    assert "1 wash in T1" in page
    assert "Wren topped up T1: 3.0 L." in page
    assert "Wren rejected 1 part from T1: tacky." in page


def test_what_is_alike_goes_together(client: TestClient, store: Store) -> None:
    signed_before(store)
    record(store, ROOM, [
        *(TopUp(at=NOW - HOUR * n, tank="t1", volume_l=1.5) for n in (1, 2)),
        TopUp(at=NOW - HOUR * 3, tank="t2", volume_l=1.0),
        *(Reject(at=NOW - HOUR, tank="t1", finding="tacky", parts=n) for n in (1, 2)),
        Reject(at=NOW - HOUR, tank="t2", finding="tacky", parts=4),
    ], NOW)  # fmt: skip
    page = shown(client)
    assert "3 top-ups: T2 1.00 L and T1 3.00 L." in page
    assert "7 parts were rejected: 4 from T2 and 3 from T1." in page
    assert "reject_" not in page


def test_what_came_late_or_was_corrected_is_counted_once(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1, id="w1"), wash(1.1, id="w2"), wash(1.2, id="w3")], NOW)
    signed_before(store)
    record(store, ROOM, [wash(0.9, id="w4"), wash(0.8, id="w5")], NOW)
    record(store, ROOM, [wash(1, id="w6", corrects="w1", area_cm2=900.0)], NOW)
    withdraw(store, ROOM, "w2", "Wren", "Twice", NOW, None)
    withdraw(store, ROOM, "w5", "Wren", "Twice", NOW, None)
    page = shown(client)
    assert "1 wash from before 06:00 was entered late." in page
    assert "1 wash from before 06:00 was corrected." in page
    assert "1 entry from before 06:00 was withdrawn." in page
    assert "washes in" not in page


def test_what_is_held_says_who_when_why_and_until_what(client: TestClient, store: Store) -> None:
    at = NOW - HOUR
    record(store, ROOM, [
        TankHeld(at=at, by="Wren", tank="t1", reason="pump stopped", cause="lead"),
        Item(at=at, item="gloves", name="Gloves", category="protection", unit="pair"),
        StockReceived(at=at, item="gloves", quantity=10, lot="L1"),
        LotHeld(at=at, by="Finch", item="gloves", lot="L1", standing="quarantined",
                reason="Torn cuffs"),
        Drum(at=at, drum="d1", name="Drum 1", capacity_l=200, stream="isopropanol_resin",
             area="central"),
        DrumQuarantined(at=at, by="Dunlin", drum="d1", reason="It bulges"),
    ], NOW)  # fmt: skip
    page = shown(client)
    assert "1 T1: no washing. Pump stopped. Wren held it at 11:00. A lead releases it." in page
    assert "Lot L1 of Gloves: do not use. Torn cuffs. Finch held it at 11:00." in page
    assert "Drum 1: in quarantine. It bulges. Dunlin held it at 11:00. A lead releases it." in page


def test_a_swap_that_was_begun_is_done_first(client: TestClient, store: Store) -> None:
    record(store, ROOM, [SwapStarted(at=NOW - HOUR, by="Wren", tank="t2")], NOW)
    page = shown(client)
    assert "2 T2: finish the swap. Swap started 11:00, not completed." in page


def test_a_note_stays_until_it_is_done(client: TestClient, store: Store) -> None:
    typed = {"by": "Wren", "text": "The lid of <b>T1</b> sticks", "submission": "s1"}
    answer = client.post(f"{PAGE}/note", data=typed, follow_redirects=False)
    assert answer.status_code == 303
    assert client.post(f"{PAGE}/note", data=typed, follow_redirects=False).status_code == 303
    (row,) = entries_of(store, "shift_note")
    page = client.get(answer.headers["location"]).text
    assert "“The lid of &lt;b&gt;T1&lt;/b&gt; sticks”" in page
    assert "Saved: Wren left a note for the next shift" in page
    done = re.search(r'action="([^"]*/done)"', page)
    assert done is not None
    answer = client.post(done[1], data={"by": "Dunlin"}, follow_redirects=False)
    assert answer.status_code == 303
    page = shown(client)
    assert "No notes." in page
    assert "Dunlin settled the note “The lid of" in page
    again = client.post(done[1], data={"by": "Finch"})
    assert again.status_code == 422
    assert "Dunlin settled this note at 12:00. Nothing was stored." in text_of(again.text)
    assert row.by == "Wren"


@pytest.mark.parametrize(
    "text, said",
    [
        ("", "needs fixing. Nothing was stored."),
        ("x" * 5000, "At most 200 characters; this has 5000."),
        ("a\x00b", "The text has characters that cannot be stored."),
    ],
)
def test_a_note_that_does_not_fit_is_kept_as_typed(
    client: TestClient, store: Store, text: str, said: str
) -> None:
    answer = client.post(f"{PAGE}/note", data={"by": "Wren", "text": text})
    assert answer.status_code == 422
    assert said in text_of(answer.text)
    assert not entries_of(store, "shift_note")
    if "\x00" not in text:
        assert f">{text}</textarea>" in answer.text


def test_a_note_has_a_name_under_it(client: TestClient, store: Store) -> None:
    answer = client.post(f"{PAGE}/note", data={"text": "Lid sticks"})
    assert answer.status_code == 422
    assert "Enter who leaves the note." in answer.text
    assert not entries_of(store, "shift_note")


def test_two_people_sign(client: TestClient, store: Store) -> None:
    entry = handed(client, "Wren")
    page = shown(client)
    assert "Wren handed over, 12:00" in page
    answer = sign(client, "wren ", "/take-over", signed=entry)
    assert answer.status_code == 422
    assert "Wren handed over. Someone else takes over." in text_of(answer.text)
    answer = sign(client, "Dunlin", "/take-over", signed=entry)
    assert answer.status_code == 303
    assert "Saved: Dunlin took over the room." in text_of(
        client.get(answer.headers["location"]).text
    )
    page = shown(client)
    assert "Since 12:00" in page
    assert "Hand over" in page
    assert len(entries_of(store, "taken_over")) == 1


def test_whoever_has_handed_over_chooses_who_takes_over(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1, id="w1", by="Dunlin")], NOW)
    handed(client, "Wren")  # this tablet is Wren's now
    page = client.get(PAGE).text
    who = page.partition('id="who-take"')[2].partition("</details>")[0]
    assert 'value="Dunlin"' in who
    assert 'value="Wren"' not in who


def test_two_tablets_that_sign_at_once(client: TestClient, store: Store) -> None:
    entry = handed(client, "Wren")
    answer = sign(client, "Finch")
    assert answer.status_code == 422
    assert "Wren handed over at 12:00. Take over first." in text_of(answer.text)
    assert sign(client, "Dunlin", "/take-over", signed=entry).status_code == 303
    answer = sign(client, "Finch", "/take-over", signed=entry)
    assert answer.status_code == 422
    assert "Dunlin took over at 12:00. Nothing was stored." in text_of(answer.text)
    assert len(entries_of(store, "taken_over")) == 1


def test_a_page_that_has_not_seen_the_signature_is_read_first(client: TestClient) -> None:
    handed(client, "Wren")
    answer = sign(client, "Dunlin", "/take-over")
    assert answer.status_code == 422
    assert "Read what is new, then take over." in text_of(answer.text)


def test_what_nobody_handed_over_may_be_taken_over_and_says_so(client: TestClient) -> None:
    assert "nobody has handed over" in shown(client)
    answer = sign(client, "Dunlin", "/take-over")
    assert answer.status_code == 303
    page = text_of(client.get(answer.headers["location"]).text)
    assert "Dunlin took over the room, nobody had handed it over." in page


def test_what_comes_after_a_signature_is_shown_apart(client: TestClient, store: Store) -> None:
    signed_before(store)
    record(store, ROOM, [wash(2 / 24, id="w1")], NOW)
    record(store, ROOM, [wash(1.5 / 24, id="w4")], NOW)
    at = NOW - HOUR
    record(store, ROOM, [HandedOver(at=at, by="Dunlin", hand_over=BOOK, id="h2")], NOW)
    record(store, ROOM, [wash(0.9 / 24, id="w2"), wash(0.5 / 24, id="w3")], NOW)
    record(store, ROOM, [wash(1.5 / 24, id="w5", corrects="w4", area_cm2=900.0)], NOW)
    page = shown(client)
    before, _, after = page.partition("After Dunlin signed")
    assert "1 wash in T1" in before
    assert "2 washes in T1" in after
    assert "1 wash from before 11:00 was corrected." in after
    assert "corrected" not in before


def test_a_signature_is_taken_back_by_whoever_gave_it(client: TestClient, store: Store) -> None:
    entry = handed(client, "Wren")
    undo = f"{PAGE}/undo/{entry}"
    assert undo in client.get(PAGE).text
    answer = client.post(undo, follow_redirects=False)
    assert answer.status_code == 303
    assert "Taken back: Wren handed over the room." in text_of(
        client.get(answer.headers["location"]).text
    )
    assert "handed over, 12:00" not in shown(client)
    other = entries_of(store, "tank")[0].uid
    assert client.post(f"{PAGE}/undo/{other}").status_code == 409


def test_a_signature_that_was_taken_over_stays(client: TestClient) -> None:
    entry = handed(client, "Wren")
    assert sign(client, "Dunlin", "/take-over", signed=entry).status_code == 303
    client.cookies.clear()
    client.cookies.set("person", "Wren")
    answer = client.post(f"{PAGE}/undo/{entry}")
    assert answer.status_code == 409
    assert "Dunlin has taken over. This signature stays." in text_of(answer.text)
    assert f"undo/{entry}" not in client.get(f"{PAGE}?saved={entry}").text


def test_the_part_that_follows_the_room_comes_alone(client: TestClient) -> None:
    part = client.get(PAGE, headers={"HX-Request": "true"}).text
    assert part.strip().startswith('<div id="shift"')
    assert "<html" not in part
    assert "<textarea" not in part


def test_it_is_in_the_menu_and_found(client: TestClient) -> None:
    assert f'href="{PAGE}"' in client.get(f"/rooms/{ROOM}").text
    assert f'href="{PAGE}"' in client.get(f"/rooms/{ROOM}/find", params={"q": "hand"}).text

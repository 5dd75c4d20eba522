"""Who handed over to whom, and where a shift begins."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.shifts import HandedOver, ShiftNote, ShiftNoteDone, TakenOver
from app.domain.shifts import (
    HAND_OVER_BOOK,
    NOTE_BOOK,
    ROOM,
    HandOver,
    HandOverState,
    NoteState,
    Signature,
    first_begins_at,
    is_same_name,
)
from app.domain.things import fold

AT = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
DUBLIN = ZoneInfo("Europe/Dublin")


def handed(minutes: float, by: str, entry: str = "") -> HandedOver:
    at = AT + timedelta(minutes=minutes)
    return HandedOver(at=at, by=by, hand_over=ROOM, id=entry or f"h{minutes}")


def taken(minutes: float, by: str, entry: str = "") -> TakenOver:
    at = AT + timedelta(minutes=minutes)
    return TakenOver(at=at, by=by, hand_over=ROOM, id=entry or f"t{minutes}")


def after(*entries: Entry) -> HandOverState:
    state: HandOverState = fold(HAND_OVER_BOOK, ROOM, entries)
    return state


def test_a_hand_over_waits_until_somebody_takes_over() -> None:
    state = after(handed(0, "Wren"))
    assert state.waiting is not None
    assert state.waiting.by == "Wren"
    assert state.begins is None
    assert HAND_OVER_BOOK.is_open(state)
    state = after(handed(0, "Wren"), taken(4, "Dunlin"))
    assert state.waiting is None
    assert not HAND_OVER_BOOK.is_open(state)
    assert state.begins is not None
    assert (state.begins.by, state.begins.at) == ("Wren", AT)


def test_a_shift_begins_at_the_last_hand_over_that_was_taken_over() -> None:
    state = after(handed(0, "Wren"), taken(4, "Dunlin"), handed(480, "Dunlin"))
    assert state.begins is not None
    assert state.begins.at == AT
    assert state.waiting is not None
    assert state.waiting.by == "Dunlin"


def test_what_nobody_handed_over_begins_with_whoever_took_over() -> None:
    state = after(taken(4, "Dunlin"))
    assert state.begins is not None
    assert (state.begins.by, state.begins.at) == ("Dunlin", AT + timedelta(minutes=4))
    assert state.last is not None
    assert state.last.handed is None


def test_who_signs_again_replaces_the_first_signature() -> None:
    state = after(handed(0, "Wren"), handed(10, "Wren"), taken(12, "Dunlin"))
    assert len(state.hand_overs) == 1
    assert state.begins is not None
    assert state.begins.at == AT + timedelta(minutes=10)


def test_only_the_last_hand_overs_are_kept_in_the_state() -> None:
    entries: list[Entry] = []
    for number in range(100):
        entries += [handed(480 * number, "Wren"), taken(480 * number + 4, "Dunlin")]
    state = after(*entries)
    assert len(state.hand_overs) == 60
    assert state.begins is not None
    assert state.begins.at == entries[-2].at


@pytest.mark.parametrize(
    "entry, name",
    [
        (handed(-1, "X"), "Dunlin"),  # late, before Dunlin took over and nobody had handed over
        (handed(5, "X"), None),
        (taken(30, "X"), None),
    ],
)
def test_the_other_half_of_a_late_entry_is_found(
    entry: HandedOver | TakenOver, name: str | None
) -> None:
    other = after(taken(4, "Dunlin")).other_half(entry)
    assert (other.by if other else None) == name


def test_the_other_half_of_taking_over_is_the_signature_before_it() -> None:
    state = after(handed(0, "Wren"), taken(4, "Dunlin"), handed(480, "Dunlin"))
    other = state.other_half(taken(490, "Finch"))
    assert other is not None
    assert other.by == "Dunlin"
    late = state.other_half(taken(2, "Finch"))
    assert late is not None
    assert late.by == "Wren"
    assert state.other_half(taken(100, "Finch")) is None


def test_who_took_over_what_was_signed() -> None:
    state = after(handed(0, "Wren"), taken(4, "Dunlin"), handed(480, "Dunlin"))
    signed = state.taken_after("h0")
    assert signed is not None
    assert signed.by == "Dunlin"
    assert state.taken_after("h480") is None


def test_names_are_the_same_whatever_their_capitals() -> None:
    assert is_same_name("Wren", " wren ")
    assert not is_same_name("Wren", "Wrenn")


def test_a_note_is_open_until_somebody_settles_it() -> None:
    note = ShiftNote(at=AT, by="Wren", shift_note="n1", text="Lid sticks")
    state: NoteState = fold(NOTE_BOOK, "n1", [note])
    assert state.is_open
    assert state.name == "Lid sticks"
    done = ShiftNoteDone(at=AT + timedelta(hours=1), by="Dunlin", shift_note="n1")
    state = fold(NOTE_BOOK, "n1", [note, done])
    assert not state.is_open
    assert (state.done_by, state.done_at) == ("Dunlin", done.at)
    assert not fold(NOTE_BOOK, "n1", [done]).is_open


def test_a_note_without_words_is_none() -> None:
    note = ShiftNote(at=AT, by="Wren", shift_note="n1", text="  ")
    assert [one.field for one in note.problems()] == ["text"]


def test_the_first_shift_begins_with_the_day_or_eight_hours_ago() -> None:
    at, is_day = first_begins_at(AT, DUBLIN)
    assert (at, is_day) == (datetime(2026, 3, 2, tzinfo=DUBLIN), True)
    night = datetime(2026, 3, 2, 3, 0, tzinfo=UTC)
    assert first_begins_at(night, DUBLIN) == (night - timedelta(hours=8), False)


def test_signatures_and_notes_keep_their_entry_and_their_name() -> None:
    state = fold(HAND_OVER_BOOK, ROOM, [
        HandedOver(at=AT, id="h", by="Wren", hand_over=ROOM),
        TakenOver(at=AT + timedelta(minutes=5), id="t", by="Lee", hand_over=ROOM),
    ])  # fmt: skip
    assert state.last == HandOver(
        Signature("Wren", AT, "h"), Signature("Lee", AT + timedelta(minutes=5), "t")
    )
    assert state.taken_after("h") == Signature("Lee", AT + timedelta(minutes=5), "t")
    assert state.taken_after("t") is None
    note = ShiftNote(at=AT, id="n", by="Wren", shift_note="n1", text="Watch Cedar")
    assert fold(NOTE_BOOK, "n1", [note]) == NoteState("n1", "Watch Cedar", "Wren", AT, "n")


def test_signing_again_before_anybody_takes_over_is_one_hand_over() -> None:
    def handed(minutes: int) -> HandedOver:
        return HandedOver(at=AT + timedelta(minutes=minutes), by="Wren", hand_over=ROOM)

    taken = TakenOver(at=AT + timedelta(minutes=1), by="Lee", hand_over=ROOM)
    state = fold(HAND_OVER_BOOK, ROOM, [handed(0), taken, handed(2), handed(3)])
    assert [one.handed and one.handed.at for one in state.hand_overs] == [
        AT, AT + timedelta(minutes=3),
    ]  # fmt: skip
    assert state.waiting == Signature("Wren", AT + timedelta(minutes=3))


def test_halves_of_one_instant_belong_together() -> None:
    handed = HandedOver(at=AT, by="Wren", hand_over=ROOM)
    taken = TakenOver(at=AT, by="Lee", hand_over=ROOM)
    state = fold(HAND_OVER_BOOK, ROOM, [handed, taken])
    assert state.other_half(handed) == Signature("Lee", AT)
    assert state.other_half(taken) is None  # somebody has taken over by then
    waiting = fold(HAND_OVER_BOOK, ROOM, [handed])
    assert waiting.other_half(taken) == Signature("Wren", AT)
    before = TakenOver(at=AT - timedelta(minutes=1), by="Lee", hand_over=ROOM)
    assert waiting.other_half(before) is None


def test_the_first_shift_begins_at_midnight_or_eight_hours_ago() -> None:
    zone = ZoneInfo("Europe/Dublin")
    noon = datetime(2026, 7, 2, 12, 34, 56, 789, tzinfo=UTC)
    assert first_begins_at(noon, zone) == (datetime(2026, 7, 1, 23, tzinfo=UTC), True)
    eight = datetime(2026, 7, 2, 7, tzinfo=UTC)  # eight in the morning there
    assert first_begins_at(eight, zone) == (datetime(2026, 7, 1, 23, tzinfo=UTC), True)
    night = datetime(2026, 7, 2, 1, tzinfo=UTC)
    assert first_begins_at(night, zone) == (datetime(2026, 7, 1, 17, tzinfo=UTC), False)

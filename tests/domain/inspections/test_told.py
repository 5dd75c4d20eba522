"""A position and an inspection keep all that was said of them, and what it means for the refill."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.domain.inspections.books import (
    PHOTO_RULES_BOOK,
    SOAK_BOOK,
    PhotoRulesState,
    SoakState,
)
from app.domain.inspections.components import (
    COMPONENT_BOOK,
    MOST_PAST,
    MOST_SEEN,
    ComponentState,
    PastItem,
    Seen,
    last_fitted,
    lifetimes,
)
from app.domain.inspections.inspection import (
    INSPECTION_BOOK,
    InspectionState,
    Look,
    Mark,
    PhotoTaken,
)
from app.domain.inspections.rules import ALL_GOOD, PARTLY_SEEN
from app.domain.life import Lifetime
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentChanged,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionPhoto,
    InspectionStarted,
    PhotoLabelled,
    PhotoMarked,
    PhotoRules,
    SoakEnded,
    SoakStarted,
)
from app.domain.things import fold

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
GOOD = {"washer_lobe_broken": "no", "washer_lobe_cracked": "no", "washer_worn": "no"}
WORN = GOOD | {"washer_worn": "yes"}
CRACKED = GOOD | {"washer_lobe_cracked": "yes"}
UNSEEN = dict.fromkeys(GOOD, "unseen")
PART_SEEN = GOOD | {"washer_worn": "unseen"}
DROP, NO_DROP, NO_VIEW = ({"seal_drop": word} for word in ("yes", "no", "unseen"))
PHOTOS = ("a" * 64, "b" * 64)
POSITIONS = [
    {"component": "w", "part": "washer", "name": "Washer"},
    {"component": "s", "part": "shaft_seal", "name": "Shaft seal"},
]


def on(day: float) -> datetime:
    return AT + timedelta(days=day)


SET_UP = Component(
    at=AT, component="w", part="washer", name="Washer", tank="t1", mate="imp", item="washers",
    fitted_at=on(-9),
)  # fmt: skip
SEAL = Component(at=AT, component="w", part="shaft_seal", name="Seal", tank="t1", fitted_at=AT)


def looked(day: float, answers: dict[str, str], key: str = "n1", **more: Any) -> InspectionAnswered:
    values = {"component": "w", **more}
    return InspectionAnswered(at=on(day), inspection=key, answers=answers, **values)


def overruled(day: float, verdict: str, key: str = "n1", component: str = "w") -> Entry:
    return InspectionOverruled(
        at=on(day), inspection=key, component=component, verdict=verdict, lead="Plover",
        reason="Seen it myself", id=f"word-{day:g}",
    )  # fmt: skip


def replaced(day: float, because: str = "finding", **more: Any) -> Entry:
    return ComponentReplaced(at=on(day), component="w", because=because, **more)


def position(*entries: Entry, first: Entry = SET_UP) -> ComponentState:
    state = fold(COMPONENT_BOOK, "w", [first, *entries])
    assert isinstance(state, ComponentState)
    return state


# The position.


def test_a_position_keeps_where_it_sits_what_it_is_and_what_replaces_it() -> None:
    assert position() == ComponentState(
        "w", part="washer", name="Washer", tank="t1", mate="imp", item="washers", fitted_at=on(-9)
    )
    bare = Component(at=AT, component="w", part="lamp_window", name="Window", station="s1")
    assert position(first=bare) == ComponentState(
        "w", part="lamp_window", name="Window", station="s1"
    )


def test_a_change_leaves_what_it_does_not_name() -> None:
    named = ComponentChanged(at=on(1), component="w", name="Washer 2")
    other = ComponentChanged(at=on(2), component="w", mate="imp-2", item="washers-2")
    gone = ComponentChanged(at=on(3), component="w", is_retired=True)
    state = position(named, other)
    assert (state.name, state.mate, state.item) == ("Washer 2", "imp-2", "washers-2")
    assert (state.is_retired, COMPONENT_BOOK.is_open(state)) == (False, True)
    state = position(gone, named)
    assert (state.is_retired, COMPONENT_BOOK.is_open(state)) == (True, False)
    assert (state.mate, state.item, state.tank) == ("imp", "washers", "t1")
    back = ComponentChanged(at=on(4), component="w", is_retired=False)
    assert not position(gone, back).is_retired


def test_a_look_says_when_what_and_of_which_inspection() -> None:
    state = position(looked(1, WORN))
    assert state.seen == (Seen(on(1), "watch", "n1"),)
    assert (state.standing, state.verdict, state.is_watched) == (state.seen[0], "watch", True)
    assert state.last_seen_at == on(1)


def test_an_answer_given_again_takes_the_place_of_the_one_before() -> None:
    state = position(looked(1, CRACKED), looked(2, GOOD, "n2"), looked(3, WORN, "n2"))
    assert [(one.verdict, one.inspection) for one in state.seen] == [
        ("replace_with_mate", "n1"), ("watch", "n2"),
    ]  # fmt: skip


def test_a_verdict_that_the_entry_names_stands() -> None:
    assert position(looked(1, GOOD, verdict="replace")).verdict == "replace"


def test_answers_of_a_part_that_nobody_set_up_are_to_be_watched() -> None:
    state = fold(COMPONENT_BOOK, "w", [looked(1, GOOD)])
    assert state.seen == (Seen(on(1), "watch", "n1"),)


def test_what_nobody_could_see_hides_no_earlier_finding() -> None:
    state = position(looked(1, WORN), looked(2, UNSEEN, "n2"))
    assert state.missed == Seen(on(2), "not_seen", "n2")
    assert (state.verdict, state.standing) == ("not_seen", state.seen[0])
    assert state.wants_look
    assert state.last_seen_at == on(1)
    seen = position(looked(1, GOOD), looked(2, UNSEEN, "n2"), looked(3, GOOD, "n2"))
    assert (seen.missed, seen.verdict, seen.wants_look) == (None, "serviceable", False)
    unsaid = position(looked(1, GOOD), looked(2, UNSEEN))
    assert (unsaid.seen, unsaid.verdict) == ((), "not_seen")


def test_only_so_many_looks_and_parts_are_kept() -> None:
    state = position(*(looked(day, GOOD, f"n{day}") for day in range(MOST_SEEN + 5)))
    assert [one.inspection for one in state.seen] == [f"n{day}" for day in range(5, MOST_SEEN + 5)]
    state = position(*(replaced(day) for day in range(MOST_PAST + 3)))
    assert [one.replaced_at for one in state.past] == [on(day) for day in range(3, MOST_PAST + 3)]


# Looks at a full and at a refilled tank.


def seal(*entries: Entry) -> ComponentState:
    return position(*entries, first=SEAL)


def test_a_drop_at_the_full_tank_stands_until_the_same_look_finds_none() -> None:
    drips = looked(1, DROP, look="full")
    state = seal(drips)
    assert state.partial == (Seen(on(1), "take_out_of_service", "n1", look="full"),)
    assert (state.verdict, state.seen, state.last_seen_at) == ("take_out_of_service", (), None)
    dry = seal(drips, looked(2, NO_DROP, "n2", look="full"))
    assert (dry.verdict, len(dry.partial)) == ("", 1)
    weeps = looked(2, {"seal_weeps_again": "yes"}, "n2", look="refilled")
    both = seal(drips, weeps)
    assert [one.look for one in both.partial] == ["full", "refilled"]


def test_a_look_at_the_full_tank_that_saw_nothing_clears_nothing() -> None:
    drips = looked(1, DROP, look="full")
    state = seal(drips, looked(2, NO_VIEW, "n2", look="full"))
    assert (state.verdict, state.missed) == ("take_out_of_service", None)
    unsaid = seal(drips, looked(2, NO_VIEW, look="full"))  # the same inspection says it anew
    assert (unsaid.verdict, unsaid.partial) == ("", ())
    anew = seal(drips, looked(2, NO_DROP, look="full"))
    assert [(one.at, one.verdict) for one in anew.partial] == [(on(2), "serviceable")]


def test_of_all_looks_the_gravest_stands() -> None:
    empty = dict.fromkeys(
        ("seal_leaks", "seal_groove", "seal_weeps", "seal_hard", "seal_sticky"), "no"
    )
    drips = looked(1, DROP, look="full")
    assert seal(drips, looked(2, empty, "n2")).verdict == "take_out_of_service"
    weak = empty | {"seal_weeps": "yes"}
    assert seal(looked(1, NO_DROP, look="full"), looked(2, weak, "n2")).verdict == "replace"


# A lead's word.


def test_a_leads_word_stands_for_the_looks_of_its_inspection_alone() -> None:
    state = position(looked(1, CRACKED), looked(2, CRACKED, "n2"), overruled(3, "watch", "n2"))
    assert [one.verdict for one in state.seen] == ["replace_with_mate", "watch"]
    first = position(looked(1, CRACKED), looked(2, CRACKED, "n2"), overruled(3, "watch"))
    assert [(one.at, one.verdict, one.was_seen) for one in first.seen] == [
        (on(1), "watch", True), (on(2), "replace_with_mate", True),
    ]  # fmt: skip
    assert first.verdict == "replace_with_mate"


def test_a_leads_word_on_a_look_at_the_full_tank_leaves_that_at_the_refilled_one() -> None:
    drips = looked(1, DROP, look="full")
    weeps = looked(2, {"seal_weeps_again": "yes"}, "n2", look="refilled")
    state = seal(drips, weeps, overruled(3, "serviceable"))
    assert [(one.look, one.verdict, one.at) for one in state.partial] == [
        ("full", "serviceable", on(1)), ("refilled", "take_out_of_service", on(2)),
    ]  # fmt: skip
    assert (state.seen, state.verdict) == ((), "take_out_of_service")


def test_a_leads_word_on_what_nobody_saw_is_no_look() -> None:
    state = position(looked(1, WORN), looked(2, UNSEEN, "n2"), overruled(3, "serviceable", "n2"))
    assert state.missed is None
    assert state.seen == (
        Seen(on(1), "watch", "n1"), Seen(on(2), "serviceable", "n2", was_seen=False),
    )  # fmt: skip
    other = position(looked(1, WORN), looked(2, UNSEEN, "n2"), overruled(3, "serviceable"))
    assert (other.verdict, other.seen[0].verdict) == ("not_seen", "serviceable")
    many = [looked(day, GOOD, f"n{day}") for day in range(MOST_SEEN)]
    full = position(*many, looked(99, UNSEEN, "x"), overruled(100, "watch", "x"))
    assert (len(full.seen), full.seen[-1].verdict) == (MOST_SEEN, "watch")


# A new part, and how long the one before it lasted.


def test_a_new_part_begins_anew_and_the_old_one_is_remembered() -> None:
    state = position(
        looked(1, GOOD), looked(2, CRACKED, "n2"), looked(3, UNSEEN, "n3"),
        replaced(4, lot="W7", item="washers-2"),
    )  # fmt: skip
    assert state.past == (PastItem(on(-9), on(4), "finding", on(1), on(2), ""),)
    assert (state.seen, state.partial, state.missed) == ((), (), None)
    assert (state.fitted_at, state.lot, state.item) == (on(4), "W7", "washers-2")
    assert (state.verdict, state.last_seen_at) == ("", on(4))
    again = position(replaced(4, lot="W7"), replaced(5, "planned"))
    assert (again.past[-1].lot, again.lot, again.item) == ("W7", "", "washers")
    assert again.past[-1] == PastItem(on(4), on(5), "planned", None, None, "W7")


def test_when_it_was_last_good_is_before_it_was_found_worn() -> None:
    order = (looked(1, GOOD), looked(2, CRACKED, "n2"), overruled(2.5, "replace", "n2"),
             looked(3, GOOD, "n3"), looked(4, CRACKED, "n4"), replaced(5))  # fmt: skip
    (past,) = position(*order).past
    assert (past.last_good_at, past.found_at) == (on(1), on(2))
    (unfound,) = position(looked(1, GOOD), looked(3, WORN, "n3"), replaced(5)).past
    assert (unfound.last_good_at, unfound.found_at) == (on(3), None)
    drips = looked(1, DROP, look="full")
    (seen_full,) = seal(drips, replaced(2)).past
    assert (seen_full.last_good_at, seen_full.found_at) == (None, on(1))
    unseen = position(looked(1, UNSEEN), overruled(2, "replace"), replaced(3)).past[0]
    assert (unseen.last_good_at, unseen.found_at) == (None, None)


def test_a_life_ends_where_it_was_found_and_is_at_least_an_hour() -> None:
    def lives(*entries: Entry) -> list[Lifetime]:
        return lifetimes([position(*entries)], "washer", on(50))[:1]

    assert lives(looked(1, GOOD), looked(2, CRACKED, "n2"), replaced(4)) == [Lifetime(11, True, 10)]
    assert lives(replaced(4)) == [Lifetime(13, True, 0.0)]
    assert lives(replaced(4, "mate")) == [Lifetime(13, False)]
    at_once = [replaced(4), looked(4, CRACKED), replaced(4.5)]
    assert lifetimes([position(*at_once)], "washer", on(4.5))[1] == Lifetime(1 / 24, True, 0.0)
    same = [replaced(4), replaced(4)]
    assert len(lifetimes([position(*same)], "washer", on(4))) == 1


def test_only_parts_of_the_kind_that_are_in_use_live_on() -> None:
    gone = ComponentChanged(at=on(3), component="w", is_retired=True)
    assert lifetimes([position()], "impeller", on(5)) == []
    assert lifetimes([position()], "washer", on(5)) == [Lifetime(14, False)]
    assert lifetimes([position()], "washer", on(-9)) == []
    assert lifetimes([position(gone)], "washer", on(5)) == []
    both = [position(), position(first=SEAL), position(replaced(1))]
    assert len(lifetimes(both, "washer", on(5))) == 3


def test_the_day_of_the_last_new_part_is_that_of_its_place() -> None:
    def window(day: float | None, **more: Any) -> ComponentState:
        values = {"part": "lamp_window", "station": "s1", **more}
        first = Component(at=AT, component="w", name="Window", **values)
        gone = ComponentChanged(at=on(60), component="w", is_retired=True)
        after = [] if day is None else [replaced(day)]
        return position(*after, *([gone] if day == 40 else []), first=first)

    states = [
        window(9), window(20, part="reflector"), window(3), window(30, part="fan"), window(None),
        window(40), window(7, station="s2"), window(8, station=None, tank="t1"),
    ]  # fmt: skip
    parts = ("lamp_window", "reflector")
    assert last_fitted(states, *parts) == {"s1": on(20), "s2": on(7), "t1": on(8)}
    assert last_fitted(states[::-1], *parts)["s1"] == on(20)


# The inspection.

STARTED = InspectionStarted(
    at=AT, id="start", inspection="n1", tank="t1", swap="sw", by="Wren", positions=POSITIONS
)
LOOKS = (Look("w", "washer", "Washer"), Look("s", "shaft_seal", "Shaft seal"))


def inspection(*entries: Entry, first: Entry = STARTED) -> InspectionState:
    state = fold(INSPECTION_BOOK, "n1", [first, *entries])
    assert isinstance(state, InspectionState)
    return state


def at_washer(*entries: Entry) -> Look:
    look = inspection(*entries).look("w")
    assert look is not None
    return look


def test_an_inspection_keeps_who_began_it_where_and_what_is_to_be_looked_at() -> None:
    assert inspection() == InspectionState(
        "n1", tank="t1", swap="sw", started_at=AT, by="Wren", entry="start", looks=LOOKS
    )
    full = InspectionStarted(
        at=AT, inspection="n1", station="s1", look="full", positions=POSITIONS[1:]
    )
    assert inspection(first=full) == InspectionState(
        "n1", station="s1", started_at=AT, when="full",
        looks=(Look("s", "shaft_seal", "Shaft seal", when="full"),),
    )  # fmt: skip
    assert INSPECTION_BOOK.is_open(inspection())
    assert not INSPECTION_BOOK.is_open(InspectionState("n1"))


def test_answers_are_kept_with_who_gave_them_and_the_rules_verdict() -> None:
    told = looked(1, CRACKED, id="a1", by="Wren", note="Two lobes", no_photo="Camera broke")
    assert at_washer(told) == Look(
        "w", "washer", "Washer", answers=CRACKED, verdict="replace_with_mate",
        reason=at_washer(told).reason, condition="washer_lobe_cracked", at=on(1), by="Wren",
        note="Two lobes", no_photo="Camera broke", entry="a1", given_entry="a1", people=("Wren",),
    )  # fmt: skip
    assert "crack" in at_washer(told).reason.lower()
    good = at_washer(looked(1, GOOD, id="a1"))
    assert (good.verdict, good.reason, good.condition) == ("serviceable", ALL_GOOD, "")
    assert (good.by, good.people) == ("", ())
    part = at_washer(looked(1, PART_SEEN))
    assert (part.verdict, part.reason) == ("watch", PARTLY_SEEN)
    assert inspection(told).look("s") == LOOKS[1]
    assert [one.component for one in inspection(told).left] == ["s"]


def test_a_verdict_of_the_entry_stands_beside_the_rules_reason() -> None:
    look = at_washer(looked(1, GOOD, verdict="watch"))
    assert (look.verdict, look.reason) == ("watch", ALL_GOOD)


def test_a_note_added_later_is_no_new_look() -> None:
    first = looked(1, CRACKED, id="a1", by="Wren")
    noted = looked(2, CRACKED, id="a2", by="Dunlin", note="Worse at the hub", no_photo="Dark")
    look = at_washer(first, overruled(1.5, "watch"), noted)
    assert (look.at, look.by, look.given_entry, look.people) == (on(1), "Wren", "a1", ("Wren",))
    assert (look.note, look.no_photo, look.entry) == ("Worse at the hub", "Dark", "a2")
    assert (look.decided, look.overruled_by) == ("watch", "Plover")


def test_other_answers_are_a_new_look_and_end_a_leads_word() -> None:
    first = looked(1, CRACKED, id="a1", by="Wren")
    other = looked(2, WORN, id="a2", by="Dunlin")
    again = looked(3, GOOD, id="a3", by="Wren")
    look = at_washer(first, overruled(1.5, "serviceable"), other, again)
    assert (look.at, look.by, look.given_entry) == (on(3), "Wren", "a3")
    assert look.people == ("Wren", "Dunlin")
    said = (look.overruled, look.overruled_by, look.overrule_reason, look.overrule_entry)
    assert said == ("", "", "", "")


def test_a_leads_word_is_kept_with_its_reason() -> None:
    look = at_washer(looked(1, CRACKED), overruled(2, "watch"))
    assert (look.verdict, look.decided) == ("replace_with_mate", "watch")
    said = (look.overruled_by, look.overrule_reason, look.overrule_entry)
    assert said == ("Plover", "Seen it myself", "word-2")
    state = inspection(looked(1, CRACKED), overruled(2, "take_out_of_service"))
    assert (state.blocks_refill, state.reasons) == (True, ("Washer: Seen it myself",))
    leaks = looked(1, {"seal_leaks": "yes"}, component="s")
    (reason,) = inspection(leaks).reasons
    assert reason == f"Shaft seal: {inspection(leaks).looks[1].reason}"
    assert inspection(leaks, overruled(2, "watch", component="s")).reasons == ()
    assert inspection(overruled(2, "watch")).look("s") == LOOKS[1]


def test_a_new_part_waits_for_its_own_look() -> None:
    found, new = looked(1, CRACKED, id="a1", by="Wren"), replaced(2, lot="W7", id="new")
    assert at_washer(found).awaits_part
    look = at_washer(found, new)
    assert (look.awaits_part, look.is_replaced, look.last_entry) == (False, True, "new")
    assert (look.replaced_at, look.lot, look.replaced_entry) == (on(2), "W7", "new")
    same = at_washer(found, new, looked(3, CRACKED, id="a3", by="Dunlin"))
    assert (same.awaits_part, same.is_replaced, same.at, same.by) == (True, False, on(3), "Dunlin")
    assert (same.last_entry, same.people) == ("a3", ("Wren", "Dunlin"))
    assert at_washer(found, replaced(2)).lot == ""


def test_what_nobody_saw_is_not_looked_at_until_a_lead_decides() -> None:
    state = inspection(looked(1, UNSEEN), looked(1, {"seal_leaks": "yes"}, component="s"))
    assert [one.component for one in state.not_seen] == ["w"]
    assert [one.is_looked_at for one in state.looks] == [False, True]
    assert not LOOKS[0].is_looked_at
    assert inspection(looked(1, UNSEEN), overruled(2, "watch")).not_seen == ()


# Photos and their marks.


def photo(day: float, number: int = 0, component: str = "w", **more: Any) -> Entry:
    return InspectionPhoto(
        at=on(day), inspection="n1", component=component, photo=PHOTOS[number], view="whole",
        **more,
    )  # fmt: skip


def test_a_photo_is_kept_once_with_who_took_it() -> None:
    first = photo(1, by="Wren", id="p1")
    state = inspection(first, photo(2, by="Dunlin"), photo(3, 1), photo(4, component="x"))
    assert state.looks[0].photos == (
        PhotoTaken(PHOTOS[0], "whole", on(1), "Wren", "p1"),
        PhotoTaken(PHOTOS[1], "whole", on(3)),
    )
    assert state.looks[1].photos == ()
    cracked = looked(5, CRACKED)
    assert at_washer(cracked).lacks_photo
    assert not at_washer(cracked, first).lacks_photo
    assert not at_washer(looked(5, CRACKED, no_photo="Dark")).lacks_photo
    assert not at_washer(looked(5, WORN)).lacks_photo


def test_a_label_and_marks_are_those_of_one_photo_of_one_part() -> None:
    label = PhotoLabelled(
        at=on(3), inspection="n1", component="w", photo=PHOTOS[1], view="close"
    )  # fmt: skip
    marks = PhotoMarked(
        at=on(3), inspection="n1", component="w", photo=PHOTOS[0],
        marks=[{"shape": "ring", "x_percent": 10.0, "y_percent": 20.0, "text": "Crack"},
               {"shape": "arrow", "x_percent": 30.0, "y_percent": 40.0}],
    )  # fmt: skip
    both = [photo(1), photo(2, 1), photo(2, component="s")]
    first, second = inspection(*both, label, marks).looks[0].photos
    assert (first.view, second.view) == ("whole", "close")
    assert first.marks == (Mark("ring", 10.0, 20.0, "Crack"), Mark("arrow", 30.0, 40.0))
    assert second.marks == ()
    (other,) = inspection(*both, label, marks).looks[1].photos
    assert (other.view, other.marks) == ("whole", ())
    for stray in (label, marks):
        assert inspection(stray, first=looked(1, GOOD)) == InspectionState("n1")
        moved = type(stray)(**{**vars(stray), "component": "x"})
        assert inspection(*both, moved) == inspection(*both)


def test_a_signature_says_who_when_and_who_else() -> None:
    signed = InspectionClosed(
        at=on(9), inspection="n1", by="Wren", second="Dunlin", note="All seen"
    )  # fmt: skip
    state = inspection(looked(1, GOOD), signed)
    assert (state.is_closed, state.closed_at, state.closed_by) == (True, on(9), "Wren")
    assert (state.second, state.closed_note) == ("Dunlin", "All seen")
    assert not INSPECTION_BOOK.is_open(state)
    assert inspection(InspectionClosed(at=on(9), inspection="n1", by="Wren")).second == ""


# Soak tests, and originals of photos.


def test_a_soak_test_keeps_what_was_weighed_and_seen() -> None:
    began = SoakStarted(
        at=AT, soak="k", name="O-ring", tank="t1", mass_before_g=8.0, by="Wren", note="Wiped"
    )
    ended = SoakEnded(at=on(7), soak="k", mass_after_g=10.0, looks="Sticky", by="Dunlin")
    soaking = fold(SOAK_BOOK, "k", [began])
    assert soaking == SoakState("k", "O-ring", "t1", AT, 8.0, by="Wren")
    assert (soaking.gain_percent, soaking.days, SOAK_BOOK.is_open(soaking)) == (None, None, True)
    done = fold(SOAK_BOOK, "k", [began, ended])
    assert done == SoakState("k", "O-ring", "t1", AT, 8.0, on(7), 10.0, "Sticky", "Wren")
    assert not SOAK_BOOK.is_open(done)
    plain = fold(SOAK_BOOK, "k", [began, SoakEnded(at=on(7), soak="k", mass_after_g=9.0)])
    assert (plain.looks, fold(SOAK_BOOK, "k", [looked(1, GOOD)])) == ("", SoakState("k"))
    assert fold(SOAK_BOOK, "k", [ended]).days is None


@pytest.mark.parametrize("keep", [True, False])
def test_whether_originals_are_kept_is_a_leads_word(keep: bool) -> None:
    word = PhotoRules(at=on(1), rules="photos", keep_originals=keep, lead="Plover")
    assert fold(PHOTO_RULES_BOOK, "photos", [word]) == PhotoRulesState(keep, "Plover", on(1))
    assert fold(PHOTO_RULES_BOOK, "photos", [looked(1, GOOD)]) == PhotoRulesState()

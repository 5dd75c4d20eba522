"""What is due when: intervals, grace, proofs from the log, months; nothing overdue hides."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from app.domain.duties.book import DUTY_BOOK, DutyState
from app.domain.duties.catalogue import CATALOGUE, in_force
from app.domain.duties.due import GROUPS, DueItem, Facts, Proof, Subject, due_list, overdue_count
from app.domain.roomlog.kinds.duties import DutyDone, DutySet
from app.domain.things import fold

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
ZONE = ZoneInfo("America/New_York")
BEGAN = NOW - timedelta(days=100)
ROOM = Subject("", "", BEGAN)
TANK = Subject("t1", "Alder", BEGAN)
STATION = Subject("s1", "Lamp House 1", BEGAN)
OF = {"tank": "t1", "station": "s1"}


def days_ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


def done(duty: str, days: float, of: str = "", outcome: str = "in_order") -> DutyDone:
    note = "Fan noisy" if outcome == "fault" else ""
    return DutyDone(at=days_ago(days), duty=duty, of=of, outcome=outcome, by="Wren", note=note)


def listed(*entries: DutyDone | DutySet, **more: object) -> dict[tuple[str, str], DueItem]:
    books: dict[str, list[DutyDone | DutySet]] = {}
    for entry in entries:
        books.setdefault(entry.duty, []).append(entry)
    states: list[DutyState] = [fold(DUTY_BOOK, key, book) for key, book in books.items()]
    subjects = {"room": (ROOM,), "tank": (TANK,), "station": (STATION,)}
    facts = Facts(**{"subjects": subjects, **more})  # type: ignore[arg-type]
    items = due_list(in_force(states), states, facts, NOW, ZONE)
    return {(item.duty.key, item.subject.key): item for item in items}


def test_a_duty_never_done_is_overdue_since_its_subject_came_into_use() -> None:
    item = listed()["interlock", "s1"]
    assert (item.group, item.last) == ("overdue", None)
    assert item.due_on == BEGAN.date()


def test_a_duty_falls_due_after_its_interval_and_is_overdue_after_its_grace() -> None:
    groups = [listed(done("hood_look", days))["hood_look", ""].group for days in (1, 7, 9, 10)]
    assert groups == ["week", "today", "today", "overdue"]  # every 7 days, grace 2


def test_what_is_far_off_stands_under_later() -> None:
    assert listed(done("hood_measured", 1))["hood_measured", ""].group == "later"


def test_the_weekly_look_at_a_drum_has_no_grace() -> None:
    # 40 CFR 262.16(b)(2)(iv): at least weekly.
    duty = CATALOGUE["drum_check"]
    assert (duty.every_days, duty.grace_days) == (7, 0)
    assert "262.16" in duty.source


def test_a_fault_is_due_again_on_the_day_it_was_found() -> None:
    item = listed(done("interlock", 1, outcome="fault"))["interlock", "s1"]
    assert item.has_fault
    assert item.group == "today"
    assert not listed(
        done("interlock", 1, outcome="fault"), done("interlock", 0, of="s1")
    )["interlock", "s1"].has_fault  # fmt: skip


def test_a_new_interlock_is_due_for_a_test_from_the_day_it_is_fitted() -> None:
    new = replace(STATION, renewed_at=days_ago(1))
    subjects = {"room": (ROOM,), "tank": (TANK,), "station": (new,)}
    due = {
        tested: listed(done("interlock", tested, of="s1"), subjects=subjects)["interlock", "s1"]
        for tested in (2, 0.5)
    }
    assert (due[2].due_on, due[2].group) == (days_ago(1).astimezone(ZONE).date(), "today")
    assert due[0.5].group == "week"


def test_what_is_new_in_the_room_makes_its_check_due_from_that_day() -> None:
    renewed = {"instrument": days_ago(1)}
    due = {
        checked: listed(done("instrument", checked), renewed=renewed)["instrument", ""]
        for checked in (2, 0.5)
    }
    assert (due[2].due_on, due[2].group) == (days_ago(1).astimezone(ZONE).date(), "today")
    assert due[0.5].group == "week"
    assert listed(done("eyewash", 2), renewed=renewed)["eyewash", ""].group == "week"


def test_a_reading_in_the_log_does_the_duty_by_itself() -> None:
    item = listed(proofs={("reading", "t1"): Proof(days_ago(1), "Dunlin")})["reading", "t1"]
    assert item.last is not None
    assert (item.group, item.last.by) == ("week", "Dunlin")


def test_the_later_of_word_and_proof_counts() -> None:
    proofs = {("reading", "t1"): Proof(days_ago(20), "Dunlin")}
    item = listed(done("reading", 2, of="t1"), proofs=proofs)["reading", "t1"]
    assert item.due_on == (days_ago(2) + timedelta(days=7)).date()


def test_a_month_is_closed_from_its_first_day_on() -> None:
    def due_on(at: datetime) -> date:
        proofs = {("month_close", "t1"): Proof(at)}
        return listed(proofs=proofs)["month_close", "t1"].due_on

    assert due_on(datetime(2026, 2, 2, 15, tzinfo=UTC)) == date(2026, 3, 1)
    assert due_on(datetime(2026, 2, 28, 15, tzinfo=UTC)) == date(2026, 3, 1)
    assert due_on(datetime(2025, 12, 31, 15, tzinfo=UTC)) == date(2026, 1, 1)
    # 3 March 03:00 UTC is 2 March 22:00 in the room.
    assert due_on(datetime(2026, 4, 1, 3, tzinfo=UTC)) == date(2026, 4, 1)


def test_days_are_those_of_the_room() -> None:
    late_evening = datetime(2026, 2, 24, 4, 0, tzinfo=UTC)  # the 23rd, 23:00 in the room
    item = listed(DutyDone(at=late_evening, duty="hood_look", outcome="in_order"))["hood_look", ""]
    assert item.due_on == date(2026, 3, 2)


def test_the_site_sets_intervals_adds_its_own_and_stops_some() -> None:
    items = listed(
        DutySet(at=BEGAN, duty="interlock", every_days=1, grace_days=0),
        done("interlock", 2),
        DutySet(
            at=BEGAN, duty="gloves", name="Glove stock", subject="room", every_days=14,
            how="Count the boxes.",
        ),
        DutySet(at=BEGAN, duty="eyewash", is_stopped=True, reason="Plumbed unit, landlord's"),
    )  # fmt: skip
    assert items["interlock", "s1"].group == "overdue"
    assert items["interlock", "s1"].duty.source == "set by the site"
    assert items["gloves", ""].duty.name == "Glove stock"
    assert ("eyewash", "") not in items


def test_a_duty_is_not_stopped_without_a_word() -> None:
    assert DutySet(at=NOW, duty="eyewash", is_stopped=True).problems()
    assert not DutySet(at=NOW, duty="eyewash", is_stopped=True, reason="None here").problems()


def test_a_fault_needs_its_word_and_a_known_sample_both_figures() -> None:
    assert DutyDone(at=NOW, duty="interlock", outcome="fault").problems()[0].field == "note"
    half = DutyDone(at=NOW, duty="instrument", outcome="in_order", expected=0.7856)
    assert half.problems()[0].field == "shown"


def test_the_longest_overdue_stands_first() -> None:
    items = list(listed(done("interlock", 30), done("hood_look", 12)).values())
    ranks = [GROUPS.index(item.group) for item in items]
    assert ranks == sorted(ranks)
    overdue = [item.due_on for item in items if item.group == "overdue"]
    assert overdue == sorted(overdue)
    assert overdue_count(items) == len(overdue)


@given(st.lists(st.tuples(st.sampled_from(sorted(CATALOGUE)), st.floats(0, 400)), max_size=12))
def test_nothing_that_is_overdue_hides(history: list[tuple[str, float]]) -> None:
    entries = [done(duty, days, OF.get(CATALOGUE[duty].subject, ""))
               for duty, days in sorted(history, key=lambda item: -item[1])]  # fmt: skip
    items = listed(*entries)
    expected = {(key, OF.get(duty.subject, "")) for key, duty in CATALOGUE.items()
                if duty.subject in ("room", *OF)}  # fmt: skip
    assert set(items) == expected
    for item in items.values():
        assert (item.group == "overdue") == (item.days_over > item.duty.grace_days)


def test_a_test_of_all_guards_in_an_older_log_counts_for_each_until_its_own() -> None:
    items = listed(done("interlock", 1))
    assert [items[key].group for key in (("interlock", "s1"), ("cover", "t1"))] == ["week"] * 2
    own = listed(done("interlock", 1), done("cover", 0, of="t1", outcome="fault"))
    assert own["cover", "t1"].has_fault
    assert not own["interlock", "s1"].has_fault


def test_a_cover_never_tested_counts_from_when_the_room_is_kept_here() -> None:
    assert listed()["cover", "t1"].group == "overdue"
    assert listed(began_at=days_ago(1))["cover", "t1"].group == "today"

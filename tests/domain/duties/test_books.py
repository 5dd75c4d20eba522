"""What entries leave of a duty: the site's own settings, the last time, closes of months."""

from datetime import UTC, datetime, timedelta

from app.domain.duties.book import CLOSE_BOOK, DUTY_BOOK, SPEEDS_KEPT, CloseState, DutyState
from app.domain.duties.catalogue import CATALOGUE, Duty, in_force
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.duties import DutyDone, DutySet, MonthClose
from app.domain.things import fold

AT = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
MONTHLY = next(one for one in CATALOGUE.values() if one.is_monthly)


def state(*entries: Entry, key: str = "eyewash") -> DutyState:
    found: DutyState = fold(DUTY_BOOK, key, entries)
    return found


def duty(*entries: Entry, key: str = "eyewash") -> Duty:
    return in_force([state(*entries, key=key)])[key]


def test_a_duty_done_keeps_all_that_was_said_of_it() -> None:
    done = state(DutyDone(
        at=AT, id="d1", duty="eyewash", of="t1", outcome="fault", by="Wren", note="Cap gone",
        expected=4.0, shown=4.2, speed_m_s=0.4,
    )).last("t1")  # fmt: skip
    assert done is not None
    assert (done.of, done.at, done.by, done.is_fault, done.note) == (
        "t1", AT, "Wren", True, "Cap gone",
    )  # fmt: skip
    assert (done.entry, done.expected, done.shown, done.speed_m_s) == ("d1", 4.0, 4.2, 0.4)


def test_of_each_subject_the_last_time_is_kept() -> None:
    def of(tank: str, hours: float) -> DutyDone:
        at = AT + timedelta(hours=hours)
        return DutyDone(at=at, duty="eyewash", of=tank, outcome="in_order", by="Wren")

    found = state(of("t1", 0), of("t2", 1), of("t1", 2))
    assert {one.of: one.at for one in found.done} == {
        "t1": AT + timedelta(hours=2), "t2": AT + timedelta(hours=1),
    }  # fmt: skip


def test_air_speeds_are_kept_the_latest_of_them_oldest_first() -> None:
    def measured(n: int, speed_m_s: float | None) -> DutyDone:
        at = AT + timedelta(hours=n)
        return DutyDone(
            at=at, duty="air", outcome="in_order", by="Wren", speed_m_s=speed_m_s
        )  # fmt: skip

    assert state(measured(0, None), key="air").speeds == ()
    many = [measured(n, 0.1 * (n + 1)) for n in range(SPEEDS_KEPT + 2)]
    speeds = state(*many, measured(99, None), key="air").speeds
    assert speeds == tuple((one.at, one.speed_m_s) for one in many[-SPEEDS_KEPT:])


def test_a_stopped_duty_says_why_and_one_taken_up_again_does_not() -> None:
    stop = DutySet(at=AT, duty="eyewash", is_stopped=True, reason="None here", by="Ada")
    again = DutySet(at=AT + timedelta(days=1), duty="eyewash", by="Ada")
    assert (state(stop).is_stopped, state(stop).reason) == (True, "None here")
    assert (duty(stop).is_stopped, duty(stop).stop_reason) == (True, "None here")
    found = state(stop, again)
    assert (found.is_stopped, found.reason, found.set_at) == (False, "", AT)


def test_what_the_site_sets_stands_in_place_of_the_built_in_and_the_rest_stays() -> None:
    built_in = CATALOGUE["eyewash"]
    named = duty(DutySet(at=AT, duty="eyewash", name="Eyes", by="Ada"))
    assert (named.name, named.how) == ("Eyes", built_in.how)
    assert (named.every_days, named.source, named.is_set) == (
        built_in.every_days, built_in.source, False,
    )  # fmt: skip
    often = duty(DutySet(at=AT, duty="eyewash", every_days=3, how="Both eyes", by="Ada"))
    assert (often.every_days, often.source, often.is_set) == (3, "set by the site", True)
    assert (often.name, often.how) == (built_in.name, "Both eyes")
    assert often.grace_days == built_in.grace_days
    assert duty(DutySet(at=AT, duty="eyewash", grace_days=0, by="Ada")).grace_days == 0


def test_a_monthly_duty_stays_monthly_until_the_site_counts_days() -> None:
    key = MONTHLY.key
    assert duty(DutySet(at=AT, duty=key, name="Close", by="Ada"), key=key).is_monthly
    assert not duty(DutySet(at=AT, duty=key, every_days=20, by="Ada"), key=key).is_monthly
    assert not duty(DutySet(at=AT, duty="eyewash", name="Eyes", by="Ada")).is_monthly


def test_a_duty_of_the_sites_own_is_as_it_was_set() -> None:
    for word, subject in [
        ("tank", "tank"), ("drum", "drum"), ("station", "station"), ("person", "person"),
        ("room", "room"), (None, "room"),
    ]:  # fmt: skip
        one = duty(DutySet(
            at=AT, duty="sieve", name="Sieve", subject=word, every_days=9, how="Rinse", by="Ada",
        ), key="sieve")  # fmt: skip
        assert one == Duty(
            "sieve", "Sieve", subject, 9, "Rinse", source="set by the site", is_own=True,  # type: ignore[arg-type]
        )  # fmt: skip
    stopped = duty(DutySet(
        at=AT, duty="sieve", every_days=9, grace_days=4, is_stopped=True, reason="Gone", by="Ada",
    ), key="sieve")  # fmt: skip
    assert (stopped.name, stopped.grace_days) == ("sieve", 4)
    assert (stopped.is_stopped, stopped.stop_reason) == (True, "Gone")


def test_a_month_is_closed_with_what_was_said() -> None:
    first = MonthClose(at=AT, tank="t1", is_at_line=True, by="Wren")
    empty: CloseState = fold(CLOSE_BOOK, "t1", [first])
    assert empty.last is not None
    assert (empty.last.at, empty.last.by) == (AT, "Wren")
    assert (empty.last.removed_l, empty.last.solids_l) == (0.0, 0.0)

"""A log replayed as the live program would have seen it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.baths.backtest import (
    Replay,
    Report,
    backtest,
    gaps,
    to_json,
)
from app.domain.roomlog.kinds import Entry, PlannedWash, TankChange, Withdrawal
from tests.domain.baths.rooms import (
    DAY,
    START,
    filter_of,
    residue,
    set_up,
    steady_washes,
    swap,
    wash,
)
from tests.judge.families import FAMILIES
from tests.judge.simulator import simulate


def a_log() -> list[Entry]:
    return [*set_up("alder", "birch"), *steady_washes(9), residue(5.6, 3.0), swap(7.2)]


def belief_numbers(report: Report) -> tuple[float, float, float]:
    return report.mean_percent, report.p05_percent, report.p95_percent


def test_reports_come_after_readings_and_swaps_and_at_each_midnight() -> None:
    reports = list(backtest(a_log()))
    midnights = [r for r in reports if r.at.hour == 0 and r.at.minute == 0]
    others = [(r.at, r.tank) for r in reports if r not in midnights]
    assert len(midnights) == 2 * 8  # the 3rd to the 10th, both tanks
    assert others == [(START + 5.6 * DAY, "alder"), (START + 7.2 * DAY, "alder")]
    assert [r.at for r in reports] == sorted(r.at for r in reports)


def test_midnights_are_the_rooms_own() -> None:
    reports = list(backtest(a_log(), zone=ZoneInfo("Asia/Kolkata")))
    assert reports[0].at == datetime(2026, 3, 2, 18, 30, tzinfo=UTC)


def test_reports_at_given_instants_cover_every_tank() -> None:
    at = [START + 4 * DAY, START + 2 * DAY]
    reports = list(backtest(a_log(), at=at))
    assert [(r.at, r.tank) for r in reports] == [
        (START + days * DAY, tank) for days in (2, 4) for tank in ("alder", "birch")
    ]


def test_a_report_holds_what_its_instant_knew_itself_included() -> None:
    log = a_log()
    report = next(r for r in backtest(log) if r.at == START + 5.6 * DAY)
    belief = filter_of(e for e in log if e.at <= report.at).belief("alder", report.at)
    assert belief_numbers(report) == (
        belief.mean_percent,
        belief.p05_percent,
        belief.p95_percent,
    )


def test_a_line_of_json_has_the_shape_of_the_format() -> None:
    line = to_json(next(iter(backtest(a_log()))))
    assert set(line) == {
        "at", "tank", "saturation_percent", "crossing", "limit_percent", "flags",
    }  # fmt: skip
    assert set(line["saturation_percent"]) == {"mean", "p05", "p95"}
    assert set(line["crossing"]) == {"p10", "p50", "p90"}
    assert line["at"] == "2026-03-03T00:00:00+00:00"
    assert line["limit_percent"] == 10.0


def test_nothing_of_later_lines_is_known() -> None:
    room = simulate(FAMILIES[0], seed=3, days=70)
    log = list(room.entries)
    whole = list(backtest(log))
    cut_at = START.replace(month=1, day=5) + 25 * DAY
    known = [entry for entry in log if entry.known_at <= cut_at]
    early = [report for report in whole if report.at <= known[-1].known_at]
    assert len(early) > 20
    assert list(backtest(known))[: len(early)] == early


def test_a_late_entry_counts_from_when_it_was_entered_and_then_from_when_it_happened() -> None:
    late = replace(wash(2.9, area_cm2=9000.0), entered_at=START + 5.5 * DAY)
    with_late, without = ([*a_log(), late], a_log())
    before, after = [START + 5 * DAY], [START + 6 * DAY]
    assert list(backtest(with_late, before)) == list(backtest(without, before))
    found = next(iter(backtest(with_late, after)))
    on_time = [e for e in [*without, replace(late, entered_at=None)] if e.at <= after[0]]
    expected = filter_of(on_time).belief("alder", after[0])
    assert belief_numbers(found)[0] == expected.mean_percent


def test_corrections_and_withdrawals_count_from_when_they_are_known() -> None:
    slip = residue(3.6, 12.0, id="slip")
    corrected = residue(3.6, 1.2, id="right", corrects="slip", entered_at=START + 4.5 * DAY)
    stray = wash(1.7, area_cm2=30_000.0)
    withdrawal = Withdrawal(at=START + 6.5 * DAY, id="gone", withdraws=stray.id)
    log = [*a_log(), slip, corrected, stray, withdrawal]

    def mean(days: float, entries: list[Entry]) -> float:
        return next(iter(backtest(entries, [START + days * DAY]))).mean_percent

    assert mean(4.2, log) == mean(4.2, [*a_log(), slip, stray])
    right = replace(corrected, corrects="", entered_at=None)
    assert mean(5.0, log) == mean(5.0, [*a_log(), right, stray])
    assert mean(7.0, log) == mean(7.0, [*a_log(), right])


def test_plans_known_from_the_start_are_taken_in_before_everything() -> None:
    plan = PlannedWash(at=START + 20 * DAY, id="p", plan="p", tank="alder", resin="slate", parts=5)
    reports = list(backtest([*a_log(), plan]))
    assert reports[-1].at <= START + 9 * DAY


def test_a_tank_out_of_use_is_no_longer_reported_on() -> None:
    retired = TankChange(at=START + 4.5 * DAY, id="out", tank="birch", is_retired=True)
    reports = list(backtest([*a_log(), retired]))
    assert max(r.at for r in reports if r.tank == "birch") == START + 4 * DAY


def test_an_empty_log_has_no_reports() -> None:
    assert list(backtest([])) == []


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 80), st.integers(0, 60)), min_size=1, max_size=12))
def test_however_late_entries_come_the_end_is_that_of_the_right_order(
    lates: list[tuple[int, int]],
) -> None:
    late: list[Entry] = [
        replace(
            wash(tenth / 10 + 0.013, area_cm2=500.0 + number),
            id=f"late{number}",
            entered_at=START + (tenth / 10 + delay / 10) * DAY + timedelta(minutes=30),
        )
        for number, (tenth, delay) in enumerate(lates)
    ]
    log = [*a_log(), *late]
    end = START + 20 * DAY
    replay = Replay(log)
    for day in range(1, 21):
        room = replay.advance(START + day * DAY)
    in_order = filter_of(log)
    assert room.belief("alder", end) == in_order.belief("alder", end)
    assert room.to_bytes() == in_order.to_bytes()


def test_midnights_end_two_weeks_after_an_entry_and_go_on_with_the_next() -> None:
    log = [*a_log(), wash(60.4), wash(61.4)]
    end = max(entry.at for entry in a_log())
    midnights = sorted({r.at for r in backtest(log) if r.at.hour == r.at.minute == 0})
    assert (
        max(at for at in midnights if at < START + 30 * DAY)
        == end + 14 * DAY - (end + 14 * DAY - START) % DAY
    )
    assert [at for at in midnights if at > START + 30 * DAY] == [START + 61 * DAY]
    (gap,) = gaps(log)
    assert (gap.from_at, gap.to_at) == (end, START + 60.4 * DAY)
    assert len(midnights) + gap.midnights == 61


def test_a_log_over_centuries_is_reported_on_where_there_are_entries() -> None:
    far = replace(wash(9.4), at=datetime(2199, 5, 2, 8, tzinfo=UTC), id="far")
    reports = list(backtest([*a_log(), far], zone=ZoneInfo("Asia/Kolkata")))
    assert len(reports) < 100
    (gap,) = gaps([*a_log(), far], ZoneInfo("Asia/Kolkata"))
    assert 365 * 173 < gap.midnights < 366 * 174


def test_a_log_without_long_pauses_has_no_gaps() -> None:
    assert gaps(a_log()) == []
    assert gaps([]) == []

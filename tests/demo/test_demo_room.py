"""The made-up room: its log is what its script makes, and its story comes out of the estimator."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import Session, select

from app.domain.roomlog.calendar import moved, working_day, working_days_before
from app.domain.roomlog.kinds import PlannedWash, TopUp
from app.services.demo import LAST_DAY, LOG, ROOM, history, is_loaded
from app.store.engine import Store
from app.store.queries import Board, board
from app.store.tables import EntryRow, RoomRow
from demo_data.make_log import make_lines
from demo_data.story import LAST_DAY as STORY_LAST_DAY
from demo_data.story import TANKS
from tests.furnished import fill_with_demo, new_store

DUBLIN = ZoneInfo("Europe/Dublin")


@pytest.mark.nightly
def test_the_log_is_what_its_script_makes() -> None:
    assert LOG.read_text(encoding="utf-8").splitlines() == make_lines()


def test_the_last_day_is_the_storys() -> None:
    assert LAST_DAY.isoformat() == STORY_LAST_DAY


def loaded(folder: Path, now: datetime) -> Store:
    store = new_store(folder)
    fill_with_demo(store, now)
    return store


def room_page(store: Store, now: datetime) -> Board:
    with Session(store.reader) as session:
        room = session.exec(select(RoomRow)).one()
        assert room.id is not None
        return board(session, room.id, now)


@pytest.fixture(
    scope="module",
    params=[
        "2026-03-04 15:00",
        *(
            pytest.param(at, marks=pytest.mark.nightly)
            for at in ("2026-06-05 04:30", "2026-11-29 10:00")
        ),
        "2027-01-04 22:30",
    ],
)
def told(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Board, datetime]]:
    """The room page of the demo, loaded on a Wednesday, a Friday, a Sunday and a Monday."""
    now = datetime.fromisoformat(request.param).replace(tzinfo=DUBLIN).astimezone(UTC)
    store = loaded(tmp_path_factory.mktemp("demo"), now)
    yield room_page(store, now), now
    store.close()


@pytest.mark.slow
@pytest.mark.parametrize(
    "tank, low, high",
    [("alder", 8.3, 9.1), ("cedar", 4.5, 5.5), ("dogwood", 0.4, 0.8), ("elder", 2.4, 3.6)],
)
def test_each_bath_is_as_loaded_as_the_story_says(
    told: tuple[Board, datetime], tank: str, low: float, high: float
) -> None:
    view = told[0].tank(tank)
    assert view is not None
    assert low < view.mean_percent < high


@pytest.mark.slow
def test_the_estimates_hold_the_truth_of_the_story(told: tuple[Board, datetime]) -> None:
    """How loaded a bath truly is at the end is known here, as in no real room."""
    page, _ = told
    for tank in TANKS:
        view = page.tank(str(tank.line["tank"]))
        assert view is not None
        slack = 0.35  # the day may have only begun
        assert view.p05_percent - slack < tank.fills[-1].end_percent < view.p95_percent + slack


@pytest.mark.slow
def test_what_needs_a_person_shows(told: tuple[Board, datetime]) -> None:
    page, now = told
    views = {view.key: view for view in page.tanks}
    alder, birch, cedar, elder, fir = (
        views[key] for key in ("alder", "birch", "cedar", "elder", "fir")
    )
    assert alder.limit_p50_at is not None
    assert timedelta(days=3) < alder.limit_p50_at - now < timedelta(days=12)
    assert birch.limit_is_passed
    assert birch.limit_passed_at is not None
    passed_on = birch.limit_passed_at.astimezone(DUBLIN).date()
    today = working_days_before(now.astimezone(DUBLIN).date())
    assert working_days_before(passed_on) == today - 1
    assert "sensor_drifting" in cedar.flags
    assert cedar.pair == "dogwood"
    assert fir.swap_started_at is not None
    assert elder.limit_p50_at is None or elder.limit_p50_at - now > timedelta(days=90)
    assert all("sensor_drifting" not in view.flags for view in page.tanks if view.key != "cedar")


@pytest.mark.slow
def test_the_whole_log_is_loaded_once_and_nothing_of_it_is_lost(tmp_path: Path) -> None:
    now = datetime(2026, 3, 4, 23, 30, tzinfo=DUBLIN).astimezone(UTC)
    store = loaded(tmp_path, now)
    assert is_loaded(store)
    with Session(store.reader) as session:
        count = len(session.exec(select(EntryRow.id)).all())
    later_plans = [e for e in history(now + timedelta(days=9)) if isinstance(e, PlannedWash)]
    assert count == len(LOG.read_text().splitlines())
    assert later_plans
    store.close()


def test_a_new_database_has_no_demo(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    assert not is_loaded(store)
    store.close()


days = st.dates(date(2020, 1, 1), date(2035, 1, 1))


@given(days)
def test_working_days_are_numbered_without_sundays(day: date) -> None:
    found = working_day(working_days_before(day))
    assert found.weekday() != 6
    assert found == (day if day.weekday() != 6 else day - timedelta(days=1))


@given(days, days, st.integers(0, 150), st.integers(7, 21))
def test_moved_entries_keep_their_hour_and_their_distance_in_working_days(
    from_day: date, to_day: date, back: int, hour: int
) -> None:
    day = working_day(working_days_before(from_day) - back)
    at = datetime(day.year, day.month, day.day, hour, tzinfo=DUBLIN).astimezone(UTC)
    found = moved(TopUp(at=at, tank="t1", volume_l=1.0), from_day, to_day, DUBLIN).at
    local = found.astimezone(DUBLIN)
    assert local.hour == hour
    assert working_days_before(to_day) - working_days_before(local.date()) == back


def test_the_history_ends_now() -> None:
    now = datetime(2026, 11, 25, 13, 0, tzinfo=UTC)
    entries = history(now)
    assert max(e.known_at for e in entries) <= now
    done = max(e.at for e in entries if not isinstance(e, PlannedWash))
    assert now - done < timedelta(hours=2)
    assert any(isinstance(e, PlannedWash) and e.at > now for e in entries)
    assert ROOM.time_zone == "Europe/Dublin"

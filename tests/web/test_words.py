"""What is said of a tank, in words."""

import inspect
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.domain.baths.estimator import results
from app.services.carried import FLASH_LOWERED
from app.services.incidents.doubts import WRONG_SOLVENT
from app.store.queries import TankView
from app.web import words
from tests.factories import NOW
from tests.web.views import queued, tank_view

CHICAGO = ZoneInfo("America/Chicago")
View = Callable[..., TankView]


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> TankView:
    return tank_view(tmp_path_factory.mktemp("words"))


@pytest.fixture
def view(plain: TankView) -> View:
    """A function that gives a tank with the named things to say of it."""
    return lambda **more: replace(plain, **more)


@pytest.mark.parametrize(
    "more, state",
    [
        ({}, "ok"),
        ({"swap": queued("soon", 1)}, "soon"),
        ({"swap": queued("swap_now", -1)}, "over"),
        ({"swap": queued("stop_washing", -1)}, "stop"),
        ({"swap": queued("swapping", -1)}, "swapping"),
        ({"swap": queued("unknown", None)}, "unknown"),
        ({"needs_reading": True}, "measure"),
        ({"needs_reading": True, "swap": queued("soon", 1)}, "measure"),
        ({"needs_reading": True, "swap": queued("swap_now", -1)}, "over"),
        ({"flags": ("water_suspected",), "needs_reading": True}, "check"),
        ({"flags": ("water_suspected",), "swap": queued("stop_washing", -1)}, "stop"),
        ({"flags": ("apparent",)}, "ok"),
    ],
)
def test_the_most_pressing_state_is_the_one_shown(
    view: View, more: dict[str, Any], state: str
) -> None:
    assert words.state_of(view(**more)) == state


def test_what_tells_resin_from_water_is_what_the_solvent_allows(view: View) -> None:
    told = words.flag_text("apparent", view(flags=("apparent",)))
    assert told == words.FLAGS["apparent"]
    slow = view(flags=("apparent",), solvent="tripropylene_glycol_methyl_ether")
    assert "residue" not in words.flag_text("apparent", slow)
    assert words.flag_text("past_limit", slow) == words.FLAGS["past_limit"]


@pytest.mark.parametrize(
    "days, figure, unit",
    [(0.04, "0.0", "days"), (1.0, "1.0", "day"), (1.04, "1.0", "day"), (4.13, "4.1", "days"),
     (9.94, "9.9", "days"), (9.96, "10", "days"), (31.4, "31", "days")],
)  # fmt: skip
def test_days_left_are_as_exact_as_they_are_worth(
    view: View, days: float, figure: str, unit: str
) -> None:
    left = words.days_left(view(swap=queued("later", days)), NOW, UTC)
    assert (left.figure, left.unit) == (figure, unit)


def test_the_day_is_that_of_the_rooms_zone(view: View) -> None:
    """12:00 on Monday 2 March 2026 in UTC and 16 hours is Monday evening in Chicago (UTC-6)."""
    left = words.days_left(view(swap=queued("later", 16 / 24)), NOW, CHICAGO)
    assert left.when == "Mon 2 Mar"
    assert words.day(NOW + timedelta(hours=16), UTC) == "Tue 3 Mar"


def test_early_and_late_day_are_given_where_the_forecast_sets_the_day() -> None:
    early, late = NOW + timedelta(days=3), NOW + timedelta(days=6)
    swap = queued("later", 4, early_at=early, late_at=late)
    assert words.early_and_late(swap, UTC) == "Thu 5 Mar to Sun 8 Mar"
    assert words.span(swap, UTC) == "Fri 6 Mar (Thu 5 Mar to Sun 8 Mar)"
    assert words.early_and_late(queued("later", 4, early_at=early), UTC) == "Thu 5 Mar or later"
    assert words.span(queued("later", 4, ruler="life_days"), UTC) == "Fri 6 Mar"
    assert words.span(queued("unknown", None), UTC) == "beyond a year"


def test_a_bath_that_is_due_has_no_figure_but_since_when(view: View) -> None:
    left = words.days_left(view(swap=queued("swap_now", -1)), NOW, UTC)
    assert (left.figure, left.when) == ("Now", "since Sun 12:00")
    far = words.days_left(view(swap=queued("unknown", None, ruler="none")), NOW, UTC)
    assert f"{far.figure} {far.unit}" == "> 1 year"


@pytest.mark.parametrize(
    "more, said",
    [
        ({}, "Reaches 10 % by mass at the current rate"),
        ({"swap": queued("unknown", None, ruler="none")}, "10 % by mass is more than a year away"),
        ({"swap": queued("swap_now", -1)}, "Past 10 % by mass, its first limit"),
        ({"swap": queued("stop_washing", -1, ruler="stop")}, "where washing stops"),
        (
            {"swap": queued("later", 3, ruler="life_days"), "life_days": 28.0},
            "Reaches its life of 28 days since the fill",
        ),
        (
            {"swap": queued("swap_now", -3, ruler="life_washes"), "life_washes": 90},
            "Past its life of 90 washes since the fill",
        ),
        ({"limit_entered": 80.0, "limit_basis": "g_per_l"}, "Reaches 80 g/L"),
    ],
)
def test_the_reason_names_what_rules(view: View, more: dict[str, Any], said: str) -> None:
    assert said in words.reason(view(**more), NOW, UTC)


def test_what_needs_a_person_leads_to_where_it_is_done(view: View) -> None:
    assert words.needs(view()) == []
    [swap] = words.needs(view(swap=queued("swap_now", -1)))
    assert swap.path == "swap"
    doubted = words.needs(view(flags=("reading_disagrees",), needs_reading=True))
    assert [need.path for need in doubted] == ["log/reading", "log/reading"]


def test_every_flag_that_the_estimator_describes_has_its_words() -> None:
    described = inspect.getsource(results).partition("flags: any of ")[2].partition(".")[0]
    flags = set(re.findall(r"\w+", described))
    assert "water_suspected" in flags
    of_the_log = {WRONG_SOLVENT, FLASH_LOWERED}  # the estimator cannot know of them
    assert flags | of_the_log == set(words.FLAGS)
    assert set(words.DOUBTS) <= flags | of_the_log


@pytest.mark.parametrize(
    "states, said",
    [
        ([], "No tank yet"),
        (["ok"], "All baths below their limit"),
        (["ok", "unknown"], "All baths below their limit"),
        (["over", "stop", "ok"], "2 over the limit"),
        (["soon", "check", "measure"], "1 due within 2 days, 2 to check"),
        (["swapping", "over"], "1 over the limit, 1 being swapped"),
        (["held", "ok"], "1 held"),
    ],
)
def test_the_room_in_one_sentence(states: list[words.State], said: str) -> None:
    assert words.verdict(states) == said


@pytest.mark.parametrize(
    "hours, said",
    [(1, "11:00"), (13, "Sun 23:00"), (24 * 5, "Wed 12:00"), (24 * 40, "Wed 21 Jan 12:00")],
)
def test_a_moment_is_said_as_shortly_as_it_is_clear(hours: float, said: str) -> None:
    assert words.moment(NOW - timedelta(hours=hours), NOW, UTC) == said


@pytest.mark.parametrize(
    "minutes, said",
    [
        (0, "just now"),
        (5, "5 min ago"),
        (119, "119 min ago"),
        (180, "3 h ago"),
        (4320, "3 days ago"),
    ],
)
def test_how_long_ago(minutes: float, said: str) -> None:
    assert words.ago(NOW - timedelta(minutes=minutes), NOW) == said
    assert words.ago(None, NOW) == "never"


def test_the_tests_instant_is_the_one_the_texts_above_assume() -> None:
    assert datetime(2026, 3, 2, 12, tzinfo=UTC) == NOW
    assert f"{NOW:%A}" == "Monday"


@pytest.mark.parametrize("of_readings", ["sensor_drifting", "reading_disagrees", "swap_missing"])
def test_a_wrong_solvent_comes_before_what_the_readings_ask(view: View, of_readings: str) -> None:
    """No density shows what such a bath holds, so no reading of it is asked for."""
    tank = view(flags=(of_readings, "water_suspected", WRONG_SOLVENT))
    assert words.act_of(tank, words.state_of(tank)) == "Swap the bath"
    assert [need.text for need in words.needs(tank)] == [words.DOUBTS[WRONG_SOLVENT]]


@pytest.mark.parametrize(
    "needy, problems, said",
    [
        ([], 0, "All calm"),
        ([], 1, "1 open problem"),
        (["over"], 2, "2 open problems, 1 tank needs you"),
    ],
)
def test_no_room_with_an_open_problem_is_calm(
    needy: list[words.State], problems: int, said: str
) -> None:
    assert words.headline(needy, 3, 0, problems) == said
    first = "1 open problem" if problems == 1 else f"{problems} open problems"
    assert words.verdict(needy, 0, problems).startswith(first) == bool(problems)

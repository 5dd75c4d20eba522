"""Past estimates and forecasts held against what came; expected values worked out by hand."""

from datetime import UTC, datetime, timedelta

import pytest

from app.domain.baths.backtest import Report, backtest
from app.domain.baths.forecast import Crossing
from app.domain.baths.scores import in_words, score
from app.domain.roomlog.kinds import Entry, Reading, Tank, Wash

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
PASSING = 20.0  # days after the start


def after(days: float) -> datetime:
    return START + timedelta(days=days)


def tank() -> Tank:
    return Tank(
        at=START, tank="t1", name="One", capacity_l=40, min_l=30, solvent="isopropanol",
        fresh_purity_percent=99, limit_percent=10, saturation_percent=9,
    )  # fmt: skip


def flood() -> Wash:
    """A wash that carries the bath over its limit, whatever else is believed."""
    return Wash(at=after(PASSING), tank="t1", resin="slate", area_cm2=60_000)


def residue(days: float, percent: float) -> Reading:
    values = {"sample_g": 5.0, "residue_g": 5.0 * percent / 100}
    return Reading(at=after(days), tank="t1", method="residue", values=values)


def report(
    days: float, mean: float = 9.0, band: float = 0.4, crossing: tuple[float, ...] = ()
) -> Report:
    instants = [after(day) for day in crossing] or [None, None, None]
    forecast = Crossing(*instants, False, 0.5)
    return Report(after(days), "t1", mean, mean - band, mean + band, forecast, 10.0, ())


def test_a_reading_is_held_against_the_last_report_before_it() -> None:
    reports = [report(1, 8.0), report(2, 8.8), report(3, 9.9)]
    (miss,) = score([tank(), residue(2.5, 9.2)], reports).misses["residue"]
    assert miss.difference_percent == pytest.approx(0.4, abs=0.05)
    assert 0 < miss.in_sd < 2


def test_a_report_at_the_instant_of_the_reading_knows_it_and_does_not_count() -> None:
    assert score([tank(), residue(2, 9.2)], [report(2)]).misses == {}


def test_an_old_report_does_not_count() -> None:
    assert score([tank(), residue(9, 9.2)], [report(2)]).misses == {}


@pytest.mark.parametrize(
    "crossing, error, is_inside",
    [
        ((18, 22, 30), 2.0, True),
        ((12, 15, 19), -5.0, False),
        ((21, 25, 30), 5.0, False),
    ],
)
def test_a_forecast_is_held_against_the_passing_that_came(
    crossing: tuple[float, ...], error: float, is_inside: bool
) -> None:
    scores = score([tank(), flood()], [report(10, crossing=crossing)])
    (hit,) = scores.hits
    assert scores.passings == 1
    assert hit.lead_days == pytest.approx(10)
    assert hit.error_days == pytest.approx(error)
    assert hit.is_inside is is_inside


def test_a_forecast_beyond_a_year_missed_a_passing_that_came() -> None:
    (hit,) = score([tank(), flood()], [report(10)]).hits
    assert hit.error_days is None
    assert not hit.is_inside


def test_a_bath_past_its_limit_forecasts_nothing() -> None:
    assert score([tank(), flood()], [report(10, mean=10.5)]).hits == []


def test_a_whole_replay_is_put_into_words() -> None:
    entries: list[Entry] = [tank(), residue(3, 9.1), residue(6, 9.2), flood(), residue(21, 12.0)]
    text = in_words(score(entries, backtest(entries)))
    assert "residue" in text
    assert "first limit (1)" in text


def test_with_nothing_to_judge_by_it_says_so() -> None:
    assert "nothing to judge them by" in in_words(score([tank()], []))

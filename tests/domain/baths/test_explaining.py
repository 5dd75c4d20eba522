"""What may lie behind readings, in words, and the entry that would put it right."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.estimator import Explanation, Sight
from app.domain.baths.explaining import ACTS, Beside, Said, probable_swap_at, said
from app.domain.baths.instrument_words import bias_sentence
from app.domain.roomlog.kinds import EXPLANATIONS, KINDS

TUESDAY = datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
NAMES = {"alder": "Alder", "birch": "Birch", "cedar": "Cedar"}


def sights(*percent: float, channel: str = "residue", before: float = 9.1) -> tuple[Sight, ...]:
    return tuple(
        Sight(TUESDAY + timedelta(days=i), channel, shown, before, f"r{i}")
        for i, shown in enumerate(percent)
    )


def say(name: str, chance: float | None = 0.87, **more: Any) -> Said:
    beside = {"tank": "alder", "names": NAMES, "zone": UTC, **more.pop("beside", {})}
    told = Explanation(name, chance, TUESDAY, **more)
    return said(told, Beside(**beside))


def test_the_sentence_has_its_evidence_its_chance_and_what_to_do() -> None:
    told = say("swap_missing", readings=sights(3.4, 3.3, 3.5))
    assert told.sentence == (
        "Three residue tests since Tue 24 Nov agree on 3.4 %, but the log said 9.1 %: a swap was "
        "probably not logged (87 %)."
    )
    assert told.short == "A swap was probably not logged (87 %)."
    assert told.act.text == "Log the swap"


@pytest.mark.parametrize(
    "readings, words",
    [
        (sights(3.4), "The residue test of Tue 24 Nov shows 3.4 %, but the log says 9.1 %"),
        (sights(3.4, 5.2), "Two residue tests since Tue 24 Nov read 3.4 to 5.2 %"),
        (sights(3.4, 3.5, channel="hydrometer"), "Two hydrometer readings since Tue 24 Nov agree"),
        (sights(3.4) + sights(3.5, channel="sensor"), "Two readings since Tue 24 Nov agree"),
        (sights(*[3.4] * 9), "9 residue tests since"),
        ((), "The reading of the fresh solvent shows more than fresh solvent does"),
    ],
)
def test_the_evidence_is_counted_and_named(readings: tuple[Sight, ...], words: str) -> None:
    assert say("fill_not_fresh", readings=readings).sentence.startswith(words)


@pytest.mark.parametrize("chance, words", [(0.949, "probably"), (0.95, "almost surely")])
def test_how_sure_it_is_is_said_in_a_word_too(chance: float, words: str) -> None:
    assert words in say("washes_missing", chance, readings=sights(3.0)).sentence


def test_the_day_is_that_of_the_room() -> None:
    zone = ZoneInfo("Pacific/Auckland")
    late = say("slip", readings=(Sight(TUESDAY + timedelta(hours=6), "residue", 3, 9, "r"),),
               beside={"zone": zone})  # fmt: skip
    assert "Wed 25 Nov" in late.sentence


def test_every_explanation_has_words_and_an_act_that_the_log_knows() -> None:
    assert set(ACTS) == set(EXPLANATIONS)
    for name in EXPLANATIONS:
        told = say(name, None if name == "not_one_bath" else 0.9, readings=sights(2.0, 9.0),
                   other_tank="birch", entry="e1", factor=100.0, bias=(1.9, 0.2),
                   tanks=("alder", "birch"), beside={"stored": {"area_cm2": 58_000.0}})  # fmt: skip
        assert told.sentence.endswith(".")
        assert "{" not in told.sentence + told.short + told.act.text
        assert set(told.act.fields) - {"area_cm2"} <= {*KINDS[told.act.kind].specs(), "tank"}


def test_readings_of_two_baths_are_listed_with_what_to_do() -> None:
    told = say("not_one_bath", None, readings=sights(2.0, 9.1, 2.1, 9.0))
    assert told.sentence == (
        "These readings are not all from one bath: 2.0, 9.1, 2.1 and 9.0 % since Tue 24 Nov. "
        "Check which tank each one came from, then take one more from this tank."
    )


def test_a_bath_that_does_not_dry_is_not_sent_to_a_residue_test() -> None:
    told = say("not_one_bath", None, readings=sights(2.0, 9.0, channel="hydrometer"),
               beside={"dries": False})  # fmt: skip
    assert told.act.fields["method"] == "hydrometer"
    assert told.act.text == "Take another reading"


def test_a_bias_that_explains_several_tanks_is_named_with_them() -> None:
    told = say("instrument_off", 0.96, bias=(1.9, 0.18), tanks=("alder", "birch", "cedar"))
    assert told.sentence == (
        "The hydrometer reads 1.9 ± 0.3 % too high in Alder, Birch and Cedar: the instrument is "
        "almost surely off (96 %). The figures allow for it."
    )


def test_a_wash_with_noughts_too_many_is_corrected_to_what_was_meant() -> None:
    told = say("wrong_entry", factor=100.0, entry="w1",
               beside={"stored": {"resin": "kiln", "area_cm2": 58_000.0}})  # fmt: skip
    assert told.act.corrects == "w1"
    assert told.act.fields == {"resin": "kiln", "area_cm2": 580.0}
    assert "about 100 times as large" in told.sentence
    parts = say("wrong_entry", factor=100.0, entry="w1", beside={"stored": {"parts": 40}})
    assert parts.act.fields == {"parts": 1}


def test_a_reading_is_moved_with_all_that_it_says() -> None:
    told = say("wrong_tank", other_tank="birch", entry="r0", readings=sights(3.4),
               beside={"stored": {"tank": "alder", "method": "residue", "sample_g": 10.0},
                       "stored_at": TUESDAY})  # fmt: skip
    assert told.act.fields == {"tank": "birch", "method": "residue", "sample_g": 10.0}
    assert (told.act.corrects, told.act.at) == ("r0", TUESDAY)
    assert told.act.text == "Move it to Birch"


def test_a_top_up_fills_what_was_missing_between_the_readings() -> None:
    told = say("top_up_missing", readings=sights(3.4), to_mark_l=4.24,
               read_before_at=TUESDAY - timedelta(days=2))  # fmt: skip
    assert told.act.fields == {"tank": "alder", "volume_l": 4.2, "to_mark": True}
    assert told.act.at == TUESDAY - timedelta(days=1)


LOADS = [(TUESDAY + timedelta(hours=hour), 50.0) for hour in (1, 3, 5, 7)]


@pytest.mark.parametrize(
    "grams, hour", [(0.0, 7.5), (50.0, 6.0), (100.0, 4.0), (150.0, 2.0), (220.0, 0.5)]
)
def test_the_swap_came_before_the_washes_that_its_bath_holds(grams: float, hour: float) -> None:
    end = TUESDAY + timedelta(hours=8)
    assert probable_swap_at(TUESDAY, end, LOADS, grams) == TUESDAY + timedelta(hours=hour)


@given(
    grams=st.floats(0, 1000),
    length=st.integers(2, 10**6),
    loads=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 100)), max_size=8),
)
def test_the_swap_lies_between_the_readings(
    grams: float, length: int, loads: list[tuple[float, float]]
) -> None:
    end = TUESDAY + timedelta(seconds=length)
    washes = [(TUESDAY + share * (end - TUESDAY), brought) for share, brought in loads]
    assert TUESDAY < probable_swap_at(TUESDAY, end, washes, grams) < end


@pytest.mark.parametrize(
    "bias, words",
    [
        ((1.9, 0.18), "Reads 1.9 ± 0.3 % too high since Tue 24 Nov; corrected for."),
        ((-1.9, 0.18), "Reads 1.9 ± 0.3 % too low since Tue 24 Nov; corrected for."),
        ((0.2, 0.24), "Reads true within 0.6 %, as far as we know."),
        ((0.05, 0.01), "Reads true within 0.1 %, as far as we know."),
        (None, "Used as read. Drift is not tracked for this instrument."),
    ],
)
def test_a_bias_is_said_with_its_interval_or_that_there_is_none(
    bias: tuple[float, float] | None, words: str
) -> None:
    assert bias_sentence(bias, TUESDAY, TUESDAY + timedelta(days=5), UTC) == words

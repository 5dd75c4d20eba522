"""Rooms in which something goes wrong: a few of each by fixed seeds; the table is in the docs.

Bars leave room for another platform's arithmetic. The simulator knows nothing of the program.
"""

import math
from statistics import NormalDist

import numpy as np
import pytest

from app.domain.roomlog import kinds
from tests.benchmark.__main__ import main as bench
from tests.judge.fault_judge import (
    FaultScore,
    Named,
    count_names,
    fault_table,
    judge_faults,
    normal_crps,
)
from tests.judge.fault_rooms import FAULT_FAMILIES, Fault, FaultRoom, live

BY_NAME = {family.name: family for family in FAULT_FAMILIES}
DAYS = 80


def score(name: str) -> FaultScore:
    return judge_faults(BY_NAME[name], range(1), DAYS)


def test_a_pairs_clean_bath_is_known_to_a_tenth_of_a_percent() -> None:
    found = score("pair")
    assert found.rmse(found.of("birch")) < 0.12
    assert found.rmse(found.of("alder")) < 0.6
    assert found.coverage() > 0.75


@pytest.mark.parametrize("name", ["pair, not told", "pair, not told, hydrometer alone"])
def test_a_pair_that_nobody_told_of_is_known_as_well(name: str) -> None:
    found = score(name)
    assert found.rmse(found.of("birch")) < 0.2
    assert found.rmse(found.of("alder")) < 1.0
    assert found.coverage() > 0.6  # of one room: a hydrometer that is off shifts all its days


def test_seven_days_after_a_swap_that_nobody_logged_the_estimate_is_right_and_says_why() -> None:
    found = score("unlogged swap")
    assert found.faults
    assert found.rmse(found.after(7, 21)) < 0.6
    assert len(found.named_after) == found.faults


def test_an_absurd_entry_does_no_harm() -> None:
    found = score("absurd entry")
    assert found.faults
    assert found.rmse() < 0.6


def test_a_fault_is_drawn_alike_for_one_seed() -> None:
    family = BY_NAME["wrong tank"]
    one, again = live(family, 4, 70), live(family, 4, 70)
    assert one.entries == again.entries
    assert one.track == again.track


def test_the_score_of_a_normal_estimate_is_its_integral() -> None:
    # CRPS is the integral of (F(x) - 1[x >= y])^2 (Gneiting and Raftery, 2007, equation 20).
    x = np.linspace(-20, 20, 400_001)
    cdf = np.array([NormalDist(1.0, 2.0).cdf(at) for at in x])
    integral = np.trapezoid((cdf - (x >= 0.3)) ** 2, x)
    assert normal_crps(1.0, 2.0, 0.3) == pytest.approx(integral, abs=1e-4)


def test_the_table_has_a_row_for_each_family() -> None:
    empty = FaultScore(BY_NAME["pair"], [0.1], [True], [0.05], ["alder"], [-1.0], months=1.0)
    assert "| pair | 0.10 |" in fault_table([empty])
    assert not math.isnan(empty.coverage())


@pytest.mark.parametrize(
    "named, in_time, false_alarms",
    [
        ([], 0, 0),
        ([(11.0, "alder", "swap_missing", False)], 1, 0),
        ([(11.0, "alder", "swap_missing", True)], 1, 0),  # up already, about something new
        ([(14.0, "alder", "swap_missing", False)], 0, 0),  # with the third reading
        ([(11.0, "birch", "swap_missing", False)], 0, 1),
        ([(9.0, "alder", "swap_missing", False)], 0, 1),
    ],
)
def test_a_fault_is_named_in_time_by_the_second_reading_after_it(
    named: list[Named], in_time: int, false_alarms: int
) -> None:
    room = FaultRoom(BY_NAME["unlogged swap"], 30, faults=[Fault("alder", 10, 40)])
    for day in (8, 11, 13, 14):
        room.log(kinds.Reading, day, tank="alder", method="sensor")
    score = FaultScore(room.family)
    count_names(room, named, score)
    assert (score.faults, score.within_two) == (1, in_time)
    assert score.false_alarms == false_alarms


def test_a_fault_that_was_read_once_before_the_next_swap_is_not_counted() -> None:
    room = FaultRoom(BY_NAME["unlogged swap"], 30, faults=[Fault("alder", 10, 40)])
    room.log(kinds.Reading, 11, tank="alder", method="sensor")
    room.log(kinds.Swap, 12, tank="alder")
    room.log(kinds.Reading, 13, tank="alder", method="sensor")
    score = FaultScore(room.family)
    count_names(room, [], score)
    assert score.faults == 0


def test_the_command_prints_a_family_of_rooms(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["accuracy", "--only", "faults", "--seeds", "1", "--first", "900"]
    assert bench([*words, "--family", "nothing wrong"]) == 0
    assert "| nothing wrong | 0." in capsys.readouterr().out


def test_the_command_judges_a_filter_that_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[list[str]] = []
    monkeypatch.setattr("tests.judge.__main__.main", lambda words: given.append(words) or 0)
    assert bench(["accuracy", "--only", "faults", "--told"]) == 0
    assert bench(["accuracy", "--only", "faults"]) == 0
    assert given == [["--only", "faults", "--told"], ["--only", "faults"]]

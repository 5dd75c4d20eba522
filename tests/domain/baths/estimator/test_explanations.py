"""What was not logged, and what was logged wrong: named, and no harm to the estimate."""

import math

import numpy as np
import pytest

from app.domain.baths.estimator import Settings
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after
from tests.domain.baths.estimator.test_doubts import steady


def names(log: Log, days: float, tank: str = "alder") -> dict[str, float]:
    return {e.name: e.chance for e in log.room.belief(tank, after(days)).explanations}


def test_a_swap_that_nobody_logged_is_named_and_the_estimate_is_that_of_a_fresh_bath() -> None:
    log = steady(21)
    carried = log.room.carry_in()[0].median_g_cm2
    log.washes(21, 23)
    for day, percent in ((23, 0.5), (24, 0.55), (25, 0.6)):
        log.residue(day, percent)
    belief = log.room.belief("alder", after(25))
    assert "swap_missing" in belief.flags
    assert belief.mean_percent == pytest.approx(0.6, abs=0.2)
    assert belief.explanations[0].name == "swap_missing"
    assert belief.explanations[0].since == after(23)
    assert log.room.carry_in()[0].median_g_cm2 > 0.8 * carried


def test_residues_of_nothing_do_not_collapse_the_rooms_carry_in() -> None:
    log = steady(21)
    carried = log.room.carry_in()[0].median_g_cm2
    log.washes(21, 24)
    log.residue(24, 0.0)
    log.residue(24.1, 0.0)
    assert log.room.carry_in()[0].median_g_cm2 > 0.8 * carried
    assert "swap_missing" in log.flags(24.2)


def test_a_swap_that_is_logged_after_all_ends_the_finding() -> None:
    log = steady(21)
    log.residue(22, 0.2)
    log.residue(22.1, 0.2)
    log.at_tank(kinds.Swap, 23)
    assert "swap_missing" not in log.flags(23.1)


def test_a_top_up_that_nobody_logged_is_found_where_the_bath_is_thinner_and_not_fresh() -> None:
    log = Log(limit_percent=60.0, saturation_percent=20.0)
    log.at_tank(kinds.Removal, 1, volume_l=10.0)
    log.residue(2, 20.0)
    thinner = 20 * 32 / 42
    log.residue(9, thinner)
    log.residue(9.1, thinner)
    belief = log.room.belief("alder", after(9.2))
    assert "top_up_missing" in belief.flags
    assert belief.volume_l == pytest.approx(42, abs=1.5)


def test_a_level_that_would_be_far_down_makes_a_top_up_likelier_that_nobody_logged() -> None:
    # 42 L lose a fifth in 32 days; a density then shows the resin in a full bath again.
    log = Log(Settings(evaporation_per_day=0.006, evaporation_ln_sd=0.05), saturation_percent=6.0)
    log.residue(0.5, 6.0)
    log.residue(0.6, 6.0)
    belief = log.room.belief("alder", after(32))
    assert belief.volume_l == pytest.approx(42 * 0.81, abs=1)
    log.residue(32, 6.0)
    belief = log.room.belief("alder", after(32))
    assert "top_up_missing" in belief.flags
    assert belief.volume_l == pytest.approx(42, abs=1)


def test_no_top_up_is_supposed_where_the_bath_reads_as_thick_as_it_would_be() -> None:
    log = Log(Settings(evaporation_per_day=0.006, evaporation_ln_sd=0.05), saturation_percent=6.0)
    log.residue(0.5, 6.0)
    log.residue(0.6, 6.0)
    log.residue(32, log.percent(32))
    belief = log.room.belief("alder", after(32))
    assert "top_up_missing" not in belief.flags
    assert belief.volume_l < 36


def test_readings_that_contradict_each_other_are_of_two_baths_and_widen_the_band() -> None:
    log = steady(9)
    base = log.percent(9)
    for i, off in enumerate((7.0, 0.0, 7.0, 0.0, 7.0)):
        log.residue(9.1 + i / 10, base + off)
    belief = log.room.belief("alder", after(9.6))
    assert "not_one_bath" in belief.flags
    assert belief.p05_percent < base + 0.3
    assert belief.p95_percent > base + 6
    assert len(log.room.draw("alder", after(9.6), 10, np.random.default_rng(1)).resin_g) == 10


def test_two_slips_years_of_readings_apart_are_no_contradiction() -> None:
    log = steady(21)
    log.residue(21, log.percent(21) + 9)
    log.residue(22, log.percent(22))
    log.residue(60, log.percent(60))
    assert "not_one_bath" not in log.flags(60)


@pytest.mark.parametrize("noughts", [2, 3, 4, 5])
def test_a_wash_with_noughts_too_many_is_doubted_and_the_reading_after_it_believed(
    noughts: int,
) -> None:
    log = steady(12)
    before = log.percent(12)
    effect = log.wash(12.1, min(2000.0 * 10**noughts, 1e7), id="w1")
    assert effect.belief.volume_l < 1.15 * 42 + 0.1
    log.residue(12.2, before + 0.1)
    belief = log.room.belief("alder", after(12.2))
    assert belief.mean_percent == pytest.approx(before + 0.1, abs=0.3)
    assert "wrong_entry" in belief.flags
    assert "reading_disagrees" not in belief.flags
    assert next(e.entry for e in belief.explanations if e.name == "wrong_entry") == "w1"


def test_an_absurd_first_wash_is_doubted_as_well() -> None:
    log = Log()
    effect = log.wash(0.1, 1e7)
    assert effect.belief.mean_percent < 10
    assert log.residue(0.2, 0.3).belief.mean_percent == pytest.approx(0.3, abs=0.3)


def test_a_wash_twice_as_large_as_usual_is_believed() -> None:
    log = steady(12)
    usual = log.wash(12.1, 2000.0).resin_in_g
    assert log.wash(12.2, 4000.0).resin_in_g == pytest.approx(2 * usual, rel=1e-3)
    assert log.flags(12.3) == ()


@pytest.mark.parametrize("volume_l", [42.0, 60.0, 35.0])
def test_a_removal_of_all_of_a_bath_that_is_washed_in_is_doubted(volume_l: float) -> None:
    # 42 for 4.2: what is washed in an empty tank would be nearly all resin.
    log = steady(12)
    before = log.percent(12)
    log.at_tank(kinds.Removal, 12.1, volume_l=volume_l)
    for i in range(4):
        log.wash(12.2 + i / 10)
    belief = log.room.belief("alder", after(12.6))
    assert belief.mean_percent == pytest.approx(before + 0.5, abs=1.0)
    assert belief.volume_l > 30
    log.residue(12.7, before + 0.5)
    belief = log.room.belief("alder", after(12.7))
    assert belief.mean_percent == pytest.approx(before + 0.5, abs=0.3)
    assert "reading_disagrees" not in belief.flags


def test_a_removal_of_nearly_all_before_a_fill_is_believed() -> None:
    log = steady(12)
    before = log.percent(12)
    log.at_tank(kinds.Removal, 12.1, volume_l=38.0)
    log.at_tank(kinds.TopUp, 12.2, volume_l=38.0, to_mark=True)
    assert log.percent(12.2) == pytest.approx(before * 4 / 42, abs=0.3)


def test_a_level_at_the_mark_speaks_for_a_top_up_or_swap_that_nobody_logged() -> None:
    # Both explain a thinner bath; 0.4 L to the mark after a loss of 4 L speaks for one of them.
    def swapped(to_mark: bool) -> float:
        log = Log(Settings(evaporation_per_day=0.005, evaporation_ln_sd=0.1), limit_percent=20.0,
                  saturation_percent=8.0)  # fmt: skip
        log.residue(0.5, 8.0)
        log.residue(19, log.percent(19))
        log.hydrometer(20, 0.79030)
        before = names(log, 20).get("swap_missing", 0.0)
        log.at_tank(kinds.TopUp, 20.1, volume_l=0.4, to_mark=to_mark)
        assert 0.1 < before < 0.9
        return names(log, 20.1).get("swap_missing", 0.0)

    assert swapped(to_mark=True) > swapped(to_mark=False) + 0.1


def test_what_runs_over_is_gone() -> None:
    log = Log()
    assert log.at_tank(kinds.TopUp, 1, volume_l=400.0).belief.volume_l < 1.15 * 42
    assert log.at_tank(kinds.Swap, 2, filled_l=4000.0).belief.volume_l < 1.16 * 42


def test_a_reading_that_fits_another_tank_is_said_to_be_of_that() -> None:
    log = steady(21)
    log.tank(21, tank="birch", name="Birch", saturation_percent=17.0)
    log.at_tank(
        kinds.Reading, 21.1, tank="birch", method="residue",
        values={"sample_g": 10.0, "residue_g": 1.7},
    )  # fmt: skip
    effect = log.residue(22, 17.0)
    assert effect.is_set_aside
    told = {e.name: e for e in effect.belief.explanations}
    assert told["wrong_tank"].other_tank == "birch"
    assert told["wrong_tank"].chance > 0.3


def test_the_first_density_of_a_fresh_fill_that_fits_the_tank_beside_it_is_of_that() -> None:
    log = steady(21)
    log.tank(20, tank="birch", name="Birch", saturation_percent=7.0)
    values = {"sample_g": 10.0, "residue_g": 0.7}
    log.at_tank(kinds.Reading, 20.1, tank="birch", method="residue", values=values)
    log.at_tank(kinds.Swap, 21.1)
    # 7 % of resin of 1.12 g/mL in 2-propanol of 99 mass %, 0.7883 g/mL (Lebo, 1921; volumes add)
    effect = log.hydrometer(21.2, 1 / (0.07 / 1.12 + 0.93 / 0.7883))
    assert "wrong_tank" in effect.flags
    assert "fill_not_fresh" not in effect.flags
    assert effect.belief.mean_percent < 2.0


@pytest.mark.parametrize("method", ["residue", "sensor"])
@pytest.mark.parametrize("of_fresh", [None, True])
def test_the_first_reading_of_a_fill_that_is_not_fresh_is_believed(
    method: str, of_fresh: bool | None
) -> None:
    log = steady(21)
    log.at_tank(kinds.Swap, 21.1)
    values = {"residue": {"sample_g": 10.0, "residue_g": 0.3}, "sensor": {"saturation_percent": 3}}
    effect = log.at_tank(
        kinds.Reading, 21.2, method=method, values=values[method], of_fresh=of_fresh
    )
    assert "fill_not_fresh" in effect.flags
    assert effect.belief.mean_percent == pytest.approx(3, abs=1.2)


def test_a_fresh_density_that_is_none_says_so() -> None:
    log = Log()
    assert "fill_not_fresh" in log.hydrometer(0.1, 0.7960, of_fresh=True).flags
    assert "fill_not_fresh" not in log.hydrometer(0.2, 0.7884, of_fresh=True).flags


def test_a_swap_on_the_way_into_a_pause_leaves_the_fresh_bath_fresh() -> None:
    log = steady(27)
    log.at_tank(kinds.Swap, 28)
    log.at_tank(kinds.TopUp, 28.1, volume_l=0.5, to_mark=True)
    for day in (30, 40, 54):
        belief = log.room.belief("alder", after(day))
        assert belief.mean_percent == pytest.approx(0.2, abs=0.3)
        assert belief.p95_percent < 1.0


def test_a_year_without_a_reading_is_said() -> None:
    log = steady(6)
    assert "unread_for_a_year" not in log.flags(360)
    assert "unread_for_a_year" in log.flags(380)
    unread = Log()
    unread.washes(0, 2)
    assert "unread_for_a_year" in unread.flags(367)


def test_chances_follow_bayes_rule() -> None:
    # One residue, three explanations that can be computed by hand: right, slip, swapped; the bath
    # is known, so each density is a normal one (jump and top-up have next to no weight below).
    log = Log(saturation_percent=8.0, limit_percent=20.0)
    log.residue(0.5, 8.0)
    log.residue(1.0, 8.0)
    before = log.room.belief("alder", after(3))
    log.residue(3.0, 0.3)
    told = names(log, 3.0)
    s = log.room.settings
    heel = 100 * s.heel * before.resin_g / (42_000 * 0.7883)
    sd = math.hypot(s.heel_sd / s.heel * heel, s.residue_sd_percent)
    chance = 2 * s.swap_chance_per_day
    swap = chance * math.exp(-(((0.3 - heel) / sd) ** 2) / 2) / (sd * math.sqrt(2 * math.pi))
    slip = s.slip_chance / s.slip_percent_span
    assert told["swap_missing"] == pytest.approx(swap / (swap + slip), abs=0.03)


def test_near_its_limit_one_residue_tells_a_swap_from_a_slip() -> None:
    # A week without a reading, in which the bath came to its limit and was washed in hard: that it
    # was swapped is three times as likely as elsewhere, and no cap takes that back.
    log = Log(saturation_percent=8.0, limit_percent=10.0)
    log.residue(0.5, 8.0)
    log.residue(1.0, 8.0)
    for number in range(36):
        log.wash(1.2 + number * 0.22, 6000.0)
    log.residue(9.5, 2.5)
    assert names(log, 9.5)["swap_missing"] > 0.5

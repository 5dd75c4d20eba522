"""Slips, missing washes, drifting sensors, water: what the filter says about readings."""

import pytest

from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.sightings import log_doubt
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after


def steady(days: float = 20.0) -> Log:
    """A room that reads its bath every third day, and reads what it expects."""
    log = Log(limit_percent=30.0)
    day = 0.0
    while day < days:
        log.washes(day, day + 3)
        day += 3
        log.residue(day, log.percent(day))
    return log


def test_a_slip_is_set_aside_and_leaves_the_estimate() -> None:
    log = steady()
    before = log.percent(21)
    effect = log.residue(21, 3 * before)
    assert effect.is_set_aside
    assert effect.slip_weight > 0.5
    assert "reading_disagrees" in effect.flags
    assert effect.belief.mean_percent == pytest.approx(before, abs=0.6)


def test_a_second_reading_that_agrees_with_the_first_turns_the_estimate() -> None:
    log = steady()
    before = log.percent(21)
    assert log.residue(23, before + 6).is_set_aside
    effect = log.residue(23.05, before + 6.1)
    assert not effect.is_set_aside
    assert effect.belief.mean_percent == pytest.approx(before + 6, abs=0.6)
    assert "reading_disagrees" not in effect.flags


def test_a_second_reading_that_agrees_with_the_log_clears_the_flag() -> None:
    log = steady()
    before = log.percent(21)
    log.residue(21, before + 8)
    effect = log.residue(21.05, before)
    assert "reading_disagrees" not in effect.flags
    assert effect.belief.mean_percent == pytest.approx(before, abs=0.3)


def test_a_week_that_nobody_logged_is_flagged_and_later_no_more() -> None:
    log = steady(21)
    week_percent = log.percent(21) / 3
    found = log.percent(28) + week_percent
    log.residue(28, found)
    log.washes(28, 29)
    effect = log.residue(29, found + week_percent / 7)
    assert "washes_missing" in effect.flags
    assert effect.jump_weight > 0.8
    assert effect.belief.missing_since == after(21)
    assert "washes_missing" not in log.flags(45)


def test_a_silent_week_makes_missing_washes_likelier_than_a_busy_one() -> None:
    silent, busy = steady(30), steady(30)
    busy.washes(30, 37)
    found = []
    for log in (silent, busy):
        before = log.percent(37)
        effect = log.sensor(37, before + 2)
        found.append((effect.jump_weight, effect.belief.mean_percent - before))
    assert found[0][0] > 2 * found[1][0]
    assert found[0][1] > found[1][1]


def test_a_log_that_agrees_flags_nothing() -> None:
    log = steady(30)
    assert log.flags(30) == ()


def test_a_sensor_that_drifts_is_flagged_and_not_believed() -> None:
    log = Log()
    day = 0.0
    for i in range(14):
        log.washes(day, day + 2)
        day += 2
        log.sensor(day, log.percent(day) + 0.15 * i)
        if i % 3 == 2:
            log.residue(day + 0.01, log.percent(day + 0.01) - 0.05)
    belief = log.room.belief("alder", after(day + 0.1))
    assert "sensor_drifting" in belief.flags
    assert belief.sensor_bias[0] > 0.7


def test_density_alone_is_called_apparent_until_a_residue_speaks() -> None:
    log = Log()
    log.washes(0, 3)
    assert "apparent" in log.hydrometer(3, 0.793).flags
    assert "apparent" not in log.residue(5, 1.5).flags


def test_water_is_suspected_where_density_and_residue_disagree() -> None:
    """0.8103 g/mL with 6 % residue is 4.12 % water in the solvent (algebra on the water table)."""
    log = Log(saturation_percent=6.0)
    log.residue(1, 6.0)
    effect = log.hydrometer(1.2, 0.8103)
    assert "water_suspected" in effect.flags
    assert any("4.1 % water" in note for note in effect.notes)


def test_readings_on_either_side_of_a_wash_are_not_of_the_same_liquid() -> None:
    log = Log(saturation_percent=6.0)
    log.residue(1, 6.0)
    log.wash(1.1)
    effect = log.hydrometer(1.2, 0.8103)
    assert not any("water" in note and "%" in note for note in effect.notes)


def test_fresh_solvent_sets_the_baseline_and_is_no_reading_of_the_bath() -> None:
    log = Log()
    effect = log.hydrometer(0, 0.7905, of_fresh=True)
    assert effect.measured is None
    assert effect.belief.last_reading_at is None
    log.washes(0, 20, area_cm2=3000)
    # Fresh 0.7905 and bath 0.8152 on the same meter at the same temperature: 10.299 %.
    effect = log.hydrometer(20, 0.8152)
    assert effect.measured is not None
    assert effect.measured.mass_percent == pytest.approx(10.299, abs=0.001)
    log.at_tank(kinds.Swap, 21)
    assert log.room.tanks["alder"].baseline is None


def test_a_reading_that_cannot_be_converted_says_so_and_changes_nothing() -> None:
    log = Log(solvent="tripropylene_glycol_methyl_ether")
    log.washes(0, 3)
    before = log.percent(3)
    effect = log.residue(3, 8.0)
    assert effect.measured is None
    assert effect.notes
    assert effect.belief.mean_percent == pytest.approx(before)


def test_the_rooms_own_calibration_makes_the_refractometer_surer() -> None:
    plain, calibrated = Log(saturation_percent=6.0), Log(saturation_percent=6.0)
    points = ((1.3770, 0.0), (1.3860, 10.0), (1.3905, 15.0))
    calibrated.add(kinds.Calibration, 0, solvent="isopropanol", scale="index", points=points)
    reading = {"method": "refractometer", "values": {"index": 1.3824, "temperature_c": 20.0}}
    rough = plain.at_tank(kinds.Reading, 1, **reading)
    sure = calibrated.at_tank(kinds.Reading, 1, **reading)
    assert sure.measured is not None
    assert sure.measured.mass_percent == pytest.approx(6.0, abs=0.01)
    assert sure.belief.sd_percent < rough.belief.sd_percent


def test_residues_that_show_less_than_anything_explains_turn_the_estimate_by_the_second() -> None:
    # Half of the bath was drained and filled up: neither a swap nor a top-up that was missing.
    log = steady()
    before = log.percent(21)
    half = before / 2
    assert log.residue(21, half).belief.mean_percent > 0.8 * before
    assert log.residue(22, half).belief.mean_percent == pytest.approx(half, abs=0.6)
    effect = log.residue(23, half)
    assert effect.belief.mean_percent == pytest.approx(half, abs=0.1)
    assert effect.belief.volume_l == pytest.approx(42.0, abs=1.0)
    assert "swap_missing" in effect.flags
    assert effect.belief.p95_percent - effect.belief.p05_percent < 1.0


def test_residues_far_above_what_the_log_explains_are_not_all_set_aside() -> None:
    # A bath that was in use long before its log began, and is said to be fresh.
    log = Log(limit_percent=30.0)
    log.washes(0, 3)
    assert log.residue(3, 14.0).is_set_aside
    log.residue(4, 14.0)
    effect = log.residue(5, 14.1)
    assert not effect.is_set_aside
    assert effect.belief.mean_percent == pytest.approx(14.05, abs=0.3)
    assert "washes_missing" in effect.flags
    carried = log.room.carry_in()[0].median_g_cm2
    assert carried == pytest.approx(Log().room.settings.carry_in_g_cm2 * 0.9, rel=0.3)


def test_one_reading_below_all_that_was_logged_moves_the_estimate_little() -> None:
    log = steady()
    before = log.percent(21)
    effect = log.residue(21, before / 2)
    assert effect.is_set_aside
    assert effect.belief.mean_percent == pytest.approx(before, rel=0.04)


def test_readings_set_aside_in_a_row_make_the_log_less_to_be_relied_on() -> None:
    def doubt(*slips: float) -> float:
        facts = TankFacts(42.0, "isopropanol")
        facts.recent = [[0.0, "residue", 1.0, 1.0, slip, 0.2, 0.0, "", 0.0] for slip in slips]
        return log_doubt(facts)

    assert doubt() == 1.0
    assert doubt(0.9, 0.1) == 1.0
    assert doubt(0.1, 0.9) == 4.0
    assert doubt(0.9, 0.9, 0.6) == 16.0


def test_a_sensor_that_was_set_aside_again_and_again_makes_the_log_doubtful_once() -> None:
    def doubt(*channels: str) -> float:
        facts = TankFacts(42.0, "isopropanol")
        facts.recent = [[0.0, channel, 1.0, 1.0, 0.9, 0.2, 0.0, "", 0.0] for channel in channels]
        return log_doubt(facts)

    assert doubt("sensor") == 4.0
    assert doubt(*["sensor"] * 12) == 4.0
    assert doubt("residue", *["sensor"] * 5, "hydrometer") == 16.0


def test_a_sensor_that_sticks_is_one_witness_however_often_it_repeats_itself() -> None:
    log = Log()
    for day in range(14):
        log.washes(day, day + 1)
        log.sensor(day + 1, log.percent(day + 1))
    for half in range(6):
        log.washes(14 + half / 2, 14.5 + half / 2)
        log.sensor(14.5 + half / 2, 19.9)
    log.residue(17.1, 8.0)
    assert log.percent(17.2) < 9.0
    assert "past_limit" not in log.flags(17.2)

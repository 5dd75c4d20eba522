"""Pairs that the log alone tells of, several dirty baths before one clean one, and late rinses.

The masses of two still baths in the limit of small loads are those of test_pairs; here the question
is only which entry is a rinse, so an invented room says what is right.
"""

import numpy as np
import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.errors import FieldErrors
from app.domain.roomlog import kinds
from app.domain.roomlog.lines import parse_entry
from tests.domain.baths.estimator.logs import Log, after

MANY = 24


def two(**values: object) -> Log:
    """Two tanks of which nobody has said that they are a pair."""
    log = Log(limit_percent=60.0, **values)
    log.tank(0, tank="birch", name="Birch", limit_percent=60.0)
    return log


def sizes(count: int, seed: int = 3) -> list[float]:
    return [float(x) for x in np.random.default_rng(seed).uniform(800, 3000, count).round()]


def residue(log: Log, days: float, percent: float, tank: str) -> None:
    values = {"sample_g": 10.0, "residue_g": percent / 10}
    log.at_tank(kinds.Reading, days, tank=tank, method="residue", values=values)


def worked(log: Log, first: float, loads: list[float], gap: float = 0.01) -> None:
    """Every load in Alder and, `gap` days later, in Birch: four a day."""
    for i, area_cm2 in enumerate(loads):
        log.wash(first + i / 4, area_cm2)
        log.wash(first + i / 4 + gap, area_cm2, tank="birch")


def found(*, reads_percent: float = 0.05) -> Log:
    """A room in which each load is logged in both baths; Birch reads clean, and work goes on."""
    log = two()
    worked(log, 0, sizes(MANY))
    residue(log, 7, reads_percent, "birch")
    residue(log, 7.5, reads_percent, "birch")
    worked(log, 8, sizes(4, 9))
    return log


def test_loads_that_follow_and_a_clean_reading_tell_of_a_pair() -> None:
    log = found()
    belief = log.room.belief("birch", after(9))
    assert "pair_untold" in belief.flags
    assert belief.said is not None
    assert (belief.said.name, belief.said.other_tank) == ("pair_untold", "alder")
    assert belief.mean_percent == pytest.approx(0.05, abs=0.05)
    assert log.wash(10, 1234.0).resin_in_g > 5 * _rinse_g(log, 10.01, 1234.0)


def _rinse_g(log: Log, days: float, area_cm2: float) -> float:
    return log.wash(days, area_cm2, tank="birch").resin_in_g


def hydrometer(log: Log, days: float, percent: float, tank: str) -> None:
    """A density of 2-propanol at 99 mass %, 0.7883 g/mL at 20 C (Lebo, J. Am. Chem. Soc. 43, 1005,
    1921), with resin of 1.12 g/mL whose volume adds."""
    share = percent / 100
    values = {"density_g_ml": 1 / (share / 1.12 + (1 - share) / 0.7883), "temperature_c": 20.0}
    log.at_tank(kinds.Reading, days, tank=tank, method="hydrometer", values=values)


def test_loads_that_follow_alone_leave_both_in_the_band() -> None:
    # One job shared out between two baths looks the same: without a reading neither is left out.
    log = two()
    worked(log, 0, sizes(40))
    belief = log.room.belief("birch", after(10))
    assert belief.said is not None
    assert (belief.said.name, belief.said.other_tank) == ("pair_untold", "alder")
    assert 0.5 < (belief.said.chance or 0) < 0.95
    assert belief.p05_percent < 0.1
    assert belief.p95_percent > 0.6 * log.percent(10)


def test_a_first_residue_settles_the_days_before_it_and_teaches_no_wrong_carry_in() -> None:
    log = two()
    worked(log, 0, sizes(MANY))
    before = log.room.carry_in()[0].median_g_cm2
    residue(log, 6.5, 0.05, "birch")
    belief = log.room.belief("birch", after(6.6))
    assert belief.mean_percent == pytest.approx(0.05, abs=0.05)
    assert belief.p95_percent < 0.3
    assert "swap_missing" not in belief.flags
    assert log.room.carry_in()[0].median_g_cm2 == pytest.approx(before, rel=0.05)


def test_a_hydrometer_alone_tells_of_a_pair() -> None:
    log = two()
    worked(log, 0, sizes(2 * MANY))
    for day in (12.5, 13.0):
        hydrometer(log, day, 0.6, "birch")  # it reads 0.6 % too high, as in Alder
        hydrometer(log, day + 0.1, log.percent(day) + 0.6, "alder")
    worked(log, 14, sizes(4, 9))
    assert log.room.tanks["alder"].pair == "birch"
    assert log.percent(15, "birch") < 0.3


def test_hydrometers_that_show_the_resin_of_washes_keep_them_washes() -> None:
    log = two()
    worked(log, 0, sizes(2 * MANY))
    for day in (12.5, 13.0):
        hydrometer(log, day, log.percent(day) + 0.6, "birch")
    worked(log, 14, sizes(4, 9))
    assert "pair_untold" not in log.room.belief("birch", after(15)).flags
    assert log.percent(15, "birch") == pytest.approx(log.percent(15), rel=0.2)


def test_a_pair_that_is_taken_back_is_not_found_again() -> None:
    log = found()
    log.add(kinds.TankChange, 10, tank="alder", is_unpaired=True)
    worked(log, 10.5, sizes(MANY, 5))
    residue(log, 17, 0.1, "birch")
    worked(log, 17.5, sizes(4, 6))
    assert "pair_untold" not in log.room.belief("birch", after(19)).flags
    assert log.room.tanks["alder"].pair is None


@pytest.mark.parametrize("told, percent", [({"pair": "birch"}, 0.1), ({"is_unpaired": True}, 4)])
def test_what_a_person_says_settles_a_pair_that_was_supposed(
    told: dict[str, object], percent: float
) -> None:
    log = two()
    worked(log, 0, sizes(40))
    log.add(kinds.TankChange, 10, tank="alder", **told)
    belief = log.room.belief("birch", after(10))
    assert "pair_untold" not in belief.flags
    assert belief.mean_percent == pytest.approx(percent, abs=0.1 if percent < 1 else 1)


def test_liquid_that_is_moved_settles_a_pair_that_was_supposed() -> None:
    log = two()
    worked(log, 0, sizes(MANY))
    log.add(kinds.Swap, 6.5, tank="alder", from_tank="birch")
    assert log.percent(6.6) < 0.7  # two hundredths of the old bath and what the clean one held


def test_a_state_with_a_supposed_pair_is_kept_to_the_bit() -> None:
    log = two()
    worked(log, 0, sizes(MANY))
    twin = RoomFilter.from_bytes(log.room.to_bytes())
    assert twin.to_bytes() == log.room.to_bytes()
    assert twin.belief("birch", after(7)) == log.room.belief("birch", after(7))


def test_readings_that_show_the_resin_of_washes_keep_them_washes() -> None:
    log = two()
    worked(log, 0, sizes(MANY))
    residue(log, 7, log.percent(7), "birch")
    residue(log, 7.5, log.percent(7.5), "birch")
    worked(log, 8, sizes(12, 9))
    assert "pair_untold" not in log.room.belief("birch", after(12)).flags
    assert log.percent(12, "birch") == pytest.approx(log.percent(12), rel=0.2)


def test_what_was_taken_for_rinses_counts_as_washes_again_once_readings_show_it() -> None:
    log, plain = found(), Log(limit_percent=60.0)  # what the same washes leave in a bath alone
    for i in range(8):
        loads = sizes(8, 20 + i)
        worked(log, 10 + 2 * i, loads)
        for j, area_cm2 in enumerate(loads):
            plain.wash(10 + 2 * i + j / 4, area_cm2)
        day = 11.9 + 2 * i
        residue(log, day, 0.05 + plain.percent(day), "birch")
    assert "pair_untold" not in log.room.belief("birch", after(26)).flags
    assert log.percent(26, "birch") == pytest.approx(0.05 + plain.percent(26), abs=0.3)
    alone = log.wash(27, 1500.0).resin_in_g
    assert _rinse_g(log, 27.01, 1500.0) == pytest.approx(alone, rel=0.3)


def test_equal_counts_in_two_baths_are_no_pair() -> None:
    log = two()
    for i in range(60):
        log.at_tank(kinds.Wash, i / 4, resin="slate", parts=10)
        log.at_tank(kinds.Wash, i / 4 + 0.02, tank="birch", resin="slate", parts=10)
    for day in (3, 6, 9, 12):
        residue(log, day + 0.9, log.percent(day + 0.9), "birch")
    assert "pair_untold" not in log.room.belief("birch", after(15)).flags


def test_somebody_who_leaves_it_is_believed() -> None:
    log = found()
    log.add(kinds.ExplanationDismissed, 10, tank="birch", explanation="pair_untold", by="Wren")
    worked(log, 10.5, sizes(12, 5))
    assert "pair_untold" not in log.room.belief("birch", after(14)).flags
    assert _rinse_g(log, 14.01, 1500.0) == pytest.approx(log.wash(15, 1500.0).resin_in_g, rel=0.1)


def test_a_pair_is_told_later_and_taken_back() -> None:
    log = two()
    log.add(kinds.TankChange, 1, tank="alder", pair="birch")
    log.wash(2, 2000.0)
    rinse_g = _rinse_g(log, 2.01, 2000.0)
    log.add(kinds.TankChange, 3, tank="alder", is_unpaired=True)
    wash_g = log.wash(4, 2000.0).resin_in_g
    assert rinse_g < 0.1 * wash_g
    assert _rinse_g(log, 4.01, 2000.0) == pytest.approx(wash_g, rel=0.05)


@pytest.mark.parametrize("values", [{"pair": "alder"}, {"pair": "birch", "is_unpaired": True}])
def test_a_pair_that_cannot_be_is_refused_beside_its_field(values: dict[str, object]) -> None:
    line = {"kind": "tank_change", "at": after(1).isoformat(), "tank": "alder", **values}
    with pytest.raises(FieldErrors):
        parse_entry(line)


def three(told: bool = True) -> Log:
    """Alder and Birch before one clean bath, Cedar."""
    clean = {"pair": "cedar"} if told else {}
    log = Log(limit_percent=60.0, **clean)
    log.tank(0, tank="birch", name="Birch", limit_percent=60.0, **clean)
    log.tank(0, tank="cedar", name="Cedar", limit_percent=60.0)
    return log


def test_two_dirty_baths_share_a_clean_one() -> None:
    log = three()
    for i, area_cm2 in enumerate(sizes(40)):
        dirty = ("alder", "birch")[i % 2]
        log.wash(i / 8, area_cm2, tank=dirty)
        log.wash(i / 8 + 0.01, area_cm2, tank="cedar")
    assert log.percent(5, "cedar") < 0.05 * log.percent(5)


def test_two_loads_of_one_instant_logged_in_two_ways_are_no_stumbling_block() -> None:
    log = Log(limit_percent=60.0, pair="birch")
    log.tank(0, tank="birch", name="Birch", limit_percent=60.0)
    washed_g = log.wash(1, 2000.0).resin_in_g
    log.at_tank(kinds.Wash, 1, resin="slate", parts=12)
    assert _rinse_g(log, 1.01, 900.0) < 0.1 * washed_g


def test_a_clean_bath_that_is_set_up_anew_is_nobodys_until_the_log_tells_again() -> None:
    log = found()
    log.tank(10, tank="birch", name="Birch", limit_percent=60.0)
    assert "pair_untold" not in log.room.belief("birch", after(10)).flags
    alone = log.wash(11, 1500.0).resin_in_g
    assert _rinse_g(log, 11.01, 1500.0) == pytest.approx(alone, rel=0.3)


def test_each_rinse_brings_the_film_of_the_bath_it_came_from() -> None:
    def rinsed_after(dirty: str) -> float:
        log = three()
        for i in range(40):
            log.wash(i / 8, 3000.0)  # Alder alone fills up
        log.wash(6, 2000.0, tank=dirty)
        return log.wash(6.01, 2000.0, tank="cedar").resin_in_g

    assert rinsed_after("alder") > 5 * rinsed_after("birch")


@pytest.mark.parametrize("hours, is_rinse", [(3, True), (13, True), (30, False)])
def test_a_told_pair_is_rinsed_until_the_end_of_the_shift(hours: float, is_rinse: bool) -> None:
    log = Log(limit_percent=60.0, pair="birch")
    log.tank(0, tank="birch", name="Birch", limit_percent=60.0)
    for day in range(12):  # so many alone that a wash without a first stage counts as one
        log.wash(day, 900.0, tank="birch")
    washed_g = log.wash(13, 2000.0).resin_in_g
    later_g = _rinse_g(log, 13 + hours / 24, 2000.0)
    assert (later_g < 0.2 * washed_g) is is_rinse


def test_what_is_kept_of_untold_pairs_is_the_same_from_a_checkpoint() -> None:
    log = two()
    worked(log, 0, sizes(MANY))
    residue(log, 7, 0.05, "birch")
    twin = RoomFilter.from_bytes(log.room.to_bytes())
    for room in (log.room, twin):
        for i, area_cm2 in enumerate(sizes(8, 9)):
            at = after(8 + i / 4), after(8.01 + i / 4)
            room.apply(kinds.Wash(at=at[0], tank="alder", resin="slate", area_cm2=area_cm2))
            room.apply(kinds.Wash(at=at[1], tank="birch", resin="slate", area_cm2=area_cm2))
    assert twin.to_bytes() == log.room.to_bytes()

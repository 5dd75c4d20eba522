"""Limits, lives, plans and definitions, and that a replay gives the very same state."""

from zoneinfo import ZoneInfo

import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.errors import NotFound
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after


@pytest.mark.parametrize(
    "limit",
    [{"limit_percent": 13.634}, {"limit_volume_percent": 10.0}, {"limit_g_l": 112.0}],
    ids=["mass %", "volume %", "g/L"],
)
def test_a_limit_means_the_same_in_each_basis(limit) -> None:
    """10 % by volume of resin 1.12 in solvent 0.78830 g/mL: 13.634 mass %, 112.0 g/L (algebra)."""
    log = Log(**limit)
    log.wash(1)
    belief = log.room.belief("alder", after(1))
    assert belief.limit_percent == pytest.approx(13.634, abs=0.001)
    assert belief.stop_percent == pytest.approx(1.2 * 13.634, abs=0.002)


def test_both_limits_are_passed_in_turn() -> None:
    log = Log(saturation_percent=10.5, limit_percent=10.0, stop_percent=11.0)
    assert log.flags(0) == ("past_limit",)
    log.washes(0, 8)
    assert {"past_limit", "past_stop"} <= set(log.flags(8))


def test_lives_count_days_and_washes_since_the_fill() -> None:
    log = Log(life_days=10.0, life_washes=5)
    log.washes(0, 1)
    assert log.flags(9) == ()
    log.wash(9.5)
    assert log.flags(9.6) == ("past_life_washes",)
    assert set(log.flags(10)) == {"past_life_washes", "past_life_days"}
    log.at_tank(kinds.Swap, 11)
    assert log.flags(11) == ()


def test_a_change_of_limits_leaves_the_bath_as_it_is() -> None:
    log = Log()
    log.washes(0, 5)
    before = log.percent(5)
    assert log.add(kinds.TankChange, 5, tank="alder", limit_percent=12.0, life_washes=7) is None
    belief = log.room.belief("alder", after(5))
    assert belief.limit_percent == 12.0
    assert "past_life_washes" in belief.flags
    assert belief.mean_percent == pytest.approx(before)


def test_a_tank_set_up_again_starts_with_a_fresh_fill() -> None:
    log = Log()
    log.washes(0, 10)
    log.tank(10, capacity_l=20.0)
    belief = log.room.belief("alder", after(10))
    assert (belief.mean_percent, belief.fill, belief.washes_since_fill) == (0.0, 1, 0)
    assert belief.volume_l == pytest.approx(20.0)


def test_a_started_swap_is_known_until_done_or_given_up() -> None:
    log = Log()
    log.add(kinds.SwapStarted, 1, tank="alder")
    assert log.room.tanks["alder"].swap_started_at == after(1)
    log.add(kinds.SwapAbandoned, 2, tank="alder")
    assert log.room.tanks["alder"].swap_started_at is None
    log.add(kinds.SwapStarted, 3, tank="alder")
    log.at_tank(kinds.Swap, 4)
    assert log.room.tanks["alder"].swap_started_at is None


def test_a_resin_that_was_never_defined_is_taken_as_usual() -> None:
    log = Log()
    effect = log.wash(1, resin="unheard")
    assert effect.resin_in_g > 0
    assert effect.belief.resin_density_g_ml == pytest.approx(1.10)
    by_resin = {item.resin: item for item in log.room.carry_in()}
    assert (by_resin["unheard"].washes, by_resin["slate"].washes) == (1, 0)


def test_filler_settles_and_only_the_rest_is_expected_in_the_bath() -> None:
    log = Log()
    log.add(
        kinds.Resin, 0, resin="kiln", name="Kiln", density_g_ml=1.58, filled=True,
        filler_percent=50.0,
    )  # fmt: skip
    plain, filled = log.wash(1), log.wash(1, resin="kiln")
    assert filled.resin_in_g == pytest.approx(plain.resin_in_g / 2, rel=1e-6)


def test_carry_in_is_learned_from_readings() -> None:
    log = Log()
    before = log.room.carry_in()[0]
    for week in range(1, 5):
        log.washes(7 * (week - 1), 7 * week)
        log.residue(7 * week, 1.4 * log.percent(7 * week))
    learned = log.room.carry_in()[0]
    assert learned.median_g_cm2 > 1.2 * before.median_g_cm2
    assert learned.high_g_cm2 / learned.low_g_cm2 < before.high_g_cm2 / before.low_g_cm2
    assert learned.washes == 112


def test_what_a_gram_of_parts_has_of_surface_is_learned_from_washes_logged_both_ways() -> None:
    log = Log()
    for i in range(100):
        log.wash(0.1 * i, 3000.0, mass_g=1000.0)
    by_mass = log.wash(20, None, mass_g=1000.0)
    by_area = log.wash(20, 3000.0)
    assert by_mass.resin_in_g == pytest.approx(by_area.resin_in_g, rel=0.08)


def test_open_plans_are_kept_until_washed_or_past() -> None:
    log = Log()
    for plan, day in (("p1", 2), ("p2", 3)):
        log.add(kinds.PlannedWash, day, tank="alder", resin="slate", area_cm2=100.0, plan=plan)
    log.wash(2, plan="p1")
    assert [plan.plan for plan in log.room.plans] == ["p2"]
    assert RoomFilter.from_bytes(log.room.to_bytes()).plans == log.room.plans
    log.wash(5)
    assert log.room.plans == ()


def test_plans_known_before_their_tank_count_among_its_habits() -> None:
    log = Log()
    for tank in ("birch", "cedar"):
        log.add(
            kinds.PlannedWash, 3, tank=tank, resin="slate", area_cm2=100.0, plan=f"{tank} 1",
            known_from=after(0.5),
        )  # fmt: skip
    log.tank(1, tank="birch")
    assert log.room.habits["birch"].open_plans == {"birch 1": (after(3), 2.5)}
    restored = RoomFilter.from_bytes(log.room.to_bytes())
    assert restored.habits["birch"].open_plans == log.room.habits["birch"].open_plans
    log.wash(3, tank="birch", plan="birch 1")
    assert log.room.habits["birch"].leads_days == [2.5]
    assert log.room.habits["birch"].plans_kept == 1


def test_an_unknown_tank_is_not_found() -> None:
    log = Log()
    with pytest.raises(NotFound):
        log.room.belief("elm", after(1))


def busy_log() -> Log:
    log = Log()
    log.tank(0.1, tank="birch", capacity_l=20.0)
    for week in range(4):
        start = 7 * week + 0.2
        for i in range(20):
            tank = "alder" if i % 3 else "birch"
            log.wash(start + i / 5, 1500 + 100 * i, tank=tank, resin="slate" if i % 2 else "opal")
        log.hydrometer(start + 5, 0.79 + 0.004 * week, 21.0)
        log.sensor(start + 5.5, 1.0 + 1.5 * week)
        log.residue(start + 6, 1.2 + 1.4 * week)
        log.at_tank(kinds.TopUp, start + 6.2, volume_l=1.0, to_mark=True)
        log.at_tank(kinds.Removal, start + 6.3, volume_l=0.4)
    log.at_tank(kinds.Swap, 29)
    log.hydrometer(29.5, 0.7890)
    return log


def test_a_replay_from_any_checkpoint_gives_the_very_same_state() -> None:
    log = busy_log()
    whole = log.room.to_bytes()
    for kept in (1, 2, 17, 40, 77, len(log.entries) - 1):
        early = RoomFilter()
        for entry in log.entries[:kept]:
            early.apply(entry)
        restored = RoomFilter.from_bytes(early.to_bytes())
        for entry in log.entries[kept:]:
            restored.apply(entry)
        assert restored.to_bytes() == whole


def test_effects_after_a_checkpoint_are_the_same_too() -> None:
    log = busy_log()
    plain, stored = RoomFilter(), RoomFilter()
    for entry in log.entries:
        stored = RoomFilter.from_bytes(stored.to_bytes())
        assert plain.apply(entry) == stored.apply(entry)


def test_a_copy_goes_its_own_way() -> None:
    log = busy_log()
    before = log.room.to_bytes()
    twin = log.room.copy()
    twin.apply(kinds.Wash(at=after(30), tank="alder", resin="slate", area_cm2=9000.0))
    assert log.room.to_bytes() == before
    assert twin.to_bytes() != before


def test_the_zone_is_kept() -> None:
    room = RoomFilter(zone=ZoneInfo("Europe/Vienna"))
    assert RoomFilter.from_bytes(room.to_bytes()).zone == ZoneInfo("Europe/Vienna")

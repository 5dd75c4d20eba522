"""A pair in counter-flow: the clean bath gets the film of the dirty one, not resin-wet parts."""

import dataclasses
import math

import numpy as np
import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import SURE, Log, after
from tests.oracles import Ask

FILM_ML_CM2 = SURE.drag_out_ml_cm2
CARRY_G_CM2 = SURE.carry_in_g_cm2
LOADS, AREA_CM2 = 80, 4000.0
KNOWN = dataclasses.replace(SURE, resin_ln_sd=1e-6, water_sd_percent=0.0)


def pair(settings: object = None, told: bool = True) -> Log:
    log = Log(settings, pair="birch" if told else None, limit_percent=60.0)  # type: ignore[arg-type]
    log.tank(0, tank="birch", name="Birch", limit_percent=60.0)
    return log


def load(log: Log, days: float, area_cm2: float = AREA_CM2) -> None:
    """A load in the dirty bath and, a quarter of an hour later, in the clean one."""
    log.wash(days, area_cm2)
    log.wash(days + 0.01, area_cm2, tank="birch")


def loaded(loads: int) -> tuple[float, float, float]:
    """Resin in grams in the dirty and the clean bath, and the volume in mL when full."""
    log = pair(KNOWN)
    volume_ml = 1000 * log.room.belief("alder", after(0)).volume_l
    for i in range(loads):
        load(log, i / 40)
    end = after(loads / 40)
    dirty, clean = (log.room.belief(tank, end) for tank in ("alder", "birch"))
    return dirty.resin_g, clean.resin_g, volume_ml


def test_two_still_baths_follow_the_closed_form() -> None:
    # Batch formula of still rinses in the limit of small loads, loads that each take a film D:
    # c1 = C0 (1 - e^-x), c2 = C0 (1 - e^-x (1 + x)), x = n D/V
    # (Journal of the Surface Finishing Society of Japan 28(7), abstract); C0 = m/D.
    # The dirty bath grows by what it takes in, so x is small enough for that to be little.
    dirty_g, clean_g, volume_ml = loaded(60)
    x = 60 * FILM_ML_CM2 * AREA_CM2 / volume_ml
    ceiling_g = CARRY_G_CM2 / FILM_ML_CM2 * volume_ml
    assert dirty_g == pytest.approx(ceiling_g * (1 - math.exp(-x)), rel=0.06)
    assert clean_g == pytest.approx(ceiling_g * (1 - math.exp(-x) * (1 + x)), rel=0.06)


def test_two_still_baths_follow_their_differential_equation(ask: Ask) -> None:
    # dm1/dn = m - D c1, dm2/dn = D (c1 - c2) with volumes that grow by what comes in; integrated by
    # scipy's solver, independent of the filter's steps.
    dirty_g, clean_g, volume_ml = loaded(LOADS)
    film_ml, load_g = FILM_ML_CM2 * AREA_CM2, CARRY_G_CM2 * AREA_CM2

    ask_of = (load_g, film_ml, round(volume_ml, 6), LOADS)
    dirty, clean = ask("two_still_baths", *ask_of, unit="g")
    assert dirty_g == pytest.approx(dirty, rel=0.005)
    assert clean_g == pytest.approx(clean, rel=0.02)


def test_the_film_is_learned_from_the_clean_bath() -> None:
    plain, wetter = pair(), pair()
    for log, factor in ((plain, 1.0), (wetter, 1.6)):
        for i in range(80):
            load(log, i / 8, 3000.0)
        values = {"sample_g": 100.0, "residue_g": factor * log.percent(10, "birch")}
        log.at_tank(kinds.Reading, 10, tank="birch", method="residue", values=values)
    more, usual = (log.wash(10.1, tank="birch").resin_in_g for log in (wetter, plain))
    assert 1.05 * usual < more < 1.6 * usual


def test_a_pair_that_only_moved_liquid_tells_of_needs_the_same_load_twice() -> None:
    log = pair(told=False)
    log.washes(0, 3)
    log.at_tank(kinds.Swap, 3, from_tank="birch")
    log.at_tank(kinds.Swap, 3.01, tank="birch")
    log.wash(4, 2000.0)
    same = log.wash(4.01, 2000.0, tank="birch")
    log.wash(5, 2000.0)
    other = log.wash(5.01, 700.0, tank="birch")
    assert same.resin_in_g < 0.2 * other.resin_in_g


def test_a_clean_bath_that_is_mostly_washed_in_alone_takes_resin_wet_parts() -> None:
    log = pair()
    first = log.wash(0.1, tank="birch")
    for i in range(12):
        log.wash(0.2 + i, tank="birch")
    last = log.wash(20, tank="birch")
    assert first.resin_in_g < 0.2 * last.resin_in_g


def test_the_band_of_a_clean_bath_holds_the_films_of_many_rooms() -> None:
    # Monte Carlo of the same pair with the film drawn per room and per wash, carry-in too, from
    # the priors that the settings name: 2,000 rooms of masses, no readings.
    log = pair()
    for i in range(80):
        load(log, i / 8, 3000.0)
    belief = log.room.belief("birch", after(10))
    rng, rooms, s = np.random.default_rng(1), 2000, log.room.settings
    carried = np.exp(rng.normal(0, np.hypot(s.carry_in_ln_sd, s.resin_ln_sd), rooms))
    film = FILM_ML_CM2 * 3000 * np.exp(rng.normal(0, s.drag_out_ln_sd, rooms))
    volume_ml = 42_000.0
    dirty, clean = np.zeros(rooms), np.zeros(rooms)
    for _ in range(80):
        in_g = CARRY_G_CM2 * 3000 * carried * np.exp(rng.normal(0, s.wash_ln_sd, rooms))
        moved = film * np.exp(rng.normal(0, s.drag_out_noise, rooms))
        clean += moved * (dirty + in_g - clean) / volume_ml
        dirty += in_g - moved * dirty / volume_ml
    percent = 100 * clean / (clean + volume_ml * 0.788)
    inside = (percent > belief.p05_percent) & (percent < belief.p95_percent)
    assert 0.80 < inside.mean() < 0.97


def test_a_pairs_log_gives_the_same_from_a_checkpoint() -> None:
    log = pair()
    for i in range(30):
        load(log, i / 4)
    twin = RoomFilter.from_bytes(log.room.to_bytes())
    for room in (log.room, twin):
        room.apply(kinds.Wash(at=after(8), tank="alder", resin="slate", area_cm2=900.0))
        room.apply(kinds.Wash(at=after(8.02), tank="birch", resin="slate", area_cm2=900.0))
    assert twin.to_bytes() == log.room.to_bytes()


def swapped_quietly(days_to_reading: float = 1.0) -> tuple[Log, float]:
    """A told pair whose dirty bath was changed and nobody logged it; what the clean one held."""
    log = pair()
    for i in range(60):
        load(log, i / 5)
    log.residue(12, 7.0)
    log.residue(12.1, 7.0)
    clean = log.percent(12.2, "birch")
    for _ in range(2):
        log.residue(12.2 + days_to_reading, 0.2)
    return log, clean


def test_a_dirty_bath_that_was_changed_quietly_leaves_its_clean_bath_open() -> None:
    # Whoever changes the dirty bath of a pair as often as not changes the clean one along.
    log, clean = swapped_quietly()
    dirty, belief = (log.room.belief(tank, after(13.3)) for tank in ("alder", "birch"))
    assert "swap_missing" in dirty.flags
    assert belief.p05_percent < 0.15 * clean + 0.02
    assert belief.p95_percent > 0.9 * clean
    assert belief.mean_percent == pytest.approx((0.55 + 0.45 * 0.15) * clean, rel=0.1)
    assert "swap_missing" not in belief.flags


def test_a_clean_bath_is_left_open_once() -> None:
    log, _ = swapped_quietly()
    said = log.percent(13.3, "birch")
    log.residue(13.3, 0.2)
    assert log.percent(13.3, "birch") == pytest.approx(said, rel=0.02)


def test_a_slip_at_the_dirty_bath_says_nothing_of_the_clean_one() -> None:
    log = pair()
    for i in range(60):
        load(log, i / 5)
    for _ in range(3):
        log.residue(12, 7.0)
    before = log.percent(12.2, "birch")
    assert log.residue(12.2, 20.0).is_set_aside
    assert log.percent(12.2, "birch") == pytest.approx(before, rel=0.05)


def test_a_film_twice_as_thick_as_usual_lies_in_the_band() -> None:
    log = pair()
    for i in range(60):
        load(log, i / 5)
    belief = log.room.belief("birch", after(12))
    assert belief.p95_percent > 2.0 * belief.mean_percent


def test_a_clean_bath_that_is_left_open_is_kept_in_the_state() -> None:
    log = pair()
    for i in range(60):
        load(log, i / 5)
    for _ in range(3):
        log.residue(12, 7.0)
    log.room.to_bytes()
    for _ in range(3):
        log.residue(13, 0.2)
    twin = RoomFilter.from_bytes(log.room.to_bytes())
    assert twin.belief("birch", after(14)) == log.room.belief("birch", after(14))
    load(log, 14)
    load_of_twin = [one for one in log.entries[-2:] if twin.apply(one)]
    assert len(load_of_twin) == 2
    assert twin.to_bytes() == log.room.to_bytes()


def test_a_swap_of_the_dirty_bath_ends_what_was_wrong_about_its_film() -> None:
    # What the estimate was off by in the old liquid tells nothing of the new one.
    def fed(log: Log) -> object:
        return log.room._room.tanks["birch"].fed_at

    log = pair()
    load(log, 1)
    assert fed(log) == after(1.01)
    log.at_tank(kinds.Swap, 2, tank="birch", filled_l=41.0)
    assert fed(log) == after(1.01)
    log.at_tank(kinds.Swap, 3, filled_l=41.0)
    assert fed(log) is None
    quiet, _ = swapped_quietly()
    assert fed(quiet) is None


def test_a_clean_bath_changed_along_may_hold_nothing_or_twice_what_is_usual() -> None:
    # A share of 0.15 of what it held stays, give or take as much (both from memory).
    log = pair()
    for i in range(60):
        load(log, i / 5)
    log.residue(12, 7.0)
    log.residue(12.1, 7.0)
    held_g = log.room.belief("birch", after(12.2)).resin_g

    def unsure_g() -> list[float]:
        return list(np.sqrt(log.room._room.baths["birch"].spread[:, 0, 0]))

    (before_g,) = unsure_g()
    for _ in range(2):
        log.residue(13.2, 0.2)
    as_it_was, changed = unsure_g()
    assert as_it_was == pytest.approx(before_g, rel=0.01)
    assert changed == pytest.approx(0.15 * math.hypot(before_g, held_g), rel=0.01)

"""What-if cases on a small room: costs add up, choices act as they must, ranges are honest."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from app.domain.spend.whatif.cases import LOW, Room, seconds_of, spread
from app.domain.spend.whatif.outcomes import Outcome, outcome, outcomes
from tests.domain.spend.whatif.rooms import bath, load, room

TPM = "tripropylene_glycol_methyl_ether"


def test_a_year_of_constant_load_costs_what_a_hand_works_out() -> None:
    # 25 g a day, nothing lost, 40 L at 10 %: a full fill takes 31.6 kg * 0.1/0.9 = 3511 g, 98 % of
    # which is drained: 365 * 25 / (0.98 * 3511) = 2.65 swaps of 39.2 L (no heel) at 4 EUR, of
    # 34.4 kg at 3 EUR, of an hour at 30 EUR: 290.1 EUR each. Worked by hand; a year has whole
    # swaps, and each stands a day or two early: within 4 % over the paths' phases.
    here = room(load(25.0, paths=16), [bath(below_l=0.0)])
    one = outcome(here, {})
    swaps = 365 * 25 / (0.98 * 31_600 / 9)
    each_cents = 100 * (39.2 * 4 + 0.98 * 31.6 / 0.9 * 3 + 30)
    assert one.of("swaps").middle == pytest.approx(swaps, rel=0.04)
    assert one.cents == pytest.approx(swaps * each_cents, rel=0.04)


def test_a_later_limit_means_fewer_swaps_less_waste_and_more_on_the_parts() -> None:
    found = [outcome(room(), {"limit_percent": limit}) for limit in (8, 10, 12, 15)]
    for name, sign in (("swaps", -1), ("waste_kg", -1), ("cents", -1), ("residue_g", 1)):
        values = [sign * one.of(name).middle for one in found]
        assert values == sorted(values), name


def test_parts_of_the_cost_add_up_and_the_range_holds_the_middle() -> None:
    one = outcome(room(), {"recovery_percent": 70, "recovery_per_l": 0.5})
    assert sum(one.parts.values()) == one.cents
    found = one.of("cents")
    assert found.low <= found.middle <= found.high
    assert abs(found.middle - one.cents) <= 2
    assert one.parts["recovery"] > 0


def test_a_doubtful_load_widens_the_amounts_more_than_the_differences() -> None:
    sure = room(load(60.0, 0.5, 0.004, paths=16))
    level = np.exp(0.2 * np.linspace(-1.5, 1.5, 16))
    unsure = replace(sure, level=level / level.mean())

    def width(here: Room, name: str = "cents") -> float:
        found = outcome(here, {}).of(name)
        return found.high - found.low

    assert width(unsure) > 2 * width(sure)
    both = outcomes(unsure, {"now": {}, "later": {"limit_percent": 12}})
    apart = both["later"].against(both["now"], "cents")
    assert apart.high < 0
    assert apart.high - apart.low < 0.7 * width(unsure)


def test_the_range_leaves_a_tenth_out_on_either_side() -> None:
    found = spread(np.arange(101.0))
    assert (found.low, found.middle, found.high) == (100 * LOW, 50.0, 90.0)


def test_containers_are_bought_whole_at_the_price_of_the_case() -> None:
    one = outcome(room(load(60.0, 0.5, 0.004)), {"container_l": 200, "container_price": 500})
    number = one.of("containers").middle
    assert number == math.ceil(one.of("fresh_l").middle / 200)
    assert one.parts["solvent"] == number * 50_000


def test_disposal_is_by_the_kilogram_or_by_whole_drums() -> None:
    here = room(load(60.0, 0.5, 0.004), drum_l=180.0)
    by_kg = outcome(here, {"disposal_per_kg": 2})
    assert by_kg.parts["disposal"] == round(200 * by_kg.of("waste_kg").middle)
    by_drum = outcome(here, {"disposal_per_drum": 90})
    assert by_drum.parts["disposal"] % 9_000 == 0
    assert by_drum.parts["disposal"] >= 9_000


def test_a_container_is_of_the_solvent_most_used_and_the_others_are_bought_as_now() -> None:
    baths = [bath(), bath("t2"), bath("t3", solvent=TPM, solvent_density_g_ml=0.967)]
    both = {"isopropanol": 400.0, TPM: 900.0}
    here = room(None, baths, solvent_cents_per_l=both, container_l=10.0)
    now, same = outcome(here, {}), outcome(here, {"container_l": 10, "container_price": 40})
    assert same.cents == now.cents  # its present size and price change nothing
    cheap = outcome(here, {"container_l": 10, "container_price": 20})
    spared = now.parts["solvent"] - cheap.parts["solvent"]
    of_ipa = outcome(room(None, baths, solvent_cents_per_l=both | {TPM: 0.0}, container_l=10.0), {})
    assert spared == pytest.approx(of_ipa.parts["solvent"] / 2, abs=2)
    assert any("the most used solvent" in text for text in cheap.assumes)


def test_an_ordinary_still_gives_no_solvent_back_that_boils_too_high() -> None:
    here = room(None, [bath(solvent=TPM, solvent_density_g_ml=0.967)],
                solvent_cents_per_l={TPM: 900.0})  # fmt: skip
    now, still = outcome(here, {}), outcome(here, {"recovery_percent": 70})
    assert still.cents == now.cents
    assert any("needs a vacuum still is not recovered" in text for text in still.assumes)


def test_recovery_buys_less_ships_less_and_takes_longer() -> None:
    both = outcomes(room(), {"now": {}, "still": {"recovery_percent": 80}})
    now, still = both["now"], both["still"]
    assert still.parts["solvent"] < now.parts["solvent"]
    assert still.of("waste_kg").middle < 0.5 * now.of("waste_kg").middle
    assert still.of("labour_h").middle > now.of("labour_h").middle
    assert still.of("swaps") == now.of("swaps")


def test_renewing_a_part_saves_no_waste_to_speak_of_and_leaves_more_on_the_parts() -> None:
    # What is drained holds the limit's share of resin either way; but the bath is never clean.
    here = room(load(60.0, 0.02, paths=4))
    whole, part = outcome(here, {}), outcome(here, {"renew_percent": 25})
    assert part.of("swaps").middle > 3 * whole.of("swaps").middle
    assert part.of("waste_kg").middle == pytest.approx(whole.of("waste_kg").middle, rel=0.1)
    assert part.of("residue_g").middle > 1.4 * whole.of("residue_g").middle


def test_a_slow_solvent_evaporates_less() -> None:
    here = room(solvent_cents_per_l={"isopropanol": 400.0, TPM: 400.0})
    slow = outcome(here, {"solvent": TPM})
    assert slow.of("fresh_l").middle < outcome(here, {}).of("fresh_l").middle


def test_half_the_bath_means_twice_the_swaps() -> None:
    here = room(load(60.0, 0.02, paths=8), [bath(below_l=0.0)])
    half, now = outcome(here, {"size_percent": 50}), outcome(here, {})
    assert half.of("swaps").middle == pytest.approx(2 * now.of("swaps").middle, rel=0.08)


def pairs(**more: Any) -> Room:
    """A room of one pair: 30 g a day, and a film of 0.02 L on the parts."""
    many = [bath("dirty", second="clean", **more), bath("clean", limit_percent=2.0)]
    return room(load(30.0, 0.02, 0.004, baths=2, paths=4), many)


def test_single_baths_do_without_the_second_of_a_pair() -> None:
    found = outcomes(pairs(), {"now": {}, "single": {"baths": "single"}})
    assert found["single"].of("residue_g").middle > 3 * found["now"].of("residue_g").middle


def test_a_limit_of_the_dirty_bath_tells_on_what_leaves_a_pair_that_exists() -> None:
    cases = {str(limit): {"limit_percent": limit} for limit in (8, 12, 15)}
    found = outcomes(pairs(), cases)
    left = [found[name].of("residue_g").middle for name in cases]
    assert left[0] < 0.8 * left[1] < 0.8 * left[2]
    swaps = [found[name].of("swaps").middle for name in cases]
    assert swaps[0] > swaps[1] > swaps[2]
    assert any("the clean bath moves up" in text for text in found["8"].assumes)


def test_where_the_clean_bath_is_swapped_alone_its_own_limit_holds_and_that_is_said() -> None:
    alone = outcome(pairs(moves_up=False), {"limit_percent": 15})
    assert any("hardly changes what leaves the pairs" in text for text in alone.assumes)


def test_a_pair_that_exists_is_as_one_that_a_case_makes() -> None:
    # The second bath of `paired` has no limit of its own; nor has this one before the dirty is due.
    made = outcome(room(load(30.0, 0.02, 0.004, paths=4), [bath("dirty")]), {"baths": "paired"})
    many = [bath("dirty", second="clean"), bath("clean", limit_percent=90.0)]
    past = replace(load(30.0, 0.02, 0.004, baths=2, paths=4))
    there = outcome(room(past, many), {})
    for name in ("swaps", "residue_g", "fresh_l", "waste_kg"):
        assert there.of(name).middle == pytest.approx(made.of(name).middle, rel=0.03), name


def test_what_is_logged_in_a_clean_bath_are_the_same_parts_again() -> None:
    once = pairs()
    silent = replace(once.past, resin_g=once.past.resin_g * [[[1.0]], [[0.0]]],
                     washes=once.past.washes * [[1.0], [0.0]])  # fmt: skip
    assert outcome(replace(once, past=silent), {}).cents == outcome(once, {}).cents


def test_a_ring_of_baths_is_cut_where_it_closes() -> None:
    ring = [bath("a", second="b"), bath("b", second="c"), bath("c", second="a"),
            bath("d", second="d"), bath("e", second="gone")]  # fmt: skip
    assert seconds_of(ring) == {"a": "b", "b": "c"}
    here = room(load(30.0, 0.02, baths=5, paths=2), ring)
    assert outcome(here, {"limit_percent": 12}).of("residue_g").middle > 0


def test_half_a_year_comes_twice() -> None:
    whole = room(load(60.0, 0.5, 0.004, days=364, paths=4))
    half = room(load(60.0, 0.5, 0.004, days=182, paths=4))
    assert outcome(half, {}).of("fresh_l") == outcome(whole, {}).of("fresh_l")


def test_three_days_of_history_count_as_three_of_seven() -> None:
    days = load(70.0, days=7)
    grams = days.resin_g.copy()
    grams[:, :4] = 0.0
    short = replace(days, resin_g=grams, lived_days=(3,))
    year = short.ahead(364, np.ones(1))
    assert float(year.resin_g.sum()) == pytest.approx(52 * 3 * 70 * 7 / 3)


@pytest.mark.parametrize(
    "changes,word",
    [
        ({"limit_percent": 12}, "more resin on every part"),
        ({"recovery_percent": 50}, "fire, explosion and pressure"),
        ({"solvent": TPM}, "safety data sheet"),
        ({"baths": "paired"}, "flammable"),
        ({"renew_percent": 30}, "never clean"),
        ({"limit_percent": 20}, "8 to 15 %"),
    ],
)
def test_a_choice_that_can_hurt_says_so(changes: dict[str, Any], word: str) -> None:
    assert any(word in text for text in outcome(room(), changes).cautions)


def test_a_lower_limit_or_another_price_needs_no_caution() -> None:
    for changes in ({}, {"limit_percent": 8}, {"disposal_per_kg": 1}):
        assert outcome(room(), changes).cautions == ()


def test_a_price_that_nobody_knows_is_named() -> None:
    found: Outcome = outcome(room(unknown=("price of disposal",)), {})
    assert any("price of disposal" in text for text in found.assumes)

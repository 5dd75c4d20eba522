"""The model finds back when a room swaps, and says where the books lie outside its range."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.spend.whatif.backtest import (
    Books,
    Drained,
    Figure,
    Line,
    Paid,
    Stretch,
    past_flows,
    repeated,
    with_carry,
    with_habits,
)
from app.domain.spend.whatif.cases import Spread
from app.domain.spend.whatif.loads import even_normals
from app.domain.spend.whatif.outcomes import outcome
from tests.domain.spend.whatif.rooms import bath, load, room

FIRST = {"t1": 0.0}


def test_the_replayed_past_swaps_where_the_room_did() -> None:
    here = room(load(60.0, 0.3, 0.003, paths=4))
    found = with_habits(here, {"t1": Drained((0.82, 0.8, 0.78, 0.8))}, FIRST, {"t1": 0.3})
    flows = past_flows(found, FIRST, found.past)
    drained = float(flows.drained_share.sum() / flows.renewals.sum())
    assert drained == pytest.approx(0.8, abs=0.02)


def test_a_room_without_swaps_swaps_as_the_plan_would() -> None:
    # One chance in ten that a limit of 10 % is passed, known to 0.5 %: 10 - 1.2816 * 0.5 = 9.36.
    found = with_habits(room(), {}, FIRST, {"t1": 0.5})
    assert found.baths[0].early_share == pytest.approx(0.936, abs=1e-3)


def test_a_clean_bath_keeps_its_own_habit() -> None:
    many = [bath("dirty", second="clean", moves_up=False), bath("clean", limit_percent=2.0)]
    here = room(load(60.0, 0.3, 0.003, baths=2, paths=4), many)
    habits = {"dirty": Drained((0.95,) * 6), "clean": Drained((0.6,) * 3)}
    found = with_habits(here, habits, {}, {})
    flows = past_flows(found, {}, found.past)
    shares = flows.drained_share.sum(axis=1) / flows.renewals.sum(axis=1)
    assert shares[0] == pytest.approx(0.95, abs=0.06)
    assert shares[1] < shares[0]


def test_what_comes_into_a_clean_bath_is_what_its_own_record_says() -> None:
    many = [bath("dirty", second="clean"), bath("clean", limit_percent=2.0)]
    here = room(load(40.0, 0.05, 0.003, baths=2, paths=4), many)
    film_g = float(past_flows(here, {}, here.past).brought_g[1].mean())
    found = with_carry(here, {}, {"clean": 2.5 * film_g})
    flows = past_flows(found, {}, found.past)
    came_in_g = (flows.brought_g * found.past.carry)[1]
    assert came_in_g == pytest.approx(2.5 * film_g, rel=0.1)
    assert with_carry(here, {}, {"clean": 0.1 * film_g}).past.carry == pytest.approx(1)  # the film


def stretch(first: int = 0, until: int = 364, **booked: float) -> Stretch:
    values: dict[str, Any] = {"swaps": 0, "bath_l": 0.0}
    return Stretch(first, until, FIRST, Books(**(values | booked)))


def test_books_that_lie_outside_the_range_are_said_to_and_widen_it() -> None:
    here = with_habits(room(load(60.0, 0.3, 0.003, paths=8)), {}, FIRST, {"t1": 0.3})
    [told, *_] = repeated(here, [stretch()], Paid())
    swaps = round(told.whole.told.middle)
    near = stretch(swaps=swaps, bath_l=1e6, waste_kg=1.0, solvent_cents=1.0)
    found = {one.name: one for one in repeated(here, [near], Paid({"isopropanol": 400.0}))}
    assert list(found) == ["swaps", "bath_l", "waste_kg", "solvent_cents"]
    assert [one.whole.is_within for one in found.values()] == [True, False, False, False]
    assert [one.held for one in found.values()] == [1, 0, 0, 0]
    assert all(one.held_widened == 1 for one in found.values())
    wide = found["waste_kg"].whole.widened(found["waste_kg"].doubt)
    assert wide.low <= 1.0 <= wide.high


def line(low: float, booked: float, high: float) -> Line:
    return Line("swaps", booked, Spread((low + high) / 2, low, high))


def test_the_range_is_widened_as_far_as_the_misses_ask() -> None:
    # Of a range of 8 to 12 about 10, 13 lies out by a tenth of 10 and 15 by three tenths. Nine
    # stretches: 0.8 of ten is eight, so the eighth of the sorted misses (by hand): a tenth.
    nine = [line(8, 10, 12)] * 7 + [line(8, 13, 12), line(8, 15, 12)]
    found = Figure(line(8, 9, 12), tuple(nine))
    assert found.doubt == pytest.approx(0.1)
    assert (found.held, found.held_widened, len(found.lines)) == (8, 9, 10)
    whole = Figure(line(8, 15, 12), tuple(nine))
    assert whole.doubt == pytest.approx(0.3)  # never narrower than what the whole asks
    few = Figure(line(8, 9, 12), (line(8, 13, 12), line(8, 10, 12)))
    assert few.doubt == pytest.approx(0.1)


@given(
    st.lists(st.tuples(st.floats(0, 50), st.floats(0, 100), st.floats(0, 50)), min_size=1,
             max_size=13),
)  # fmt: skip
def test_a_widened_range_holds_the_record_as_often_as_it_says(
    told: list[tuple[float, float, float]],
) -> None:
    lines = [line(100 - low, 50 + booked, 100 + high) for low, booked, high in told]
    found = Figure(lines[-1], tuple(lines[:-1]))
    assert found.held_widened >= math.floor(0.8 * len(lines))
    assert found.whole.is_held(found.doubt)


def test_books_of_what_the_model_tells_nothing_of_are_held_too() -> None:
    found = Figure(Line("bath_l", 39.0, Spread(0.0, 0.0, 0.0)))
    assert found.doubt == pytest.approx(1.0)
    wide = found.whole.widened(found.doubt)
    assert wide.low <= 39.0 <= wide.high


def test_a_year_is_told_with_the_range_that_its_past_asks_for() -> None:
    here = replace(room(), doubts={"cents": 0.1, "swaps": 0.2})
    plain, wider = outcome(room(), {}), outcome(here, {})
    for name, share in (("cents", 0.1), ("swaps", 0.2), ("waste_kg", 0.0)):
        one, other = plain.of(name), wider.of(name)
        assert other.middle == one.middle
        assert one.low - other.low == pytest.approx(share * one.middle)
        assert other.high - one.high == pytest.approx(share * one.middle)
    later = outcome(here, {"limit_percent": 12})
    apart = later.against(wider, "cents")
    assert apart.low < outcome(room(), {"limit_percent": 12}).against(plain, "cents").low


def test_a_part_of_the_past_starts_where_its_baths_stood() -> None:
    here = room(load(60.0, 0.3, 0.003, paths=4))
    half = past_flows(here, {"t1": 5.0}, here.past, 182, 364)
    assert float(half.resin_in_kg.mean()) == pytest.approx(182 * 0.06)
    assert half.end.resin_g.shape == (1, 4)


def test_even_normals_lie_evenly_whatever_their_order() -> None:
    found = even_normals(16, np.random.default_rng(3))
    assert abs(found.mean()) < 1e-9
    assert found.std() == pytest.approx(0.97, abs=0.03)

"""The model finds back when a room swaps, and says where the books lie outside its range."""

import numpy as np
import pytest

from app.domain.spend.loads import even_normals
from app.domain.spend.repeat import Books, Drained, past_flows, repeated, with_habits
from tests.domain.spend.rooms import bath, load, room

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
    many = [bath("dirty", second="clean"), bath("clean", limit_percent=2.0)]
    here = room(load(40.0, 0.3, 0.003, baths=2, paths=4), many)
    habits = {"dirty": Drained((0.95,) * 6), "clean": Drained((0.6,) * 3)}
    found = with_habits(here, habits, {}, {})
    flows = past_flows(found, {}, found.past)
    shares = flows.drained_share.sum(axis=1) / flows.renewals.sum(axis=1)
    assert shares[0] == pytest.approx(0.95, abs=0.04)
    assert shares[1] < shares[0]


def test_books_that_lie_outside_the_range_are_said_to() -> None:
    here = with_habits(room(load(60.0, 0.3, 0.003, paths=8)), {}, FIRST, {"t1": 0.3})
    swaps = repeated(here, FIRST, Books(0, 0.0))[0].told.middle
    near = repeated(here, FIRST, Books(round(swaps), 1e6, 1.0, 1.0, {"isopropanol": 400.0}))
    assert [line.name for line in near] == ["swaps", "bath_l", "waste_kg", "solvent_cents"]
    assert [line.is_within for line in near] == [True, False, False, False]


def test_even_normals_lie_evenly_whatever_their_order() -> None:
    found = even_normals(16, np.random.default_rng(3))
    assert abs(found.mean()) < 1e-9
    assert found.std() == pytest.approx(0.97, abs=0.03)

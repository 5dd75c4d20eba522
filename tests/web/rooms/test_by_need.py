"""The order and the size in which tanks are drawn."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from app.store.queries import TankView
from app.web import words
from app.web.rooms import by_need as need
from app.web.rooms.by_need import Vessel, by_need, everything, laid_out
from app.web.rooms.gauge import gauge_of
from tests.web.views import queued, tank_view


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> TankView:
    folder: Path = tmp_path_factory.mktemp("view")
    return tank_view(folder)


def vessel(view: TankView, state: words.State, place: int = 1, **change: Any) -> Vessel:
    tank = replace(view, place=place, key=f"t{place}", **change)
    return Vessel(tank, gauge_of(tank), state, "", words.DaysLeft("", "", ""), "")


def test_over_comes_before_today_before_measure_before_begun_before_calm(view: TankView) -> None:
    states: list[words.State] = [
        "ok", "swapping", "measure", "unknown", "soon", "over", "check", "held", "stop",
    ]  # fmt: skip
    found = by_need([vessel(view, state, place) for place, state in enumerate(states)])
    ranks = [need.ORDER.get(one.state, 9) for one in found]
    assert ranks == [0, 0, 0, 1, 2, 2, 3, 9, 9]


def test_the_fullest_comes_first_among_those_over_and_the_soonest_among_the_calm(
    view: TankView,
) -> None:
    over = [vessel(view, "over", 1, mean_percent=10.5), vessel(view, "over", 2, mean_percent=13.0)]
    calm = [
        vessel(view, "ok", 3, swap=queued(days=None, urgency="unknown")),
        vessel(view, "ok", 4, swap=queued(days=40)),
        vessel(view, "ok", 5, swap=queued(days=6)),
    ]
    assert [one.tank.place for one in by_need([*calm, *over])] == [2, 1, 5, 4, 3]


@pytest.mark.parametrize("needy", [0, 1, 3, 6, 9, 12, 40])
@pytest.mark.parametrize("calm", [0, 1, 6, 11, 55])
@pytest.mark.parametrize("others", [0, 5])
def test_every_tank_has_its_place_and_all_of_it_fits(
    view: TankView, needy: int, calm: int, others: int
) -> None:
    vessels = [vessel(view, "over", place) for place in range(needy)]
    vessels += [vessel(view, "ok", needy + place) for place in range(calm)]
    found = laid_out(vessels, others, stations=3)
    shown = [*found.needy, *found.more, *found.rows, *found.named, *found.rest]
    assert [one.tank.place for one in shown] == list(range(needy + calm))
    height = need.HEIGHTS[found.size] * len(found.needy) + need.ROW * bool(found.more)
    height += need.ROW * len(found.rows) + need.ROW * bool(found.rest)
    height += max(need.ROW, need.LINE * len(found.named)) if found.named else 0
    height += need.OTHER * others if found.are_others_open else need.ROW * bool(others)
    assert height + 3 * need.STATION <= need.SCREEN


def test_few_stand_large_and_the_full_list_leaves_nobody_out(view: TankView) -> None:
    few = [vessel(view, "over"), vessel(view, "ok", 2)]
    assert laid_out(few, 0, 0).size == "large"
    many = [vessel(view, "over", place) for place in range(60)]
    assert laid_out(many, 0, 0).more
    whole = everything([*many, vessel(view, "ok", 60)])
    assert (len(whole.needy), len(whole.rows), len(whole.more)) == (60, 1, 0)

"""Where the solvent went: a balance worked by hand, and what is flagged."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.roomlog.kinds import Entry, Removal, Swap, Tank, TopUp
from app.domain.spend.mass_balance import (
    UNEXPLAINED,
    WENT,
    Balance,
    came,
    levels_at,
    shown_in,
    summed,
)

START = datetime(2026, 1, 5, tzinfo=UTC)


def at(day: float) -> datetime:
    return START + timedelta(days=day)


def losing(_tank: str, since: datetime, until: datetime) -> float:
    """Half a litre a day."""
    return -0.5 * ((until - since) / timedelta(days=1))


def tank(key: str = "t1", litres: float = 40.0) -> Tank:
    return Tank(at=at(0), tank=key, name=key, capacity_l=litres, solvent="isopropanol",
                limit_percent=10.0)  # fmt: skip


def level(day: float, *entries: Entry) -> dict[str, float]:
    return levels_at(list(entries), [at(day)], losing)[0]


def test_a_bath_falls_by_its_losses_and_a_level_seen_sets_it() -> None:
    assert level(4, tank()) == {"t1": 38.0}
    up = TopUp(at=at(4), tank="t1", volume_l=1.5)
    assert level(6, tank(), up)["t1"] == pytest.approx(38.5)
    to_mark = TopUp(at=at(4), tank="t1", volume_l=1.5, to_mark=True)
    assert level(6, tank(), to_mark)["t1"] == pytest.approx(39.0)


def test_a_swap_drains_and_fills_and_a_removal_takes_out() -> None:
    swap = Swap(at=at(2), tank="t1", drained_l=38.0, filled_l=39.0)
    taken = Removal(at=at(3), tank="t1", volume_l=2)
    assert level(3, tank(), swap)["t1"] == pytest.approx(39.5)
    assert level(4, tank(), swap, taken)["t1"] == pytest.approx(37.0)


def test_what_is_moved_from_another_bath_leaves_it() -> None:
    moved = Swap(at=at(0), tank="t1", from_tank="t2")
    both = level(0.0001, tank(), tank("t2", 30.0), moved)
    assert both["t1"] + both["t2"] == pytest.approx(0.8 + 30.0, abs=0.01)
    assert both["t2"] == pytest.approx(0.0, abs=0.01)


def test_a_balance_worked_by_hand() -> None:
    # 100 L bought; 3 L of resin carried in; 20 more on the shelf, 5 less in the tanks, 70 in
    # drums, 12 evaporated and dragged out, 2 thrown away: 103 - 99 = 4 L unexplained.
    balance = Balance(
        bought_l=100, resin_l=3, on_shelf_l=20, in_tanks_l=-5, drums_l=70, lost_l=12, scrapped_l=2,
        moved_l=140,
    )  # fmt: skip
    assert balance.unexplained_l == pytest.approx(4.0)
    assert balance.tolerance_l(5) == pytest.approx(0.05 * 140 + 0.3 * 12)
    assert not balance.is_flagged(5)


def test_a_leak_is_flagged_and_so_is_a_top_up_that_nobody_logged() -> None:
    assert Balance(bought_l=60, drums_l=40, lost_l=5, moved_l=80).is_flagged(5)
    assert Balance(bought_l=40, drums_l=40, in_tanks_l=10, moved_l=80).is_flagged(5)


def test_a_steady_leak_shows_over_a_quarter_before_it_shows_in_a_week() -> None:
    week = Balance(bought_l=40, drums_l=31, lost_l=6, moved_l=71)
    assert not week.is_flagged(5)
    quarter = week
    for _ in range(12):
        quarter = quarter.plus(week)
    assert quarter.weeks == 13
    assert quarter.is_flagged(5)


LITRES = st.floats(-500, 500)
BALANCES = st.builds(
    Balance, bought_l=LITRES, resin_l=LITRES, set_up_l=LITRES, on_shelf_l=LITRES,
    in_tanks_l=LITRES, drums_l=LITRES, lost_l=LITRES, scrapped_l=LITRES,
)  # fmt: skip


@given(st.lists(BALANCES, min_size=1, max_size=13), st.sampled_from([1.0, 10.0, 26.4]))
def test_balances_close_as_they_are_shown_and_so_do_their_sums(
    some: list[Balance], steps_per_l: float
) -> None:
    rows = [shown_in(balance, steps_per_l) for balance in some]
    for row in [*rows, summed(rows)]:
        assert came(row) == sum(row[name] for name in (*WENT, UNEXPLAINED))
    for balance, row in zip(some, rows, strict=True):
        assert row[UNEXPLAINED] == pytest.approx(balance.unexplained_l * steps_per_l, abs=4.5)

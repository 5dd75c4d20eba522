"""What is told late of a bath whose swap is under way moves the litres its swap reckons with."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from app.domain.roomlog.kinds import Removal, TopUp
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, withdraw
from tests.services.swaps.led import BEGAN, Run, swap_store, tank_row

BEFORE = BEGAN - timedelta(hours=1)
NEAR_L = 0.05  # what evaporates in the hours of the swap


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room whose bath stands 6 L below its mark."""
    store = swap_store(tmp_path)
    record(store, ROOM, [Removal(at=BEGAN - timedelta(days=1), tank="t1", volume_l=6.0)], NOW)
    yield store
    store.close()


def top_up(litres: float = 5.0, at: object = BEFORE) -> TopUp:
    return TopUp(at=at, id="late", tank="t1", volume_l=litres)  # type: ignore[arg-type]


def test_a_top_up_told_after_the_swap_began_is_in_its_estimate(store: Store) -> None:
    """40 L less 6 removed and 5 topped up, told late: 39 L, not 34."""
    run = Run(store)
    began_l = run.state.estimated_l
    record(store, ROOM, [top_up()], NOW)
    assert run.state.estimated_l == pytest.approx(began_l + 5.0, abs=NEAR_L)
    assert tank_row(store).volume_l == pytest.approx(run.state.estimated_l, abs=NEAR_L)


def test_a_balance_of_a_bath_topped_up_late_accounts_for_each_litre(store: Store) -> None:
    run = Run(store)
    began_l = run.state.estimated_l
    record(store, ROOM, [top_up(6.0)], NOW)
    run.until_done()
    run.complete()
    balance = run.state.balance
    assert balance is not None
    assert balance.estimated_l == pytest.approx(began_l + 6.0, abs=NEAR_L)
    assert balance.loss_l == pytest.approx(began_l + 6.0 - 39.0 - balance.heel_l, abs=NEAR_L)


def test_a_top_up_taken_back_after_the_swap_began_is_out_of_its_estimate(store: Store) -> None:
    record(store, ROOM, [top_up()], NOW)
    run = Run(store)
    began_l = run.state.estimated_l
    withdraw(store, ROOM, "late", "Wren", "", NOW, None)
    assert run.state.estimated_l == pytest.approx(began_l - 5.0, abs=NEAR_L)


def test_a_top_up_between_start_and_drain_is_in_the_estimate(store: Store) -> None:
    run = Run(store)
    began_l = run.state.estimated_l
    record(store, ROOM, [top_up(at=BEGAN + timedelta(minutes=1, seconds=30))], NOW)
    run.until_drained()
    assert run.state.estimated_l == pytest.approx(began_l + 5.0, abs=NEAR_L)


def test_what_was_told_in_time_leaves_the_estimate_as_it_was_at_the_start(store: Store) -> None:
    record(store, ROOM, [top_up()], NOW)
    run = Run(store)
    began_l = run.state.estimated_l
    run.until_drained()
    assert run.state.estimated_l == began_l


def test_the_clean_bath_of_a_pair_is_brought_up_too(store: Store) -> None:
    record(store, ROOM, [Removal(at=BEFORE - timedelta(hours=1), tank="clean", volume_l=6.0)], NOW)
    run = Run(store, "dirty", "clean")
    began_l = run.state.from_estimated_l or 0.0
    record(store, ROOM, [TopUp(at=BEFORE, tank="clean", volume_l=4.0)], NOW)
    assert run.state.from_estimated_l == pytest.approx(began_l + 4.0, abs=NEAR_L)

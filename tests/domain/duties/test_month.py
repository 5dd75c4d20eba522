"""The month closed to the fill line, against the regulation's formula worked by hand."""

from datetime import UTC, datetime, timedelta

import pytest

from app.domain.duties.book import CLOSE_BOOK, CloseState
from app.domain.duties.month import emission, movements
from app.domain.roomlog.kinds import Removal, Swap, TopUp
from app.domain.roomlog.kinds.duties import MonthClose
from app.domain.things import fold

AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


def test_the_loss_is_what_was_added_and_not_taken_out() -> None:
    # 40 CFR 63.465(c): E = SA - LSR - SSR. Added 4 x 2 L and a swap's 39.2 L, drained 39.2 L,
    # 0.3 L in sludge: 47.2 - 39.2 - 0.3 = 7.7 L.
    assert emission(47.2, 39.2, 0.3) == pytest.approx(7.7)
    assert emission(5, 5, 0) == 0


def test_a_negative_loss_is_refused_with_its_reason() -> None:
    assert emission(5.0, 6.0, 0.0) < 0
    close = MonthClose(at=AT, tank="t1", added_l=5.0, removed_l=6.0, is_at_line=True)
    assert [error.field for error in close.problems()] == ["added_l"]
    assert "6.00 L" in close.problems()[0].message


def test_a_bath_that_is_not_at_its_line_is_no_close() -> None:
    assert MonthClose(at=AT, tank="t1", added_l=1.0).problems()[0].field == "is_at_line"


def test_top_ups_removals_and_swaps_move_the_bath() -> None:
    found = movements([
        TopUp(at=AT, tank="t1", volume_l=2.0), TopUp(at=AT, tank="t1", volume_l=1.5),
        Removal(at=AT, tank="t1", volume_l=0.5),
        Swap(at=AT, tank="t1", drained_l=39.2, filled_l=39.2), Swap(at=AT, tank="t1"),
    ])  # fmt: skip
    assert (found.added_l, found.removed_l) == (pytest.approx(42.7), pytest.approx(39.7))
    assert (found.additions, found.removals, found.unstated) == (3, 2, 1)


def test_the_first_close_is_the_start_and_has_no_loss() -> None:
    state = fold(CLOSE_BOOK, "t1", [
        MonthClose(at=AT, tank="t1", is_at_line=True, by="Wren"),
        MonthClose(at=AT + timedelta(days=30), tank="t1", is_at_line=True, added_l=11.0,
                   removed_l=3.0, solids_l=0.5),
    ])  # fmt: skip
    assert isinstance(state, CloseState)
    assert state.closes[0].loss_l is None
    assert state.last is not None
    assert state.last.loss_l == pytest.approx(7.5)

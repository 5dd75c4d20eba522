"""A count with its noun."""

import pytest

from app.domain.plural import counted


@pytest.mark.parametrize(
    "count, decimals, said",
    [
        (0, 0, "0 washes"),
        (1, 0, "1 wash"),
        (2, 0, "2 washes"),
        (1200, 0, "1,200 washes"),
        (0.6, 0, "1 wash"),  # the figure that is shown decides
        (1.4, 0, "1 wash"),
        (1.6, 0, "2 washes"),
        (1.0, 1, "1.0 washes"),
    ],
)
def test_one_stays_one_by_the_figure_that_is_shown(count: float, decimals: int, said: str) -> None:
    assert counted(count, "wash", "washes", decimals) == said


def test_a_plural_that_is_not_given_has_an_s() -> None:
    assert (counted(1, "day"), counted(3, "day")) == ("1 day", "3 days")

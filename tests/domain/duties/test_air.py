"""The trend of the speed of air at a hood, against a ratio worked by hand."""

import pytest

from app.domain.duties.air import speed_words


@pytest.mark.parametrize(
    "speeds, words",
    [
        ([], ""),
        ([0.5], "0.50 m/s"),
        ([0.50, 0.52], "0.52 m/s, before that 0.50; steady"),
        ([0.60, 0.55, 0.48], "0.48 m/s, before that 0.55; 20 % less than at first"),
        ([0.40, 0.50], "0.50 m/s, before that 0.40; 25 % more than at first"),
        ([0.0, 0.5], "0.50 m/s, before that 0.00; steady"),
    ],
)
def test_the_latest_speed_stands_beside_the_one_before_and_the_first(
    speeds: list[float], words: str
) -> None:
    assert speed_words(speeds) == words

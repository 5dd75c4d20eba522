"""What is said of light near 400 nm: how much of it counts as UV-A, and by whose limits."""

import pytest

from app.domain.curing.exposure import BLUE, eye_limit

UV, VISIBLE = "ICNIRP, Health Physics 87 (2004) 171", "ICNIRP, Health Physics 105 (2013) 74"


def test_a_share_that_is_known_is_said_with_where_it_comes_from() -> None:
    found = eye_limit(405, 50, below_400_percent=50)
    assert found.seconds == 40  # 1000 mJ/cm2 at 25 mW/cm2
    assert "of the 50 % of its light below 400 nm (by its data sheet). " in found.text


def test_a_limit_that_a_shift_does_not_reach_gives_no_time_and_is_named_all_the_same() -> None:
    """1000 mJ/cm2 at 0.02 mW/cm2 take 50 000 s; the limit is for 8 hours, 28 800 s."""
    found = eye_limit(405, 0.04, below_400_percent=50)
    assert found.seconds is None
    assert "10 kJ/m² within 8 hours" in found.text
    assert found.text.endswith(BLUE)


@pytest.mark.parametrize("share", [None, 50.0])
def test_both_limits_are_named_while_a_part_may_be_uv_a(share: float | None) -> None:
    found = eye_limit(405, 50, shape="mercury", below_400_percent=share)
    assert UV in found.source
    assert VISIBLE in found.source
    assert found.text.startswith(("How much of it", "Unprotected eye"))
    assert found.text.endswith(BLUE)


def test_without_a_share_below_400_only_blue_light_is_assessed() -> None:
    found = eye_limit(405, 50, below_400_percent=0.0)
    assert (found.seconds, found.text) == (None, BLUE)
    assert UV not in found.source

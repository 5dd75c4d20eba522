"""Containers to buy: a hundredth of the need more is hardly more, and not a millilitre beyond."""

from app.domain.planning.needs import containers_for


def test_just_a_hundredth_more_is_hardly_more() -> None:
    # 100 L: five of 20.2 L are 101.0 L, and half as many as ten of 10 L.
    assert containers_for(100, [20.2, 10]).counts == ((20.2, 5),)


def test_a_step_beyond_a_hundredth_is_more() -> None:
    # 100 L: one of 101.2 L leaves 1.2 L over.
    assert containers_for(100, [101.2, 10]).counts == ((10, 10),)
    # Five of 20.21 L are 101.05 L; four of them and two of 10 L are 100.84 L, and six.
    assert containers_for(100, [20.21, 10]).counts == ((20.21, 4), (10, 2))


def test_the_last_container_may_leave_over_what_it_must() -> None:
    # 1 L from drums of 200 L or 60 L: the smaller one, 59 L over.
    assert containers_for(1, [200, 60]).counts == ((60, 1),)
    assert containers_for(61, [200, 60]).counts == ((60, 2),)

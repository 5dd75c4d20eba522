"""Allotment to the cent."""

from hypothesis import given
from hypothesis import strategies as st

from app.domain.spend.cost_lines import allotted

WEIGHTS = st.dictionaries(st.integers(0, 20), st.floats(0, 1e6), max_size=12)


def test_the_largest_remainders_get_what_is_left() -> None:
    # Worked example of Hamilton's (largest remainder) method as textbooks give it: 10 seats for
    # 47,000, 16,000, 15,800, 12,000, 6,100 and 3,100 votes (Balinski and Young, Fair
    # Representation; the figures from memory): quotas 4.7, 1.6, 1.58, 1.2, 0.61, 0.31.
    votes = {"A": 47_000, "B": 16_000, "C": 15_800, "D": 12_000, "E": 6_100, "F": 3_100}
    assert allotted(10, votes) == {"A": 5, "B": 2, "C": 1, "D": 1, "E": 1, "F": 0}


@given(st.integers(-(10**9), 10**9), WEIGHTS)
def test_the_parts_add_up_to_the_cent_and_lie_within_one_cent_of_their_share(
    cents: int, weights: dict[int, float]
) -> None:
    parts = allotted(cents, weights)
    whole = sum(weights.values())
    if not any(weight > 0 for weight in weights.values()):
        assert parts == {}
        return
    assert sum(parts.values()) == cents
    if whole > 1e-300:
        for key, part in parts.items():
            exact = cents * weights[key] / whole
            assert abs(part - exact) <= 1 + 1e-6 * abs(exact)


def test_without_weights_nothing_is_allotted() -> None:
    assert allotted(100, {}) == {}
    assert allotted(100, {"a": 0.0}) == {}

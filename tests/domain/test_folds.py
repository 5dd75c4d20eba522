"""Which checkpoints are kept."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.folds import EVERY, THINNING, is_to_be_kept, superfluous


@given(st.lists(st.integers(1, 400), min_size=1, max_size=300))
def test_what_is_kept_is_never_farther_apart_than_its_age_allows(steps: list[int]) -> None:
    counts, total = [], 0
    for step in steps:
        total += step
        counts.append(total)
    dropped = set(superfluous(list(enumerate(counts)), total))
    kept = [count for key, count in enumerate(counts) if key not in dropped]
    assert kept[0] == counts[0]
    for count in counts:
        before = max(one for one in kept if one <= count)
        assert count - before <= max(0, (total - count) / THINNING)


def test_asked_again_and_again_they_stay_close_and_grow_with_the_logarithm() -> None:
    kept: list[tuple[int, int]] = []
    for total in range(50, 200_000, 50):
        kept.append((total, total))
        dropped = set(superfluous(kept, total))
        kept = [one for one in kept if one[0] not in dropped]
        for (_, before), (_, after) in pairwise(kept):
            assert after - before <= max(50, (total - after) / THINNING)
    assert len(kept) < 120


@pytest.mark.parametrize("at_once", [True, False])
def test_however_old_they_are_never_farther_apart_than_asked(at_once: bool) -> None:
    """Written in one go, as an import is, or entry by entry."""
    kept: list[tuple[int, int]] = []
    total, last = 40_000, 0
    for count in range(EVERY, total + 1, EVERY):
        if is_to_be_kept(count, last, total - count if at_once else 0, farthest=400):
            kept.append((count, count))
            last = count
        dropped = set(superfluous(kept, count, farthest=400))
        kept = [one for one in kept if one[0] not in dropped]
    assert max(after - before for (_, before), (_, after) in pairwise(kept)) <= 400
    assert len(kept) < 300

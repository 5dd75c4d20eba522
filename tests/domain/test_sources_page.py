"""docs/sources.md is what the program holds, and claims no reading that was not one."""

from app.domain.air import VAPOURS
from app.domain.waste.rules import RULE_SETS
from tests.domain.sources_page import LAID_DOWN, PAGE, counted, legal_values, written


def test_the_page_is_as_it_would_be_written() -> None:
    page = PAGE.read_text()
    assert written(page) == page, "run python -m tests.domain.sources_page"


def test_every_legal_value_says_where_it_stands_and_how_that_was_read() -> None:
    """And each is on the page once: none is left out of the count."""
    values = list(legal_values())
    assert {how for *_, how in values} <= set(LAID_DOWN)
    assert all(where for _, _, where, _ in values)
    limits = sum(len(vapour.limits) for vapour in VAPOURS.values())
    rules = sum(r.is_legal and r.value is not None for s in RULE_SETS.values() for r in s.rules)
    assert counted().total() == len(values) == limits + rules + 4

"""The pages of formulas and curing name what the program holds, with the same figures."""

from pathlib import Path

import pytest

from tests.domain.roomlog.page import WRITTEN


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: page.stem)
def test_the_page_is_as_it_would_be_written(page: Path) -> None:
    text = page.read_text("utf-8")
    assert WRITTEN[page](text) == text, "run python -m tests.domain.roomlog.page"

"""Why the number is what it is: sums that add up to the resin in the bath."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.store.queries import LedgerLine
from app.web.tanks.why import why

NAMES = {"slate": "Slate", "kiln": "Kiln"}
grams = st.floats(0.5, 5000)


def ledger_line(kind: str, **more: Any) -> LedgerLine:
    values: dict[str, Any] = {
        "resin": None, "count": 1, "resin_in_g": 0.0, "resin_out_g": 0.0, "correction_g": 0.0,
        "evaporated_g": 0.0, "set_aside": 0,
    }  # fmt: skip
    return LedgerLine(kind=kind, **(values | more))


@given(grams, grams, grams, grams, grams)
def test_the_lines_add_up_to_the_resin_in_the_bath(
    slate_g: float, kiln_g: float, dragged_g: float, removed_g: float, resin_g: float
) -> None:
    ledger = [
        ledger_line("wash", resin="slate", count=40, resin_in_g=slate_g, resin_out_g=dragged_g),
        ledger_line("wash", resin="kiln", count=7, resin_in_g=kiln_g),
        ledger_line("reading", count=3, correction_g=-removed_g / 2),
        ledger_line("removal", resin_out_g=removed_g),
    ]
    shown = why(ledger, NAMES, resin_g).lines
    left_out_g = 0.5 * 6  # a line of less than half a gram is not shown
    assert sum(line.grams for line in shown) == pytest.approx(resin_g, abs=left_out_g)


def test_it_works() -> None:
    ledger = [
        ledger_line("swap"),
        ledger_line("wash", resin="slate", count=40, resin_in_g=900.0, resin_out_g=60.0),
        ledger_line("top_up", count=2, evaporated_g=320.0),
        ledger_line("reading", count=3, correction_g=75.0, set_aside=1),
        ledger_line("reject", count=4),
    ]  # fmt: skip
    found = why(ledger, NAMES, 1000.0)
    assert found.evaporated_g == 320.0
    assert [(line.text, line.count, line.grams) for line in found.lines] == [
        ("Already there when the fill began", 0, 85.0),
        ("Came in with Slate", 40, 900.0),
        ("Dragged out by parts", 0, -60.0),
        ("Corrected by readings, 1 of them set aside", 3, 75.0),
    ]


def test_a_resin_that_is_gone_from_the_list_goes_by_its_key() -> None:
    [_, came_in] = why([ledger_line("wash", resin="amber", resin_in_g=10.0)], {}, 12.0).lines
    assert came_in.text == "Came in with amber"


def test_an_empty_fill_says_nothing() -> None:
    assert why([], {}, 0.0).lines == ()

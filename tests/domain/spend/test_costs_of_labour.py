"""Labour: minutes from the entries of a swap or inspection, times the rate, worked by hand."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.template import Ask, as_data
from app.domain.roomlog.kinds import Entry, Swap, SwapAbandoned
from app.domain.roomlog.kinds.checklists import StepDone, SwapOpened
from app.domain.roomlog.kinds.inspections import (
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.spend.cost_lines import CostLine
from app.domain.spend.costs import labour_lines, minutes_of
from app.domain.spend.price_book import PRICES_BOOK, PricesState
from app.domain.things import fold

START = datetime(2026, 1, 5, 8, tzinfo=UTC)


def at(minute: float) -> datetime:
    return START + timedelta(minutes=minute)


def prices(**more: float) -> PricesState:
    values = {"labour_cents_per_hour": 3_400, **more}
    return fold(PRICES_BOOK, "prices", [PriceList(at=START, prices="prices", **values)])  # type: ignore[arg-type]


def inspection(*minutes: float, swap: str | None = None) -> list[Entry]:
    """Begun at the first minute, answered at those between, closed at the last."""
    begun = InspectionStarted(at=at(minutes[0]), id="begun", inspection="i1", tank="t1",
                              swap=swap, positions=[])  # fmt: skip
    answers = [
        InspectionAnswered(at=at(minute), id=f"answer-{minute}", inspection="i1",
                           component="t1-impeller", answers={"worn": "no"})
        for minute in minutes[1:-1]
    ]  # fmt: skip
    closed = InspectionClosed(at=at(minutes[-1]), id="closed", inspection="i1")
    return [begun, *answers, closed]


def labour(entries: list[Entry], given: PricesState) -> list[CostLine]:
    return labour_lines(entries, given, lambda _: 90.0, {"t1": "isopropanol"})


def test_an_inspection_costs_the_minutes_between_its_entries() -> None:
    # 8:00, 8:06, 8:14, 8:24: 24 minutes at 34.00 an hour are 13.60.
    [line] = labour(inspection(0, 6, 14, 24), prices())
    assert (line.cents, line.quantity, line.unit) == (1_360, 24, "min")
    assert (line.what, line.tank, line.category) == ("Inspection", "t1", "labour")
    assert line.basis == "minutes between its entries, 34.00 an hour"


def test_a_long_pause_is_no_work() -> None:
    # An inspection that is left at noon and closed two hours later: 20 minutes of the gap count.
    assert minutes_of([at(0), at(10), at(130)]) == pytest.approx(10 + 20)
    [line] = labour(inspection(0, 10, 130), prices())
    assert line.cents == 1_700


def test_an_inspection_of_one_moment_takes_what_one_usually_takes() -> None:
    [line] = labour(inspection(0, 0), prices(inspection_minutes=15))
    why = "minutes it usually takes (rates), as its entries are too few to tell, 34.00 an hour"
    assert (line.cents, line.basis) == (850, why)
    assert labour(inspection(0, 0), prices()) == []


def test_a_swap_of_one_entry_says_that_its_minutes_are_those_of_the_site_settings() -> None:
    # 90 minutes at 34.00 an hour are 51.00.
    [line] = labour([Swap(at=at(0), id="bare", tank="t1")], prices())
    assert (line.cents, line.quantity) == (5_100, 90)
    assert line.basis.startswith("minutes it usually takes (site settings), as its entries are too")


def test_without_a_rate_there_is_no_labour() -> None:
    assert labour(inspection(0, 6, 14), PricesState()) == []
    assert labour(inspection(0, 6, 14), prices(labour_cents_per_hour=0)) == []


def test_an_inspection_within_a_swap_is_in_its_minutes_and_counts_once() -> None:
    opened = SwapOpened(at=at(0), id="o", swap="s1", tank="t1", checklist="usual", version=0,
                        steps=[], estimated_l=38, capacity_l=40, solvent="isopropanol")  # fmt: skip
    filled = Swap(at=at(45), id="swap", tank="t1", swap="s1")
    [line] = labour([opened, *inspection(10, 18, 26, swap="s1"), filled], prices())
    assert (line.what, line.quantity) == ("Swap", 45)


def test_a_swap_by_the_checklist_costs_the_minutes_of_its_ticks_once() -> None:
    opened = SwapOpened(at=at(0), id="o", swap="s1", tank="t1", checklist="usual", version=0,
                        steps=[], estimated_l=38, capacity_l=40, solvent="isopropanol")  # fmt: skip
    ticks = [
        StepDone(at=at(minute), id=f"k{minute}", swap="s1", step=f"step-{minute}")
        for minute in (15, 30)
    ]
    filled = Swap(at=at(45), id="swap", tank="t1", swap="s1")
    [line] = labour([opened, *ticks, filled], prices())
    assert (line.what, line.cents, line.quantity, line.tank) == ("Swap", 2_550, 45, "t1")


def test_a_swap_that_was_given_up_costs_no_whole_swap() -> None:
    # Opened and given up after 3 minutes: 1.70 at 34.00 an hour, not 51.00 for the usual 90.
    def opened(*ticks: float, end: float) -> list[Entry]:
        start = SwapOpened(at=at(0), id="o", swap="s1", tank="t1", checklist="usual", version=0,
                           steps=[], estimated_l=38, capacity_l=40,
                           solvent="isopropanol")  # fmt: skip
        done = [StepDone(at=at(m), id=f"k{m}", swap="s1", step=f"step-{m}") for m in ticks]
        return [start, *done, SwapAbandoned(at=at(end), id="off", tank="t1", swap="s1")]

    [line] = labour(opened(end=3), prices())
    assert (line.entry, line.at, line.cents, line.quantity) == ("o", at(0), 170, 3)
    assert line.basis == "minutes until it was given up, 34.00 an hour"
    [line] = labour(opened(4, end=2_000), prices())  # given up the next day: a pause is no work
    assert (line.entry, line.quantity) == ("k4", 24)
    [line] = labour(opened(4, 9, end=2_000), prices())  # enough entries tell, as of any swap
    assert (line.cents, line.quantity, line.basis[:21]) == (510, 9, "minutes between its e")
    assert labour(opened(end=0), prices()) == []
    assert labour([SwapAbandoned(at=at(3), tank="t1", swap="s1")], prices()) == []


def led(*minutes: float, **answers: float) -> list[Entry]:
    """A swap by the usual checklist, ticked at these minutes, the last step answered."""
    asks = (
        Ask("minutes_taken", "number", "Time it took", "min", 1, 1440),
        Ask("ask_9", "number", "time it took", "h"), Ask("ask_7", "number", "Dried for", "min"),
    )  # fmt: skip
    *before, close = DEFAULT.steps
    steps = as_data([*before, replace(close, asks=asks)])
    opened = SwapOpened(
        at=at(0), id="o", swap="s1", tank="t1", checklist="usual", version=0, steps=steps,
        estimated_l=38, capacity_l=40, solvent="isopropanol",
    )  # fmt: skip
    ticks = [StepDone(at=at(m), id=f"k{m}", swap="s1", step="drain") for m in minutes[:-1]]
    last = StepDone(at=at(minutes[-1]), id="last", swap="s1", step="close_out", answers=answers)
    return [opened, *ticks, last]


def test_minutes_that_somebody_entered_are_what_a_swap_costs() -> None:
    # Entries that span 50 minutes, 150 entered: 150 minutes at 34.00 an hour are 85.00.
    [line] = labour(led(15, 30, 50, minutes_taken=150), prices())
    assert (line.cents, line.quantity) == (8_500, 150)
    assert line.basis == "minutes entered at its steps, 34.00 an hour"


def test_entered_minutes_win_over_the_usual_ones_too() -> None:
    [line] = labour(led(1, minutes_taken=20), prices())
    assert (line.cents, line.quantity) == (1_133, 20)


def test_a_question_of_the_rooms_own_by_the_same_label_counts_in_its_unit() -> None:
    [line] = labour(led(15, 50, ask_9=2.5, ask_7=600), prices())
    assert (line.cents, line.quantity) == (8_500, 150)


def test_steps_add_up_and_a_second_tick_of_one_is_without_effect() -> None:
    more = [
        StepDone(at=at(60), id="again", swap="s1", step="close_out", repeats="last",
                 answers={"minutes_taken": 999}),
        StepDone(at=at(61), id="other", swap="s1", step="shelf", answers={"minutes_taken": 10}),
    ]  # fmt: skip
    [line] = labour([*led(15, 50, minutes_taken=150), *more], prices())
    assert line.quantity == 160


def test_answers_that_are_no_time_are_no_minutes() -> None:
    for bad in (0, -30, True):
        [line] = labour(led(15, 50, minutes_taken=bad), prices())
        assert (line.quantity, line.basis[:15]) == (35, "minutes between")

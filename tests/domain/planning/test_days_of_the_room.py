"""Days are those of the room, wherever it lies; what is called cheapest was shown to be."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.domain.planning import scheduling
from app.domain.planning.allotment import Parcel, allot
from app.domain.planning.assignment import Costs
from app.domain.planning.chance import Chances
from app.domain.planning.scheduling import DAY_PAST, Proposal, costs_of, schedule
from tests.domain.planning.test_scheduling import MON, candidate, on, rules

AUCKLAND, BERLIN = ZoneInfo("Pacific/Auckland"), ZoneInfo("Europe/Berlin")
TOKYO, BOGOTA = ZoneInfo("Asia/Tokyo"), ZoneInfo("America/Bogota")  # neither has summer time


def test_the_chance_of_a_proposal_is_that_at_the_beginning_of_the_rooms_day() -> None:
    """In March 2026 a day in Auckland begins at 11:00 UTC of the day before (UTC+13)."""
    begins = datetime(2026, 3, 2, tzinfo=UTC)
    even = Chances(((begins, 0.0), (begins + timedelta(days=10), 1.0)))
    one = candidate("a", 8, pinned_on=on(5), chances=even)
    (found,) = schedule([one], rules(zone=AUCKLAND)).proposals
    assert found.chance == pytest.approx((5 * 24 - 13) / 240)


def test_a_bath_is_past_its_limit_from_the_rooms_day_on() -> None:
    """Passed for sure on Wednesday at 12:00 UTC: in Berlin on that day, in Auckland on Thursday, so
    that a swap on Friday has one working day less behind it there."""
    passed = datetime(2026, 3, 4, 12, tzinfo=UTC)
    step = Chances(((passed - timedelta(days=9), 0.0), (passed, 0.0),
                    (passed + timedelta(seconds=1), 1.0)))  # fmt: skip
    one = candidate("a", 0, early_on=MON, due_on=MON, chances=step)
    days = rules().days
    there = costs_of(one, rules(zone=AUCKLAND), days)
    here = costs_of(one, rules(zone=BERLIN), days)
    assert days[4] == on(4)
    assert here[4] - there[4] == DAY_PAST
    assert here[1] == there[1]


def later(life: int, early_life: int, weeks: int, **more: Any) -> list[Proposal]:
    one = candidate("a", 5, pinned_on=MON, life_days=float(life), early_life_days=float(early_life))
    kept = rules(weeks=weeks, **({"zone": TOKYO} | more))
    return [p for p in schedule([one], kept).proposals if p.round == 1]


def test_the_share_of_a_later_swap_is_the_same_wherever_the_room_lies() -> None:
    shares = {zone: [one.share for one in later(20, 16, 3, zone=zone)] for zone in (TOKYO, BOGOTA)}
    assert shares[TOKYO] == shares[BOGOTA]
    assert 0 < shares[TOKYO][0] < 1


@pytest.mark.parametrize(
    "life, early_life, weeks, share",
    [
        (21, 17, 3, 0.5),  # due on the day after the weeks: even odds
        (25, 21, 3, None),  # its early day is after them: not looked at
        (17, 13, 3, 0.9),  # as long behind its day as the early one is before: 1 in 10 is later
        (19, 15, 3, 0.7),
        (13, 9, 3, 1.0),
        (22, 18, 4, 0.95),
    ],
)
def test_the_next_bath_lives_as_long_as_this_one_give_or_take(
    life: int, early_life: int, weeks: int, share: float | None
) -> None:
    """The share is the chance that it falls into the weeks looked at. Rough, and said to be:
    common practice, no source."""
    assert [one.share for one in later(life, early_life, weeks)] == (
        [] if share is None else [pytest.approx(share)]
    )


def test_proposals_come_by_their_days_whatever_their_rank() -> None:
    turn = [
        candidate("a", 20, rank=0, pinned_on=on(9)),
        candidate("b", 20, rank=1, pinned_on=on(2)),
    ]
    assert [one.tank for one in schedule(turn, rules()).proposals] == ["b", "a"]


def test_a_schedule_is_called_cheapest_only_where_every_round_was_shown_to_be(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rounds: list[bool] = []
    real = scheduling.cheapest_days

    def first_is_not_shown(costs: Costs, *more: Any) -> Any:
        rounds.append(bool(rounds))
        return replace(real(costs, *more), is_cheapest=rounds[-1])

    monkeypatch.setattr(scheduling, "cheapest_days", first_is_not_shown)
    found = schedule([candidate("a", 8, life_days=14.0)], rules())
    assert rounds[:2] == [False, True]
    assert not found.is_cheapest


def test_of_the_shelf_what_spoils_first_goes_first_even_where_another_holds_all_of_it() -> None:
    little, much = Parcel("L1", 10.0, until_on=on(30)), Parcel("L2", 100.0, until_on=on(90))
    (found,) = allot([much, little], [(41.0, on(5))])
    assert [(one.name, one.amount) for one in found.parcels] == [("L1", 10.0), ("L2", 31.0)]
    # For drums it is the other way round: one that takes all of it comes first.
    (whole,) = allot([much, little], [(41.0, on(5))], is_best_whole=True)
    assert [(one.name, one.amount) for one in whole.parcels] == [("L2", 41.0)]

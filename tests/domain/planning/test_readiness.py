"""What each swap of the queue gets and lacks."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.allotment import Parcel, allot
from app.domain.planning.needs import SwapNeed
from app.domain.planning.readiness import first_shortfall, readiness
from app.domain.planning.stock import Fire, Part, Solvent, Stock, SwapAhead
from app.domain.site import SiteState
from app.domain.workdays import WorkCalendar

MON = date(2026, 3, 2)
SITE = SiteState()
DAYS = WorkCalendar()
NEED = SwapNeed(fill_l=37, rinse_l=3, squirt_l=1, drained_l=40, waste_kg=35)


def on(days: int) -> date:
    return MON + timedelta(days=days)


def swap(tank: str, early: int = 10, **more: object) -> SwapAhead:
    values: dict[str, object] = {
        "tank": tank, "need": NEED, "solvent": "isopropanol", "stream": "isopropanol_resin",
        "is_flammable": True, "early_on": on(early), "day": on(early - 1),
    }  # fmt: skip
    return SwapAhead(**(values | more))  # type: ignore[arg-type]


def room(*parcels: Parcel, **more: object) -> Stock:
    values: dict[str, object] = {
        "solvents": {"isopropanol": Solvent(parcels, (18.9, 3.8))},
        "drums": {"isopropanol_resin": (Parcel("D-1", 90.0),)},
        "people": 2, "parts": (),
    }  # fmt: skip
    return Stock(**(values | more))  # type: ignore[arg-type]


def test_a_swap_with_all_there_is_ready() -> None:
    found = readiness([swap("a")], room(Parcel("L1", 60)), SITE, DAYS, MON)[0]
    states = {line.subject: line.state for line in found.lines}
    assert states == {
        "solvent": "ready", "drum": "ready", "month": "unknown", "fire": "unknown",
        "parts": "ready", "day": "ready", "people": "ready",
    }  # fmt: skip
    assert first_shortfall([found]) is None


def test_the_queue_shares_in_order_and_names_the_first_that_falls_short() -> None:
    # 41 L each of 100 L: the third gets the last 18 L and lacks 23 L.
    found = readiness([swap(t) for t in "abcd"], room(Parcel("L1", 100)), SITE, DAYS, MON)
    lines = [one.lines[0] for one in found]
    assert [line.there for line in lines] == pytest.approx([41, 41, 18, 0])
    assert [line.missing for line in lines] == pytest.approx([0, 0, 23, 41])
    short = first_shortfall(found)
    assert short is not None
    assert (short[0].swap.tank, short[1].subject) == ("c", "solvent")
    # Drum space: 43 L each of 90 L.
    drums = [one.lines[1].missing for one in found]
    assert drums == pytest.approx([0, 0, 39, 43])


def test_what_is_missing_is_ordered_so_that_it_is_there_by_the_early_day() -> None:
    found = readiness([swap("a", early=10, day=None)], room(Parcel("L1", 10)), SITE, DAYS, MON)
    line = found[0].lines[0]
    # Thursday 12 March less five working days; 31 L in 18.9 + 4 * 3.8 = 34.1, or 9 * 3.8 = 34.2,
    # or 2 * 18.9 = 37.8: least over is the first. Worked by hand.
    assert line.act_by_on == date(2026, 3, 5)
    assert line.buy == ((18.9, 1), (3.8, 4))
    assert line.earliest_on == date(2026, 3, 9)


def test_an_order_on_its_way_is_ready_by_its_day_or_too_late() -> None:
    coming = readiness([swap("a")], room(Parcel("order", 60, on(5))), SITE, DAYS, MON)[0].lines[0]
    assert (coming.state, coming.ready_on) == ("coming", on(5))
    late = readiness([swap("a")], room(Parcel("order", 60, on(12))), SITE, DAYS, MON)[0].lines[0]
    assert (late.state, late.ready_on) == ("late", on(12))


def test_a_lot_that_has_spoiled_by_the_day_does_not_count() -> None:
    lots = (Parcel("old", 60, until_on=on(4)), Parcel("new", 20, until_on=on(90)))
    line = readiness([swap("a")], room(*lots), SITE, DAYS, MON)[0].lines[0]
    assert (line.there, line.missing) == (20, 21)


def test_drums_of_another_stream_give_no_room() -> None:
    stock = room(Parcel("L1", 60), drums={"water_wash": (Parcel("D-2", 90),)})
    line = readiness([swap("a", early=40)], stock, SITE, DAYS, MON)[0].lines[1]
    assert (line.state, line.missing) == ("short", 43)
    # Friday 10 April less a day planned, so by Friday the 10th; fifteen working days before.
    assert line.act_by_on == date(2026, 3, 20)


def test_the_month_counts_by_the_day_of_the_swap() -> None:
    stock = room(Parcel("L1", 500), month_kg={(2026, 3): 40.0}, month_limit_kg=100.0)
    days = [on(28), on(29), on(30)]  # 30 and 31 March, 1 April
    swaps = [swap(t, day=day, early_on=day) for t, day in zip("abc", days, strict=True)]
    lines = [one.line("month") for one in readiness(swaps, stock, SITE, DAYS, MON)]
    assert [line and (line.state, line.there, line.missing) for line in lines] == [
        ("ready", 60, 0), ("short", 25, 10), ("ready", 100, 0),
    ]  # fmt: skip
    assert lines[1] is not None
    assert lines[1].ready_on == date(2026, 4, 1)


def test_waste_that_does_not_count_takes_nothing_of_the_month() -> None:
    stock = room(Parcel("L1", 60), month_limit_kg=30.0)
    found = readiness([swap("a", counts=False)], stock, SITE, DAYS, MON)[0]
    line = found.line("month")
    assert line is not None
    assert line.state == "ready"


def test_flammable_litres_are_baths_fresh_containers_and_waste_together() -> None:
    site = replace(SITE, flammable_limit_l=300)
    fire = Fire(
        tanks_l=120, fresh_l=60, waste_l=50, deliveries=((on(3), 40.0),), pickups=((on(20), 50.0),)
    )
    stock = room(Parcel("L1", 60), Parcel("order", 40, on(3)), fire=fire)
    swaps = [swap("a", day=on(9)), swap("b", day=on(16), early_on=on(17)), swap("c", early=30)]
    lines = [one.line("fire") for one in readiness(swaps, stock, site, DAYS, MON)]
    assert all(lines)
    # a: 120 + 60 + 40 + 50. b: 41 L used, 43 L poured: 272. c: lacks 23 L, so 18.9 + 2 * 3.8 = 26.5
    # bought; 18 L left of the others; 50 L fetched, 86 L poured.
    peaks = [line.needed for line in lines if line]
    assert peaks == pytest.approx([270, 272, 120 + 18 + 26.5 + 86], abs=0.01)
    assert [line.state for line in lines if line] == ["ready", "ready", "ready"]
    tight = replace(site, flammable_limit_l=271)
    lines = [one.line("fire") for one in readiness(swaps, stock, tight, DAYS, MON)]
    assert [line.state for line in lines if line] == ["ready", "short", "ready"]
    assert lines[1] is not None
    assert lines[1].missing == pytest.approx(1)


def test_a_high_flash_bath_adds_nothing_to_the_fire_load() -> None:
    site = replace(SITE, flammable_limit_l=1)
    line = readiness([swap("a", is_flammable=False)], room(), site, DAYS, MON)[0].line("fire")
    assert line is not None
    assert line.state == "ready"


def test_parts_are_shared_like_solvent() -> None:
    part = Part("seal", "Lid seal", "piece", 1, (Parcel("lot", 1.0),))
    found = readiness([swap("a"), swap("b")], room(Parcel("L", 99), parts=(part,)), SITE, DAYS, MON)
    lines = [one.line("parts") for one in found]
    assert [line and line.state for line in lines] == ["ready", "short"]
    assert lines[1] is not None
    assert (lines[1].text, lines[1].missing) == ("Lid seal", 1)


def test_what_a_tank_has_to_have_replaced_is_taken_for_its_own_swap_only() -> None:
    part = Part("seal", "Shaft seal", "piece", 0, (Parcel("lot", 1.0),), {"b": 2.0})
    found = readiness([swap("a"), swap("b")], room(Parcel("L", 99), parts=(part,)), SITE, DAYS, MON)
    lines = [one.line("parts") for one in found]
    assert [line and line.state for line in lines] == ["ready", "short"]
    assert lines[1] is not None
    assert (lines[1].needed, lines[1].missing) == (2, 1)


def test_a_held_tank_is_not_ready() -> None:
    stock = room(Parcel("L1", 60), holds={"a": "Seal leaks"})
    found = readiness([swap("a")], stock, SITE, DAYS, MON)[0]
    assert found.state == "short"
    line = found.line("hold")
    assert line is not None
    assert line.text == "Seal leaks"


PARCELS = st.lists(
    st.tuples(
        st.integers(0, 60),
        st.one_of(st.none(), st.integers(0, 30)),
        st.one_of(st.none(), st.integers(0, 60)),
    ),
    max_size=5,
)
WANTED = st.lists(
    st.tuples(st.integers(0, 50), st.one_of(st.none(), st.integers(0, 40))), max_size=6
)


def parcels_of(drawn: list[tuple[int, int | None, int | None]]) -> list[Parcel]:
    return [
        Parcel(f"p{n}", amount, None if a is None else on(a), None if b is None else on(b))
        for n, (amount, a, b) in enumerate(drawn)
    ]


def wanted_of(drawn: list[tuple[int, int | None]]) -> list[tuple[float, date | None]]:
    return [(amount, None if day is None else on(day)) for amount, day in drawn]


@given(drawn=PARCELS, wanted=WANTED)
def test_no_more_is_given_than_there_is(
    drawn: list[tuple[int, int | None, int | None]], wanted: list[tuple[int, int | None]]
) -> None:
    parcels, asked = parcels_of(drawn), wanted_of(wanted)
    found = allot(parcels, asked)
    for parcel in parcels:
        given_away = sum(p.amount for got in found for p in got.parcels if p.name == parcel.name)
        assert given_away <= parcel.amount + 1e-9
    for (amount, day), got in zip(asked, found, strict=True):
        assert got.there + got.missing == pytest.approx(amount)
        assert all(p.until_on is None or day is None or p.until_on >= day for p in got.parcels)


@given(drawn=PARCELS, wanted=WANTED, later_=WANTED)
def test_nobody_loses_to_who_comes_later_in_the_queue(
    drawn: list[tuple[int, int | None, int | None]],
    wanted: list[tuple[int, int | None]],
    later_: list[tuple[int, int | None]],
) -> None:
    parcels, first = parcels_of(drawn), wanted_of(wanted)
    assert allot(parcels, first + wanted_of(later_))[: len(first)] == allot(parcels, first)


@given(drawn=PARCELS, wanted=WANTED, more=st.integers(0, 40), place=st.integers(0, 4))
def test_more_on_the_shelf_never_leaves_anybody_with_less(
    drawn: list[tuple[int, int | None, int | None]],
    wanted: list[tuple[int, int | None]],
    more: int,
    place: int,
) -> None:
    parcels, asked = parcels_of(drawn), wanted_of(wanted)
    richer = [
        replace(parcel, amount=parcel.amount + more * (n == place))
        for n, parcel in enumerate(parcels)
    ]
    for before, after in zip(allot(parcels, asked), allot(richer, asked), strict=True):
        assert after.missing <= before.missing + 1e-9

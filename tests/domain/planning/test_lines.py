"""What a swap needs, line by line: days, litres, states at their boundaries."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from app.domain.checklists.filling import level_l
from app.domain.planning.allotment import Allotment, Parcel, allot
from app.domain.planning.lines import Line
from app.domain.planning.needs import (
    Bath,
    Containers,
    SwapNeed,
    containers_for,
    smallest_drum_l,
    swap_need,
)
from app.domain.planning.readiness import Readiness, first_shortfall, needed_by, readiness
from app.domain.planning.stock import Fire, Looks, Part, Solvent, Stock, SwapAhead
from app.domain.site import SiteState
from app.domain.workdays import WorkCalendar
from tests.domain.planning.test_readiness import room, swap

MON = date(2026, 3, 2)
SITE = SiteState()
DAYS = WorkCalendar()


def on(days: int) -> date:
    return MON + timedelta(days=days)


def lines(subject: str, swaps: list[SwapAhead], stock: Stock, site: SiteState = SITE) -> list[Line]:
    """The lines of a subject, swap by swap."""
    found = readiness(swaps, stock, site, DAYS, MON)
    return [line for one in found for line in one.lines if line.subject == subject]


def test_all_has_to_be_there_by_the_day_the_swap_stands_on() -> None:
    assert needed_by(swap("a", early=10, day=on(4)), MON) == on(4)
    assert needed_by(swap("a", early=10, day=None), MON) == on(10)
    assert needed_by(swap("a", day=on(-4)), MON) == MON
    assert needed_by(swap("a", day=None, early_on=None), MON) is None
    assert readiness([swap("a", day=on(4))], room(), SITE, DAYS, MON)[0].by_on == on(4)


def test_solvent_that_is_there_is_ready_and_of_which_lot() -> None:
    lot = Parcel("L1", 60)
    assert lines("solvent", [swap("a")], room(lot)) == [
        Line("solvent", "ready", "isopropanol", 41, 41, 0, (Parcel("L1", 41.0),))
    ]


@pytest.mark.parametrize(
    "comes, state", [(0, "ready"), (1, "coming"), (9, "coming"), (10, "late"), (12, "late")]
)
def test_what_is_on_its_way_is_late_after_the_day_of_the_swap(comes: int, state: str) -> None:
    (line,) = lines("solvent", [swap("a", day=on(9))], room(Parcel("order", 60, on(comes))))
    assert (line.state, line.ready_on) == (state, on(comes))
    assert (line.act_by_on, line.earliest_on, line.buy) == (None, None, ())


def test_without_a_day_nothing_is_late_and_nothing_has_a_last_day() -> None:
    free = swap("a", day=None, early_on=None)
    (coming,) = lines("solvent", [free], room(Parcel("order", 60, on(300))))
    assert coming.state == "coming"
    (short,) = lines("solvent", [free], room())
    # Asked today it comes on Monday the 9th, five working days on. 2 * 18.9 + 3.8 L are 41.6 L.
    assert short == Line(
        "solvent", "short", "isopropanol", 41, 0, 41, earliest_on=on(7),
        buy=((18.9, 2), (3.8, 1)),
    )  # fmt: skip


@pytest.mark.parametrize(
    "early, waits_for, state",
    [
        (3, "solvent", "late"),
        (5, "solvent", "late"),  # on its early day
        (6, "solvent", "coming"),
        (-9, "solvent", "late"),
        (3, "drum", "coming"),
        (3, "", "coming"),
    ],
)
def test_a_swap_kept_waiting_past_its_early_day_calls_its_solvent_late(
    early: int, waits_for: str, state: str
) -> None:
    one = swap("a", early=early, day=on(8), waits_for=waits_for)
    (line,) = lines("solvent", [one], room(Parcel("order", 60, on(5))))
    assert line.state == state
    undated = replace(one, early_on=None)
    assert lines("solvent", [undated], room(Parcel("order", 60, on(5))))[0].state == "coming"


def test_drums_are_asked_for_with_the_notice_of_a_pickup() -> None:
    (line,) = lines("drum", [swap("a", day=on(28))], room(drums={}))
    # Monday 30 March less fifteen working days is Monday the 9th; asked today it is the 23rd.
    assert line == Line(
        "drum", "short", "isopropanol_resin", 43, 0, 43, act_by_on=on(7), earliest_on=on(21)
    )


def test_each_swap_gets_its_own_line_whatever_its_solvent() -> None:
    stock = room(
        solvents={
            "isopropanol": Solvent((Parcel("L1", 41),)),
            "ethanol": Solvent((Parcel("E1", 5),)),
        }
    )
    found = lines("solvent", [swap("a", solvent="ethanol"), swap("b"), swap("c")], stock)
    assert [(line.key, line.there, line.missing, line.state) for line in found] == [
        ("ethanol", 5, 36, "short"), ("isopropanol", 41, 0, "ready"),
        ("isopropanol", 0, 41, "short"),
    ]  # fmt: skip
    assert found[0].buy == ()  # sold in any amount


def test_the_month_is_full_exactly_at_its_limit() -> None:
    march = {(2026, 3): 65.0}
    two = [swap("a"), swap("b")]
    assert lines("month", two, room(month_kg=march, month_limit_kg=100.0)) == [
        Line("month", "ready", needed=35, there=35),
        Line("month", "short", needed=35, there=0, missing=35, ready_on=date(2026, 4, 1)),
    ]
    over = lines("month", [swap("a")], room(month_kg=march, month_limit_kg=60.0))
    assert (over[0].there, over[0].missing) == (0, 35)
    # 1 August 2026 is a Saturday.
    july = swap("a", day=date(2026, 7, 31))
    (line,) = lines("month", [july], room(month_limit_kg=1.0))
    assert (line.missing, line.ready_on) == (34, date(2026, 8, 3))


def test_the_month_without_limit_or_day_is_said_so() -> None:
    assert lines("month", [swap("a")], room()) == [Line("month", "unknown", needed=35)]
    limited = room(month_limit_kg=10.0)
    free = swap("a", day=None, early_on=None)
    assert lines("month", [free], limited) == [Line("month", "ready", needed=35)]
    assert lines("month", [swap("a", day=None, early=40)], limited)[0].ready_on == date(2026, 5, 1)
    mine = lines("month", [swap("a", counts=False), swap("b")], room(month_limit_kg=35.0))
    assert [(line.needed, line.there, line.state) for line in mine] == [
        (0, 35, "ready"), (35, 35, "ready"),
    ]  # fmt: skip


def test_the_fire_load_is_that_of_the_swaps_day() -> None:
    site = replace(SITE, flammable_limit_l=200.0)
    fire = Fire(tanks_l=100, fresh_l=60, waste_l=40)
    # A delivery of the day stands there; a pickup of the day has not been yet.
    for more, peak in (
        (Fire(deliveries=((on(9), 10.0),)), 210),
        (Fire(deliveries=((on(10), 10.0),)), 200),
        (Fire(pickups=((on(8), 30.0),)), 170),
        (Fire(pickups=((on(9), 30.0),)), 200),
        (Fire(pickups=((on(8), 99.0),)), 160),  # no less than no waste
    ):
        there = replace(fire, deliveries=more.deliveries, pickups=more.pickups)
        (line,) = lines("fire", [swap("a")], room(Parcel("L1", 60), fire=there), site)
        over = max(0, peak - 200)
        assert line == Line(
            "fire",
            "short" if over else "ready",
            needed=peak,
            there=200,
            missing=over,
            ready_on=on(9),
        )


def test_the_fire_load_goes_by_the_days_not_by_the_queue() -> None:
    site = replace(SITE, flammable_limit_l=500.0)
    stock = room(Parcel("L1", 90), fire=Fire(tanks_l=100, fresh_l=90))
    two = [swap("a", day=on(16), early=17), swap("b", day=on(9))]
    # b first: 190. Then 41 L are used and 43 L poured: 192.
    assert [line.needed for line in lines("fire", two, stock, site)] == [192, 190]
    # What is missing without a size counts as bought.
    bare = replace(stock, solvents={})
    assert [line.needed for line in lines("fire", two, bare, site)] == [274, 231]
    water = [replace(two[1], is_flammable=False), two[0]]
    found = lines("fire", water, stock, site)
    assert found == [
        Line("fire", "ready"),
        Line("fire", "ready", needed=190, there=500, ready_on=on(16)),
    ]


def test_swaps_without_a_day_and_later_rounds_add_no_fire_load() -> None:
    site = replace(SITE, flammable_limit_l=1.0)
    for one in (swap("a", day=None, early_on=None), swap("a", round=1)):
        assert lines("fire", [one], room(), site) == [Line("fire", "ready")]
    assert lines("fire", [swap("a")], room()) == [Line("fire", "unknown")]
    by_early = lines("fire", [swap("a", day=None, early=4)], room(Parcel("L", 60)), site)
    assert by_early[0].ready_on == on(4)


def test_parts_are_named_where_they_are_missing() -> None:
    assert lines("parts", [swap("a")], room(parts=None)) == [Line("parts", "unknown")]
    seal = Part("seal", "Lid seal", "piece", 1, (Parcel("lot", 1.0),))
    sieve = Part("sieve", "Sieve", "piece", 1, (), {"b": 2.0})
    two = [swap("a"), swap("b")]
    found = readiness(two, room(parts=(seal,)), SITE, DAYS, MON)
    assert found[0].line("parts") == Line("parts", "ready", there=1, text="Lid seal")
    # Wednesday 11 March less five working days: the 4th; asked today it comes on the 9th.
    assert found[1].line("parts") == Line(
        "parts", "short", "seal", 1, 0, 1, act_by_on=on(2), earliest_on=on(7), text="Lid seal"
    )
    both = lines("parts", two, room(parts=(seal, sieve)))
    assert [(line.key, line.missing) for line in both] == [("sieve", 1), ("seal", 1), ("sieve", 3)]
    later = swap("b", round=1, share=0.5)
    assert sieve.needed(later) == 0.5
    assert replace(sieve, per_swap=4.0).needed(later) == 2
    assert sieve.needed(swap("b")) == 3


def test_a_day_people_and_looks_are_said() -> None:
    def said(one: SwapAhead, **more: object) -> list[Line]:
        found = readiness([one], room(Parcel("L", 60), **more), SITE, DAYS, MON)[0].lines
        return [line for line in found if line.subject in ("hold", "day", "people", "look")]

    assert said(swap("a")) == [
        Line("day", "ready", ready_on=on(9)),
        Line("people", "ready", there=2),
    ]
    assert said(swap("a", is_crowded=True))[0] == Line("day", "short", ready_on=on(9))
    assert said(swap("a", day=None))[0] == Line("day", "unknown")
    assert said(swap("a"), names=("Wren", "Dunlin"))[1] == Line(
        "people", "ready", there=2, text="Wren, Dunlin"
    )
    assert said(swap("a"), people=None)[1] == Line("people", "unknown")
    assert said(swap("a"), people=0)[1] == Line("people", "unknown")
    assert said(swap("a"), holds={"b": "Seal leaks"})[0].subject == "day"
    assert said(swap("a"), holds={"a": "Seal leaks"})[0] == Line(
        "hold", "short", "a", text="Seal leaks"
    )
    looks = {"a": Looks(("Lid seal", "Pump"), ("Sieve", "Hose"))}
    assert said(swap("a"), looks=looks)[2:] == [
        Line("look", "unknown", "a", text="Lid seal, Pump"),
        Line("look", "ready", "a", text="Sieve, Hose"),
    ]
    assert said(swap("b"), looks=looks)[2:] == []
    assert said(swap("a"), looks={"a": Looks()})[2:] == []


def test_those_who_may_do_the_swap_on_its_day_are_named() -> None:
    def people(may: dict[str, date], **more: object) -> Line:
        return lines("people", [swap("a", **more)], room(people=3, swappers=may))[0]

    may = {"Wren": on(8), "Dunlin": on(9), "Heron": on(10)}
    assert people(may) == Line(
        "people", "ready", "swap", there=2, ready_on=on(9), text="Dunlin, Heron"
    )
    assert people({"Wren": on(8)}) == Line("people", "short", "swap", there=0, ready_on=on(9))
    assert people({}) == Line("people", "short", "swap", there=0, ready_on=on(9))
    # Without a day: the day everything has to be there, else today.
    assert people(may, day=None).text == "Heron"
    today = people({**may, "Curlew": on(-1), "Wren": MON}, day=None, early_on=None)
    assert (today.ready_on, today.text) == (MON, "Wren, Dunlin, Heron")


def test_what_a_swap_takes_from_the_shelf_is_named() -> None:
    taken = [Part(key, key.title(), "piece", 1.0, (Parcel("L", 5),)) for key in ("seal", "sieve")]
    unused = Part("hose", "Hose", "piece", 0.0, (Parcel("L", 5),))
    found = lines("parts", [swap("a")], room(parts=(*taken, unused)))
    assert found == [Line("parts", "ready", there=2, text="Seal, Sieve")]


def test_a_swap_is_as_ready_as_its_worst_line() -> None:
    def of(*states: str) -> Readiness:
        return Readiness(swap("a"), MON, tuple(Line("day", state) for state in states))  # type: ignore[arg-type]

    assert of().state == "ready"
    assert of("ready", "coming").state == "coming"
    assert of("coming", "unknown").state == "unknown"
    assert of("unknown", "late", "ready").state == "late"
    assert of("late", "short").state == "short"
    late, short = of("coming", "late"), of("unknown", "short")
    assert late.first_short == Line("day", "late")
    assert of("unknown", "coming").first_short is None
    assert first_shortfall([of("ready"), late, short]) == (late, Line("day", "late"))
    assert first_shortfall([of("ready")]) is None
    assert late.line("day") == Line("day", "coming")
    assert late.line("fire") is None


def test_what_is_there_goes_before_what_comes_and_what_spoils_first_before_that() -> None:
    parcels = [
        Parcel("order", 10, on(2)), Parcel("fresh", 10, until_on=on(90)),
        Parcel("old", 10, until_on=on(5)), Parcel("ever", 10),
    ]  # fmt: skip
    first, second = allot(parcels, [(25, on(5)), (30, on(6))])
    assert first == Allotment(
        (
            Parcel("old", 10, until_on=on(5)),
            Parcel("fresh", 10, until_on=on(90)),
            Parcel("ever", 5),
        ),
        0,
    )
    assert (first.there, first.ready_on) == (25, None)
    assert second == Allotment((Parcel("ever", 5), Parcel("order", 10, on(2))), 15)
    assert second.ready_on == on(2)
    assert allot([Parcel("old", 10, until_on=on(5))], [(5, on(6))]) == [Allotment((), 5)]
    assert allot([Parcel("old", 10, until_on=on(5))], [(5, None)])[0].missing == 0
    assert allot([], [(-3.0, None)]) == [Allotment((), 0)]
    two = allot([Parcel("x", 1, on(2)), Parcel("y", 1, on(4))], [(2, None)])[0]
    assert two.ready_on == on(4)


def test_a_bath_goes_into_one_drum_where_one_takes_all_of_it() -> None:
    drums = [Parcel("A", 10, key="a"), Parcel("B", 50, key="b"), Parcel("C", 90, key="c")]
    wanted = [(45.0, on(1)), (45.0, on(2)), (45.0, on(3))]
    whole = allot(drums, wanted, is_best_whole=True)
    assert [[(p.key, p.amount) for p in one.parcels] for one in whole] == [
        [("b", 45)], [("c", 45)], [("c", 45)],
    ]  # fmt: skip
    shared = allot(drums, [(100.0, on(1)), (60.0, on(2))], is_best_whole=True)
    assert [p.key for p in shared[0].parcels] == ["a", "b", "c"]
    assert (shared[1].there, shared[1].missing) == (50, 10)


def test_a_drum_that_was_chosen_is_the_swap_s_own() -> None:
    drums = [Parcel("A", 50, key="a"), Parcel("C", 90, key="c")]
    first, second = allot(drums, [(45.0, on(1)), (45.0, on(2))], ["c", ""], is_best_whole=True)
    assert [p.key for p in first.parcels] == ["c"]
    assert [p.key for p in second.parcels] == ["a"]
    (gone,) = allot(drums, [(45.0, on(1))], ["shipped"], is_best_whole=True)
    assert [p.key for p in gone.parcels] == ["a"]


def test_need_by_share_and_what_is_left_of_it() -> None:
    need = SwapNeed(37, 3, 1, 40, 35, 2)
    assert replace(need, squirt_l=3).times(0.5) == SwapNeed(18.5, 1.5, 1.5, 20, 17.5, 1)
    assert (need.fresh_l, need.waste_l) == (41, 43)
    assert need.left(is_drained=True, is_rinsed=False, is_filled=True) == SwapNeed(0, 3, 0, 0, 2, 2)
    assert need.left(is_drained=False, is_rinsed=True, is_filled=False) == SwapNeed(
        37, 0, 1, 40, 33, 0
    )


def test_a_heel_larger_than_the_fill_leaves_nothing_to_drain() -> None:
    site = replace(SITE, heel_percent=60.0, rinse_percent=10.0, squirt_bottle_l=0.5)
    need = swap_need(Bath(10, 40, 0.0, 0.0, 0.8, 1.1), site)
    # Half way between 0 and 40 is 20 L, the heel 24 L.
    assert need == SwapNeed(0, 4, 0.5, 0, pytest.approx(3.2), pytest.approx(3.2))
    assert level_l(40, None) == 40
    assert level_l(40, 30) == 35


def test_containers_are_told_with_what_is_left_over() -> None:
    found = containers_for(20, [3.8, 18.9, 3.8])
    assert found == Containers(((18.9, 1), (3.8, 1)), 22.7, 2.7)
    assert containers_for(41.1, []) == Containers((), 41.1, 0)
    assert containers_for(-1, []) == containers_for(-1, [5]) == Containers((), 0, 0)
    assert containers_for(0, [5]) == Containers((), 0, 0)
    assert containers_for(0.004, [0.001]) == Containers(((0.001, 4),), 0.004, 0)
    with pytest.raises(ValueError, match=r"^a container holds at least a millilitre$"):
        containers_for(1, [0.0004, 5])


def test_hardly_more_in_fewer_containers_is_better() -> None:
    # 99.5 L: a hundredth more is 100.4 L. One of 100 L is better than 199 of half a litre.
    assert containers_for(99.5, [100, 0.5]).counts == ((100, 1),)
    # 98 L: 100 L are more than a hundredth over.
    assert containers_for(98, [100, 49]).counts == ((49, 2),)


def test_a_great_need_comes_in_the_largest_containers_first() -> None:
    # 5000 L: beyond the last cubic metre 20 of 200 L, and five for the rest.
    assert containers_for(5000, [200, 30]) == Containers(((200, 25),), 5000, 0)


def test_a_drum_is_just_large_enough() -> None:
    # Nominal drums of 5, 15, 30 and 55 US gal of 3.785411784 L (NIST Handbook 44, appendix C).
    assert smallest_drum_l(18.92, 100) == pytest.approx(18.927, abs=1e-3)
    assert smallest_drum_l(18.93, 100) == pytest.approx(56.781, abs=1e-3)
    assert smallest_drum_l(0, 90) == pytest.approx(18.927, abs=1e-3)
    assert smallest_drum_l(5 * 3.785411784, 100) == pytest.approx(18.927, abs=1e-3)
    assert smallest_drum_l(187.3, 90) == pytest.approx(208.198, abs=1e-3)
    assert smallest_drum_l(187.4, 90) is None

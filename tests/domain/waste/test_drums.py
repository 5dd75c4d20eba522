"""The fold of a drum: volume, mass, place and days, whatever is entered."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import (
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    PickupBooked,
    PickupCancelled,
)
from app.domain.waste.drums import DRUM_BOOK, DrumState
from app.domain.waste.measures import mass_kg
from tests.domain.waste.book import DRUM_L, after, at, drum, moved, pour, shipped


def test_an_empty_drum_has_room_for_nine_tenths() -> None:
    state = after(drum())
    assert state.free_l == pytest.approx(0.9 * DRUM_L)
    assert state.takes_waste
    assert state.first_pour_at is None


def test_pours_add_up_in_volume_and_mass() -> None:
    state = after(
        drum(), pour(1, 20.0), pour(2, 10.0, mass_before_kg=30.0, mass_after_kg=38.5), pour(3, 5.0)
    )
    assert state.volume_l == pytest.approx(35.0)
    assert state.mass_kg == pytest.approx(mass_kg(25.0, "isopropanol_resin") + 8.5)
    assert (state.first_pour_at, state.last_pour_at) == (at(1), at(3))
    assert [filling.is_weighed for filling in state.fillings] == [False, True, False]


def test_the_day_of_the_central_area_is_that_of_arrival() -> None:
    """40 CFR 262.16(b): time at the wash station (262.15) does not count."""
    state = after(drum(), pour(1), moved(30), pour(31))
    assert state.central_at == at(30)
    assert state.first_pour_at == at(1)


def test_a_drum_filled_in_the_central_area_counts_from_its_first_drop() -> None:
    state = after(drum(area="central"), pour(4), pour(9))
    assert state.central_at == at(4)


def test_an_empty_drum_brought_to_the_central_area_counts_from_its_first_drop_there() -> None:
    assert after(drum(), moved(2)).central_at is None
    assert after(drum(), moved(2), pour(5)).central_at == at(5)


def test_going_back_to_the_wash_station_does_not_start_the_clock_anew() -> None:
    state = after(drum(), pour(1), moved(10), moved(20, "wash_station"), moved(30))
    assert state.central_at == at(10)


def test_a_drum_that_was_in_use_before_comes_with_its_contents_and_days() -> None:
    begun, arrived = at(-100), at(-60)
    state = after(
        drum(area="central", volume_l=150.0, first_pour_at=begun, central_at=arrived), pour(1, 10)
    )
    assert state.volume_l == 160.0
    assert (state.first_pour_at, state.central_at) == (begun, arrived)


@pytest.mark.parametrize(
    "before, flag",
    [
        ([shipped(2)], "poured_after_shipping"),
        ([DrumClosed(at=at(2), drum="d1")], "poured_while_closed"),
        ([DrumQuarantined(at=at(2), drum="d1", reason="?")], "poured_while_quarantined"),
    ],
)
def test_what_should_not_be_is_taken_in_and_flagged(before: list[Entry], flag: str) -> None:
    state = after(drum(), *before, pour(3, 12.0))
    assert state.flags == (flag,)
    assert state.volume_l == 12.0


def test_too_much_and_mixed_are_flagged() -> None:
    full = after(drum(), pour(1, 190.0))
    assert full.flags == ("over_fill_limit",)
    assert full.free_l == 0.0
    assert after(drum(), pour(1, 210.0)).flags == ("over_capacity",)
    assert after(drum(), pour(1, 5.0, stream="acetone_resin")).flags == ("mixed",)


def test_a_pour_without_its_drum_is_kept() -> None:
    state = after(pour(1, 12.0))
    assert (state.name, state.volume_l) == ("", 12.0)
    assert not state.takes_waste
    assert after(pour(1, 12.0), drum(2)).volume_l == 12.0


def test_what_came_before_the_set_up_entry_is_judged_by_it() -> None:
    own, other = "isopropanol_resin", "glycol_ether_resin"
    early = [pour(1, 40.8, stream=own), pour(1.1, 3.4, stream=own)]
    assert after(*early).flags == ()  # no drum is known yet that could hold too much or another
    assert after(*early, drum(2)).flags == ()
    assert after(*early, drum(2), pour(3, stream=own)).takes_waste
    assert after(*early, drum(2, stream=other)).flags == ("mixed",)
    assert after(*early, drum(2, capacity_l=44.0)).flags == ("over_capacity",)
    assert after(*early, drum(2, capacity_l=48.0)).flags == ("over_fill_limit",)
    assert after(early[0], pour(1.1, stream=other)).flags == ("mixed",)
    assert after(early[0], pour(1.1, stream=other), drum(2)).flags == ("mixed",)
    assert after(*early, drum(2, volume_l=3.0)).first_pour_at == at(1)
    assert (
        after(drum(0, volume_l=205.0)).flags == ()
    )  # what a drum is set up with is asked about as it is entered


def test_closing_quarantine_and_shipping() -> None:
    closed = [drum(), pour(1), DrumClosed(at=at(2), drum="d1", is_cool=True)]
    assert after(*closed).is_closed
    assert not after(*closed, DrumOpened(at=at(3), drum="d1")).is_closed
    held = [*closed, DrumQuarantined(at=at(4), drum="d1", reason="Swollen lid")]
    assert after(*held).quarantine_reason == "Swollen lid"
    released = DrumReleased(at=at(5), drum="d1", lead="Curlew", reason="Cooled down")
    assert not after(*held, released).is_quarantined
    gone = after(*closed, shipped(6))
    assert (gone.is_shipped, gone.document, gone.pickup) == (True, "M-1", "p1")
    assert not DRUM_BOOK.is_open(gone)
    assert after(*held, shipped(6)).flags == ("shipped_in_quarantine",)


def test_a_pickup_stands_in_the_books_of_its_drums() -> None:
    booked = PickupBooked(
        at=at(1), pickup="p1", drums=["d1", "d2", "d1"], pickup_on=at(9).date(), hauler="Contractor"
    )
    assert booked.things() == [("pickup", "p1"), ("drum", "d1"), ("drum", "d2")]
    off = PickupCancelled(at=at(2), pickup="p1", drums=["d1", "d2"], reason="Lorry broke down")
    other = replace(off, pickup="p7")
    assert after(drum(), booked).pickup == "p1"
    assert after(drum(), booked, off).pickup == ""
    assert after(drum(), booked, other).pickup == "p1"


def test_a_check_keeps_what_was_not_in_order() -> None:
    check = DrumChecked(
        at=at(3), drum="d1", lid_closed=True, label_complete=True, date_visible=True, no_leak=True
    )
    state = after(drum(), check)
    assert state.checked_at == at(3)
    assert state.faults == ("Aisle free to reach it",)
    assert after(drum(), replace(check, aisle_free=True)).faults == ()


def test_a_leaking_drum_is_emptied_into_another_and_nothing_is_counted_twice() -> None:
    entries = [
        drum(), drum(key="d2"), pour(1, 40.0),
        DrumTransfer(at=at(2), drum="d2", from_drum="d1", volume_l=40.0,
                     waste_kg=mass_kg(40.0, "isopropanol_resin")),
    ]  # fmt: skip
    leaking, other = after(*entries), after(*entries, key="d2")
    assert (leaking.volume_l, leaking.mass_kg, leaking.first_pour_at) == (0.0, 0.0, None)
    assert other.volume_l == 40.0
    assert [filling.is_new_waste for filling in other.fillings] == [False]


def test_a_changed_size_moves_the_fill_limit() -> None:
    change = DrumChanged(at=at(2), drum="d1", capacity_l=55.0, fill_limit_percent=95.0)
    assert after(drum(), change).fill_limit_l == pytest.approx(52.25)


ANY = st.one_of(
    st.builds(pour, st.floats(0, 50), st.floats(0.01, 400)),
    st.builds(moved, st.floats(0, 50), st.sampled_from(("central", "wash_station"))),
    st.builds(shipped, st.floats(0, 50)),
    st.builds(lambda days: DrumClosed(at=at(days), drum="d1"), st.floats(0, 50)),
    st.builds(lambda days: DrumQuarantined(at=at(days), drum="d1", reason="x"), st.floats(0, 50)),
    st.builds(drum, st.floats(0, 50)),
    st.builds(
        lambda days, litres: DrumTransfer(
            at=at(days), drum="d2", from_drum="d1", volume_l=litres, waste_kg=litres
        ),
        st.floats(0, 50), st.floats(0.01, 300),
    ),
)  # fmt: skip


@given(st.lists(ANY, max_size=15))
def test_any_book_folds(entries: list[Entry]) -> None:
    state = after(*sorted(entries, key=lambda entry: entry.at))
    assert state.volume_l >= 0
    assert state.mass_kg >= 0
    assert state.free_l <= state.fill_limit_l + 1e-9
    times = [level.at for level in state.levels]
    assert times == sorted(times)
    if state.levels:
        assert state.levels[-1].volume_l == state.volume_l
        assert (state.levels[-1].area == "gone") == state.is_shipped
    if state.is_empty:
        assert clock_free(state)


def clock_free(state: DrumState) -> bool:
    """An empty drum has no days that count."""
    return state.first_pour_at is None and state.central_at is None


@given(st.lists(st.floats(0.01, 20), min_size=1, max_size=8), st.data())
def test_volume_and_mass_do_not_depend_on_the_order_of_pours(
    volumes: list[float], data: Any
) -> None:
    pours = [pour(1 + i, litres) for i, litres in enumerate(volumes)]
    shuffled = data.draw(st.permutations(pours))
    one, other = after(drum(), *pours), after(drum(), *shuffled)
    assert one.volume_l == pytest.approx(other.volume_l)
    assert one.mass_kg == pytest.approx(other.mass_kg)
    assert one.volume_l == pytest.approx(sum(volumes))


def test_small_pours_of_one_person_within_the_hour_add_up() -> None:
    state = after(
        drum(),
        pour(1, 4.0, by="Wren"),
        pour(1 + 1 / 24, 3.0, by=" wren"),
        pour(1 + 1.1 / 24, 1.0, by="Wren"),
        pour(1, 5.0, by="Wren"),
        pour(1, 5.1, by="Wren"),
        pour(1, 2.0, by="Plover"),
        pour(1, 2.5, by="Wren", tank="t1", swap="s1"),
        pour(1, 0.5, by="Wren", incident="i1"),
    )
    assert state.in_small_l("Wren", at(1), 5.0) == pytest.approx(12.0)
    assert state.in_small_l("WREN ", at(1 + 1.1 / 24), 5.0) == pytest.approx(4.0)
    assert state.in_small_l("Plover", at(1), 5.0) == pytest.approx(2.0)

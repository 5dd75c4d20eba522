"""The days of a drum begin anew by no undoing: a lead takes back what they count from."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from app.domain.errors import Conflict, FieldErrors
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import (
    DrumClosed,
    DrumMoved,
    DrumOpened,
    DrumTransfer,
    PickupBooked,
    PickupShipped,
)
from app.services.door import bring_in as record
from app.services.door import enter
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.services.waste_room import ago, drum, pour, seen, state, waste_room

MOVED = DrumMoved(at=ago(8), drum="d1", area="central", id="moved", by="Wren")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = waste_room(tmp_path)
    record(made, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    ], NOW)  # fmt: skip
    record(made, ROOM, [pour(9.5, 20.0, tank="t1", id="first", by="Wren"), MOVED], ago(7.9))
    record(made, ROOM, [pour(3, 20.0, tank="t1", id="second", by="Wren")], ago(3))
    yield made
    made.close()


def take_back(store: Store, uid: str, by: str, note: str = "") -> None:
    enter(store, ROOM, [Withdrawal(at=NOW, by=by, withdraws=uid, note=note)], NOW)


@pytest.mark.parametrize("uid", ["moved", "first"])
def test_nobody_but_a_lead_takes_back_what_the_days_count_from(store: Store, uid: str) -> None:
    """40 CFR 262.16(b) counts from the day on which accumulation began; text read."""
    before = state(store)
    for by in ("Wren", "Dunlin", ""):
        with pytest.raises(Conflict, match="days count from this"):
            take_back(store, uid, by, "Wrong")
    assert (state(store).central_at, state(store).first_pour_at) == (
        before.central_at, before.first_pour_at,
    )  # fmt: skip
    take_back(store, uid, "Curlew", "It was another drum")


def test_a_correction_to_a_later_day_is_refused_and_to_an_earlier_one_stored(store: Store) -> None:
    later = DrumMoved(at=ago(1), drum="d1", area="central", corrects="moved", by="Wren")
    with pytest.raises(Conflict, match="days count from this"):
        enter(store, ROOM, [later], NOW)
    sooner = DrumMoved(at=ago(9), drum="d1", area="central", corrects="moved", by="Wren")
    enter(store, ROOM, [sooner], NOW)
    assert state(store).central_at == ago(9)


def test_what_moves_no_day_is_taken_back_by_anybody(store: Store) -> None:
    take_back(store, "second", "Wren", "Booked twice")
    assert state(store).volume_l == 20.0


def test_back_and_forth_leaves_the_first_day(store: Store) -> None:
    enter(store, ROOM, [
        DrumMoved(at=ago(0.2), drum="d1", area="wash_station", by="Wren"),
        DrumMoved(at=ago(0.1), drum="d1", area="central", by="Wren"),
    ], NOW)  # fmt: skip
    assert state(store).central_at == ago(8)


def moved(days: float, into: str, out_of: str = "d1", volume_l: float = 40.0) -> DrumTransfer:
    return DrumTransfer(
        at=ago(days), drum=into, from_drum=out_of, volume_l=volume_l, waste_kg=volume_l
    )


@pytest.mark.parametrize("volume_l", [5.0, 40.0])
def test_what_is_moved_into_another_drum_keeps_its_days(store: Store, volume_l: float) -> None:
    """40 CFR 262.16(b) counts from the day on which accumulation began; text read."""
    record(store, ROOM, [
        drum("d3", area="central"), drum("d4"), moved(0.2, "d3", volume_l=volume_l),
        moved(0.1, "d4", "d3", volume_l),
    ], NOW)  # fmt: skip
    assert (state(store, "d4").first_pour_at, state(store, "d4").central_at) == (ago(9.5), ago(8))
    assert seen(store).all_drums["d4"].central_at == ago(8)
    assert state(store, "d3").first_pour_at is None


def test_an_emptied_drum_that_is_filled_anew_has_new_days(store: Store) -> None:
    record(store, ROOM, [
        drum("d3", area="central"), moved(0.3, "d3"), pour(0.1, 2.0), pour(0.1, 2.0, "d2"),
    ], NOW)  # fmt: skip
    assert state(store).first_pour_at == ago(0.1)
    record(store, ROOM, [drum("d4"), moved(0.2, "d4", "d3"), pour(0.05, 3.0, "d3")], NOW)
    assert state(store, "d3").first_pour_at == ago(0.05)
    assert state(store, "d4").first_pour_at == ago(9.5)


CLOSED = DrumClosed(at=ago(2), drum="d1", is_cool=True, id="closed", by="Wren")
GONE: tuple[Entry, ...] = (
    PickupBooked(at=ago(2), pickup="p1", drums=["d1"], pickup_on=ago(1).date(), hauler="Marl"),
    PickupShipped(
        at=ago(1), pickup="p1", drums=["d1"], document="M-7", id="shipped", by="Wren"
    ),
)  # fmt: skip
LESS = replace(pour(3, 5.0, tank="t1", id="", by="Wren"), corrects="second")


def test_what_a_closed_drum_holds_stays_until_it_is_opened(store: Store) -> None:
    record(store, ROOM, [CLOSED], ago(2))
    for said in (Withdrawal(at=NOW, by="Dunlin", withdraws="second", note="Twice"), LESS):
        with pytest.raises(Conflict, match="closed for shipping"):
            enter(store, ROOM, [said], NOW)
    enter(store, ROOM, [DrumOpened(at=ago(1), drum="d1", by="Dunlin")], NOW)
    take_back(store, "second", "Dunlin", "Twice")
    assert state(store).volume_l == 20.0


def test_what_left_the_site_is_taken_back_by_a_lead_with_the_reason(store: Store) -> None:
    """A manifest says how much left (40 CFR 262.20(a); from memory), and nobody can look again."""
    record(store, ROOM, [CLOSED, *GONE], ago(1))
    for said in (Withdrawal(at=NOW, by="Dunlin", withdraws="second", note="Twice"), LESS):
        with pytest.raises(Conflict, match="left the site with this in it"):
            enter(store, ROOM, [said], NOW)
    with pytest.raises(FieldErrors, match="Say why this was wrong"):
        take_back(store, "second", "Curlew")
    assert state(store).volume_l == 40.0
    take_back(store, "second", "Curlew", "The contractor weighed half of it")
    assert (state(store).volume_l, state(store).is_shipped) == (20.0, True)


def test_a_drum_that_left_is_not_here_again_by_undoing(store: Store) -> None:
    record(store, ROOM, [CLOSED, *GONE], ago(1))
    with pytest.raises(Conflict, match="These drums left the site"):
        take_back(store, "shipped", "Dunlin", "Wrong")
    number = replace(GONE[1], id="", corrects="shipped", document="M-8", by="Dunlin")
    enter(store, ROOM, [number], NOW)
    assert (state(store).is_shipped, state(store).document) == (True, "M-8")


def test_a_move_out_of_a_drum_that_left_stays_too(store: Store) -> None:
    record(store, ROOM, [replace(moved(2.5, "d2", volume_l=10.0), id="move")], ago(2.5))
    record(store, ROOM, [CLOSED, *GONE], ago(1))
    with pytest.raises(Conflict, match="Drum 1 left the site with this in it"):
        take_back(store, "move", "Dunlin", "Wrong")


def test_words_of_a_pour_are_corrected_though_it_left(store: Store) -> None:
    record(store, ROOM, [CLOSED, *GONE], ago(1))
    same = replace(pour(3, 20.0, tank="t1", id="", by="Wren"), corrects="second", note="By hand")
    enter(store, ROOM, [same], NOW)
    assert state(store).volume_l == 40.0

"""Alcohol that parts carry into a slow bath: how much, what it makes of it, where it is said."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlmodel import Session, select

from app.domain.baths.carried import Film, carried_over, share_after
from app.domain.roomlog.kinds import Entry, Swap
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.solvents import SOLVENTS
from app.domain.solvents.flash import mixed_flash_c
from app.domain.solvents.own import Sheet, key_of
from app.domain.storage import category_of_stream
from app.domain.waste.streams import ALL_MIXED, STREAMS, fits_bath, stream_of_bath, why_apart
from app.services import stays
from app.services.carried import FLASH_LOWERED, carried_into, is_slow, with_flash
from app.services.door import bring_in as record
from app.services.harm import lowered_flash
from app.services.incidents import doubts
from app.services.incidents.doubts import WRONG_SOLVENT, mixed_into, with_doubts
from app.services.storage import baths_of, lowered_flash_c
from app.services.tank_fills import Fill
from app.store import queries
from app.store.engine import Store
from app.store.tables import RoomRow
from tests.factories import NOW, ROOM, START, furnish, tank, wash
from tests.furnished import new_store

SLOW = "tripropylene_glycol_methyl_ether"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A dirty bath of isopropanol whose parts are rinsed in a slow solvent."""
    made = new_store(tmp_path)
    furnish(made, tanks=0)
    record(made, ROOM, [
        tank("rinse", solvent=SLOW, capacity_l=20.0, min_l=15.0, fresh_purity_percent=99.0),
        tank("dirty", pair="rinse"),
        tank("alone", solvent=SLOW, capacity_l=20.0, min_l=15.0, fresh_purity_percent=99.0),
    ], NOW)  # fmt: skip
    return made


def room_of(session: Session) -> RoomRow:
    return session.exec(select(RoomRow).where(RoomRow.key == ROOM)).one()


def loads(count: int, *tanks: str) -> list[Entry]:
    """Loads of 2000 cm2, in one tank after the other."""
    return [
        wash(10 - number / 10 - place / 100, one, area_cm2=2000.0)
        for number in range(count)
        for place, one in enumerate(tanks)
    ]


def test_a_wrong_solvent_moves_on_with_its_bath(store: Store) -> None:
    """Raoult's law knows of no tank: the mixture flashes where it stands."""
    record(store, ROOM, [
        tank("first", solvent=SLOW, pair="alone"),
        Incident(at=NOW - timedelta(days=3), incident="i1", problem="wrong_solvent", tank="alone",
                 solvent="isopropanol", volume_l=4.0),
        Swap(at=NOW - timedelta(days=2), tank="first", from_tank="alone", filled_l=18.0),
        Swap(at=NOW - timedelta(days=2), tank="alone", filled_l=20.0, solvent=SLOW),
    ], NOW)  # fmt: skip
    with Session(store.reader) as session:
        assert "Isopropanol" in lowered_flash(session, room_of(session), "first")
        assert lowered_flash(session, room_of(session), "alone") == ""
    later = Incident(at=NOW - timedelta(days=1), incident="i2", problem="wrong_solvent",
                     tank="alone", solvent="acetone", volume_l=1.0)  # fmt: skip
    record(store, ROOM, [later], NOW)
    with Session(store.reader) as session:
        room = room_of(session)
        assert [one.key for one in mixed_into(session, room, "first", START)] == ["i1"]
        board = with_doubts(session, room, queries.board(session, room.id or 0, NOW))
        assert {one.key for one in board.tanks if WRONG_SOLVENT in one.flags} == {"first", "alone"}
    record(store, ROOM, [Swap(at=NOW, tank="first", filled_l=38.0, solvent=SLOW)], NOW)
    with Session(store.reader) as session:
        assert lowered_flash(session, room_of(session), "first") == ""


def test_a_bath_that_was_moved_to_and_fro_for_years_is_followed_to_its_first_fill(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As an import may tell: the chain is longer than calls may be nested."""
    moves = 3000
    fills: dict[str, list[Fill]] = {"a": [Fill(START)], "b": []}
    for number in range(moves):
        here, there = ("b", "a") if number % 2 == 0 else ("a", "b")
        fills[here].append(Fill(START + timedelta(minutes=number + 1), source=there))
    poured_at = START + timedelta(seconds=30)
    monkeypatch.setattr(stays, "tank_fills", lambda *_: fills)
    monkeypatch.setattr(doubts, "_poured", lambda *_: (("a", poured_at),))
    with Session(store.reader) as session:
        found = doubts.poured_at(session, room_of(session), "a", fills["a"][-1].at)
    assert found == poured_at


@pytest.mark.parametrize("minutes, is_in", [(-1, False), (0, True), (30, True), (31, False)])
def test_what_was_poured_in_the_minute_of_a_fill_or_a_move_is_in_the_bath(
    minutes: int, is_in: bool
) -> None:
    """Times are typed to the minute: where the order is not known it counts, it may burn."""
    stay = stays.Stay("a", START, START + timedelta(minutes=30))
    assert stay.holds("a", START + timedelta(minutes=minutes)) is is_in
    assert not stay.holds("b", START + timedelta(minutes=minutes))
    assert stays.Stay("a", START).holds("a", START + timedelta(days=90))


def test_a_bath_is_followed_by_the_fill_that_was_moved_and_by_no_later_one(store: Store) -> None:
    """What came into the other tank with the fill before, or after the move, is in another bath."""
    moved_at = NOW - timedelta(days=2)
    record(store, ROOM, [
        tank("first", solvent=SLOW, pair="alone"),
        Swap(at=NOW - timedelta(days=5), tank="alone", filled_l=20.0, solvent=SLOW),
        Swap(at=moved_at, tank="first", from_tank="alone", filled_l=18.0),
        Swap(at=moved_at, tank="alone", filled_l=20.0, solvent=SLOW),
        Swap(at=NOW - timedelta(days=1), tank="rinse", from_tank="alone", filled_l=18.0),
    ], NOW)  # fmt: skip
    with Session(store.reader) as session:
        found = stays.stays_of(session, room_of(session), "first", moved_at)
    assert found == [
        stays.Stay("first", moved_at), stays.Stay("alone", NOW - timedelta(days=5), moved_at),
    ]  # fmt: skip


def test_films_add_up_as_in_a_stirred_bath() -> None:
    # Dilution of a stirred vessel: 1 - (1 - D/V)^n, worked out by hand for 10 mL into 1 L.
    films = [Film(START, 10.0, 1.0)] * 100
    assert share_after(films, 1.0) == pytest.approx(1 - 0.99**100, rel=1e-12)
    assert share_after([], 1.0, before=0.02) == 0.02
    assert share_after([Film(START, 10.0, 0.0)] * 100, 1.0, 0.02) == pytest.approx(0.02 * 0.99**100)


def test_a_share_by_volume_becomes_one_by_mass_with_its_flash_point() -> None:
    found = carried_over(SLOW, "isopropanol", 0.0245)
    assert found is not None
    assert found.percent == pytest.approx(2.0, abs=0.05)  # 0.7883 and 0.96 kg/L at 20 C
    assert found.flash_c == pytest.approx(55.0, abs=1.5)
    assert found.is_flammable
    few = carried_over(SLOW, "isopropanol", 0.002)
    assert few is not None
    assert not few.is_flammable


def test_a_rinse_after_alcohol_becomes_flammable_film_by_film(store: Store) -> None:
    record(store, ROOM, loads(40, "dirty", "rinse"), NOW)
    with Session(store.reader) as session:
        room = room_of(session)
        found = carried_into(session, room, "rinse")
        assert found is not None
        # 40 loads of 2000 cm2 with a film of about 0.01 mL/cm2 into 20 L: 3 to 5 % by volume.
        assert 2.0 < found.percent < 5.0
        assert found.sources == ("dirty",)
        assert found.flash_c is not None
        assert found.flash_c < 60.0
        assert "carried over on parts" in lowered_flash(session, room, "rinse")
        tanks = queries.board(session, room.id or 0, NOW).tanks
        assert lowered_flash_c(session, room.id or 0, tanks).keys() == {"rinse"}
        assert carried_into(session, room, "alone") is None


def test_the_same_load_shortly_after_in_another_bath_counts_without_a_pair(store: Store) -> None:
    record(store, ROOM, loads(30, "dirty", "alone"), NOW)
    later = [wash(1, "alone", area_cm2=900.0)]  # no such load was in alcohol
    record(store, ROOM, later, NOW)
    with Session(store.reader) as session:
        found = carried_into(session, room_of(session), "alone")
    assert found is not None
    assert found.sources == ("dirty",)


@pytest.mark.parametrize("later_s, counts", [(-1, False), (0, True), (7200, True), (7201, False)])
def test_the_same_load_counts_for_two_hours(store: Store, later_s: int, counts: bool) -> None:
    """Two hours: common practice, no source."""
    first = wash(1, "dirty", area_cm2=900.0)
    after = replace(first, tank="alone", at=first.at + timedelta(seconds=later_s))
    record(store, ROOM, [first, after], NOW)
    with Session(store.reader) as session:
        found = carried_into(session, room_of(session), "alone")
    assert (found is not None and found.sources == ("dirty",)) is counts


def test_what_stayed_in_a_tank_that_changed_its_solvent_counts(store: Store) -> None:
    swap = Swap(at=NOW - timedelta(days=1), tank="dirty", drained_l=38.0, filled_l=39.0,
                solvent=SLOW, heel_l=1.0, heel_basis="seen")  # fmt: skip
    record(store, ROOM, [swap], NOW)
    with Session(store.reader) as session:
        room = room_of(session)
        found = carried_into(session, room, "dirty")
        words = lowered_flash(session, room, "dirty")
    assert found is not None
    assert found.percent == pytest.approx(100 * 0.025 * 0.788 / 0.96, rel=0.1)
    assert "left in the tank at its fill" in words


def test_a_water_bath_after_alcohol_is_flagged_as_a_slow_one_is(store: Store) -> None:
    """2 % isopropanol by mass in water lie below 60 C (domain/solvents/flash.py)."""
    water = tank("water", solvent="water_based", capacity_l=20.0, min_l=15.0)
    record(store, ROOM, [water], NOW)
    record(store, ROOM, loads(2, "dirty", "water"), NOW)
    with Session(store.reader) as session:
        few = carried_into(session, room_of(session), "water")
        assert few is not None
        assert not few.is_flammable
        assert lowered_flash(session, room_of(session), "water") == ""
    record(store, ROOM, loads(40, "dirty", "water"), NOW)
    with Session(store.reader) as session:
        room = room_of(session)
        found = carried_into(session, room, "water")
        assert found is not None
        assert 2.0 < found.percent < 5.0
        assert found.flash_c == pytest.approx(mixed_flash_c("water_based", "isopropanol",
                                                            found.percent))  # fmt: skip
        assert found.is_flammable
        assert "carried over on parts" in lowered_flash(session, room, "water")
        tanks = queries.board(session, room.id or 0, NOW).tanks
        assert lowered_flash_c(session, room.id or 0, tanks).keys() == {"water"}
        (view,) = (one for one in with_flash(session, room, tanks) if one.key == "water")
        assert FLASH_LOWERED in view.flags


def test_a_bath_whose_flash_point_nobody_can_compute_is_stored_as_what_went_in(
    store: Store,
) -> None:
    """Acetone in water: no constants are kept, so it counts as acetone, category 2."""
    record(store, ROOM, [
        tank("acetone", solvent="acetone", pair="water"),
        tank("water", solvent="water_based", capacity_l=20.0, min_l=15.0),
    ], NOW)  # fmt: skip
    record(store, ROOM, loads(5, "acetone", "water"), NOW)
    with Session(store.reader) as session:
        room_id = room_of(session).id or 0
        tanks = queries.board(session, room_id, NOW).tanks
        baths = {one.key: one for one in baths_of(session, room_id, tanks)}
    assert baths["water"].category(93.0) == 2


def test_an_own_cleaner_without_a_flash_point_is_taken_as_water(store: Store) -> None:
    key = key_of(Sheet("Clear wash", 1.02, 20.0, has_no_flash=True, boiling_point_c=100.0))
    record(store, ROOM, [tank("own", solvent=key, capacity_l=20.0, min_l=15.0)], NOW)
    record(store, ROOM, loads(40, "dirty", "own"), NOW)
    with Session(store.reader) as session:
        found = carried_into(session, room_of(session), "own")
    assert found is not None
    assert found.flash_c is not None
    assert found.is_flammable
    assert found.flash_c == pytest.approx(
        mixed_flash_c("water_based", "isopropanol", found.percent), abs=0.5
    )


def test_what_was_carried_in_moves_on_with_its_bath(store: Store) -> None:
    """The rinse became flammable film by film, and is moved into another tank whole."""
    record(store, ROOM, [tank("next", solvent=SLOW, capacity_l=20.0, min_l=15.0)], NOW)
    record(store, ROOM, loads(40, "dirty", "rinse"), NOW)
    with Session(store.reader) as session:
        before = carried_into(session, room_of(session), "rinse")
    assert before is not None
    assert before.is_flammable
    moved_at = NOW - timedelta(days=1)
    record(store, ROOM, [
        Swap(at=moved_at, tank="next", from_tank="rinse", drained_l=19.0, filled_l=19.0),
        Swap(at=moved_at, tank="rinse", drained_l=19.0, filled_l=20.0, solvent=SLOW),
    ], NOW)  # fmt: skip
    with Session(store.reader) as session:
        room = room_of(session)
        after = carried_into(session, room, "next")
        assert after is not None
        assert after.percent == pytest.approx(before.percent, rel=0.1)
        assert after.sources == before.sources
        assert "carried over on parts" in lowered_flash(session, room, "next")
        assert carried_into(session, room, "rinse") is None


def test_what_stayed_at_a_fill_moves_on_with_its_bath(store: Store) -> None:
    left = Swap(at=NOW - timedelta(days=2), tank="dirty", drained_l=38.0, filled_l=37.0,
                solvent=SLOW, heel_l=3.0, heel_basis="seen")  # fmt: skip
    moved = Swap(at=NOW - timedelta(days=1), tank="alone", from_tank="dirty", filled_l=19.0)
    record(store, ROOM, [left, moved], NOW)
    with Session(store.reader) as session:
        assert "Isopropanol" in lowered_flash(session, room_of(session), "alone")


def test_washes_of_a_quick_bath_alone_say_nothing_of_a_slow_one(store: Store) -> None:
    record(store, ROOM, loads(20, "dirty"), NOW)
    with Session(store.reader) as session:
        assert carried_into(session, room_of(session), "rinse") is None


OWN_SLOW = key_of(
    Sheet("Cleaner 80", 0.9, 20.0, 80.0, boiling_point_c=190.0, molar_mass_g_mol=140.0)
)
EVERY_SLOW = [key for key, one in SOLVENTS.items() if is_slow(key)] + [OWN_SLOW]


@pytest.mark.parametrize("slow", EVERY_SLOW)
@pytest.mark.parametrize("quick", [key for key, one in SOLVENTS.items() if one.is_flammable])
def test_every_slow_bath_is_flagged_and_has_a_drum_of_its_own(
    tmp_path: Path, slow: str, quick: str
) -> None:
    """Forty loads out of a quick bath: a few percent, which no slow solvent takes without harm."""
    made = new_store(tmp_path)
    furnish(made, tanks=0)
    record(made, ROOM, [
        tank("rinse", solvent=slow, capacity_l=20.0, min_l=15.0),
        tank("dirty", pair="rinse", solvent=quick),
        *loads(80, "dirty", "rinse"),
    ], NOW)  # fmt: skip
    with Session(made.reader) as session:
        room = room_of(session)
        found = carried_into(session, room, "rinse")
        assert found is not None
        assert found.is_flammable
        assert lowered_flash(session, room, "rinse")
        views = with_flash(session, room, queries.board(session, room.id or 0, NOW).tanks)
        assert {one.key for one in views if FLASH_LOWERED in one.flags} == {"rinse"}
    stream = stream_of_bath(slow, is_mixed=True)
    assert stream in ALL_MIXED
    assert STREAMS[stream].is_flammable
    assert fits_bath(stream, slow)
    assert category_of_stream(stream)[0] is not None
    assert why_apart(stream_of_bath(slow), stream)
    made.close()

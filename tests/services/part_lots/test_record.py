"""The record of a part lot, its release, and what comes to the log afterwards."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import Session

from app.domain.errors import Doubtful, FieldErrors
from app.domain.part_lots.record import LotRecord
from app.domain.roomlog.kinds import Entry, Reject, Resin, Wash
from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.part_lots import PartLot, PartLotRejected, PartLotReleased
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.lines import parse_entry
from app.services.door import bring_in, enter
from app.services.part_lots.record import record_of
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish, tank, withdraw
from tests.furnished import new_store

LOT = "B-114"
HOUR = timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with a lead, a lamp that was measured, a recipe, and a check that was done."""
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    said: list[Entry] = [
        CrewMember(at=START, crew="crew", name="Ada", role="lead"),
        Station(at=START, station="s1", name="Lamp", source="led", wavelength_nm=405.0,
                layout="centre", new_mw_cm2=20.0),
        Irradiance(at=NOW - 30 * HOUR, id="read", station="s1", centre_mw_cm2=20.0,
                   radiometer="R-1"),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=3000.0, dry_minutes=30.0),
        DutyDone(at=NOW - 30 * HOUR, duty="instrument", outcome="done"),
    ]  # fmt: skip
    bring_in(store, ROOM, said, NOW)
    yield store
    store.close()


def record(store: Store, lot: str = LOT) -> LotRecord:
    with Session(store.reader) as session:
        return record_of(session, find_room(session, ROOM), lot)


def washed(hours: float = 5, **more: Any) -> Wash:
    values = {"id": "w1", "tank": "t1", "resin": "slate", "parts": 8, "lot": LOT, "by": "Wren"}
    return Wash(at=NOW - hours * HOUR, **(values | more))


def cured(hours: float = 4, **more: Any) -> Cure:
    values = {"id": "c1", "station": "s1", "resin": "slate", "minutes": 5.0, "lot": LOT}
    return Cure(at=NOW - hours * HOUR, **(values | more))


def released(hours: float = 3, **more: Any) -> PartLotReleased:
    at = NOW - hours * HOUR
    return PartLotReleased(at=at, entered_at=at, lot=LOT, lead="Ada", **more)


def test_a_whole_chain_has_nothing_to_accept(store: Store) -> None:
    said = [PartLot(at=NOW - 6 * HOUR, lot=LOT, resin="slate", resin_lot="R-7", build="42")]
    bring_in(store, ROOM, [*said, washed(), cured()], NOW)
    found = record(store, "  b-114 ")
    assert (found.lot, found.standing, found.findings) == (LOT, "open", ())
    [resin], [wash], [cure] = found.resins, found.washes, found.cures
    assert (resin.resin_lot, resin.build) == ("R-7", "42")
    assert (wash.tank, wash.fill, wash.limit_percent, wash.by) == ("t1", 0, 10.0, "Wren")
    assert wash.percent is not None
    assert wash.after_percent is not None
    assert wash.percent < wash.after_percent
    # 20 mW/cm2 for 300 s are 6000 mJ/cm2 (dose = irradiance x time); the meter may read 10 % high.
    assert cure.dose == pytest.approx(6000)
    assert cure.least == pytest.approx(6000 / 1.1)
    assert (cure.dried_minutes, cure.dry_asked_minutes) == (60, 30)
    assert (cure.meter, cure.reading, cure.read_at) == ("R-1", "read", NOW - 30 * HOUR)
    enter(store, ROOM, [released()], NOW)
    assert record(store).standing == "released"
    assert not record(store).is_flagged


@pytest.mark.parametrize(
    "said, finding",
    [
        ([cured()], "no wash logged"),
        ([washed(tank="hot"), cured()], "bath over limit"),
        ([washed()], "no cure logged"),
        ([washed(), cured(hours=6)], "cured before wash"),
        ([washed(), cured(hours=4.8)], "dried too short"),
        ([cured()], "drying not known"),
        ([washed(), cured(minutes=1.0)], "dose too low"),
        ([washed(resin="kiln"), cured(resin="kiln")], "dose not known"),
        ([washed(), cured(resin="kiln")], "two resins"),
        ([washed(), cured(), Reject(at=NOW - HOUR, tank="t1", finding="tacky", lot=LOT)],
         "rejects noted"),
        ([washed(), cured(), *(PartLot(at=NOW - 6 * HOUR, lot=LOT, resin="slate", resin_lot=lot)
                               for lot in ("R-7", "R-8"))], "two resin lots"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_the_chain_is_refused_until_it_is_accepted(
    store: Store, said: list[Entry], finding: str
) -> None:
    bring_in(store, ROOM, [tank("hot", saturation_percent=15.0)], NOW)
    bring_in(store, ROOM, said, NOW)
    found = record(store).findings
    assert finding in found
    with pytest.raises(FieldErrors, match=finding):
        enter(store, ROOM, [released()], NOW)
    [unreasoned] = released(accepted="; ".join(found)).problems()
    assert unreasoned.field == "reason"
    word = released(hours=0, accepted="; ".join(found), reason="Test piece")
    enter(store, ROOM, [word], NOW)
    assert record(store).standing == "released"
    assert not record(store).unaccepted


def test_a_light_reading_set_aside_and_an_overdue_check_are_findings(store: Store) -> None:
    odd = Irradiance(at=NOW - 10 * HOUR, id="odd", station="s1", centre_mw_cm2=6.0)
    bring_in(store, ROOM, [odd, washed(), cured()], NOW)
    found = record(store)
    assert "light reading set aside" in found.findings
    assert found.cures[0].reading == "odd"  # the lower one rules until it is settled
    withdraw(store, ROOM, "odd", "Ada", "", NOW, None)
    assert record(store).findings == ()


def test_a_wash_withdrawn_after_the_release_flags_it(store: Store) -> None:
    bring_in(store, ROOM, [washed(), cured()], NOW)
    enter(store, ROOM, [released()], NOW)
    withdraw(store, ROOM, "w1", "Wren", "wrong lot", NOW, None)
    found = record(store)
    assert found.standing == "released"
    assert found.is_flagged
    assert [(one.what, one.is_gone, one.entry) for one in found.changes] == [("wash", True, "w1")]
    assert found.unaccepted == ("no wash logged", "drying not known")
    enter(store, ROOM, [released(hours=0, accepted="; ".join(found.findings), reason="Seen")], NOW)
    assert not record(store).unaccepted


def test_a_late_entry_that_spoils_the_bath_flags_the_release(store: Store) -> None:
    """A bath that was known to be clean held resin from the beginning: its settings came late."""
    bring_in(store, ROOM, [washed(), cured()], NOW)
    enter(store, ROOM, [released()], NOW)
    load = Wash(at=NOW - 6 * HOUR, id="late", tank="t1", resin="slate", area_cm2=400_000.0)
    bring_in(store, ROOM, [load], NOW)
    assert record(store).unaccepted == ("bath over limit",)
    assert record(store).is_flagged
    withdraw(store, ROOM, "late", "Wren", "", NOW, None)
    assert not record(store).is_flagged


def test_what_was_accepted_of_one_wash_or_cure_is_not_accepted_of_a_later_one(
    store: Store,
) -> None:
    """Ada accepted the bath of one wash and the dose of one cure: she never saw the others."""
    bring_in(store, ROOM, [tank("hot", saturation_percent=15.0)], NOW)
    bring_in(store, ROOM, [washed(tank="hot"), cured(minutes=1.0)], NOW)
    found = record(store).findings
    assert found == ("bath over limit", "dose too low")
    enter(store, ROOM, [released(accepted="; ".join(found), reason="Test piece")], NOW)
    assert not record(store).unaccepted
    bring_in(store, ROOM, [washed(4.8, id="w2", tank="hot", entered_at=NOW - HOUR)], NOW)
    assert record(store).unaccepted == ("bath over limit",)
    bring_in(store, ROOM, [cured(3.9, id="c2", minutes=1.0, entered_at=NOW - HOUR)], NOW)
    assert record(store).unaccepted == ("bath over limit", "dose too low")
    again = released(hours=0, accepted="; ".join(record(store).findings), reason="Seen")
    enter(store, ROOM, [again], NOW)
    assert not record(store).is_flagged


def test_two_resins_that_were_accepted_are_not_three(store: Store) -> None:
    resins = [PartLot(at=NOW - 6 * HOUR, lot=LOT, resin=one) for one in ("slate", "kiln")]
    bring_in(store, ROOM, [*resins, washed(), cured()], NOW)
    found = record(store).findings
    enter(store, ROOM, [released(accepted="; ".join(found), reason="Test piece")], NOW)
    bring_in(store, ROOM, [washed(4.9, id="w2", entered_at=NOW - HOUR)], NOW)
    assert not record(store).unaccepted
    third = PartLot(at=NOW - 5 * HOUR, entered_at=NOW - HOUR, lot=LOT, resin="third")
    bring_in(
        store, ROOM, [Resin(at=START, resin="third", name="Third", density_g_ml=1.1), third], NOW
    )
    assert record(store).unaccepted == ("two resins",)


def test_a_rejection_told_after_the_release_flags_it_though_it_was_before(store: Store) -> None:
    """Whoever released the lot at ten did not know what somebody saw at nine and told at noon."""
    bring_in(store, ROOM, [washed(), cured()], NOW)
    enter(store, ROOM, [released()], NOW)
    seen = PartLotRejected(at=NOW - 3.5 * HOUR, entered_at=NOW - 2 * HOUR, id="no", lot=LOT,
                           reason="Cracks", by="Wren")  # fmt: skip
    enter(store, ROOM, [seen], NOW)
    found = record(store)
    assert found.is_flagged
    assert [(one.what, one.entry) for one in found.changes] == [("part_lot_rejected", "no")]
    enter(store, ROOM, [released(hours=0)], NOW)
    assert not record(store).is_flagged


def test_a_line_of_a_file_that_does_not_say_when_it_was_entered_came_after_the_release(
    store: Store,
) -> None:
    """The washing machine's own file is read in on another day: its wash was not in the chain."""
    bring_in(store, ROOM, [washed(), cured()], NOW)
    enter(store, ROOM, [released()], NOW)
    assert not record(store).is_flagged
    bring_in(store, ROOM, [washed(hours=4.5, id="late")], NOW + 24 * HOUR)
    found = record(store)
    assert [(one.entry, one.at) for one in found.changes] == [("late", NOW + 24 * HOUR)]
    assert found.is_flagged


def test_a_room_that_is_brought_in_whole_says_what_it_said(store: Store) -> None:
    """A copied room: wash and release come in one file, whatever the order of its lines."""
    bring_in(store, ROOM, [released(), washed(), cured()], NOW)
    assert record(store).changes == ()


def test_a_rejection_that_the_release_knew_of_does_not_flag_it(store: Store) -> None:
    bring_in(store, ROOM, [washed(), cured()], NOW)
    at = NOW - 3.5 * HOUR
    known = PartLotRejected(at=at, entered_at=at, lot=LOT, reason="White film")
    bring_in(store, ROOM, [known], NOW)
    enter(store, ROOM, [released()], NOW)
    assert not record(store).is_flagged


def test_what_came_after_a_lot_is_not_read_for_its_record(store: Store) -> None:
    """A station's book of years is ten thousands of cures; a statement hands over all its rows."""
    bring_in(store, ROOM, [washed(), cured()], NOW)
    later = [
        Cure(at=NOW - 3 * HOUR + timedelta(seconds=n), station="s1", resin="slate", minutes=0.1,
             lot=f"other-{n}")
        for n in range(700)
    ]  # fmt: skip
    bring_in(store, ROOM, later, NOW)
    asked: list[tuple[str, Any]] = []

    def keep(_conn: Any, _cursor: Any, statement: str, said: Any, *_: Any) -> None:
        asked.append((statement, said))

    event.listen(store.reader, "before_cursor_execute", keep)
    found = record(store)
    event.remove(store.reader, "before_cursor_execute", keep)
    assert [one.least for one in found.cures] == [pytest.approx(6000 / 1.1)]
    with Session(store.reader) as session:
        database = session.connection()
        reads = [one for one in asked if one[0].startswith("SELECT")]
        rows = [len(database.exec_driver_sql(*one).all()) for one in reads]
    assert rows
    assert max(rows) < 20


def test_a_lot_nobody_knows_is_neither_released_nor_rejected(store: Store) -> None:
    for word in (released(), PartLotRejected(at=NOW, lot=LOT, reason="White film")):
        with pytest.raises(FieldErrors, match="No entry names this lot"):
            enter(store, ROOM, [word], NOW)
    assert not record(store).is_known


def test_only_a_lead_releases(store: Store) -> None:
    bring_in(store, ROOM, [washed(), cured()], NOW)
    with pytest.raises(FieldErrors, match="Only a lead"):
        enter(store, ROOM, [PartLotReleased(at=NOW, lot=LOT, lead="Wren")], NOW)


def test_a_lot_of_another_resin_or_one_that_is_done_is_asked_about(store: Store) -> None:
    bring_in(store, ROOM, [washed(), cured()], NOW)

    def asked(entry: Entry, now: datetime = NOW) -> set[str]:
        with pytest.raises(Doubtful) as caught:
            enter(store, ROOM, [entry], now)
        return {one.name for one in caught.value.doubts}

    assert "part_lot_other_resin" in asked(washed(1, id="w2", resin="kiln"))
    assert "part_lot_done" in asked(washed(1, id="w3"))


def test_a_cure_of_a_lot_that_nobody_entered_is_asked_about_where_lots_are_entered(
    store: Store,
) -> None:
    bring_in(store, ROOM, [washed()], NOW)
    enter(store, ROOM, [cured(id="c1", lot="B-99")], NOW)  # this room enters none
    bring_in(store, ROOM, [PartLot(at=NOW, lot="B-7", resin="slate")], NOW)
    with pytest.raises(Doubtful) as caught:
        enter(store, ROOM, [cured(id="c2", lot="B-98")], NOW)
    assert [one.name for one in caught.value.doubts] == ["part_lot_unknown"]
    assert caught.value.doubts == ("No wash and no entry names lot B-98. Is the lot right?",)
    enter(store, ROOM, [cured(id="c3", lot=" b-7")], NOW)
    enter(store, ROOM, [cured(id="c4")], NOW)


def test_a_lot_of_300_characters_or_with_controls_is_refused(store: Store) -> None:
    for lot in ("B" * 300, "B\x00-1", "B\u202e-1"):
        with pytest.raises(FieldErrors):
            parse_entry({"kind": "part_lot", "at": NOW, "lot": lot, "resin": "slate"})
    long = "B" * 200
    bring_in(store, ROOM, [washed(lot=long)], NOW)
    assert len(record(store, long).washes) == 1
    assert not record(store, "B" * 199).is_known

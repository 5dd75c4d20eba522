"""Recalls: what they find, and that a plain reading of the exported log finds the same."""

import json
import random
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.part_lots.recall import ASIDE, HELD, LIMIT, OVERDUE, RESIN, SOLVENT
from app.domain.roomlog.kinds import Entry, Resin, Swap, TankChange, Wash, Withdrawal
from app.domain.roomlog.kinds.curing import Cure, Irradiance, ReadingAccepted, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import TankHeld, TankReleased
from app.domain.roomlog.kinds.instruments import InstrumentAdded, InstrumentRetired
from app.domain.roomlog.kinds.part_lots import PartLot, PartLotRejected, PartLotReleased
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from app.services.exporting import log_lines
from app.services.part_lots.recall import Recall, Recalled, recall
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish, tank, wash, withdraw
from tests.furnished import new_store

CAPACITY_L = 40.0


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with three tanks."""
    store = new_store(tmp_path)
    furnish(store, tanks=3)
    yield store
    store.close()


def asked(store: Store, *reasons: str, days: float = 30, **more: Any) -> Recalled:
    with Session(store.reader) as session:
        wanted = Recall(frozenset(reasons), NOW - timedelta(days=days), NOW, **more)
        return recall(session, find_room(session, ROOM), wanted)


def lots(found: Recalled) -> set[str]:
    return {one.lot for one in found.lots}


def washed(days: float, tank: str, lot: str, **more: Any) -> Wash:
    return wash(days, tank, parts=1, lot=lot, **more)


def at(days: float) -> datetime:
    return NOW - timedelta(days=days)


# The log read by itself: lines of JSON, what a bath began with until it was swapped, and the limit
# that was in force; nothing of the program.


def plain_lots(lines: Sequence[Mapping[str, Any]]) -> set[str]:
    """The lots that were washed while the bath of their tank was above its limit."""
    gone = {line.get("corrects") for line in lines} | {line.get("withdraws") for line in lines}
    place = {line["id"]: number for number, line in enumerate(lines)}
    told = [line for line in lines if line["id"] not in gone and line["kind"] != "withdrawal"]
    first = {"resin": 0, "tank": 1, "tank_change": 2}

    def order(line: Mapping[str, Any]) -> tuple[datetime, int, int]:
        when = datetime.fromisoformat(line["at"]).astimezone(UTC)
        return when, first.get(line["kind"], 3), place[line.get("corrects") or line["id"]]

    percent: dict[str, float] = {}
    limit: dict[str, float] = {}
    found = set()
    for line in sorted(told, key=order):
        key, kind = line.get("tank", ""), line["kind"]
        if kind in ("tank", "tank_change"):
            limit[key] = line.get("limit_percent", limit.get(key))
        if kind == "tank":
            percent[key] = line.get("saturation_percent", 0.0)
        elif kind == "swap":
            percent[key] = 0.0
        elif kind == "wash" and line.get("lot"):
            assert abs(percent[key] - limit[key]) > 1.0, "too close to be told by a plain reading"
            if percent[key] > limit[key]:
                found.add(line["lot"])
    return found


def exported(store: Store) -> list[dict[str, Any]]:
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
    return [json.loads(line) for line in log_lines(store, room_id) if line.strip()]


@pytest.mark.parametrize("seed", range(4))
def test_a_plain_reading_of_the_exported_log_finds_the_same_lots(store: Store, seed: int) -> None:
    rng, told = random.Random(seed), []
    baths = {"a": 14.0, "b": 4.0, "c": 14.0}
    for key, percent in baths.items():
        told.append(tank(key, saturation_percent=percent))
    for number in range(40):
        key, days = rng.choice("abc"), rng.uniform(0.2, 13.5)
        told.append(washed(days, key, f"L-{rng.randrange(25)}", id=f"w{number}"))
    for number in range(3):
        key, days = rng.choice("abc"), rng.uniform(0.2, 13.5)
        limit = rng.choice((2.0, 7.0, 18.0))
        told.append(TankChange(at=at(days), id=f"c{number}", tank=key, limit_percent=limit))
    told.append(Swap(at=at(rng.uniform(2, 9)), id="s1", tank="a", filled_l=CAPACITY_L))
    told.append(Swap(at=at(rng.uniform(2, 9)), id="s2", tank="c", filled_l=CAPACITY_L))
    rng.shuffle(told)
    told.sort(key=lambda one: one.kind != "tank")
    for start in range(0, len(told), 7):
        bring_in(store, ROOM, told[start : start + 7], NOW)
    assert plain_lots(exported(store)) == lots(asked(store, LIMIT)) != set()
    # A swap is withdrawn, another one was earlier than it was said, washes were of other lots.
    withdraw(store, ROOM, "s1", "Ada", "", NOW, None)
    moved = Swap(at=at(13.2), id="s3", tank="c", filled_l=CAPACITY_L, corrects="s2")
    other = washed(1.1, "a", "L-corrected", id="w99", corrects="w3")
    bring_in(store, ROOM, [moved, other, Withdrawal(at=NOW, withdraws="w5")], NOW)
    assert plain_lots(exported(store)) == lots(asked(store, LIMIT))
    # The limit of a tank had been another one from the beginning.
    bring_in(store, ROOM, [TankChange(at=at(13.9), tank="a", limit_percent=18.0)], NOW)
    assert plain_lots(exported(store)) == lots(asked(store, LIMIT))


def test_a_late_swap_clears_the_lots_washed_after_it(store: Store) -> None:
    bring_in(store, ROOM, [tank("hot", saturation_percent=15.0)], NOW)
    bring_in(store, ROOM, [washed(5, "hot", "early"), washed(3, "hot", "late")], NOW)
    assert lots(asked(store, LIMIT)) == {"early", "late"}
    assert lots(asked(store, LIMIT, days=4)) == {"late"}
    bring_in(store, ROOM, [Swap(at=at(4), id="swap", tank="hot")], NOW)
    assert lots(asked(store, LIMIT)) == {"early"}
    withdraw(store, ROOM, "swap", "Ada", "", NOW, None)
    assert lots(asked(store, LIMIT)) == {"early", "late"}
    [touch] = next(one for one in asked(store, LIMIT).lots if one.lot == "late").touches
    assert touch.percent == pytest.approx(15.0, abs=1.5)  # solvent evaporates meanwhile
    assert touch.limit_percent == 10.0


def test_a_wash_in_a_tank_on_hold_is_found_for_as_long_as_the_hold_lasted(store: Store) -> None:
    said: list[Entry] = [
        TankHeld(at=at(6), tank="t1", reason="It leaks", cause="lead", by="Ada"),
        TankReleased(at=at(4), id="release", tank="t1", lead="Ada", reason="Mended"),
        washed(7, "t1", "before"), washed(5, "t1", "held"), washed(5, "t2", "elsewhere"),
        washed(3, "t1", "after"),
    ]  # fmt: skip
    bring_in(store, ROOM, said, NOW)
    found = asked(store, HELD)
    assert lots(found) == {"held"}
    assert found.lots[0].touches[0].why == "It leaks"
    withdraw(store, ROOM, "release", "Ada", "", NOW, None)
    assert lots(asked(store, HELD)) == {"held", "after"}


def station(days: float, mw_cm2: float, **more: Any) -> Irradiance:
    return Irradiance(at=at(days), station="s1", centre_mw_cm2=mw_cm2, **more)


def cured(days: float, lot: str, **more: Any) -> Cure:
    return Cure(at=at(days), station="s1", resin="slate", minutes=5.0, lot=lot, **more)


def lamp() -> Station:
    return Station(
        at=START, id="st", station="s1", name="Lamp", source="led", wavelength_nm=405.0,
        layout="centre", new_mw_cm2=20.0,
    )  # fmt: skip


def test_cures_are_found_while_a_reading_was_set_aside(store: Store) -> None:
    said: list[Entry] = [
        lamp(), station(13, 19.8), station(8, 6.0, id="odd"), station(4, 19.7, id="good"),
        cured(9, "before"), cured(6, "aside"), cured(2, "after"),
    ]  # fmt: skip
    bring_in(store, ROOM, said, NOW)
    assert lots(asked(store, ASIDE)) == {"aside"}
    withdraw(store, ROOM, "good", "Ada", "", NOW, None)
    assert lots(asked(store, ASIDE)) == {"aside", "after"}
    word = ReadingAccepted(at=at(7), station="s1", reading="odd", lead="Ada", reason="Checked")
    bring_in(store, ROOM, [word], NOW)  # settles nothing by itself: it counts from where it stands
    withdraw(store, ROOM, "odd", "Ada", "", NOW, None)
    assert lots(asked(store, ASIDE)) == set()


def test_cures_are_found_while_the_check_of_instruments_was_overdue(tmp_path: Path) -> None:
    """Every 7 days with 2 of grace, common practice as the catalogue of duties has it."""
    store = new_store(tmp_path)
    add_room(store, RoomForm(name="Test room", key=ROOM), at(40))
    checks = [DutyDone(at=at(days), duty="instrument", outcome="done") for days in (30, 24, 10, 2)]
    resin = Resin(at=at(40), resin="slate", name="Slate", density_g_ml=1.12)
    first = lamp()
    said = [cured(25, "fine"), cured(15.5, "in-grace"), cured(12, "overdue"), cured(1, "again")]
    bring_in(store, ROOM, [resin, first, *checks, *said], NOW)
    assert lots(asked(store, OVERDUE, days=60)) == {"overdue"}
    bring_in(store, ROOM, [DutyDone(at=at(18), duty="instrument", outcome="done")], NOW)
    assert lots(asked(store, OVERDUE, days=60)) == set()
    store.close()


def test_an_instrument_that_came_after_the_check_was_in_none(tmp_path: Path) -> None:
    """It is checked on the day it comes, with 2 days of grace; with a certificate it need not be,
    and once it is retired nothing is read with it."""
    store = new_store(tmp_path)
    add_room(store, RoomForm(name="Test room", key=ROOM), at(40))
    checks = [DutyDone(at=at(days), duty="instrument", outcome="done") for days in (30, 24, 18, 12)]
    resin = Resin(at=at(40), resin="slate", name="Slate", density_g_ml=1.12)
    told = {"sort": "hydrometer", "name": "Hydrometer"}
    new = InstrumentAdded(at=at(23), instrument="h1", **told)
    sure = InstrumentAdded(at=at(17), instrument="h2", calibrated_on=at(20).date(), **told)
    said = [cured(22, "grace"), cured(19.5, "unchecked"), cured(17.5, "checked"), cured(13, "sure")]
    bring_in(store, ROOM, [resin, lamp(), *checks, new, sure, *said], NOW)
    assert lots(asked(store, OVERDUE, days=60)) == {"unchecked"}
    gone = InstrumentRetired(at=at(20.5), instrument="h1")
    bring_in(store, ROOM, [gone], NOW)
    assert lots(asked(store, OVERDUE, days=60)) == set()
    store.close()


def test_a_lot_of_resin_is_followed_through_the_baths_it_was_in(store: Store) -> None:
    said: list[Entry] = [
        PartLot(at=at(9), lot="bad", resin="slate", resin_lot="R-7"),
        PartLot(at=at(9), lot="good", resin="slate", resin_lot="R-8"),
        washed(8.5, "t1", "before"), washed(8, "t1", "bad"), washed(7, "t1", "good"),
        washed(7, "t2", "elsewhere"),
        Swap(at=at(6), tank="t2", from_tank="t1"), Swap(at=at(5.9), tank="t1"),
        washed(5, "t2", "moved"), washed(5, "t1", "fresh"),
    ]  # fmt: skip
    bring_in(store, ROOM, said, NOW)
    found = asked(store, RESIN, resin_lot=" r-7")
    assert lots(found) == {"bad", "good", "moved"}
    assert lots(asked(store, RESIN, resin_lot="R-9")) == set()


def test_a_lot_of_solvent_is_found_by_the_fill_it_went_into(store: Store) -> None:
    said: list[Entry] = [
        Item(at=at(10), item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=at(10), item="ipa", quantity=90, lot="S-1"),
        washed(9, "t1", "before"),
        StockUsed(at=at(8), item="ipa", quantity=40, tank="t1", lot="S-1", purpose="top_up"),
        washed(7, "t1", "in-it"), washed(7, "t2", "elsewhere"), Swap(at=at(6), tank="t1"),
        washed(5, "t1", "after"),
    ]  # fmt: skip
    bring_in(store, ROOM, said, NOW)
    assert lots(asked(store, SOLVENT, solvent_lot="s-1")) == {"in-it"}


def test_each_lot_says_whether_it_was_released(store: Store) -> None:
    bring_in(store, ROOM, [tank("hot", saturation_percent=15.0)], NOW)
    said: list[Entry] = [
        *(washed(5, "hot", lot) for lot in ("open", "out", "kept")),
        PartLotReleased(at=at(3), lot="OUT", lead="Ada", accepted="bath over limit", reason="No"),
        PartLotRejected(at=at(3), lot="kept", by="Wren", reason="White film"),
    ]
    bring_in(store, ROOM, said, NOW)
    found = {one.lot: (one.standing, one.decided_by) for one in asked(store, LIMIT).lots}
    assert found == {"open": ("open", ""), "out": ("released", "Ada"), "kept": ("rejected", "Wren")}


def test_those_touched_last_are_told_and_the_others_counted(store: Store) -> None:
    """Whether a lot was released is read of those that are told alone."""
    bring_in(store, ROOM, [tank("hot", saturation_percent=15.0)], NOW)
    out = PartLotReleased(
        at=at(1), lot="lot-1", lead="Ada", accepted="bath over limit", reason="No"
    )
    bring_in(store, ROOM, [*(washed(5 - n, "hot", f"lot-{n}") for n in range(4)), out], NOW)
    with Session(store.reader) as session:
        wanted = Recall(frozenset([LIMIT]), at(30), NOW)
        room = find_room(session, ROOM)
        some, all_ = recall(session, room, wanted, 3), recall(session, room, wanted)
        more = recall(session, room, wanted, 9)
    assert [one.lot for one in some.lots] == ["lot-3", "lot-2", "lot-1"]
    assert [one.standing for one in some.lots] == ["open", "open", "released"]
    assert (some.more, all_.more, more.more) == (1, 0, 0)
    assert all_.lots[:3] == some.lots
    assert more == all_


def test_two_rooms_with_the_same_lot_are_two_lots(store: Store) -> None:
    add_room(store, RoomForm(name="Other room", key="other"), NOW)
    resin = Resin(at=START, id="r9", resin="slate", name="Slate", density_g_ml=1.12)
    bring_in(store, "other", [resin, tank("hot", id="o1", saturation_percent=15.0)], NOW)
    bring_in(store, "other", [washed(5, "hot", "B-1")], NOW)
    bring_in(store, ROOM, [washed(5, "t1", "B-1")], NOW)
    assert lots(asked(store, LIMIT)) == set()


def test_a_recall_of_baths_above_their_limit_reads_an_index_of_them(store: Store) -> None:
    """However long the log: not the washes that were below."""
    query = (
        "EXPLAIN QUERY PLAN SELECT entry.uid FROM entry JOIN link ON link.entry_id = entry.id"
        " JOIN course ON course.entry_id = entry.id WHERE link.thing = 'part_lot'"
        " AND course.room_id = ? AND course.at_us >= ? AND course.at_us < ?"
        " AND course.mean_before_percent > course.limit_percent"
    )
    with Session(store.reader) as session:
        plan = session.connection().exec_driver_sql(query, (1, 0, 10**16)).all()
    assert any("ix_course_above_limit" in str(row) for row in plan)

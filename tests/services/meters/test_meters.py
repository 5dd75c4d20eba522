"""Instruments at the door: chosen where there is just one, refused, asked about, due; the law."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, select

from app.domain.curing.dose import cure_today
from app.domain.curing.lamp import lamp
from app.domain.curing.recipes import RecipeState
from app.domain.duties.catalogue import SAMPLE_CHECK
from app.domain.duties.due import DueItem
from app.domain.errors import Doubtful, FieldErrors
from app.domain.harm.late import DONE_BEFORE
from app.domain.meters.book import InstrumentState
from app.domain.roomlog.kinds import Entry, Reading, Withdrawal
from app.domain.roomlog.kinds.curing import CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.instruments import (
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentPutBack,
    InstrumentRetired,
    InstrumentSetAside,
)
from app.services.curing.stations import find_station
from app.services.door import bring_in, enter
from app.services.duties.calibrations import standing
from app.services.duties.due import due
from app.services.entries import entry_of
from app.services.harm import overdue_looks
from app.services.meters.book import find_instrument
from app.services.rooms import find_room
from app.store import queries
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.factories import NOW, ROOM, START, furnish, sensor_reading, wash
from tests.furnished import new_store
from tests.services.happenings import short_stretches
from tests.services.law import check

SENSOR = InstrumentAdded(
    at=START, id="m", instrument="m1", name="Probe 1", sort="sensor", offset=0.4,
    calibrated_on=date(2026, 1, 5), due_on=date(2026, 7, 5),
)  # fmt: skip
METER = replace(SENSOR, id="u", instrument="u1", name="Meter 1", sort="uv_meter", offset=None)
STATION = Station(
    at=START, station="s1", name="Station 1", source="led", wavelength_nm=405, layout="centre",
    new_mw_cm2=20.0,
)  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    yield store
    store.close()


def stored(store: Store, uid: str) -> Any:
    with Session(store.reader) as session:
        return entry_of(session.exec(select(EntryRow).where(EntryRow.uid == uid)).one())


def said(store: Store, entry: Entry, *confirmed: str) -> Any:
    return stored(store, enter(store, ROOM, [entry], NOW, confirmed=confirmed).ids[0])


def refused(store: Store, entry: Entry) -> dict[str, str]:
    with pytest.raises(FieldErrors) as raised:
        enter(store, ROOM, [entry], NOW)
    return raised.value.by_field()


def test_a_room_without_instruments_asks_and_adds_nothing(store: Store) -> None:
    assert said(store, sensor_reading(1, 0.1)).instrument is None


def test_the_only_one_of_its_sort_is_chosen_by_itself(store: Store) -> None:
    bring_in(store, ROOM, [SENSOR, METER, STATION], NOW)
    assert said(store, sensor_reading(1, 0.1)).instrument == "m1"
    light = Irradiance(at=NOW, station="s1", centre_mw_cm2=18.0)
    assert said(store, light).instrument == "u1"


def test_of_several_none_is_chosen_and_none_for_a_time_before_it_came(store: Store) -> None:
    late = replace(SENSOR, at=NOW - timedelta(hours=1))
    bring_in(store, ROOM, [late], NOW)
    assert said(store, sensor_reading(1, 0.1)).instrument is None
    bring_in(store, ROOM, [replace(late, id="n", instrument="m2", name="Probe 2")], NOW)
    assert said(store, sensor_reading(0, 0.1)).instrument is None


def test_a_sensor_built_into_a_tank_is_that_tank_s(store: Store) -> None:
    of = [replace(SENSOR, id=f"m{n}", instrument=f"m{n}", name=f"P {n}", of_tank=f"t{n}")
          for n in (1, 2)]  # fmt: skip
    bring_in(store, ROOM, of, NOW)
    assert said(store, sensor_reading(1, 0.1, "t2")).instrument == "m2"
    wrong = refused(store, sensor_reading(1, 0.1, "t2", instrument="m1"))
    assert "built into another tank" in wrong["instrument"]


def test_an_import_is_taken_as_it_is(store: Store) -> None:
    bring_in(store, ROOM, [SENSOR, sensor_reading(1, 0.1, id="r")], NOW)
    assert stored(store, "r").instrument is None


@pytest.mark.parametrize(
    "more, word",
    [
        ({"instrument": "m9"}, "There is no instrument “m9”"),
        ({"instrument": "u1"}, "Meter 1 does not show this"),
    ],
)
def test_an_unknown_instrument_and_one_of_the_wrong_kind_are_refused(
    store: Store, more: dict[str, str], word: str
) -> None:
    bring_in(store, ROOM, [SENSOR, METER], NOW)
    assert word in refused(store, sensor_reading(1, 0.1, **more))["instrument"]


def test_the_same_name_or_key_twice_is_refused(store: Store) -> None:
    bring_in(store, ROOM, [SENSOR], NOW)
    twin = replace(SENSOR, id="", instrument="m2", name="probe 1")
    assert "already" in refused(store, twin)["name"]
    assert "already" in refused(store, replace(SENSOR, id="", name="Probe 2"))["instrument"]
    assert "tank" in refused(store, replace(twin, name="Two", of_tank="t9"))["of_tank"]
    assert "key" in refused(store, replace(twin, instrument="new", name="Two"))["instrument"]


def test_what_is_said_of_it_has_to_fit_how_it_stands(store: Store) -> None:
    aside = InstrumentSetAside(at=NOW, instrument="m1", reason="Cracked")
    assert "There is no instrument" in refused(store, aside)["instrument"]
    bring_in(store, ROOM, [SENSOR], NOW)
    back = InstrumentPutBack(at=NOW, instrument="m1", reason="Dirt")
    assert "not set aside" in refused(store, back)["instrument"]
    early = replace(aside, at=START - timedelta(days=1))
    assert "added later" in refused(store, early)["at"]
    far = InstrumentCalibrated(
        at=NOW, instrument="m1", calibrated_on=date(2026, 3, 1), uncertainty=99.0
    )
    assert "Enter it in %" in refused(store, far)["uncertainty"]
    said(store, aside)
    assert "already" in refused(store, aside)["instrument"]
    gone = InstrumentRetired(at=NOW, instrument="m1")
    said(store, gone)
    assert "retired" in refused(store, gone)["instrument"]
    assert "retired" in refused(store, sensor_reading(0, 0.1, instrument="m1"))["instrument"]


def test_one_set_aside_is_refused_by_the_cell_and_read_again_once_it_is_back(store: Store) -> None:
    aside = InstrumentSetAside(at=NOW - timedelta(hours=2), instrument="m1", reason="Cracked")
    bring_in(store, ROOM, [SENSOR, aside], NOW)
    with pytest.raises(FieldErrors) as raised:
        enter(store, ROOM, [sensor_reading(0, 0.1)], NOW)
    assert [one.rule for one in raised.value.errors] == ["instrument_aside"]
    said(store, sensor_reading(1, 0.1, by="Wren"), DONE_BEFORE)  # it was in use then
    said(store, InstrumentPutBack(at=NOW, instrument="m1", reason="Only dirt"))
    said(store, sensor_reading(0, 0.1))


def test_an_overdue_one_is_asked_about_by_the_day_of_its_certificate(store: Store) -> None:
    old = replace(SENSOR, due_on=date(2026, 2, 28))
    bring_in(store, ROOM, [old], NOW)
    with pytest.raises(Doubtful) as raised:
        enter(store, ROOM, [sensor_reading(0, 0.1)], NOW)
    assert [one.name for one in raised.value.doubts] == ["instrument_overdue"]
    said(store, sensor_reading(0, 0.1), "instrument_overdue")
    said(store, sensor_reading(5, 0.1))  # before its day
    new = InstrumentCalibrated(at=NOW, instrument="m1", calibrated_on=date(2026, 3, 1))
    said(store, new)
    said(store, sensor_reading(0, 0.2))


def test_what_is_due_is_on_the_due_list(store: Store) -> None:
    undated = replace(METER, calibrated_on=None, due_on=None)
    yearly = replace(SENSOR, id="y", instrument="y", name="Y", due_on=None)
    bring_in(store, ROOM, [replace(SENSOR, due_on=date(2026, 3, 1)), undated, yearly], NOW)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        tanks = queries.board(session, room.id or 0, NOW).tanks
        items = {
            item.subject.key: (item.due_on, item.group)
            for item in due(session, room, tanks, NOW)
            if item.duty.key == "calibration"
        }
        stands = {one.instrument.key: one for one in standing(session, room, NOW)}
    assert items == {
        "m1": (date(2026, 3, 1), "overdue"),
        "y": (date(2027, 1, 5), "later"),
    }
    assert (stands["m1"].is_overdue, stands["y"].is_overdue) == (True, False)
    assert stands["u1"].due_on is None


def dose_seconds(store: Store) -> tuple[float, float]:
    """The time of a cure for the weakest place, and by the best estimate."""
    with Session(store.reader) as session:
        station = find_station(session, find_room(session, ROOM).id or 0, "s1")
    today = cure_today(station, lamp(station, NOW), RecipeState("slate", dose_mj_cm2=1000.0))
    assert today.seconds is not None
    assert today.likely_seconds is not None
    return today.seconds, today.likely_seconds


def test_a_uv_meter_s_offset_and_uncertainty_enter_the_time_of_a_cure(store: Store) -> None:
    """1000 mJ/cm2 at 18 mW/cm2 are 55.6 s; a meter 20 % high leaves 15, so 66.7 s."""
    light = Irradiance(at=NOW, station="s1", centre_mw_cm2=18.0, instrument="u1")
    bring_in(store, ROOM, [STATION, METER, CureRecipe(at=START, resin="slate",
                                                      dose_mj_cm2=1000.0), light], NOW)  # fmt: skip
    assert dose_seconds(store)[1] == pytest.approx(1000 / 18)
    plain = dose_seconds(store)[0]
    assert plain == pytest.approx(1.1 * 1000 / 18)
    said(store, replace(METER, id="", corrects="u", offset=20.0))
    assert dose_seconds(store)[1] == pytest.approx(1000 / 15)
    said(store, InstrumentCalibrated(
        at=START + timedelta(hours=1), instrument="u1", calibrated_on=START.date(), offset=0.0,
        uncertainty=5.0))  # fmt: skip
    assert dose_seconds(store)[1] == pytest.approx(1000 / 18)
    assert dose_seconds(store)[0] > plain


def test_late_corrected_and_withdrawn_certificates_keep_the_law(store: Store) -> None:
    """Whatever arrives when, what is kept is a fold of the true order from scratch."""
    certified = InstrumentCalibrated(
        at=NOW - timedelta(days=3), id="c", instrument="m1", calibrated_on=date(2026, 2, 20),
        offset=1.0, uncertainty=0.5,
    )  # fmt: skip
    with short_stretches():
        readings = [sensor_reading(day, 5.0 - day / 2, instrument="m1", id=f"r{day}")
                    for day in range(8)]  # fmt: skip
        bring_in(
            store,
            ROOM,
            [SENSOR, *(wash(9 - n, id=f"w{n}", area_cm2=9_000.0) for n in range(8))],
            NOW,
        )
        bring_in(store, ROOM, readings, NOW)
        check(store)
        before = mean(store)
        bring_in(store, ROOM, [certified], NOW)  # late
        check(store)
        late = mean(store)
        assert late < before
        bring_in(store, ROOM, [replace(certified, id="d", corrects="c", offset=3.0)], NOW)
        check(store)
        assert mean(store) < late
        bring_in(store, ROOM, [Withdrawal(at=NOW, withdraws="d")], NOW)
        check(store)
        assert mean(store) == before
        aside = InstrumentSetAside(at=NOW - timedelta(days=2), instrument="m1", reason="Dirt")
        bring_in(store, ROOM, [aside], NOW)
        check(store)
        assert mean(store) == before


def mean(store: Store) -> float:
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        board = queries.board(session, room.id or 0, NOW)
        return next(one.mean_percent for one in board.tanks if one.key == "t1")


HEAT = replace(
    SENSOR, id="h", instrument="h1", name="Thermometer 1", sort="thermometer", offset=None
)  # fmt: skip
FLOAT = replace(HEAT, id="f", instrument="f1", name="Float 1", sort="hydrometer")
DENSE = Reading(at=NOW, tank="t1", method="hydrometer",
                values={"density_g_ml": 0.789, "temperature_c": 20.0})  # fmt: skip


def test_the_only_thermometer_is_named_beside_the_only_hydrometer(store: Store) -> None:
    bring_in(store, ROOM, [HEAT, FLOAT], NOW)
    found = said(store, replace(DENSE, at=NOW - timedelta(minutes=1)))
    assert (found.instrument, found.thermometer) == ("f1", "h1")
    without = said(store, sensor_reading(1, 0.1))
    assert (without.instrument, without.thermometer) == (None, None)  # it shows no temperature
    assert find(store, "h1").readings == 1


def test_a_thermometer_is_not_what_showed_the_density_nor_a_hydrometer_the_heat(
    store: Store,
) -> None:
    bring_in(store, ROOM, [HEAT, FLOAT], NOW)
    wrong = refused(store, replace(DENSE, instrument="h1", thermometer="f1"))
    assert "Thermometer 1 does not show this" in wrong["instrument"]
    assert "Float 1 does not show this" in wrong["thermometer"]
    assert "Choose another thermometer" in wrong["thermometer"]
    assert "no instrument" in refused(store, replace(DENSE, thermometer="h9"))["thermometer"]
    none_to_show = refused(store, sensor_reading(1, 0.1, thermometer="h1"))
    assert "does not show this" in none_to_show["thermometer"]


def test_a_thermometer_overdue_or_set_aside_is_told_beside_it(store: Store) -> None:
    bring_in(store, ROOM, [replace(HEAT, due_on=date(2026, 2, 1)), FLOAT], NOW)
    with pytest.raises(Doubtful) as raised:
        enter(store, ROOM, [DENSE], NOW)
    assert [one.name for one in raised.value.doubts] == ["instrument_overdue"]
    assert "Thermometer 1" in str(raised.value.doubts[0])
    aside = InstrumentSetAside(at=NOW - timedelta(hours=2), instrument="h1", reason="Cracked")
    bring_in(store, ROOM, [aside], NOW)
    with pytest.raises(FieldErrors) as stopped:
        enter(store, ROOM, [DENSE], NOW, confirmed=("instrument_overdue",))
    assert [(one.field, one.rule) for one in stopped.value.errors] == [
        ("thermometer", "instrument_aside")
    ]


def test_a_late_certificate_of_a_thermometer_keeps_the_law(store: Store) -> None:
    with short_stretches():
        bring_in(store, ROOM, [HEAT, FLOAT, *(wash(9 - n, id=f"w{n}", area_cm2=9_000.0)
                                              for n in range(8))], NOW)  # fmt: skip
        named = replace(DENSE, instrument="f1", thermometer="h1")
        bring_in(store, ROOM, [
            replace(named, at=NOW - timedelta(days=day), id=f"r{day}",
                    values={"density_g_ml": 0.8, "temperature_c": 24.0}) for day in range(1, 6)
        ], NOW)  # fmt: skip
        check(store)
        before = mean(store)
        certified = InstrumentCalibrated(
            at=NOW - timedelta(days=4), id="c", instrument="h1", calibrated_on=date(2026, 2, 20),
            offset=2.0, uncertainty=0.5,
        )  # fmt: skip
        bring_in(store, ROOM, [certified], NOW)
        check(store)
        assert mean(store) < before  # cooler than it was read: the solvent alone is denser
        bring_in(store, ROOM, [Withdrawal(at=NOW, withdraws="c")], NOW)
        check(store)
        assert mean(store) == before


def find(store: Store, key: str) -> InstrumentState:
    with Session(store.reader) as session:
        return find_instrument(session, find_room(session, ROOM).id or 0, key)


def sample_check(store: Store, at: datetime = NOW) -> DueItem:
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        tanks = queries.board(session, room.id or 0, at).tanks
        [item] = [one for one in due(session, room, tanks, at) if one.duty.key == SAMPLE_CHECK]
    return item


def test_a_sample_check_does_not_count_for_an_instrument_that_came_later(store: Store) -> None:
    """Nobody has held the new hydrometer against a known sample, whatever the old ones showed."""
    done = DutyDone(at=NOW - timedelta(days=4), duty=SAMPLE_CHECK, outcome="done", by="Wren")
    bring_in(store, ROOM, [done], NOW)
    assert sample_check(store).group == "week"
    new = InstrumentAdded(at=NOW - timedelta(days=3), id="h", instrument="h1", name="Float 1",
                          sort="hydrometer")  # fmt: skip
    known = replace(SENSOR, id="k", at=NOW - timedelta(days=3), instrument="m3")
    light = replace(new, id="l", instrument="u3", sort="uv_meter")
    bring_in(store, ROOM, [known, light], NOW)
    assert sample_check(store).group == "week"  # one is calibrated, the other sees no sample
    bring_in(store, ROOM, [new], NOW)
    assert sample_check(store).group == "overdue"
    with Session(store.reader) as session:
        told = dict(overdue_looks(session, find_room(session, ROOM), NOW))
    assert "Float 1 is new since" in told["Instruments not checked in time"]
    bring_in(store, ROOM, [replace(done, id="", at=NOW - timedelta(hours=1))], NOW)
    assert sample_check(store).group == "week"


def test_a_sample_check_that_was_never_done_is_not_put_off_by_a_new_instrument(
    store: Store,
) -> None:
    before = sample_check(store).due_on
    new = InstrumentAdded(at=NOW, instrument="h1", name="Float 1", sort="hydrometer")
    bring_in(store, ROOM, [new], NOW)
    assert sample_check(store).due_on == before

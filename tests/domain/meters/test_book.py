"""An instrument's book: certificates, set aside, put back, retired; what an entry may say."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from app.domain.errors import FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.meters.book import INSTRUMENT_BOOK, Certificate, InstrumentState, first_unchecked
from app.domain.meters.sorts import SORTS
from app.domain.roomlog.kinds import Entry, Reading
from app.domain.roomlog.kinds.curing import Irradiance
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.instruments import (
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentPutBack,
    InstrumentRetired,
    InstrumentSetAside,
)
from app.domain.roomlog.lines import parse_entry
from app.domain.things import fold

AT = datetime(2026, 2, 2, 9, tzinfo=UTC)
DAY = timedelta(days=1)
ADDED = InstrumentAdded(
    at=AT, id="a", instrument="m1", name="Float 1", sort="hydrometer", offset=0.002,
    uncertainty=0.0005, certificate="C-1", calibrated_on=date(2026, 1, 5),
    due_on=date(2026, 7, 5),
)  # fmt: skip


def after(*entries: Entry) -> InstrumentState:
    state: InstrumentState = fold(INSTRUMENT_BOOK, "m1", entries)
    return state


def test_a_calibration_moves_the_due_day_and_keeps_what_it_leaves_out() -> None:
    again = InstrumentCalibrated(
        at=AT + 9 * DAY, id="c", instrument="m1", calibrated_on=date(2026, 2, 10), offset=-0.001
    )
    state = after(ADDED, again)
    latest = state.certificate
    assert latest is not None
    assert (latest.offset, latest.uncertainty, latest.due_on) == (-0.001, 0.0005, None)
    assert latest.next_on(365) == date(2027, 2, 10)
    before = state.certificate_at(AT + 3 * DAY)
    assert before is not None
    assert (before.offset, before.next_on(365)) == (0.002, date(2026, 7, 5))
    assert state.certificate_at(AT - DAY) is None


def test_it_is_set_aside_put_back_and_retired() -> None:
    aside = InstrumentSetAside(at=AT + DAY, instrument="m1", reason="Cracked")
    back = InstrumentPutBack(at=AT + 2 * DAY, instrument="m1", reason="Only dirt")
    gone = InstrumentRetired(at=AT + 3 * DAY, instrument="m1")
    assert after(ADDED, aside).aside_since_at == AT + DAY
    assert after(ADDED, aside, back).aside_since_at is None
    state = after(ADDED, aside, back, gone)
    assert not state.is_here
    assert state.is_here_at(AT + 2 * DAY)
    assert not state.is_here_at(AT + 3 * DAY)
    assert not state.is_here_at(AT - DAY)


def test_an_instrument_whose_entry_was_withdrawn_is_not_known() -> None:
    reading = Reading(at=AT, tank="t1", method="hydrometer", instrument="m1")
    state = after(reading)
    assert (state.is_known, state.readings, state.unit) == (False, 1, "")
    assert not state.may_take(reading)


@pytest.mark.parametrize(
    "sort, method, values, fits",
    [
        ("hydrometer", "hydrometer", {"density_g_ml": 0.8}, True),
        ("refractometer_brix", "refractometer", {"brix_percent": 21.0}, True),
        ("refractometer_index", "refractometer", {"brix_percent": 21.0}, False),
        ("balance", "residue", {"sample_g": 10.0}, True),
        ("hydrometer", "sensor", {"saturation_percent": 2.0}, False),
        ("thermometer", "hydrometer", {"density_g_ml": 0.8}, False),
    ],
)
def test_which_readings_it_may_take(
    sort: str, method: str, values: dict[str, float], fits: bool
) -> None:
    state = InstrumentState("m1", "One", sort)
    assert state.may_take(Reading(at=AT, tank="t1", method=method, values=values)) is fits
    assert state.may_take(Irradiance(at=AT, station="s1", centre_mw_cm2=9)) is (sort == "uv_meter")


def test_each_sort_reads_fields_that_its_method_has() -> None:
    for sort in SORTS.values():
        if sort.method:
            assert set(sort.fields) <= set(INSTRUMENTS[sort.method].fields), sort
    assert {sort.method for sort in SORTS.values()} - {""} == set(INSTRUMENTS)


@pytest.mark.parametrize(
    "field, wrong",
    [
        ("due_on", {"due_on": "2026-01-05"}),
        ("due_on", {"due_on": "2025-12-01"}),
        ("calibrated_on", {"calibrated_on": "2026-03-01"}),
        ("calibrated_on", {"calibrated_on": None}),
        ("uncertainty", {"uncertainty": -0.1}),
        ("offset", {"offset": 0.9}),
        ("sort", {"sort": "spoon"}),
        ("of_tank", {"of_tank": "t1"}),
        ("name", {"name": " "}),
    ],
)
def test_what_does_not_fit_is_said_beside_its_field(field: str, wrong: dict[str, object]) -> None:
    raw = {
        "kind": "instrument", "at": AT.isoformat(), "instrument": "m1", "name": "Float 1",
        "sort": "hydrometer", "calibrated_on": "2026-01-05", "due_on": "2026-07-05",
    }  # fmt: skip
    parse_entry(raw)
    with pytest.raises(FieldErrors) as raised:
        parse_entry({**raw, **wrong})
    assert field in raised.value.by_field()


def test_the_first_instrument_for_baths_that_came_after_a_check_is_in_no_check() -> None:
    def came(key: str, days: float, sort: str = "hydrometer", **more: Any) -> InstrumentState:
        new = InstrumentAdded(at=AT + days * DAY, instrument=key, name=key, sort=sort, **more)
        state: InstrumentState = fold(INSTRUMENT_BOOK, key, [new])
        return state

    late, later = came("b", 2), came("a", 3)
    calibrated = came("c", 1.5, calibrated_on=date(2026, 1, 5))
    others = [came("u", 1.5, "uv_meter"), came("v", 1.5, "anemometer"), calibrated]
    here, now = [later, late, *others], AT + 9 * DAY
    assert first_unchecked(here, AT + DAY, now) == late
    assert first_unchecked(here, AT + 2 * DAY, now) == later
    assert first_unchecked(here, AT + 3 * DAY, now) is None
    assert first_unchecked(here, AT + 2 * DAY, AT + 2.5 * DAY) is None
    assert first_unchecked(here, AT + 2 * DAY, AT + 3 * DAY) == later
    assert first_unchecked(here, None, now) is None
    assert first_unchecked([replace(late, retired_at=now)], AT, now) is None
    gone = replace(late, retired_at=now)
    assert first_unchecked([gone], AT, now - DAY) == gone  # it was there then
    known = replace(calibrated.certificates[0], since_at=AT + 5 * DAY)
    sure = replace(late, certificates=(*late.certificates, known))
    assert first_unchecked([sure], AT, AT + 4 * DAY) == sure
    assert first_unchecked([sure], AT, AT + 5 * DAY) is None


def test_an_instrument_keeps_every_word_of_its_entries() -> None:
    added = replace(ADDED, serial="S-9", of_tank="t1", sort="sensor")
    paper = Certificate(AT, "a", 0.002, 0.0005, "C-1", date(2026, 1, 5), date(2026, 7, 5))
    plain = InstrumentState("m1", "Float 1", "sensor", "S-9", "t1", AT, (paper,))
    assert after(added) == plain
    bare = InstrumentAdded(at=AT, instrument="m1", name="Float 1", sort="hydrometer")
    assert after(bare) == InstrumentState(
        "m1", "Float 1", "hydrometer", added_at=AT, certificates=(Certificate(AT),)
    )
    aside = InstrumentSetAside(at=AT + DAY, instrument="m1", reason="Cracked")
    assert after(added, aside) == replace(plain, aside_since_at=AT + DAY, aside_reason="Cracked")
    back = InstrumentPutBack(at=AT + 2 * DAY, instrument="m1", reason="Checked")
    assert after(added, aside, back) == plain
    retired = InstrumentRetired(at=AT + 3 * DAY, instrument="m1")
    assert after(added, aside, retired) == replace(plain, retired_at=AT + 3 * DAY)
    assert after(added, retired, replace(added, at=AT + 4 * DAY)).retired_at is None


def test_each_entry_that_names_it_counts_as_a_reading() -> None:
    read = Reading(at=AT + DAY, tank="t1", method="hydrometer", instrument="m1",
                   values={"density_g_ml": 0.8, "temperature_c": 20.0})  # fmt: skip
    checked = DutyDone(at=AT + 2 * DAY, duty="instruments", outcome="ok")
    state = after(ADDED, read, checked)
    assert (state.readings, state.last_reading_at) == (2, AT + 2 * DAY)


@pytest.mark.parametrize(
    "sort, speed_m_s, may",
    [("anemometer", 0.5, True), ("anemometer", None, False), ("hydrometer", 0.5, False)],
)
def test_only_an_air_speed_is_of_an_anemometer(
    sort: str, speed_m_s: float | None, may: bool
) -> None:
    done = DutyDone(at=AT + DAY, duty="hood_speed", outcome="ok", speed_m_s=speed_m_s)
    state = after(replace(ADDED, sort=sort))
    assert state.may_take(done) == may
    assert state.may_be(SORTS["anemometer"].named_as, done) == may


def test_a_field_names_instruments_of_its_own_sort_alone() -> None:
    read = Reading(at=AT + DAY, tank="t1", method="hydrometer", instrument="m1",
                   values={"density_g_ml": 0.8, "temperature_c": 20.0})  # fmt: skip
    state = after(ADDED)
    named = SORTS["hydrometer"].named_as
    others = {one.named_as for one in SORTS.values()} - {named}
    assert state.may_be(named, read)
    assert others
    assert not [one for one in others if state.may_be(one, read)]
    assert not InstrumentState("m1").may_be(named, read)


def test_the_first_that_nobody_checked_is_the_one_that_came_first() -> None:
    def came(days: int, key: str) -> InstrumentState:
        bare = InstrumentAdded(at=AT + days * DAY, instrument=key, name=key, sort="hydrometer")
        state: InstrumentState = fold(INSTRUMENT_BOOK, key, [bare])
        return state

    some = [came(5, "a"), came(3, "c"), came(3, "b"), came(9, "d")]
    for order in (some, some[::-1]):
        found = first_unchecked(order, AT, AT + 20 * DAY)
        assert found is not None
        assert found.key == "b"

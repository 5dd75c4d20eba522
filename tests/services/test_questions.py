"""Figures that no door stores unasked: a weak fill, a close unlike the log, a soak of seconds."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import Doubtful
from app.domain.roomlog.kinds import Entry, Swap, TankChange, TopUp, Wash
from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import MonthClose
from app.domain.roomlog.kinds.inspections import SoakEnded, SoakStarted
from app.domain.roomlog.kinds.waste import Drum, DrumChanged, Pour
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.questions import doubts
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish, tank
from tests.furnished import new_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = new_store(tmp_path)
    furnish(made)
    record(made, ROOM, [
        MonthClose(at=START, tank="t1", is_at_line=True),
        TopUp(at=START + timedelta(days=1), tank="t1", volume_l=0.9),
        SoakStarted(at=NOW - timedelta(seconds=30), soak="o1", name="O-ring", tank="t1",
                    mass_before_g=2.0),
        SoakStarted(at=NOW - timedelta(hours=71), soak="o2", name="O-ring", tank="t1",
                    mass_before_g=2.0),
    ], NOW)  # fmt: skip
    return made


def swap(percent: float) -> Swap:
    return Swap(at=NOW, tank="t1", drained_l=39.0, filled_l=39.0, fresh_purity_percent=percent)


def close(added_l: float) -> MonthClose:
    return MonthClose(at=NOW, tank="t1", added_l=added_l, is_at_line=True)


@pytest.mark.parametrize(
    "entry, name",
    [
        (swap(50.0), "purity_unlike"),
        (close(500.0), "close_unlike_log"),
        (SoakEnded(at=NOW, soak="o1", mass_after_g=2.1), "soak_too_short"),
    ],
)
def test_what_is_unlikely_is_asked_and_stored_once_it_is_meant(
    store: Store, entry: Entry, name: str
) -> None:
    with pytest.raises(Doubtful) as asked:
        enter(store, ROOM, [entry], NOW)
    assert [doubt.name for doubt in asked.value.doubts] == [name]  # type: ignore[union-attr]
    with pytest.raises(Doubtful):
        enter(store, ROOM, [entry], NOW, confirmed=["tank_held"])
    assert enter(store, ROOM, [entry], NOW, confirmed=[name]).ids


@pytest.mark.parametrize(
    "meant, slip, name",
    [
        (swap(98.0), {"fresh_purity_percent": 50.0}, "purity_unlike"),
        (close(0.9), {"added_l": 500.0}, "close_unlike_log"),
        (
            Cure(at=NOW, station="s1", resin="slate", minutes=0.9),
            {"tank": "t1"}, "wash_time_unknown",
        ),
        (
            Cure(at=NOW, station="s1", resin="slate", minutes=0.9, tank="t1",
                 washed_at=NOW - timedelta(minutes=25)),
            {"washed_at": NOW - timedelta(minutes=19)}, "parts_wet",
        ),
        (DrumChanged(at=NOW, drum="d1", name="D-1"), {"material": "metal"}, "now_metal"),
        (Pour(at=NOW, drum="d1", tank="t1", volume_l=5.0), {"tank": None}, "pour_source_unsaid"),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)  # fmt: skip
def test_a_slip_is_asked_about_where_a_correction_makes_it(
    store: Store, meant: Entry, slip: dict[str, Any], name: str
) -> None:
    record(store, ROOM, [
        tank("slow", solvent="tripropylene_glycol_methyl_ether"),
        Station(at=START, station="s1", name="Cure 1", source="led", wavelength_nm=405.0,
                layout="centre", new_mw_cm2=20.0, longest_minutes=30.0),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0, dry_minutes=20.0),
        Drum(at=START, drum="d1", name="D-1", capacity_l=60, stream="isopropanol_resin",
             area="wash_station", material="plastic"),
        replace(meant, id="e1"),
    ], NOW)  # fmt: skip
    anew = replace(meant, id="e2", corrects="e1", **slip)
    with pytest.raises(Doubtful) as asked:
        enter(store, ROOM, [anew], NOW)
    assert name in [doubt.name for doubt in asked.value.doubts]  # type: ignore[union-attr]
    names = [doubt.name for doubt in asked.value.doubts]  # type: ignore[union-attr]
    enter(store, ROOM, [anew], NOW, confirmed=names)
    enter(store, ROOM, [replace(anew, id="e3", corrects="e2", note="Read twice")], NOW)


def test_a_pour_of_no_tank_is_asked_about_where_the_room_washes_in_another_solvent_too(
    store: Store,
) -> None:
    """40 CFR 265.177, incompatible wastes: from memory."""
    kept = Drum(at=START, drum="d1", name="D-1", capacity_l=60, stream="isopropanol_resin",
                area="wash_station")  # fmt: skip
    solids = Drum(at=START, drum="d2", name="D-2", capacity_l=60, stream="solids_and_sludge",
                  area="wash_station")  # fmt: skip
    record(store, ROOM, [kept, solids], NOW)
    pour = Pour(at=NOW, drum="d1", volume_l=2.0)
    enter(store, ROOM, [pour], NOW)
    record(store, ROOM, [tank("slow", solvent="tripropylene_glycol_methyl_ether")], NOW)
    with pytest.raises(Doubtful, match=r"has Tripropylene glycol methyl ether .* too"):
        enter(store, ROOM, [pour], NOW)
    for said in (
        replace(pour, tank="t1"), replace(pour, stream="isopropanol_resin"),
        replace(pour, drum="d2", mass_before_kg=1.0, mass_after_kg=3.4),
    ):  # fmt: skip
        assert enter(store, ROOM, [said], NOW).ids
    assert enter(store, ROOM, [pour], NOW, confirmed=["pour_source_unsaid"]).ids
    record(store, ROOM, [TankChange(at=NOW, tank="slow", is_retired=True)], NOW)
    assert enter(store, ROOM, [pour], NOW).ids


@pytest.mark.parametrize(
    "entry",
    [
        swap(99.0),
        swap(95.0),
        close(0.9),
        close(2.5),
        SoakEnded(at=NOW, soak="o2", mass_after_g=2.1),
    ],
)
def test_what_is_as_usual_is_not_asked(store: Store, entry: Entry) -> None:
    assert enter(store, ROOM, [entry], NOW).ids


def test_a_cure_of_a_wash_that_nobody_logged_is_asked_about_where_the_log_has_wet_parts(
    store: Store,
) -> None:
    """Solvent under the light leaves parts tacky: common practice, no source."""
    record(store, ROOM, [
        Station(at=START, station="s1", name="Cure 1", source="led", wavelength_nm=405.0,
                layout="centre", new_mw_cm2=20.0, longest_minutes=30.0),
        Irradiance(at=NOW - timedelta(days=1), station="s1", centre_mw_cm2=20.0),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0, dry_minutes=20.0),
        Wash(at=NOW - timedelta(minutes=60), tank="t1", resin="slate", parts=3),
        Wash(at=NOW - timedelta(minutes=10), tank="t1", resin="slate", parts=3),
    ], NOW)  # fmt: skip

    def cure(minutes: float) -> Cure:
        washed_at = NOW - timedelta(minutes=minutes)
        return Cure(at=NOW, station="s1", resin="slate", minutes=0.9, tank="t1",
                    washed_at=washed_at)  # fmt: skip

    with pytest.raises(Doubtful, match=r"No wash in .* is logged at .* Are these other parts\?"):
        enter(store, ROOM, [cure(40)], NOW)
    assert enter(store, ROOM, [cure(40)], NOW, confirmed=["wash_time_unlogged"]).ids
    assert enter(store, ROOM, [cure(60)], NOW).ids
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        assert [one.name for one in doubts(session, room, [cure(10)], NOW)] == ["parts_wet"]
        late = replace(cure(40), at=NOW + timedelta(minutes=10))
        assert not doubts(session, room, [late], late.at)

"""A file that tells of what a hold forbids now is stored, and nobody overlooks it."""

import json
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds.curing import STATION, CureRecipe, Station
from app.domain.roomlog.kinds.incidents import HOLD, StationHeld, TankHeld
from app.domain.roomlog.kinds.instruments import (
    INSTRUMENT,
    InstrumentAdded,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import ITEM, Item, LotHeld, StockReceived
from app.domain.roomlog.kinds.waste import (
    DRUM,
    Drum,
    DrumClosed,
    DrumQuarantined,
    PickupBooked,
)
from app.services.door import bring_in as record
from app.services.importing.importing import Checked, check_file, store_checked
from app.services.importing.previews import against_in_words, holds_in_words
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START

AGO = NOW - timedelta(hours=2)
AT = f"/rooms/{ROOM}"
DRUM_OF_ITS_OWN = {"capacity_l": 200.0, "area": "central", "stream": "isopropanol_resin"}
HERE = [
    CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    TankHeld(at=AGO, tank="t1", reason="The seal leaks", cause="lead", by="Wren"),
    Station(at=START, station="s1", name="Station 1", source="led", wavelength_nm=405.0,
            layout="centre", new_mw_cm2=20.0),
    CureRecipe(at=START, resin="slate", dose_mj_cm2=1000.0, dry_minutes=0.0),
    StationHeld(at=AGO, station="s1", reason="The lid is cracked", cause="lead", by="Wren"),
    *(Drum(at=START, drum=key, name=f"Drum {key}", volume_l=20.0, **DRUM_OF_ITS_OWN)
      for key in ("d1", "d2")),
    DrumClosed(at=START, drum="d1", is_cool=True),
    PickupBooked(at=START, pickup="p1", drums=["d1"], hauler="Marl Waste", pickup_on=NOW.date()),
    *(DrumQuarantined(at=AGO, drum=key, reason="Unknown solvent in it", by="Wren")
      for key in ("d1", "d2")),
    Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
         solvent="isopropanol"),
    StockReceived(at=START, item="ipa", quantity=40.0, lot="L1"),
    LotHeld(at=AGO, item="ipa", lot="L1", standing="quarantined", reason="Smells", by="Wren"),
    InstrumentAdded(at=START, instrument="m1", name="Sensor 1", sort="sensor"),
    InstrumentSetAside(at=AGO, instrument="m1", reason="Cracked", by="Wren"),
]  # fmt: skip
TOLD: Mapping[str, tuple[dict[str, Any], tuple[str, str]]] = {
    "ship": ({"kind": "pickup_shipped", "pickup": "p1", "drums": ["d1"], "document": "M-1"},
             (DRUM, "d1")),
    "close": ({"kind": "drum_closed", "drum": "d2", "is_cool": True}, (DRUM, "d2")),
    "pour": ({"kind": "pour", "drum": "d2", "tank": "t2", "volume_l": 2.0}, (DRUM, "d2")),
    "transfer": ({"kind": "drum_transfer", "drum": "d2", "from_drum": "d1", "volume_l": 1.0,
                  "waste_kg": 0.8},
                 (DRUM, "d2")),
    "wash": ({"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 500.0}, (HOLD, "t1")),
    "cure": ({"kind": "cure", "station": "s1", "resin": "slate", "minutes": 1.0},
             (STATION, "s1")),
    "lot": ({"kind": "stock_used", "item": "ipa", "lot": "L1", "quantity": 1.0,
             "purpose": "top_up", "tank": "t2"}, (ITEM, "ipa")),
    "reading": ({"kind": "reading", "tank": "t2", "method": "sensor", "instrument": "m1",
                 "saturation_percent": 1.0}, (INSTRUMENT, "m1")),
}  # fmt: skip
HELD = {HOLD: "hold of this tank", STATION: "hold of this station",
        DRUM: "quarantine of this drum", ITEM: "hold of this lot",
        INSTRUMENT: "setting aside of this instrument"}  # fmt: skip
NAMES = {HOLD: "1 T1", STATION: "Station 1", DRUM: "Drum d", ITEM: "Isopropanol",
         INSTRUMENT: "Sensor 1"}  # fmt: skip
TOLD_ONLY = ("close",)
"""What the matrix lets pass: it empties nothing and starts nothing."""


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    record(store, ROOM, HERE, NOW)
    return client


def check(store: Store, folder: Path, *lines: dict[str, Any]) -> Checked:
    path = folder / "log.jsonl"
    path.write_text("\n".join(json.dumps(line) for line in lines))
    return check_file(store, ROOM, path, NOW)


def is_held(store: Store, kind: str, key: str) -> bool:
    with Session(store.reader) as session:
        state = thing(session, find_room(session, ROOM).id or 0, kind, key)
    return bool({
        HOLD: lambda: state.is_held, STATION: lambda: state.hold.is_held,
        DRUM: lambda: state.is_quarantined, ITEM: lambda: state.lot("L1").held,
        INSTRUMENT: lambda: state.aside_since_at,
    }[kind]())  # fmt: skip


@pytest.mark.parametrize("act", TOLD)
def test_what_a_file_says_of_now_is_told_marked_and_lifts_nothing(
    room: TestClient, store: Store, tmp_path: Path, act: str
) -> None:
    line, (kind, key) = TOLD[act]
    assert HELD[kind] not in room.get(f"{AT}/log").text
    checked = check(store, tmp_path, {"at": NOW.isoformat(), "by": "Dunlin", **line})
    if act not in TOLD_ONLY:
        assert len(checked.preview.against) == 1
        assert "that this room forbids now" in against_in_words(checked.preview)
    store_checked(store, ROOM, checked, lambda: NOW)
    assert is_held(store, kind, key)
    assert f"done during the {HELD[kind]}" in room.get(f"{AT}/log").text
    page = room.get(AT).text
    assert "but in the log since then:" in page
    assert NAMES[kind] in page.split("but in the log since then:")[0][-400:]


def test_a_drum_that_left_in_quarantine_is_settled_by_a_lead(
    room: TestClient, store: Store, tmp_path: Path
) -> None:
    line = {"at": NOW.isoformat(), **TOLD["ship"][0]}
    store_checked(store, ROOM, check(store, tmp_path, line), lambda: NOW)
    page = room.get(f"{AT}/waste/drums/d1").text
    assert "Call whoever collected it" in page
    free = {"lead": "Curlew", "reason": "The carrier knows", "by": "Curlew", "submission": "x"}
    answer = room.post(f"{AT}/waste/drums/d1/do/release", data=free, follow_redirects=False)
    assert answer.status_code == 303
    assert not is_held(store, DRUM, "d1")
    assert "but in the log since then:" not in room.get(AT).text


@pytest.mark.usefixtures("room")
def test_a_file_of_last_year_is_history(store: Store, tmp_path: Path) -> None:
    at = (NOW - timedelta(days=3)).isoformat()
    lines = [{"at": at, **line} for line, _ in TOLD.values()]
    assert check(store, tmp_path, *lines).preview.against == ()


def test_the_preview_of_a_file_says_what_it_would_hold(
    room: TestClient, store: Store, tmp_path: Path
) -> None:
    line = {"at": NOW.isoformat(), "kind": "incident", "incident": "i1", "problem": "leak",
            "tank": "t2", "people": "Wren"}  # fmt: skip
    text = "tank t2, leak"
    assert text in holds_in_words(check(store, tmp_path, line).preview)
    answer = room.post(
        f"/api/v1/rooms/{ROOM}/import/preview", content=json.dumps(line),
        headers={"content-type": "application/x-ndjson"},
    )  # fmt: skip
    assert answer.json()["holds"] == [text]

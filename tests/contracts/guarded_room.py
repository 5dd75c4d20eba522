"""A room in which something is held, quarantined, signed, closed and reported, and what writes."""

from collections.abc import Iterator, Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.config import Settings
from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.incidents import Incident, StationHeld, TankHeld
from app.domain.roomlog.kinds.inspections import (
    Component,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.instruments import (
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumClosed, DrumQuarantined, PickupBooked
from app.domain.roomlog.lines import own_fields
from app.main import create_app
from app.services.door import bring_in as record
from app.services.entries import entry_of
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import EntryRow
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish, wash
from tests.furnished import prepare

WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
AGO = NOW - timedelta(hours=2)
STRANGER = "Nobody Here"
POSITION = {"component": "c1", "part": "washer", "name": "Washer 1"}
GUARDED: Mapping[str, Entry] = {
    "tank-hold": TankHeld(at=AGO, tank="t1", reason="The seal leaks", cause="lead"),
    "station-hold": StationHeld(at=AGO, station="s1", reason="The lid is cracked", cause="lead"),
    "quarantine": DrumQuarantined(at=AGO, drum="d2", reason="Unknown solvent in it"),
    "signed": InspectionClosed(at=AGO, inspection="n1", note="All seen"),
    "answered": InspectionAnswered(
        at=AGO - timedelta(minutes=1), inspection="n1", component="c1",
        answers={one.key: "no" for one in CONDITIONS["washer"]},
    ),
    "started": InspectionStarted(
        at=AGO - timedelta(minutes=2), inspection="n1", tank="t1", positions=[POSITION]
    ),
    "closed-drum": DrumClosed(at=AGO, drum="d1", is_cool=True),
    "set-aside": InstrumentSetAside(at=AGO, instrument="m1", reason="The stem is cracked"),
    "calibrated": InstrumentCalibrated(
        at=AGO - timedelta(minutes=3), instrument="m1", calibrated_on=START.date(),
        due_on=NOW.date() - timedelta(days=1),
    ),
    "incident": Incident(at=AGO, incident="i1", problem="spill", tank="t2", volume_l=2.0),
}  # fmt: skip
FURNITURE: tuple[Entry, ...] = (
    CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
    Item(at=START, item="gloves", name="Gloves", category="protection", unit="pair"),
    StockReceived(at=START, item="gloves", quantity=40.0, lot="L1"),
    Drum(at=START, id="drum-1", drum="d1", name="Drum 1", capacity_l=200.0, volume_l=20.0,
         stream="isopropanol_resin", area="central"),
    Drum(at=START, drum="d2", name="Drum 2", capacity_l=200.0, stream="isopropanol_resin",
         area="central"),
    Station(at=START, station="s1", name="Station 1", source="led", wavelength_nm=405,
            layout="centre"),
    Component(at=START, tank="t1", fitted_at=START, **POSITION),  # type: ignore[arg-type]
    InstrumentAdded(at=START, instrument="m1", name="Hydrometer 1", sort="hydrometer",
                    calibrated_on=START.date()),
    PickupBooked(at=START, pickup="p1", drums=["d1"], pickup_on=NOW.date(), hauler="Marl Waste"),
)  # fmt: skip


def visit_guarded(folder: Path) -> Iterator[TestClient]:
    """A tablet on which a stranger is named, two hours after all of it was entered by Wren."""
    prepare(folder)
    served = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    store: Store = served.state.store
    furnish(store, tanks=3)
    record(store, ROOM, [*FURNITURE, *(wash(9 - i, id=f"w{i}") for i in range(4))], AGO)
    for name in ("started", "answered", "signed", *GUARDED):
        entry = GUARDED[name]
        named = type(entry)(**{**vars(entry), "id": name, "by": "Wren"})
        record(store, ROOM, [named], AGO, submission=name)
    with TestClient(served, base_url="http://room.test") as client:
        client.cookies.set("person", STRANGER)
        yield client


def writing_routes(app: Any, before: str = "") -> Iterator[tuple[str, str]]:
    """Method and path of each route of an application that is not only read, mounted ones too."""
    for route in app.routes:
        if (router := getattr(route, "original_router", None)) is not None:
            yield from writing_routes(router, before)
        elif (inner := getattr(route, "app", None)) is not None and not hasattr(route, "methods"):
            inner = getattr(inner, "api", inner)
            if hasattr(inner, "routes"):
                yield from writing_routes(inner, before + route.path)
        else:
            for method in sorted(WRITES & set(getattr(route, "methods", None) or ())):
                yield method, before + route.path


def troubles(store: Store) -> list[str]:
    """What is no longer as it was left: an entry that does not count, a guard that is gone."""
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        found = [f"{name} no longer counts" for name in GUARDED if not _stands(session, name)]

        def state(kind: str, key: str) -> Any:
            return thing(session, room_id, kind, key)

        tank, station, drum = state("hold", "t1"), state("station", "s1"), state("drum", "d2")
        signed, incident = state("inspection", "n1"), state("incident", "i1")
        meter = state("instrument", "m1")
    so = {
        "tank t1 is held": tank is not None and tank.is_held,
        "station s1 is held": station is not None and station.is_known and station.hold.is_held,
        "drum d2 is quarantined": drum is not None and drum.is_quarantined,
        "inspection n1 is signed": signed is not None and signed.closed_by == "Wren",
        "inspection n1 has its answers": signed is not None
        and [bool(look.verdict) for look in signed.looks] == [True],
        "incident i1 is a spill in t2": incident is not None
        and (incident.problem, incident.tank) == ("spill", "t2"),
        "instrument m1 is set aside": meter is not None and meter.aside_since_at is not None,
        "incident i1 is open": incident is not None and not incident.is_closed,
    }
    return found + [f"not so any more: {what}" for what, is_so in so.items() if not is_so]


def _stands(session: Session, uid: str) -> bool:
    """It counts, or what replaced it says the same but for words and figures beside the matter."""
    row = _row(session, uid)
    first = entry_of(row)
    while row.voided_by is not None:
        row = _row(session, row.voided_by)
        entry = entry_of(row)
        if isinstance(entry, Withdrawal) or uid != "incident":
            return False
        names = ("incident", "problem", "tank", "drum", "at")
        if any(getattr(entry, name) != getattr(first, name) for name in names):
            return False
    return True


def _row(session: Session, uid: str) -> EntryRow:
    return session.exec(select(EntryRow).where(EntryRow.uid == uid)).one()


def moved(entry: Entry) -> dict[str, Any]:
    """The entry said anew of another thing: what a correction would have to be to let it go."""
    others = {"tank": "t3", "station": "s2", "drum": "d9", "inspection": "n9", "incident": "i9",
              "reason": "Nothing", "problem": "exposure"}  # fmt: skip
    values = own_fields(entry)
    return values | {name: other for name, other in others.items() if name in values}

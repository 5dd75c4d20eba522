"""The demo room with its write door, to which honest and wrong lines are sent."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.errors import Conflict, Doubtful, FieldErrors, LeadNeeded, NotFound
from app.domain.harm.matrix import QUESTIONS
from app.domain.people.permissions import LEAD, action_of
from app.domain.plausible import NAMES
from app.domain.plausible.words import SOAK_SHORT
from app.domain.roomlog.kinds import Entry, Removal, TopUp
from app.domain.roomlog.kinds.inspections import SoakStarted
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import Drum, DrumChanged, DrumClosed, PickupBooked
from app.domain.roomlog.lines import parse_entry, to_mapping
from app.services.demo import ROOM
from app.services.door import bring_in, enter
from app.store.engine import Store
from app.store.tables import RoomRow, TankRow
from app.store.things import things
from tests.judge.slips import Line, Slip

API = f"/api/v1/rooms/{ROOM.key}"
ALWAYS = {"kind": "soak_ended", "soak": "always", "mass_after_g": 2.0, "by": "Wren"}
"""A line that is always asked about: what is sent with it is looked at, and never stored."""


def prepare(store: Store, now: datetime) -> None:
    """What honest lines need beside the demo: soak tests, drums to move and to ship, a top-up."""

    def soak(key: str, hours: float, grams: float) -> SoakStarted:
        at = now - timedelta(hours=hours)
        return SoakStarted(
            at=at, id=f"soak-{key}", soak=key, name="Ring", tank="alder", mass_before_g=grams
        )  # fmt: skip

    def drum(key: str, litres: float, kg: float) -> Drum:
        return Drum(
            at=now - timedelta(hours=9), id=f"drum-{key}", drum=key, name=key.upper(),
            capacity_l=205, stream="isopropanol_resin", area="central", tare_kg=21.5,
            volume_l=litres, waste_kg=kg,
        )  # fmt: skip

    early = now - timedelta(hours=8)
    bring_in(store, ROOM.key, [
        soak("s-1", 100, 2.1), soak("always", 0.01, 2.0), drum("d-08", 20, 16.2),
        drum("d-09", 150, 122),
        DrumChanged(at=early, id="height", drum="d-05", inner_height_cm=84.0),
        PickupBooked(at=early, id="p-09", pickup="p-09", drums=["d-09"], hauler="Marl",
                     pickup_on=now.date()),
        DrumClosed(at=early, id="shut", drum="d-09", is_cool=True),
        TopUp(at=early, id="top-1", tank="dogwood", volume_l=1.5),
        TopUp(at=early + timedelta(hours=1), id="top-2", tank="dogwood", volume_l=1.4),
        Removal(at=early + timedelta(hours=2), id="out-1", tank="dogwood", volume_l=0.8),
    ], now)  # fmt: skip


def as_it_stands(store: Store) -> list[Line]:
    """Honest lines that say what the books say: counts of the shelf, what is left in a tank."""
    with Session(store.reader) as session:
        room_id = session.exec(select(RoomRow.id).where(RoomRow.key == ROOM.key)).one()
        assert room_id is not None
        birch = session.get_one(TankRow, (room_id, "birch"))
        items = things(session, room_id, ITEM)
    counts: list[Line] = [
        {"kind": "stock_counted", "item": key, "quantity": items[key].on_hand,
         "expected": items[key].on_hand}
        for key in ("ipa-99", "gloves-l", "wipes")
    ]  # fmt: skip
    left_l = round(birch.volume_l - 1.2, 1)
    return [*counts, {"kind": "removal", "tank": "birch", "volume_l": 1.2, "left_l": left_l}]


def entry_of(line: Mapping[str, Any], now: datetime) -> Entry:
    """The entry of a line that is entered now."""
    return parse_entry({"at": now, "by": who(line), **line})


def who(line: Mapping[str, Any]) -> str:
    """Who enters a line: the demo's lead where a lead decides."""
    return "Curlew" if action_of(line["kind"]) == LEAD else "Wren"


def answer_to(client: TestClient, line: Mapping[str, Any]) -> tuple[str, list[str]]:
    """What the door says to a line: `refused`, `asked` or `nothing`, and its words."""
    entries = [{"by": who(line), **line}, ALWAYS]
    answer = client.post(
        f"{API}/entries/batch", json={"entries": entries}, params={"confirm": list(QUESTIONS)}
    )
    body = answer.json()
    if answer.status_code == 422:
        return "refused", [str(body.get("errors") or body)]
    assert answer.status_code == 409, (answer.status_code, answer.text[:500], line)
    asked = [one["message"] for one in body["questions"] if one["name"] != SOAK_SHORT]
    return ("asked" if asked else "nothing"), asked


def unasked(client: TestClient, slips: Iterable[Slip]) -> list[Slip]:
    """The slips that the door would store without a word."""
    return [slip for slip in slips if answer_to(client, slip.line)[0] == "nothing"]


def asked_in_vain(
    store: Store, entries: Sequence[Entry], now: datetime
) -> tuple[list[tuple[str, str]], int]:
    """What is asked about honest entries as they are stored one after another, and their number.

    What the room refuses today, since its rules were others then, is brought in and not counted.
    """
    found: list[tuple[str, str]] = []
    count = 0
    for entry in entries:
        confirmed = set(QUESTIONS)
        try:
            try:
                enter(store, ROOM.key, [entry], now, confirmed=confirmed)
            except Doubtful as odd:
                names = {getattr(one, "name", "") for one in odd.doubts}
                if names & set(NAMES):
                    found.append((entry.kind, str(odd)))
                enter(store, ROOM.key, [entry], now, confirmed=confirmed | names)
            count += 1
        except (FieldErrors, Conflict, LeadNeeded, NotFound):
            bring_in(store, ROOM.key, [entry], now)
    return found, count


def line_of(entry: Entry) -> Line:
    """An entry as a line, without its id."""
    return {name: value for name, value in to_mapping(entry).items() if name != "id"}


def is_asked(store: Store, slip: Slip, entry: Entry, now: datetime) -> bool:
    """Whether the door refuses or asks about a wrong line in the place of an entry."""
    sentinel = entry_of(ALWAYS, now)
    try:
        wrong = parse_entry({**slip.line, "at": entry.at, "by": entry.by or who(slip.line)})
        enter(store, ROOM.key, [wrong, sentinel], now, confirmed=set(QUESTIONS))
    except Doubtful as odd:
        return any(getattr(one, "name", "") != SOAK_SHORT for one in odd.doubts)
    except (FieldErrors, Conflict, NotFound):
        return True
    raise AssertionError("a line that is always asked about was stored")

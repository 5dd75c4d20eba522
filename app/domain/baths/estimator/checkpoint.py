"""The room filter as bytes and back, exactly: a small header, then numbers as they are."""

import json
import struct
import zlib
from dataclasses import asdict, fields
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from app.domain.baths.conventions import Basis
from app.domain.baths.estimator.bath import FINDINGS, SIZE, Bath
from app.domain.baths.estimator.certified import Known
from app.domain.baths.estimator.facts import Limit, ResinFacts, TankFacts
from app.domain.baths.estimator.passports import Kept
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import Array, Shared
from app.domain.baths.habits import Habits
from app.domain.baths.record import Record
from app.domain.errors import DomainError
from app.domain.instruments import Baseline, CalibrationPoint
from app.domain.meters.book import Certificate
from app.domain.roomlog.kinds import PlannedWash

MAGIC = b"BKFJ"
PLAN_FIELDS = ("id", "tank", "resin", "parts", "area_cm2", "mass_g", "plan")
CERTIFIED_DAYS = ("since_at", "calibrated_on", "due_on")
PAIRS = ("density_reading", "residue_reading", "index_reading")
MOMENTS = tuple(f.name for f in fields(TankFacts) if f.name.endswith(("_at", "_since")))


def room_bytes(room: RoomState) -> bytes:
    """A room's whole state."""
    shared = room.shared
    head = {
        "settings": asdict(room.settings),
        "zone": zone_name(room.zone),
        "resins": {key: asdict(facts) for key, facts in room.resins.items()},
        "columns": shared.resins,
        "washes": room.washes,
        "points": {key: [asdict(p) for p in points] for key, points in room.points.items()},
        "plans": [plan_json(plan) for plan in room.plans.values()],
        "passports": {key: asdict(kept) for key, kept in room.passports.items()},
        "instruments": {key: _known_json(one) for key, one in room.instruments.items()},
        "read_with": room.read_with,
        "last_at": _text(room.last_at),
        "day": room.day,
        "tanks": list(room.tanks),
    }
    parts = [packed(head), shared.numbers().tobytes(), _record_part(room.record)]
    for tank in room.tanks:
        parts += [_tank_part(room, tank), bath_bytes(room.baths[tank])]
    return join(parts)


def _tank_part(room: RoomState, tank: str) -> bytes:
    if tank not in room.stored:
        room.stored[tank] = packed([facts_json(room.tanks[tank]), room.habits[tank].to_json()])
    return room.stored[tank]


def _record_part(record: Record) -> bytes:
    if record.packed is None:
        record.packed = packed(record.to_json())
    return record.packed


def room_of(data: bytes) -> RoomState:
    """The room of `room_bytes`.

    Raises:
        DomainError: the bytes are not a room filter of this version.
    """
    parts = split(data)
    head = unpacked(parts[0])
    settings = Settings(**head["settings"])
    room = RoomState(settings, zone_of(head["zone"]), Shared(settings))
    room.resins = {key: ResinFacts(**values) for key, values in head["resins"].items()}
    room.washes, room.day = head["washes"], head["day"]
    for key, points in head["points"].items():
        room.points[key] = tuple(CalibrationPoint(**point) for point in points)
    for values in head["plans"]:
        room.keep_plan(plan_of(values))
    room.passports = {key: Kept(**values) for key, values in head["passports"].items()}
    room.instruments = {key: _known_of(values) for key, values in head["instruments"].items()}
    room.read_with = head["read_with"]
    room.last_at = _moment(head["last_at"])
    room.shared.restore(head["columns"], np.frombuffer(parts[1]))
    room.record = Record.from_json(unpacked(parts[2]))
    room.record.packed = parts[2]
    for i, tank in enumerate(head["tanks"]):
        stored, numbers = parts[3 + 2 * i : 5 + 2 * i]
        facts, habits = unpacked(stored)
        room.tanks[tank], room.stored[tank] = facts_of(facts), stored
        room.habits[tank] = Habits.from_json(habits, room.zone)
        room.baths[tank] = bath_of(numbers, room.shared.size)
    return room


def join(parts: list[bytes]) -> bytes:
    """Parts in a row, each with its length before it."""
    framed = [piece for part in parts for piece in (struct.pack("<I", len(part)), part)]
    return MAGIC + b"".join(framed)


def split(data: bytes) -> list[bytes]:
    """The parts that `join` put in a row.

    Raises:
        DomainError: the bytes are not a room filter of this version.
    """
    if data[:4] != MAGIC:
        raise DomainError(
            "The stored estimate is of another version; work it out from the log again."
        )
    parts, at = [], 4
    while at < len(data):
        (length,) = struct.unpack_from("<I", data, at)
        parts.append(data[at + 4 : at + 4 + length])
        at += 4 + length
    return parts


def packed(value: Any) -> bytes:
    """JSON, compressed."""
    return zlib.compress(json.dumps(value, separators=(",", ":")).encode(), 1)


def unpacked(data: bytes) -> Any:
    """What was packed."""
    return json.loads(zlib.decompress(data))


def zone_name(zone: tzinfo) -> str | float:
    """A zone by its name, or by its seconds from UTC."""
    if isinstance(zone, ZoneInfo):
        return zone.key
    return (zone.utcoffset(None) or timedelta()).total_seconds()


def zone_of(name: str | float) -> tzinfo:
    """The zone of a name or of seconds from UTC."""
    if isinstance(name, str):
        return ZoneInfo(name)
    return timezone(timedelta(seconds=name)) if name else UTC


def bath_bytes(bath: Bath) -> bytes:
    """A bath's numbers."""
    parts = [bath.offset, bath.slope, bath.spread]
    parts += [bath.is_slip, bath.jumped_on, bath.missing_from, bath.found_on, bath.read_on]
    if len(bath.weight) > 1:
        upper = np.triu_indices(bath.shift.shape[1])
        parts += [bath.shape[:, upper[0], upper[1]], bath.shift, bath.weight]
    head = np.array([bath.day, len(bath.weight)])
    return b"".join(part.tobytes() for part in [head, *parts])


def bath_of(data: bytes, size: int) -> Bath:
    """The bath of `bath_bytes`, with that many shared quantities."""
    numbers = np.frombuffer(data)
    day, count = float(numbers[0]), int(numbers[1])
    at = 2

    def take(*shape: int) -> Array:
        nonlocal at
        length = count * int(np.prod(shape, dtype=int))
        at += length
        return numbers[at - length : at].reshape(count, *shape).copy()

    bath = Bath(np.zeros(SIZE), np.zeros((SIZE, SIZE)), size, day)
    bath.offset, bath.slope, bath.spread = take(SIZE), take(SIZE, size), take(SIZE, SIZE)
    bath.is_slip, bath.jumped_on = take(), take()
    bath.missing_from, bath.found_on, bath.read_on = take(), take(FINDINGS), take()
    if count > 1:
        upper = np.triu_indices(size)
        triangle = take(len(upper[0]))
        bath.shape = np.zeros((count, size, size))
        bath.shape[:, upper[0], upper[1]] = triangle
        bath.shape[:, upper[1], upper[0]] = triangle
        bath.shift, bath.weight = take(size), take()
    return bath


def facts_json(facts: TankFacts) -> dict[str, Any]:
    """A tank's facts as JSON values."""
    values: dict[str, Any] = {f.name: getattr(facts, f.name) for f in fields(facts)}
    for name in MOMENTS:
        values[name] = _text(values[name])
    for name in ("limit", "stop"):
        values[name] = [values[name].basis, values[name].value]
    for name in PAIRS:
        if values[name] is not None:
            values[name] = [_text(values[name][0]), *values[name][1:]]
    if facts.baseline is not None:
        values["baseline"] = asdict(facts.baseline)
    return values


def facts_of(values: dict[str, Any]) -> TankFacts:
    """The facts of `facts_json`."""
    values = dict(values)
    for name in MOMENTS:
        values[name] = _moment(values[name])
    for name in ("limit", "stop"):
        basis: Basis = values[name][0]
        values[name] = Limit(basis, values[name][1])
    for name in PAIRS:
        if values[name] is not None:
            at, *numbers = values[name]
            values[name] = (_moment(at), *numbers)
    if values["baseline"] is not None:
        values["baseline"] = Baseline(**values["baseline"])
    return TankFacts(**values)


def plan_json(plan: PlannedWash) -> dict[str, Any]:
    """An open plan as JSON values."""
    values = {name: getattr(plan, name) for name in PLAN_FIELDS}
    return {**values, "at": _text(plan.at), "known_from": _text(plan.known_from)}


def plan_of(values: dict[str, Any]) -> PlannedWash:
    """The plan of `plan_json`."""
    moments = {name: _moment(values[name]) for name in ("at", "known_from")}
    return PlannedWash(**{**values, **moments})


def _known_json(known: Known) -> dict[str, Any]:
    values = asdict(known.certificate)
    for name in CERTIFIED_DAYS:
        values[name] = _text(values[name])
    return {"sort": known.sort, **values}


def _known_of(values: dict[str, Any]) -> Known:
    values = dict(values)
    sort, since_at = values.pop("sort"), datetime.fromisoformat(values.pop("since_at"))
    for name in ("calibrated_on", "due_on"):
        values[name] = None if values[name] is None else date.fromisoformat(values[name])
    return Known(sort, Certificate(since_at, **values))


def _text(moment: date | None) -> str | None:
    return None if moment is None else moment.isoformat()


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)

"""What waits for the next shift: what to do first, what is held until what, what is due."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.domain.calendar_words import day_words
from app.domain.checklists.run import SwapState
from app.domain.curing.stations import StationState
from app.domain.duties.due import DueItem
from app.domain.holds import Hold, HoldState
from app.domain.plural import counted
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.supplies import ITEM, LotHeld
from app.domain.roomlog.kinds.waste import DRUM, DrumChecked, DrumQuarantined
from app.domain.shifts import LEAST
from app.domain.supplies.state import ItemState
from app.services.duties.due import due
from app.services.inspections.reading import inspections
from app.services.waste import drums
from app.store.instants import from_us
from app.store.queries import TankView
from app.store.tables import EntryRow
from app.store.things import book, things
from app.web.deps import Visit
from app.web.duties.due_list import when_words
from app.web.filters import sentence
from app.web.rooms.by_need import Vessel
from app.web.shifts.since import shortly
from app.web.unbroken import KEEPER
from app.web.words import moment

LEAD = "A lead releases it."
SAY = "Say what is in it to release it."


@dataclass(frozen=True)
class Line:
    """Something that waits, and the page where it is done.

    Attributes:
        sign: name of its sign (`icon` in `_macros.html`).
        lead: the thing and the act, in a few words.
        text: the rest, in a sentence or two.
    """

    sign: str
    lead: str
    text: str
    href: str


@dataclass(frozen=True)
class Remark:
    """What somebody wrote where a swap was paused, for whoever goes on."""

    name: str
    text: str
    by: str
    when: str
    href: str


def do_first(visit: Visit, vessels: Sequence[Vessel]) -> list[Line]:
    """The needs of tanks, swaps and inspections that were begun with the step at hand."""
    swaps = _open_swaps(visit)
    lines = [
        _need(visit, one, swaps)
        for one in vessels
        if one.is_needy and one.state not in ("held", "measure")
    ]
    under_way = {state.key for state in swaps}
    names = _names(vessels) | _stations_by_name(visit)
    for state in inspections(visit.session, visit.room_id, only_open=True):
        if state.swap in under_way:
            continue
        name, left = names.get(state.tank or state.station, ""), len(state.left)
        rest = f"{counted(left, 'part', 'parts')} left" if left else "All parts are seen. Sign it"
        began = moment(state.started_at, visit.now, visit.zone) if state.started_at else ""
        text = f"{rest}. {state.by or 'Somebody'} began it {_at(began)}."
        href = visit.address("inspections", state.key)
        lines.append(Line("swapping", f"{name or 'A place'}: finish the inspection.", text, href))
    return lines


def remarks(visit: Visit, vessels: Sequence[Vessel]) -> list[Remark]:
    """What was noted as swaps under way were paused, the last word on each."""
    found, names = [], _names(vessels)
    for state in _open_swaps(visit):
        said = next((one for one in reversed(state.said) if one.note), None)
        if said is None:
            continue
        href = visit.address("tanks", state.tank, "swap")
        when = moment(said.at, visit.now, visit.zone)
        name = names.get(state.tank, state.tank)
        found.append(Remark(name, said.note, said.by, when, href))
    return found


def held(visit: Visit, vessels: Sequence[Vessel]) -> list[Line]:
    """Tanks, stations, lots and drums that are not used now: why, by whom, until what."""
    return [
        *_held_tanks(visit, vessels), *_held_stations(visit), *_held_lots(visit),
        *_held_drums(visit),
    ]  # fmt: skip


def due_soon(visit: Visit, vessels: Sequence[Vessel], tanks: Sequence[TankView]) -> list[Line]:
    """What is overdue, or due before the shift to come ends; then readings that are wanted."""
    last_on = (visit.now + LEAST).astimezone(visit.zone).date()
    items = [
        item
        for item in due(visit.session, visit.room, tanks, visit.now)
        if item.group in ("overdue", "today") or item.due_on <= last_on
    ]
    by_duty: dict[str, list[DueItem]] = {}
    for item in items:
        by_duty.setdefault(item.duty.key, []).append(item)
    lines = [_due(visit, some) for some in by_duty.values()]
    listed = {item.subject.key for item in items if item.duty.proof == "reading"}
    for one in vessels:
        if one.state == "measure" and one.tank.key not in listed:
            href = visit.address("tanks", one.tank.key, "log", "reading")
            lines.append(Line("measure", f"{_name(one)}: measure it.", one.reason, href))
    return lines


def _need(visit: Visit, one: Vessel, swaps: Sequence[SwapState]) -> Line:
    key, text = one.tank.key, one.reason
    path = ["tanks", key]
    if one.state == "swapping":
        path.append("swap")
        state = next((s for s in swaps if key in (s.tank, s.from_tank)), None)
        if state is not None:
            step = state.next_step
            at_hand = f"Next: {step.title.rstrip('.')}." if step else "Only its close is left."
            text = f"{text} {at_hand}"
    lead = f"{_name(one)}: {one.act[:1].lower()}{one.act[1:]}."
    return Line(one.state, lead, text, visit.address(*path))


def _held_tanks(visit: Visit, vessels: Sequence[Vessel]) -> Iterator[Line]:
    names = _names(vessels)
    states: dict[str, HoldState] = things(visit.session, visit.room_id, HOLD, only_open=True)
    for key, state in states.items():
        if key not in names:
            continue  # out of use
        until = LEAD if state.is_for_a_lead else ""
        until = f"{SAY} {until}".strip() if state.asks_contents else until
        path = "hold" if state.is_for_a_lead else "contents"
        href = visit.address("tanks", key, path)
        yield Line("held", f"{names[key]}: no washing.", _whys(visit, state.holds, until), href)


def _held_stations(visit: Visit) -> Iterator[Line]:
    states: dict[str, StationState] = things(visit.session, visit.room_id, STATION)
    for key, state in states.items():
        if state.hold.is_held and not state.is_retired:
            text = _whys(visit, state.hold.holds, LEAD)
            href = visit.address("stations", key, "hold")
            yield Line("held", f"{state.name or key}: no curing.", text, href)


def _held_lots(visit: Visit) -> Iterator[Line]:
    states: dict[str, ItemState] = things(visit.session, visit.room_id, ITEM)
    for key, item in states.items():
        for lot in item.lots:
            if not lot.held or lot.quantity <= 0:
                continue
            by, at = _holder(visit, ITEM, key, (LotHeld.kind,), lot.lot)
            text = f"{sentence(lot.held_reason)} {_held_by(by, at)} {LEAD}"
            lead = f"Lot {lot.lot} of {item.name or key}: do not use."
            yield Line("held", lead, text, visit.address("shelf", "items", key))


def _held_drums(visit: Visit) -> Iterator[Line]:
    for key, drum in drums(visit.session, visit.room_id, only_open=True).items():
        if not drum.is_quarantined:
            continue
        by, at = _holder(visit, DRUM, key, (DrumQuarantined.kind, DrumChecked.kind))
        text = f"{sentence(drum.quarantine_reason)} {_held_by(by, at)} {LEAD}"
        href = visit.address("waste", "drums", key)
        yield Line("held", f"{drum.name or key}: in quarantine.", text, href)


def _holder(
    visit: Visit, kind: str, key: str, kinds: Sequence[str], lot: str = ""
) -> tuple[str, str]:
    """Who held it last, and when; both empty where the log has no such entry."""

    def is_of_it(row: EntryRow) -> bool:
        is_of_lot = not lot or json.loads(row.fields).get("lot") == lot
        return row.kind in kinds and row.voided_by is None and is_of_lot

    rows = book(visit.session, visit.room_id, kind, key)
    row = next((row for row in rows if is_of_it(row)), None)
    if row is None:
        return "", ""
    return row.by, moment(from_us(row.at_us), visit.now, visit.zone)


def _whys(visit: Visit, holds: Sequence[Hold], until: str) -> str:
    whys = [
        f"{sentence(one.reason)} {_held_by(one.by, moment(one.since_at, visit.now, visit.zone))}"
        for one in holds
    ]
    return f"{' '.join(whys)} {until}"


def _held_by(by: str, when: str) -> str:
    return f"{by or 'Somebody'} held it {_at(when)}." if when or by else ""


def _at(when: str) -> str:
    """A moment within a sentence: “at 07:40”, “on Tue 06:41”.

    >>> _at("07:40"), _at("Tue 06:41"), _at("")
    ('at 07:40', 'on Tue 06:41', 'before')
    """
    return f"{'at' if when[:1].isdigit() else 'on'} {when}" if when else "before"


def _due(visit: Visit, items: Sequence[DueItem]) -> Line:
    worst = items[0]
    names = [_whole(item.subject.name) for item in items if item.subject.name]
    when = when_words(worst)
    said = f"{when[:1].lower()}{when[1:]}" if names else when
    if len({when_words(item) for item in items}) > 1 and when.endswith(" overdue"):
        said = f"up to {said}"
    named = shortly(names)
    named += "," if ":" in named else ":"  # one colon in a sentence
    text = f"{named} {said}." if names else ""
    if worst.due_on > visit.today:
        said = f"by {day_words(worst.due_on, visit.today)}"
        text = f"{named} {said}." if names else f"{said[:1].upper()}{said[1:]}."
    is_one = len(items) == 1 and worst.duty.path
    path = worst.duty.path.format(of=worst.subject.key).split("/") if is_one else ["duties"]
    sign = "over" if worst.group == "overdue" else "soon"
    return Line(sign, f"{worst.duty.name}.", text or f"{said}.", visit.address(*path))


def _whole(name: str) -> str:
    """A tank's place and name, which no line parts: a place alone at its end counts something.

    >>> _whole("3 Cedar") == f"3{KEEPER}Cedar", _whole("Lamp House 1")
    (True, 'Lamp House 1')
    """
    place, _, rest = name.partition(" ")
    return f"{place}{KEEPER}{rest}" if place.isdigit() and rest else name


def _open_swaps(visit: Visit) -> list[SwapState]:
    states = things(visit.session, visit.room_id, SWAP, only_open=True).values()
    return [state for state in states if state.is_open]


def _stations_by_name(visit: Visit) -> dict[str, str]:
    states = things(visit.session, visit.room_id, STATION)
    return {key: state.name or key for key, state in states.items()}


def _names(vessels: Sequence[Vessel]) -> dict[str, str]:
    return {one.tank.key: _name(one) for one in vessels}


def _name(one: Vessel) -> str:
    return f"{one.tank.place} {one.tank.name}"

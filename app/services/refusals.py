"""Whether an entry fits the things it names as they stand: what pages and programs may say.

A log that is brought in is not asked: it tells what was, under rules that may have been others.
"""

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.harm.late import BEGAN
from app.domain.roomlog.kinds import (
    Entry,
    ExplanationDismissed,
    Reading,
    Removal,
    Swap,
    SwapAbandoned,
    SwapStarted,
    Tank,
    TopUp,
    Wash,
)
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS, KINDS_OF_CONTENTS
from app.domain.roomlog.kinds.curing import KINDS_OF_CURING, Irradiance
from app.domain.roomlog.kinds.incidents import (
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.inspections import PhotoRules
from app.domain.roomlog.kinds.instruments import KINDS_OF_INSTRUMENTS
from app.domain.roomlog.kinds.part_lots import KINDS_OF_PART_LOTS
from app.domain.roomlog.kinds.planning import KINDS_OF_PLANNING
from app.domain.roomlog.kinds.qualifications import QualificationEnded, Qualified
from app.domain.roomlog.kinds.shifts import KINDS_OF_SHIFTS
from app.domain.roomlog.kinds.site import CrewMember, RoomArchived, RoomRestored, SiteRules
from app.domain.roomlog.kinds.solvents import SolventLimit
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import (
    KINDS_OF_SUPPLIES,
    Item,
    LotHeld,
    LotReleased,
    StockEntry,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import (
    KINDS_OF_WASTE,
    DrumQuarantined,
    DrumTransfer,
    Pour,
    ScaleWeight,
)
from app.domain.solvent_limits import limit_problems
from app.services.appending import left_out
from app.services.archiving import archiving_problems
from app.services.authorship import entry_row
from app.services.baths.building import (
    build_problems,
    pour_forbids,
    refill_problems,
    transfer_forbids,
)
from app.services.baths.explaining import dismissal_problems
from app.services.baths.plausibility import unreadable
from app.services.crew import crew_problems
from app.services.curing.checks import entry_problems
from app.services.duties.due import CHECKED as OF_DUTIES
from app.services.duties.due import duty_problems
from app.services.entries import entry_of
from app.services.guards import standing_problems
from app.services.harm import refused as harmful
from app.services.incidents.checks import CHECKED as OF_INCIDENTS
from app.services.incidents.checks import incident_problems
from app.services.incidents.holds import (
    Held,
    Released,
    held_problems,
    lead_problems,
    naming_problems,
    release_problems,
)
from app.services.inspections.belonging import photo_problems
from app.services.inspections.checks import CHECKED as OF_INSPECTIONS
from app.services.inspections.checks import inspection_problems
from app.services.meters.book import instrument_problems, measured_with
from app.services.part_lots.checks import lot_problems
from app.services.planning.days import plan_problems
from app.services.qualifications import qualification_problems
from app.services.scales import scale_problems
from app.services.shifts import shift_problems
from app.services.spend.price_book import currency_problems
from app.services.supplies.stock import item_problems, stock_problems
from app.services.swaps.checks import swap_problems
from app.services.swaps.drained import drained_problems
from app.services.swaps.purities import bath_problems, use_problems
from app.services.told_late import unnamed, was_done
from app.services.waste import waste_problems
from app.services.workdays import site_problems
from app.store.site import crew, site
from app.store.tables import RoomRow

SOMETHING = ("", "")
"""The thing that is moved where an entry takes the effect of another away."""

Check = Callable[[Session, RoomRow, Any, datetime], list[FieldError]]


def _stock(session: Session, room: RoomRow, entry: StockEntry, now: datetime) -> list[FieldError]:
    assert room.id is not None
    found = stock_problems(session, room.id, entry, now)
    if isinstance(entry, StockUsed):
        found += use_problems(session, room.id, entry)
    if isinstance(entry, LotReleased):
        found += lead_problems(session, room.id, entry.lead)
    if isinstance(entry, LotHeld):
        found += naming_problems(entry)
    return found


def _curing(session: Session, room: RoomRow, entry: Entry, _: datetime) -> list[FieldError]:
    assert room.id is not None
    found = entry_problems(session, room.id, entry)
    if isinstance(entry, Irradiance):
        found += measured_with(session, room.id, entry)
    return found


def _wash(session: Session, room: RoomRow, entry: Wash, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return held_problems(session, room.id, [entry]) or drained_problems(session, room.id, entry)


def _bath(session: Session, room: RoomRow, entry: Entry, _: datetime) -> list[FieldError]:
    assert room.id is not None
    found = drained_problems(session, room.id, entry)
    return found + (bath_problems(session, room.id, entry) if isinstance(entry, Swap) else [])


def _reading(session: Session, room: RoomRow, entry: Reading, now: datetime) -> list[FieldError]:
    found = _bath(session, room, entry, now) or unreadable(session, room, entry, now)
    return found + measured_with(session, room.id or 0, entry)


def _removal(session: Session, room: RoomRow, entry: Removal, now: datetime) -> list[FieldError]:
    return swap_problems(session, room, entry, now) or _bath(session, room, entry, now)


def _release(session: Session, room: RoomRow, entry: Released, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return release_problems(session, room.id, entry)


def _waste(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    if isinstance(entry, ScaleWeight):
        return scale_problems(session, room.id or 0, entry)
    found = waste_problems(session, room, entry, now)
    if isinstance(entry, Pour) and not found:
        found = pour_forbids(session, room.id or 0, entry)
    if isinstance(entry, DrumTransfer) and not found:
        found = transfer_forbids(session, room.id or 0, entry)
    if isinstance(entry, DrumQuarantined):
        found += naming_problems(entry)
    return found


def _built(session: Session, room: RoomRow, entry: TankBuild, _: datetime) -> list[FieldError]:
    return build_problems(session, room, entry)


def _set_up(session: Session, room: RoomRow, entry: Tank, _: datetime) -> list[FieldError]:
    return refill_problems(session, room, entry)


def _held(_: Session, __: RoomRow, entry: Held, ___: datetime) -> list[FieldError]:
    return naming_problems(entry)


def _crew(session: Session, room: RoomRow, entry: CrewMember, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return crew_problems(entry, crew(session, room.id))


def _photo_rules(
    session: Session, room: RoomRow, entry: PhotoRules, _: datetime
) -> list[FieldError]:
    assert room.id is not None
    return lead_problems(session, room.id, entry.lead)


def _limit(session: Session, room: RoomRow, entry: SolventLimit, _: datetime) -> list[FieldError]:
    found = [FieldError(name, words) for name, words in limit_problems(entry).items()]
    return found + lead_problems(session, room.id or 0, entry.lead)


def _site(session: Session, room: RoomRow, entry: SiteRules, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return site_problems(entry, site(session, room.id))


def _archive(
    session: Session, room: RoomRow, entry: RoomArchived | RoomRestored, _: datetime
) -> list[FieldError]:
    return archiving_problems(session, room, entry)


@dataclass(frozen=True)
class Rule:
    """A rule of the room.

    Attributes:
        name: what tests and acts call it; a finding may have a narrower one.
        check: what it finds wrong with an entry, given the room as it stands.
        reads_own_book: it looks at no other things than those that the entry names.
    """

    name: str
    check: Check
    reads_own_book: bool = False


RULES: Mapping[type[Entry], Rule] = {
    **dict.fromkeys(KINDS_OF_WASTE, Rule("drums and pickups", _waste)),
    **dict.fromkeys(
        (kind for kind in KINDS_OF_SUPPLIES if issubclass(kind, StockEntry)),
        Rule("stock", _stock, reads_own_book=True),
    ),
    Item: Rule("an item keeps its unit", item_problems, reads_own_book=True),
    **dict.fromkeys(KINDS_OF_CURING, Rule("stations and recipes", _curing)),
    **dict.fromkeys(KINDS_OF_INSTRUMENTS, Rule("instruments", instrument_problems)),
    **dict.fromkeys(KINDS_OF_PART_LOTS, Rule("a part lot is released by its chain", lot_problems)),
    SiteRules: Rule("the site's settings fit together", _site),
    Wash: Rule("a held tank is not washed in", _wash),
    ExplanationDismissed: Rule("what is said can be dismissed", dismissal_problems),
    **dict.fromkeys((TopUp, Swap), Rule("a drained tank is left alone", _bath)),
    Reading: Rule("a reading tells something of its bath", _reading),
    Removal: Rule("what a swap took out is its own", _removal),
    **dict.fromkeys((TankReleased, StationReleased), Rule("a lead releases", _release)),
    **dict.fromkeys((TankHeld, StationHeld), Rule("a name stands under a hold", _held)),
    TankBuild: Rule("no heat under what catches fire", _built),
    Tank: Rule("no heated tank for what catches fire", _set_up),
    CrewMember: Rule("a room keeps a lead", _crew),
    **dict.fromkeys(
        (Qualified, QualificationEnded),
        Rule("a lead says who may do what", qualification_problems),
    ),
    **dict.fromkeys(KINDS_OF_PLANNING, Rule("a lead decides the day", plan_problems)),
    **dict.fromkeys(
        (*KINDS_OF_CHECKLISTS, *KINDS_OF_CONTENTS, SwapAbandoned, SwapStarted),
        Rule("the swap's list and gates", swap_problems),
    ),
    **dict.fromkeys(OF_INSPECTIONS, Rule("inspections", inspection_problems)),
    **dict.fromkeys(OF_INCIDENTS, Rule("problems and their follow-ups", incident_problems)),
    **dict.fromkeys(OF_DUTIES, Rule("duties", duty_problems)),
    PriceList: Rule("a room keeps its currency", currency_problems),
    **dict.fromkeys((RoomArchived, RoomRestored), Rule("a lead archives the room", _archive)),
    SolventLimit: Rule("a lead sets a limit", _limit),
    PhotoRules: Rule("a lead says what becomes of originals", _photo_rules),
    **dict.fromkeys(
        KINDS_OF_SHIFTS,
        Rule("two people sign a hand-over", shift_problems, reads_own_book=True),
    ),
}
"""What may be said, by kind. A kind without a rule is refused only where it does not fit."""


def depends_on(entry: Entry, moved: Set[tuple[str, str]]) -> bool:
    """Whether the rule on an entry may find otherwise once these things have been moved on."""
    rule = RULES.get(type(entry))
    if rule is None or not moved:
        return False
    is_own = rule.reads_own_book and SOMETHING not in moved
    return not is_own or not moved.isdisjoint(entry.things())


def refused(
    session: Session, room: RoomRow, entry: Entry, by: str, now: datetime, gone: frozenset[str]
) -> list[FieldError]:
    """Why the room refuses what is said: what it replaces stands, or a rule is against it.

    `gone` are the ids of all that is taken back in the same act. Each finding names its rule.
    """
    assert room.id is not None
    found = standing_problems(session, room.id, entry, by, now, gone)
    found += photo_problems(session, room.id, entry)
    return found + problems_of(session, room, entry, now)


def problems_of(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    """Why the room as it stands refuses an entry.

    A correction is held against the room as it would be without the entry that it replaces, and
    refused for what it makes worse: what the original would be refused for as well, with the same
    value in the same field, is no doing of the correction (its drum may have been shipped since).
    So each check fits a correction.
    """
    if not entry.corrects:
        return _problems(session, room, entry, now)
    row = entry_row(session, room.id or 0, entry.corrects)
    if row is None or row.voided_by is not None or row.kind != entry.kind:
        return []  # said where it is stored
    old = entry_of(row)
    with left_out(session, room, row):
        found = _problems(session, room, entry, now)
        before = _problems(session, room, old, now)
    known = {(one.field, one.message) for one in before}

    def stood(one: FieldError) -> bool:
        is_same = getattr(entry, one.field, None) == getattr(old, one.field, None)
        return is_same and (one.field, one.message) in known

    return [one for one in found if not stood(one)]


def _problems(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    """What the rule on its kind and the harm matrix find; what both say is said once."""
    rule, said = RULES.get(type(entry)), list[FieldError]()
    if rule is not None:
        said = rule.check(session, room, entry, now)
    found = []
    for harm in (*harmful(session, room, entry, now), *unnamed(session, room, entry, now)):
        same = next((one for one in said if one.field == harm.field and not one.rule), None)
        is_tagged = any(one.rule == harm.rule for one in said)
        if same is not None and harm.rule in SAID_BY_RULES:
            said[said.index(same)] = FieldError(same.field, same.message, harm.rule)
        elif not is_tagged:
            found.append(harm)
    name = rule.name if rule is not None else ""
    named = [one if one.rule else FieldError(one.field, one.message, name) for one in said]
    if was_done(entry):
        return [one for one in found + named if one.rule not in BEGAN]  # asked (told_late)
    return found + named


SAID_BY_RULES = frozenset({
    "interlock_fault", "station_held", "tank_held", "contents_unknown", "part_unsafe",
    "inspection_unsigned", "bath_spoiled",
    "drum_wrong_stream", "drum_no_liquid", "drum_over_limit", "drum_unknown", "drum_quarantined",
    "drum_closed", "drum_open", "lot_expired", "lot_quarantined", "lot_withdrawn",
    "lot_wrong_solvent",
})  # fmt: skip
"""Faults that a rule names in words of its own: they bear the name of the cell."""

"""Why an entry may not be taken back or corrected: what keeps people safe stands until it is lifted
by the way that is meant for it.

Withdrawing an entry is a way round a lead's release as much as saying it anew with other words is.
So both are asked here, and whoever said it may do both within the minutes of `own`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.domain.checklists.run import SwapState
from app.domain.errors import FieldError
from app.domain.incidents.book import IncidentState
from app.domain.inspections.inspection import INSPECTION_BOOK, InspectionState
from app.domain.meters.book import InstrumentState
from app.domain.money import digits_of
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.checklists import (
    SWAP,
    StepDone,
    SwapClosed,
    SwapOpened,
    TankContents,
)
from app.domain.roomlog.kinds.curing import STATION, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    INCIDENT,
    Incident,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    INSPECTION,
    Component,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionPhoto,
    InspectionStarted,
    PhotoLabelled,
    PhotoMarked,
)
from app.domain.roomlog.kinds.instruments import (
    INSTRUMENT,
    InstrumentCalibrated,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.qualifications import NO_NOTE, UNTOLD
from app.domain.roomlog.kinds.shifts import HAND_OVER, HandedOver
from app.domain.roomlog.kinds.site import CREW, CrewMember
from app.domain.roomlog.kinds.spending import PRICES, PriceList
from app.domain.roomlog.kinds.supplies import ITEM, Item, LotHeld, LotReleased
from app.domain.roomlog.kinds.waste import (
    DRUM,
    PICKUP,
    Drum,
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumMoved,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    PickupBooked,
    PickupShipped,
    Pour,
)
from app.domain.shifts import HandOverState
from app.domain.site import CREW_BOOK, CrewState
from app.domain.spend.price_book import PRICES_BOOK, PricesState
from app.domain.things import fold
from app.domain.waste.drums import DRUM_BOOK, DrumState
from app.services.authorship import OWN_MINUTES, entry_row, is_own
from app.services.crew import LAST_LEAD, namers, roles_of_namers
from app.services.entries import counting_of_kind, entry_of
from app.services.harm import DUTIES_OF_ROOM
from app.services.inspections.holding import held_reasons, without_entry
from app.services.spend.price_book import has_amounts
from app.services.swaps.under_way import next_of
from app.services.then import rows_of
from app.store.acting import acting, named_lead
from app.store.site import crew
from app.store.tables import EntryRow, LinkRow
from app.store.things import thing


@dataclass(frozen=True)
class Change:
    """An entry that is to count no more.

    Attributes:
        said: the withdrawal, or what replaces it.
        by: who does it, whatever name the entry bears.
        gone: ids of all that is withdrawn together with it.
    """

    session: Session
    room_id: int
    old: Entry
    said: Entry
    by: str
    now: datetime
    gone: frozenset[str] = frozenset()

    @property
    def new(self) -> Entry | None:
        """What replaces it; None where it is withdrawn."""
        return None if isinstance(self.said, Withdrawal) else self.said

    @property
    def is_own(self) -> bool:
        """Whoever said it does this, within the minutes."""
        return is_own(self.session, self.room_id, self.old.id, self.by, self.now)

    def keeps(self, *names: str) -> bool:
        """What replaces it says the same in these fields."""
        return type(self.new) is type(self.old) and all(
            getattr(self.new, name) == getattr(self.old, name) for name in names
        )

    def state(self, kind: str, key: str) -> Any:
        """The thing of that key as it stands."""
        return thing(self.session, self.room_id, kind, key)


Problem = FieldError | None
OWNER = f". Whoever entered it can take it back within {OWN_MINUTES} min."


def standing_problems(
    session: Session,
    room_id: int,
    word: Entry,
    by: str,
    now: datetime,
    gone: frozenset[str] = frozenset(),
) -> list[FieldError]:
    """Why what a withdrawal or correction acts on stands; empty where it may be lifted."""
    target = word.withdraws if isinstance(word, Withdrawal) else word.corrects
    row = entry_row(session, room_id, target) if target else None
    if row is None or row.voided_by is not None:
        return []  # said where it is stored
    old = entry_of(row)
    change = Change(session, room_id, old, word, by, now, gone)
    found = (check(change) for check in (_needed, GUARDS.get(type(old), _free)))
    return [problem for problem in found if problem is not None]


def _refused(message: str, rule: str) -> FieldError:
    return FieldError("withdraws", message, rule)


def _free(_: Change) -> Problem:
    return None


FIRSTS: Mapping[type[Entry], tuple[str, tuple[str, ...]]] = {
    Drum: (DRUM, ("drum", "stream")),
    PickupBooked: (PICKUP, ("pickup", "drums")),
    Station: (STATION, ("station",)),
    InspectionStarted: (INSPECTION, ("inspection", "tank", "station", "positions")),
    Component: (COMPONENT, ("component", "part", "tank", "station")),
    Item: (ITEM, ("item", "unit")),
    SwapOpened: (SWAP, ("swap", "tank", "from_tank", "steps", "solvent")),
}
"""What brings a thing into the room, and what a correction keeps once others name the thing."""


def _needed(change: Change) -> Problem:
    """The first entry of a thing stays while others of its book count."""
    kind, names = FIRSTS.get(type(change.old), ("", ()))
    if not kind or change.keeps(*names):
        return None
    key = getattr(change.old, kind)
    query = (
        select(EntryRow.uid)
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(LinkRow.room_id == change.room_id, LinkRow.thing == kind, LinkRow.key == key)
        .where(col(EntryRow.voided_by).is_(None))
        .limit(len(change.gone) + 2)
    )
    others = set(change.session.exec(query)) - {change.old.id} - change.gone
    if not others:
        return None
    what = change.old.specs()[kind].label.lower()
    return _refused(f"Other entries need this {what}. Take those back first.", "needed by others")


def _hold(change: Change) -> Problem:
    if (problem := _of_open_problem(change)) is not None:
        return problem
    is_finding = bool(getattr(change.old, "inspection", None))
    if not is_finding and change.is_own:
        return None
    message = "This entry holds a tank or station. A lead releases it on its page, with a reason"
    return _refused(message + ("." if is_finding else OWNER), "a lead releases a hold")


HELD_AS = ("tank", "station", "drum", "incident", "cause", "at")
"""What a hold keeps when its words are corrected."""


def _of_open_problem(change: Change) -> Problem:
    """What an open problem holds stays held, even for who reported it: else it would look ready
    for use beside its leak. Without its report nothing is open."""
    key = getattr(change.old, "incident", None)
    if not key or change.keeps(*(name for name in HELD_AS if hasattr(change.old, name))):
        return None
    state: IncidentState | None = change.state(INCIDENT, key)
    if state is None or state.is_closed or not _is_reported(change, key):
        return None
    message = "The problem behind this hold is open. Close the problem, or withdraw the report."
    return _refused(message, "an open problem holds")


def _is_reported(change: Change, incident: str) -> bool:
    """Its report counts, and is not withdrawn with this."""
    rows = rows_of(change.session, change.room_id, INCIDENT, incident)
    return any(row.kind == Incident.kind and row.uid not in change.gone for row in rows)


def _guard_found_faulty(change: Change) -> Problem:
    assert isinstance(change.old, DutyDone)
    if change.keeps("duty", "of", "outcome", "at"):
        return None
    if change.old.holds:
        return _hold(change)
    is_of_room = change.old.duty in DUTIES_OF_ROOM.values() and change.old.outcome == "fault"
    if not is_of_room or change.is_own or _is_in_order_since(change):
        return None
    message = "This fault stops acts in the room. Once it is repaired, enter the duty as in order"
    return _refused(message + OWNER, "a fault is mended")


def _is_in_order_since(change: Change) -> bool:
    """The duty was done again later: the fault stops nothing any more."""
    assert isinstance(change.old, DutyDone)
    done = counting_of_kind(change.session, change.room_id, DutyDone.kind)
    return any(
        isinstance(one, DutyDone) and one.duty == change.old.duty and one.at > change.old.at
        for one in done
    )


def _checked(change: Change) -> Problem:
    """A check that found a drum warm keeps it in quarantine as much as saying so does; one that
    found it leaking stands until it is checked again."""
    old = change.old
    assert isinstance(old, DrumChecked)
    if change.keeps("drum", "is_warm", "no_leak", "at"):
        return None
    if old.is_warm:
        return _quarantine(change)
    drum: DrumState | None = change.state(DRUM, old.drum)
    is_last = drum is not None and drum.is_unsound and drum.checked_at == old.at
    if old.no_leak or not is_last or change.is_own:
        return None
    message = "This check found that the drum leaks, rusts or bulges. Check it again on its page"
    return _refused(message + OWNER, "a drum is checked again")


def _built(change: Change) -> Problem:
    """Heat, ultrasound and plastic are told of a tank anew, on its form, which asks."""
    old = change.old
    assert isinstance(old, TankBuild)
    is_apart = not (old.is_ultrasonic or old.heated_to_c or old.material)
    names = ("tank", "at", "is_ultrasonic", "heated_to_c", "material")
    if is_apart or change.is_own or change.keeps(*names):
        return None
    message = "A bath is judged by this. Enter how the tank is built now, on its page"
    return _refused(message + OWNER, "a tank keeps what is known of it")


COUNTED_FROM = ("first_pour_at", "central_at")
"""When the days of a drum began to count, by one set of rules or another."""


def _in_drum(change: Change) -> Problem:
    """What went into a drum tells how much is in it, and from when its days count."""
    for key in _drums_of(change.old):
        before, after = _before_and_after(change, key)
        problem = _days(change, before, after) or _papers(change, before, after)
        if problem is not None:
            return problem
    return None


def _drums_of(entry: Entry) -> list[str]:
    both = (getattr(entry, name, None) for name in ("drum", "from_drum"))
    return [key for key in both if key]


def _before_and_after(change: Change, key: str) -> tuple[DrumState, DrumState]:
    """A drum as it stands, and as it would stand after the change."""
    book = [entry_of(row) for row in rows_of(change.session, change.room_id, DRUM, key)]
    rest = [one for one in book if one.id not in {change.old.id, *change.gone}]
    if change.new is not None and key in _drums_of(change.new):
        rest = sorted([*rest, change.new], key=lambda one: one.at)
    return fold(DRUM_BOOK, key, book), fold(DRUM_BOOK, key, rest)


def _days(change: Change, before: DrumState, after: DrumState) -> Problem:
    """A drum's days count from its first pour or its move: they begin anew by no undoing.

    Whoever made a mistake has their minutes. After that a lead takes it back, with the reason.
    """
    if change.is_own or after.is_empty:
        return None
    if not any(_is_later(before, after, name) for name in COUNTED_FROM):
        return None
    message = f"The drum's days count from this. A lead changes it, with the reason{OWNER}"
    return _by_lead(change, message, "a drum keeps its days")


def _by_lead(change: Change, message: str, rule: str) -> Problem:
    """A lead does this, with the reason; anybody, where nobody has been entered as one."""
    leads = namers(crew(change.session, change.room_id))
    if not leads:
        return None
    if change.by not in leads:
        return _refused(message, rule)
    note = change.said.note.strip()
    return None if note else FieldError("note", "Say why this was wrong.", "a lead says why")


def _papers(change: Change, before: DrumState, after: DrumState) -> Problem:
    """What a drum holds is on its papers once it is closed; once it is gone nobody can look."""
    if (before.volume_l, before.mass_kg) == (after.volume_l, after.mass_kg):
        return None
    if before.is_shipped:
        message = f"{before.name} left the site with this in it, and its papers say so. A lead "
        message += "changes it, with the reason, and tells whoever collected it."
        return _by_lead(change, message, "papers say what left")
    if before.is_closed and not change.is_own:
        message = f"{before.name} is closed for shipping. Open it again on its page first{OWNER}"
        return _refused(message, "a drum is opened")
    return None


def _shipped(change: Change) -> Problem:
    """Drums that are gone do not stand here again because their shipment is taken back."""
    if change.is_own or change.keeps("pickup", "drums", "at"):
        return None
    message = f"These drums left the site. A lead takes that back, with the reason{OWNER}"
    return _by_lead(change, message, "what left is gone")


def _is_later(before: DrumState, after: DrumState, name: str) -> bool:
    """Its days would count from later, or not at all."""
    was, now = getattr(before, name), getattr(after, name)
    return was is not None and (now is None or now > was)


OF_SAFETY = ("stream", "capacity_l", "fill_limit_percent", "material")
"""What a drum's settings say that its waste is judged by."""


def _drum_changed(change: Change) -> Problem:
    """A drum gets another stream, size or material by its settings, which ask; never by undoing."""
    is_apart = all(getattr(change.old, name) is None for name in OF_SAFETY)
    if is_apart or change.is_own or change.keeps("drum", "at", *OF_SAFETY):
        return None
    message = "A drum is judged by this change. Enter what is right in its settings"
    return _refused(message + OWNER, "a drum keeps what is known of it")


def _lot_hold(change: Change) -> Problem:
    if change.is_own or change.keeps("item", "lot", "standing", "at"):
        return None
    message = "This entry holds a lot. A lead releases it on the item's page, with a reason"
    return _refused(message + OWNER, "a lead releases a lot")


def _set_aside(change: Change) -> Problem:
    """An instrument that somebody found wrong is not read again because its entry is gone."""
    old = change.old
    assert isinstance(old, InstrumentSetAside)
    if change.is_own:
        return None
    state: InstrumentState | None = change.state(INSTRUMENT, old.instrument)
    if state is None or state.aside_since_at is None or state.aside_since_at > old.at:
        return None
    message = "This entry sets an instrument aside. A lead puts it back on its page"
    return _refused(message + OWNER, "a lead puts an instrument back")


def _certificate(change: Change) -> Problem:
    """Readings and due days go by it: a lead takes it back, before the first lead anybody."""
    leads = namers(crew(change.session, change.room_id))
    if change.is_own or not leads or _is_one_of(leads, change.by):
        return None
    message = f"Readings rest on this calibration. A lead changes it: {', '.join(leads)}"
    return _refused(message + OWNER, "a lead changes a calibration")


def _is_one_of(leads: list[str], by: str) -> bool:
    who = {by.strip().casefold(), named_lead().casefold()}
    return bool(who & {one.casefold() for one in leads})


def _quarantine(change: Change) -> Problem:
    if (problem := _of_open_problem(change)) is not None:
        return problem
    if change.is_own:
        return None
    message = "This entry keeps a drum in quarantine. A lead releases it on its page, with a reason"
    return _refused(message + OWNER, "a lead releases a quarantine")


def _release(change: Change) -> Problem:
    """Without a release its hold stands again; said anew it might lift another."""
    if change.new is None or change.is_own:
        return None
    message = "A release cannot be corrected. To release it again, open the page of what is held."
    return _refused(message, "a release is not corrected")


def _drum_closed(change: Change) -> Problem:
    """A close that stands is lifted by opening the drum."""
    assert isinstance(change.old, DrumClosed)
    drum: DrumState | None = change.state(DRUM, change.old.drum)
    if change.is_own or (drum is not None and not drum.is_closed):
        return None  # of the latter it holds nothing any more
    return _refused(
        f"This drum is closed for shipping. Open it again on its page{OWNER}", "a drum is opened"
    )


def _incident(change: Change) -> Problem:
    if change.is_own or change.keeps("incident", "problem", "tank", "station", "drum", "at"):
        return None
    if change.by not in crew(change.session, change.room_id).leads:
        message = "A lead closes a reported problem on its page. A lead withdraws a wrong report"
        message += ", with the reason"
        return _refused(message + OWNER, "a lead closes an incident")
    if change.said.note.strip():
        return None
    return FieldError("note", "Say why this report was wrong.", "a lead says why")


def _incident_ended(change: Change) -> Problem:
    """Taken back it is open again; said anew it might be closed without a lead."""
    if change.new is None or change.is_own:
        return None
    message = "Open the problem again on its page. Its closing cannot be corrected."
    return _refused(message, "a closing is not corrected")


def _incident_reopened(change: Change) -> Problem:
    if change.is_own:
        return None
    message = "This problem is open again. A lead closes it on its page, with what was found."
    return _refused(message, "a lead closes an incident")


def _incident_step(change: Change) -> Problem:
    assert isinstance(change.old, IncidentStep)
    state = change.state(INCIDENT, change.old.incident)
    if state is None or not state.is_closed:
        return None
    return _refused("This problem is closed. Open it again on its page first.", "closed is closed")


def _contents(change: Change) -> Problem:
    """What is in a tank is asked until it is said: the question is not taken back."""
    assert isinstance(change.old, TankContents)
    state = change.state(HOLD, change.old.tank)
    if change.old.found != "asked" or state is None or not state.asks_contents:
        return None
    if change.new is not None and not change.keeps("found"):
        return None
    message = "Say what is in the tank, on its page. Until then this entry holds it."
    return _refused(message, "an answer lifts the question")


def _swap_closed(change: Change) -> Problem:
    """The bath of a swap of long ago does not stand in its tank again."""
    old = change.old
    assert isinstance(old, SwapClosed)
    state: SwapState | None = change.state(SWAP, old.swap)
    if change.new is not None or state is None or state.close_id != old.id:
        return None
    words = next_of(change.session, change.room_id, state, change.gone)
    return _refused(f"{words} This completion stays.", "the next swap has begun") if words else None


def _ticked(change: Change) -> Problem:
    """The new bath and the balance of a completed swap rest on what its steps moved."""
    old = change.old
    assert isinstance(old, StepDone)
    state: SwapState | None = change.state(SWAP, old.swap)
    if change.new is not None or not old.wrote or state is None or state.end != "closed":
        return None
    if state.close_id in change.gone:
        return None
    message = "This swap is completed. Open it again on its page, then undo the step."
    return _refused(message, "a completed swap keeps its steps")


def _signature(change: Change) -> Problem:
    if change.is_own:
        return None
    message = "This inspection is signed, so its findings stay. Start a new one"
    return _refused(message + OWNER, "signed is signed")


def _taken_over(change: Change) -> Problem:
    """Once somebody has taken over what was signed, the signature stays, even for who gave it."""
    assert isinstance(change.old, HandedOver)
    if change.keeps("hand_over", "by", "at"):
        return None
    state: HandOverState | None = change.state(HAND_OVER, change.old.hand_over)
    taken = state.taken_after(change.old.id) if state is not None else None
    if taken is None or taken.entry in change.gone:
        return None
    message = f"{taken.by or 'Somebody'} has taken over. This signature stays."
    return _refused(message, "what was taken over stays")


def _of_inspection(change: Change) -> Problem:
    """What was said in an inspection: it stands once that is signed, and goes by the part's page
    where it holds something."""
    key: str = getattr(change.old, "inspection")  # noqa: B009 - of several kinds
    state: InspectionState | None = change.state(INSPECTION, key)
    if state is None:
        return None
    if state.is_closed:
        return _refused(
            "This inspection is signed, so its findings stay. Start a new one.", "signed is signed"
        )
    if isinstance(change.old, InspectionStarted):
        return _begun(change)
    if not isinstance(change.old, InspectionAnswered | InspectionOverruled):
        return None
    after = without_entry(change.session, change.room_id, state, change.old.id)
    if change.new is not None:
        after = INSPECTION_BOOK.apply(after, change.new)
    if held_reasons(after) == held_reasons(state):
        return None
    message = "This changes what is held. Take the answers back or answer again on the part's page."
    return _refused(message, "holds go with their answers")


def _begun(change: Change) -> Problem:
    """An inspection that is under way keeps its tank from being filled: it is finished, or a lead
    discards it. A room without a lead has nobody else to ask."""
    leads = namers(crew(change.session, change.room_id))
    if change.new is not None or change.is_own or not leads or change.by in leads:
        return None
    message = f"Finish and sign this inspection. A lead can discard it: {', '.join(leads)}{OWNER}"
    return _refused(message, "a lead discards an inspection")


def _currency(change: Change) -> Problem:
    """Amounts are in the smallest unit of the currency: without it they would be read as others."""
    if change.new is not None:
        return None  # asked as what it says
    rest = [one for one in _price_lists(change) if one.id not in {change.old.id, *change.gone}]
    after: PricesState = fold(PRICES_BOOK, PRICES, rest)
    before: PricesState = fold(PRICES_BOOK, PRICES, _price_lists(change))
    if digits_of(after.currency) == digits_of(before.currency):
        return None
    if not has_amounts(change.session, change.room_id, {change.old.id, *change.gone}):
        return None
    return _refused(
        f"The room counts in {before.currency} because of this entry, and it already has "
        "amounts in it.",
        "a room keeps its currency",
    )


def _price_lists(change: Change) -> list[Entry]:
    return list(counting_of_kind(change.session, change.room_id, PriceList.kind))


def _last_lead(change: Change) -> Problem:
    """A lead is entered and taken back by a lead, and the last one stays until another is entered.

    Where people sign in, their role says it (signatures).
    """
    if change.is_own:
        return None  # somebody who was entered by mistake just now
    rest = [
        one
        for one in counting_of_kind(change.session, change.room_id, CrewMember.kind)
        if one.id not in {change.old.id, *change.gone}
    ]
    if change.new is not None:
        rest.append(change.new)
    before: CrewState = crew(change.session, change.room_id)
    after: CrewState = fold(CREW_BOOK, CREW, rest)
    if not before.leads:
        return None
    if after.leads:
        return _names_leads(change, before, after)
    message = f"{before.leads[0]} {LAST_LEAD}. Enter another lead first."
    return _refused(message, "a room keeps a lead")


def _names_leads(change: Change, before: CrewState, after: CrewState) -> Problem:
    """Who is lead or manager is said, and taken back, by one of them."""
    names = namers(before)
    is_same = roles_of_namers(before) == roles_of_namers(after)
    if acting() is not None or is_same or _is_one_of(names, change.by):
        return None
    message = f"Only a lead or manager takes this back: {', '.join(names)}"
    return _refused(message + OWNER, "a lead names a lead")


def _untold(change: Change) -> Problem:
    """Why somebody may not do an act any more is said in no note: taking back the word that they
    may, or moving its end, takes them off as well."""
    note = change.said.note.strip()
    if not note or (change.new is not None and note == change.old.note.strip()):
        return None
    return FieldError("note", NO_NOTE)


GUARDS: Mapping[type[Entry], Callable[[Change], Problem]] = {
    TankHeld: _hold,
    StationHeld: _hold,
    DutyDone: _guard_found_faulty,
    TankReleased: _release,
    StationReleased: _release,
    DrumQuarantined: _quarantine,
    DrumReleased: _release,
    **dict.fromkeys((DrumMoved, Pour, DrumTransfer), _in_drum),
    PickupShipped: _shipped,
    DrumClosed: _drum_closed,
    DrumChanged: _drum_changed,
    TankBuild: _built,
    DrumChecked: _checked,
    InstrumentSetAside: _set_aside,
    InstrumentCalibrated: _certificate,
    LotHeld: _lot_hold,
    LotReleased: _release,
    Incident: _incident,
    IncidentClosed: _incident_ended,
    IncidentReopened: _incident_reopened,
    IncidentStep: _incident_step,
    TankContents: _contents,
    StepDone: _ticked,
    SwapClosed: _swap_closed,
    InspectionClosed: _signature,
    HandedOver: _taken_over,
    PriceList: _currency,
    CrewMember: _last_lead,
    **dict.fromkeys(UNTOLD, _untold),
    **dict.fromkeys(
        (
            InspectionStarted, InspectionAnswered, InspectionOverruled, InspectionPhoto,
            PhotoLabelled, PhotoMarked,
        ),
        _of_inspection,
    ),
}  # fmt: skip

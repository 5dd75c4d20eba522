"""Waste drums: what is poured, moved, checked and shipped, and the counters of the site."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.domain.errors import FieldError, NotFound
from app.domain.harm.faults import FAULTS
from app.domain.roomlog.checks import CLOCK_TOLERANCE
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import (
    DRUM,
    PICKUP,
    WASTE_RULES,
    Drum,
    DrumChanged,
    DrumEntry,
    DrumTransfer,
    PickupBooked,
    PickupCancelled,
    PickupCopyReceived,
    PickupEntry,
    PickupShipped,
    Pour,
    WasteRules,
)
from app.domain.waste import counters, fitting
from app.domain.waste.drums import DRUM_BOOK, DrumState
from app.domain.waste.limits import bound
from app.domain.waste.measures import mass_kg
from app.domain.waste.pickups import PickupState
from app.domain.waste.rulebook import RuleBook, rule_problems
from app.domain.waste.streams import stream_of_bath
from app.services.carried import FLASH_LOWERED, with_flash
from app.services.crew import who_names_leads
from app.services.drum_days import with_days
from app.services.history import rules_history, site_history
from app.services.incidents.doubts import spoiled_by, takes_spoiled
from app.services.mixed_drums import with_mixed
from app.services.then import thing_at
from app.store import queries
from app.store.acting import has_waited
from app.store.site import crew, site
from app.store.tables import RoomRow, TankRow
from app.store.things import thing, things
from app.units import volume_words

Drums = Mapping[str, DrumState]
INSTANT = timedelta(microseconds=1)
SPOILED = "bath_spoiled"


def rulebook(session: Session, room_id: int) -> RuleBook:
    """The rules in force; those of the default set where the site has chosen none."""
    return thing(session, room_id, WASTE_RULES, WASTE_RULES) or RuleBook()


def drums(session: Session, room_id: int, *, only_open: bool = False) -> dict[str, DrumState]:
    """The room's drums by key, each with the fill limit that binds; with `only_open` those here."""
    found: dict[str, DrumState] = things(session, room_id, DRUM, only_open=only_open)
    rules, room_c = rulebook(session, room_id), site(session, room_id).room_temperature_c
    return {key: bound(_whole(session, room_id, one), rules, room_c) for key, one in found.items()}


def drum_of(session: Session, room_id: int, key: str) -> DrumState | None:
    """The drum of that key with the fill limit that binds; None where no entry names it."""
    state: DrumState | None = thing(session, room_id, DRUM, key)
    if state is None:
        return None
    room_c = site(session, room_id).room_temperature_c
    return bound(_whole(session, room_id, state), rulebook(session, room_id), room_c)


def _whole(session: Session, room_id: int, drum: DrumState) -> DrumState:
    """A drum with what its own book cannot know: what was poured and moved into it."""
    return with_days(session, room_id, with_mixed(session, room_id, drum))


def pickups(session: Session, room_id: int) -> dict[str, PickupState]:
    """The room's pickups by key, the oldest first."""
    return things(session, room_id, PICKUP)


def find_drum(session: Session, room_id: int, key: str) -> DrumState:
    """The drum of that key.

    Raises:
        NotFound: there is none.
    """
    state = drum_of(session, room_id, key)
    if state is None:
        raise NotFound(f"There is no drum “{key[:64]}” in this room.")
    return state


def clock_at(
    session: Session, room_id: int, drum: DrumState, zone: ZoneInfo, at: datetime
) -> counters.Clock | None:
    """The clock of a drum as seen at an instant; None where none runs."""
    rules = rulebook(session, room_id)
    if drum.is_empty or not rules.counts(drum.stream):
        return None
    together = counters.site_of(list(things(session, room_id, DRUM).values()), rules)
    return counters.clock_of(drum, together, rules, zone, at)


def room_for(session: Session, room_id: int, stream: str) -> list[DrumState]:
    """The drums that take waste of a stream, those with the least room first."""
    found = drums(session, room_id, only_open=True).values()
    fitting_ = [drum for drum in found if drum.takes_waste and drum.stream == stream]
    return sorted((drum for drum in fitting_ if drum.free_l > 0), key=lambda drum: drum.free_l)


def pour_problems(session: Session, room_id: int, pour: Pour, now: datetime) -> list[FieldError]:
    """Why a pour is refused, given its drum as it stands; empty where it may be stored."""
    state = drum_of(session, room_id, pour.drum)
    solvent = None
    if pour.tank is not None:
        query = select(TankRow.solvent).where(TankRow.room_id == room_id, TankRow.key == pour.tank)
        solvent = session.exec(query).first()
        if solvent is None:
            return [FieldError("tank", f"There is no tank “{pour.tank}”.")]
    if pour.at > now + CLOCK_TOLERANCE:
        return [FieldError("at", "This time is in the future. Enter when it happened.")]
    was = _as_it_was(session, room_id, state, pour.at, now, is_done=has_waited())
    is_apart = False
    room = session.get_one(RoomRow, room_id)
    if pour.tank is not None and not pour.incident and spoiled_by(session, room, pour.tank):
        is_apart = state is not None and takes_spoiled(session, room, state, pour.tank)
        found_at = [one.at for one in spoiled_by(session, room, pour.tank) if one.at is not None]
        if not is_apart and not all(at > pour.at for at in found_at):
            return [FieldError("drum", spoiled_words(), SPOILED)]
    words = _words(session, room_id)
    return fitting.pour_misfits(was, pour, solvent, words, is_kept_apart=is_apart)


def spoiled_words() -> str:
    """Why the bath that a wrong solvent went into does not go into a drum, and where it goes."""
    fault = FAULTS[SPOILED]
    return f"{fault.name}. {fault.harm} {fault.way}"


def _as_it_was(
    session: Session, room_id: int, drum: DrumState | None, at: datetime, now: datetime,
    *, is_done: bool = False,
) -> DrumState | None:  # fmt: skip
    """The drum as it stands, but not in quarantine where it came there only after an instant.

    What was done before that is asked about, and not refused (services/told_late); nor is what
    `is_done`, because a tablet kept it.
    """
    if drum is None or not drum.is_quarantined or (at >= now and not is_done):
        return drum
    if is_done:
        return replace(drum, is_quarantined=False)
    then: DrumState | None = thing_at(session, room_id, DRUM, drum.key, at)
    return drum if then is not None and then.is_quarantined else replace(drum, is_quarantined=False)


def act_problems(
    session: Session, room_id: int, entry: DrumEntry, now: datetime
) -> list[FieldError]:
    """Why something other than a pour is refused, given the drum as it stands."""
    state, other = drum_of(session, room_id, entry.drum), None
    if isinstance(entry, DrumTransfer):
        state = _as_it_was(session, room_id, state, entry.at, now, is_done=has_waited())
        other = drum_of(session, room_id, entry.from_drum)
    found = fitting.act_misfits(state, entry, crew(session, room_id).leads, other)
    own: DrumState | None = thing(session, room_id, DRUM, entry.drum)
    if isinstance(entry, DrumChanged) and own is not None and not found:
        raised = fitting.raised_misfit(own, entry)
        found = [raised] if raised is not None else []
    return found or _unsigned(session, room_id, state, entry)


def _unsigned(
    session: Session, room_id: int, state: DrumState | None, entry: DrumEntry
) -> list[FieldError]:
    """Only a lead says anew what is in a drum; before the first lead is entered, anybody."""
    if state is None or state.is_empty or not isinstance(entry, DrumChanged):
        return []
    if entry.stream is None or (entry.stream == state.stream and not state.is_mixed):
        return []
    leads = who_names_leads(crew(session, room_id))
    if not leads or entry.by.strip().casefold() in {one.casefold() for one in leads}:
        return []
    message = f"Only a lead can say what is in this drum: {', '.join(leads)}."
    return [FieldError("by", message, "a lead says what is in a drum")]


def pickup_problems(
    session: Session, room: RoomRow, entry: PickupEntry, now: datetime
) -> list[FieldError]:
    """Why an entry about a pickup is refused, given its drums as they stand."""
    assert room.id is not None
    known, held = pickups(session, room.id), drums(session, room.id)
    pickup = known.get(entry.pickup)
    if isinstance(entry, PickupBooked):
        if pickup is not None:
            return [FieldError("pickup", "A pickup already has this key.")]
        today = now.astimezone(ZoneInfo(room.time_zone)).date()
        return fitting.booking_misfits(entry.drums, held, known, entry.pickup_on, today)
    if isinstance(entry, PickupShipped):
        left = {
            key: _as_it_was(session, room.id, held.get(key), entry.at, now) for key in entry.drums
        }
        here = {key: drum for key, drum in left.items() if drum is not None}
        return fitting.shipping_misfits(pickup, entry.drums, {**held, **here})
    stages = {PickupCancelled: "booked", PickupCopyReceived: "shipped"}
    if pickup is None or pickup.stage != stages[type(entry)]:
        return [FieldError("pickup", "This pickup has changed meanwhile. Reload the page.")]
    return []


def overfull_words(session: Session, room_id: int, entry: Drum | DrumChanged) -> str:
    """That a drum holds more than it may, as it is set up or changed; else empty."""
    known: DrumState | None = thing(session, room_id, DRUM, entry.drum)
    state = DRUM_BOOK.apply(known or DrumState(entry.drum), entry)
    room_c = site(session, room_id).room_temperature_c
    drum = bound(state, rulebook(session, room_id), room_c)
    if drum.volume_l <= drum.fill_limit_l + fitting.SLACK_L:
        return ""
    words = _words(session, room_id)
    return (
        f"{fitting.name_of(drum)} holds {words(drum.volume_l)}, and {words(drum.fill_limit_l)} at "
        f"most ({drum.fill_limit_percent:g} % of {words(drum.capacity_l)}). The liquid expands as "
        "it warms, and bursts the drum."
    )


def _new_drum_problems(session: Session, room_id: int, entry: Drum) -> list[FieldError]:
    known = thing(session, room_id, DRUM, entry.drum)
    if known is not None and known.name:
        return [FieldError("drum", "A drum already has this key.")]
    here = drums(session, room_id, only_open=True).values()
    if any(drum.name.casefold() == entry.name.casefold() for drum in here):
        return [FieldError("name", "A drum with this name is already here. Choose another.")]
    return []


def waste_problems(
    session: Session, room: RoomRow, entry: Entry, now: datetime
) -> list[FieldError]:
    """Why an entry about drums, pickups or rules is refused by the room as it stands."""
    assert room.id is not None
    if isinstance(entry, Pour):
        return pour_problems(session, room.id, entry, now)
    if isinstance(entry, Drum):
        return _new_drum_problems(session, room.id, entry)
    if isinstance(entry, DrumEntry):
        return act_problems(session, room.id, entry, now)
    if isinstance(entry, PickupEntry):
        return pickup_problems(session, room, entry, now)
    if isinstance(entry, WasteRules):
        return rule_problems(entry, rulebook(session, room.id))
    return []


@dataclass(frozen=True)
class NextSwap:
    """The swap that the queue names next, and the waste it will make.

    Attributes:
        volume_l, mass_kg: the bath as it is now and the rinse of its tank.
        is_this_month: it is due in the present calendar month, or already.
    """

    tank: str
    name: str
    due_at: datetime | None
    stream: str
    volume_l: float
    mass_kg: float
    is_this_month: bool


@dataclass(frozen=True)
class MonthRules:
    """What a calendar month is judged by: the rules and the limit that applied at its end.

    Attributes:
        limit_kg: None where nothing limits it; source: where that comes from.
    """

    rules: RuleBook
    limit_kg: float | None
    source: str


@dataclass(frozen=True)
class Overview:
    """The waste of a room at an instant.

    Attributes:
        open_drums: those that are here, in the order in which they were set up.
        totals: by calendar month, each counted by the rules of its own end.
        month_rules: what a month is judged by.
        month_kg, month_limit_kg: counted this calendar month, and what the site may reach; the
            site's own limit of its settings comes before that of its category.
        month_source, on_site_source: where these limits come from.
        excess: the drums at the wash stations taken together.
    """

    rules: RuleBook
    all_drums: Drums
    open_drums: tuple[DrumState, ...]
    pickups: Mapping[str, PickupState]
    totals: Mapping[counters.Month, counters.MonthTotal]
    month_rules: Callable[[counters.Month], MonthRules]
    month_kg: float
    month_limit_kg: float | None
    on_site_kg: float
    on_site_limit_kg: float | None
    month_source: str
    on_site_source: str
    excess: counters.Satellite
    site: counters.Site
    next_swap: NextSwap | None

    def pickup_of(self, drum: DrumState) -> PickupState | None:
        """The pickup that a drum is booked for."""
        found = self.pickups.get(drum.pickup)
        return found if found is not None and found.is_booked else None

    def clock(self, drum: DrumState, zone: ZoneInfo, now: datetime) -> counters.Clock | None:
        """The drum's clock."""
        return counters.clock_of(drum, self.site, self.rules, zone, now)


def overview(session: Session, room: RoomRow, now: datetime) -> Overview:
    """Everything that the pages of waste show."""
    assert room.id is not None
    zone, rules, limits = (
        ZoneInfo(room.time_zone),
        rulebook(session, room.id),
        site(session, room.id),
    )
    held = drums(session, room.id)
    here = sorted(
        (drum for drum in held.values() if not drum.is_shipped),
        key=lambda drum: (drum.set_up_at or now, drum.key),
    )
    judged = _month_rules(session, room.id, zone, now)
    totals = counters.month_totals(held.values(), lambda month: judged(month).rules, zone)
    this_month = counters.month_of(now, zone)
    month = totals.get(this_month)
    site_limit = _limit(limits.waste_on_site_limit_kg, rules, rules.category.on_site_rule)
    return Overview(
        rules=rules,
        all_drums=held,
        open_drums=tuple(here),
        pickups=pickups(session, room.id),
        totals=totals,
        month_rules=judged,
        month_kg=month.counted_kg if month else 0.0,
        month_limit_kg=judged(this_month).limit_kg,
        month_source=judged(this_month).source,
        on_site_kg=counters.on_site_kg(held.values(), rules),
        on_site_limit_kg=site_limit[0],
        on_site_source=site_limit[1],
        excess=counters.satellite(list(held.values()), rules),
        site=counters.site_of(list(held.values()), rules),
        next_swap=_next_swap(session, room, limits.rinse_percent, now),
    )


def _month_rules(
    session: Session, room_id: int, zone: ZoneInfo, now: datetime
) -> Callable[[counters.Month], MonthRules]:
    """What each month is judged by: as it stood at its end, or now where it is not over."""
    settings, rules = site_history(session, room_id), rules_history(session, room_id)

    @cache
    def of_month(month: counters.Month) -> MonthRules:
        at = min(counters.month_end(month, zone) - INSTANT, now)
        book = rules(at)
        own_kg = settings(at).waste_month_limit_kg
        return MonthRules(book, *_limit(own_kg, book, book.category.month_rule))

    return of_month


def _limit(of_site_kg: float | None, rules: RuleBook, key: str) -> tuple[float | None, str]:
    """A limit and where it comes from: the site's settings before the rule of its category."""
    if of_site_kg is not None:
        return of_site_kg, "site settings"
    rule = rules.rules.get(key)
    if rule is None or rule.value is None:
        return None, ""
    return rule.value, f"{rule.source} ({rule.confidence})"


def _next_swap(
    session: Session, room: RoomRow, rinse_percent: float, now: datetime
) -> NextSwap | None:
    """The first swap of the queue that has a day, with the waste of its bath and its rinse."""
    assert room.id is not None
    board, zone = queries.board(session, room.id, now), ZoneInfo(room.time_zone)
    coming = (each for each in board.swaps if each.urgency != "swapping")  # its pours count already
    swap = next((each for each in coming if each.due_at or each.urgency != "unknown"), None)
    tank = board.tank(swap.tank) if swap else None
    if swap is None or tank is None:
        return None
    lowered = {one.key for one in with_flash(session, room, [tank]) if FLASH_LOWERED in one.flags}
    stream = stream_of_bath(tank.solvent, is_mixed=tank.key in lowered)
    rinse_l = tank.capacity_l * rinse_percent / 100
    kg = mass_kg(tank.volume_l, stream, tank.mean_percent) + mass_kg(rinse_l, stream, 0.0)
    due_at = swap.due_at or swap.early_at
    month = counters.month_of(max(due_at, now), zone) if due_at else None
    return NextSwap(
        tank.key, tank.name, due_at, stream, tank.volume_l + rinse_l, kg,
        is_this_month=month is None or month == counters.month_of(now, zone),
    )  # fmt: skip


def _words(session: Session, room_id: int) -> fitting.Words:
    """Volumes in the room's unit."""
    unit = session.get_one(RoomRow, room_id).volume_unit
    return lambda volume_l: volume_words(volume_l, unit)

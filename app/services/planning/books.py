"""The books of a room that matter for its swaps: what is here, who, by which rules and days."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from typing import Any

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.inspections.components import ComponentState
from app.domain.people.qualifications import QualificationState
from app.domain.planning.days import day_of, starts_at
from app.domain.planning.decisions import PlanState
from app.domain.planning.under_way import by_tank
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.inspections import COMPONENT
from app.domain.roomlog.kinds.planning import PLAN
from app.domain.roomlog.kinds.qualifications import QUALIFICATIONS
from app.domain.roomlog.kinds.site import CREW, SITE
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM, PICKUP, WASTE_RULES
from app.domain.site import CrewState, SiteState
from app.domain.supplies.state import ItemState
from app.domain.waste.counters import clock_of, site_of
from app.domain.waste.drums import DrumState
from app.domain.waste.limits import bound
from app.domain.waste.pickups import PickupState
from app.domain.waste.rulebook import RuleBook
from app.domain.workdays import WorkCalendar
from app.services.drum_days import with_days
from app.services.storage import lowered_flash_c
from app.services.workdays import calendar_of
from app.store.people import signed_in_crew
from app.store.planning import going_on
from app.store.queries import TankView
from app.store.things import things

KINDS = (SITE, CREW, ITEM, DRUM, PICKUP, WASTE_RULES, HOLD, PLAN, SWAP, COMPONENT,
         QUALIFICATIONS)  # fmt: skip


@dataclass(frozen=True)
class Books:
    """The books of a room that matter for its swaps, as they stand.

    Attributes:
        all_items: with those that are kept no more: they may stand here still.
        lawful: the last day on which a drum may be here, by drum, where a clock runs.
        flash_c: of each bath that a flammable solvent came over into, by tank.
    """

    site: SiteState
    crew: CrewState
    items: Mapping[str, ItemState]
    all_items: tuple[ItemState, ...]
    drums: Mapping[str, DrumState]
    pickups: Mapping[str, PickupState]
    rules: RuleBook
    holds: Mapping[str, Any]
    plans: Mapping[str, PlanState]
    components: Mapping[str, ComponentState]
    swaps: Mapping[str, SwapState]
    workdays: WorkCalendar
    lawful: Mapping[str, date]
    flash_c: Mapping[str, float] = field(default_factory=dict)
    qualified: QualificationState = field(default_factory=QualificationState)

    def plan(self, tank: TankView) -> PlanState:
        """What was decided about the next swap of a tank."""
        found = self.plans.get(tank.key)
        stands = found is not None and found.stands_at(tank.fill_started_at)
        return found if stands and found is not None else PlanState(tank.key)

    def coming(self, today: date) -> dict[str, date]:
        """The days on which drums are still to be fetched: who did not come has taken nothing."""
        return {drum: day for drum, day in self.booked().items() if day >= today}

    def booked(self) -> dict[str, date]:
        """The days for which drums are booked to be fetched, by drum; some may have passed."""
        return {
            drum: pickup.pickup_on
            for pickup in self.pickups.values()
            if pickup.is_booked and pickup.pickup_on is not None
            for drum in pickup.drums
        }


def read_books(
    session: Session, room_id: int, now: datetime, zone: tzinfo, tanks: Sequence[TankView]
) -> Books:
    """All of them in one statement, and what came over into slow baths where there are any."""
    today = day_of(now, zone)
    month = starts_at(today.replace(day=1), zone)
    found = going_on(session, room_id, KINDS, month, whole=(ITEM,))
    place = found[SITE].get(SITE) or SiteState()
    rules = found[WASTE_RULES].get(WASTE_RULES) or RuleBook()
    return Books(
        site=place,
        crew=signed_in_crew(session) or found[CREW].get(CREW) or CrewState(),
        items={key: item for key, item in found[ITEM].items() if not item.is_retired},
        all_items=tuple(found[ITEM].values()),
        drums={
            key: bound(drum, rules, place.room_temperature_c) for key, drum in found[DRUM].items()
        },
        pickups=found[PICKUP],
        rules=rules,
        holds={key: hold for key, hold in found[HOLD].items() if hold.is_held},
        plans=found[PLAN],
        components=found[COMPONENT],
        swaps=by_tank(found[SWAP].values()),
        workdays=calendar_of(place, today),
        lawful=_lawful(session, room_id, found[DRUM], rules, zone, now),
        flash_c=lowered_flash_c(session, room_id, tanks),
        qualified=found[QUALIFICATIONS].get(QUALIFICATIONS) or QualificationState(),
    )


def _lawful(
    session: Session, room_id: int, here: Mapping[str, DrumState], rules: RuleBook, zone: tzinfo,
    now: datetime,
) -> dict[str, date]:  # fmt: skip
    """The last day on which each drum may be here, where a clock runs."""
    together = site_of(list(here.values()), rules)
    if together.excess_at is not None or together.over_since is not None:
        # Since when it is too much, drums that have left meanwhile tell as well.
        together = site_of(list(things(session, room_id, DRUM).values()), rules)
    whole = {key: with_days(session, room_id, drum) for key, drum in here.items()}
    clocks = {key: clock_of(drum, together, rules, zone, now) for key, drum in whole.items()}
    return {key: clock.last_on for key, clock in clocks.items() if clock is not None}

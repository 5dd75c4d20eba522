"""All things that a room keeps books of. A new one is one line here."""

from app.domain.builds import BUILD_BOOK
from app.domain.checklists.books import CHECKLIST_BOOK
from app.domain.checklists.run import SWAP_BOOK
from app.domain.curing.book import STATION_BOOK
from app.domain.curing.stations import RECIPE_BOOK
from app.domain.duties.book import CLOSE_BOOK, DUTY_BOOK
from app.domain.holds import HOLD_BOOK
from app.domain.incidents.book import INCIDENT_BOOK
from app.domain.inspections.books import PHOTO_RULES_BOOK, SOAK_BOOK
from app.domain.inspections.components import COMPONENT_BOOK
from app.domain.inspections.inspection import INSPECTION_BOOK
from app.domain.meters.book import INSTRUMENT_BOOK
from app.domain.own_solvents import OWN_SOLVENTS_BOOK
from app.domain.people.qualifications import QUALIFICATION_BOOK
from app.domain.planning.decisions import PLAN_BOOK
from app.domain.shifts import HAND_OVER_BOOK, NOTE_BOOK
from app.domain.site import ARCHIVE_BOOK, CREW_BOOK, SITE_BOOK
from app.domain.solvent_limits import SOLVENT_LIMITS_BOOK
from app.domain.spend.price_book import CASE_BOOK, PRICES_BOOK
from app.domain.supplies.ledger import ITEM_BOOK
from app.domain.things import Thing, registry
from app.domain.waste.drums import DRUM_BOOK
from app.domain.waste.pickups import PICKUP_BOOK
from app.domain.waste.rulebook import RULES_BOOK

ALL: tuple[Thing, ...] = (
    SITE_BOOK,
    STATION_BOOK,
    RECIPE_BOOK,
    CREW_BOOK,
    QUALIFICATION_BOOK,
    OWN_SOLVENTS_BOOK,
    SOLVENT_LIMITS_BOOK,
    CHECKLIST_BOOK,
    SWAP_BOOK,
    ITEM_BOOK,
    PLAN_BOOK,
    DRUM_BOOK,
    PICKUP_BOOK,
    RULES_BOOK,
    INCIDENT_BOOK,
    HOLD_BOOK,
    DUTY_BOOK,
    CLOSE_BOOK,
    PRICES_BOOK,
    CASE_BOOK,
    COMPONENT_BOOK,
    INSPECTION_BOOK,
    SOAK_BOOK,
    PHOTO_RULES_BOOK,
    ARCHIVE_BOOK,
    BUILD_BOOK,
    HAND_OVER_BOOK,
    NOTE_BOOK,
    INSTRUMENT_BOOK,
)

THINGS = registry(ALL)

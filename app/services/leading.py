"""Whose word counts where nobody signs in: what a lead decides bears the name of a lead.

Where people sign in, their role says it (signatures). Where they do not, a name is taken on trust,
as it is typed, but it is asked for: nobody chooses the room's rules by a slip of the hand. Before
the first lead is entered anybody sets the room up. A kind that has a field for the lead is asked
by its own rule.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import LeadNeeded
from app.domain.people.permissions import LEAD, action_of
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.services.authorship import entry_row, is_own
from app.services.crew import who_names_leads
from app.services.drum_streams import is_said_anew
from app.store.acting import acting, named_lead
from app.store.site import crew

RELEASES = frozenset(
    {"drum_released", "lot_released", "tank_released", "station_released", "incident_closed"}
)
"""A lead's words by which a hold ends."""
LETS_GO = RELEASES | {"part_lot_released", "inspection_overruled", "reading_accepted"}
"""A lead's words that let something go: without them it is held again, so anybody takes them back;
what else such a word did is guarded in its own way (guards, inspections/lifting)."""


def led(
    session: Session, room_id: int, entries: Sequence[Entry], by: str | None, now: datetime
) -> Sequence[Entry]:
    """The entries, those that a lead decides under the name of the lead whom the form named.

    Raises:
        LeadNeeded: one of them bears no lead's name.
    """
    if acting() is not None or not any(_is_led(session, room_id, one) for one in entries):
        return entries
    leads = who_names_leads(crew(session, room_id))
    if not leads:
        return entries
    return [_led(session, room_id, one, by, leads, now) for one in entries]


def require_lead(session: Session, room_id: int, by: str) -> None:
    """Ask for a lead where what is done is no entry; nobody is asked where none is entered.

    Raises:
        LeadNeeded: neither is a lead who does it nor whom the form names.
    """
    leads = who_names_leads(crew(session, room_id)) if acting() is None else []
    if leads and not _is_one_of(leads, by) and not _is_one_of(leads, named_lead()):
        raise LeadNeeded(leads)


def takes_back(session: Session, room_id: int, entry: Withdrawal) -> bool:
    """Whether it takes back what a lead decided, but for words that let something go."""
    row = entry_row(session, room_id, entry.withdraws)
    return row is not None and action_of(row.kind) == LEAD and row.kind not in LETS_GO


def _is_led(session: Session, room_id: int, entry: Entry) -> bool:
    """A lead enters it, and no field of it says which."""
    if isinstance(entry, Withdrawal):
        return takes_back(session, room_id, entry)
    if is_said_anew(session, room_id, entry):
        return True
    return action_of(entry.kind) == LEAD and "lead" not in entry.specs()


def _led(
    session: Session, room_id: int, entry: Entry, by: str | None, leads: Sequence[str],
    now: datetime,
) -> Entry:  # fmt: skip
    who = entry.by if by is None else by
    if not _is_led(session, room_id, entry) or _is_one_of(leads, who):
        return entry
    if isinstance(entry, Withdrawal) and is_own(session, room_id, entry.withdraws, who, now):
        return entry
    if _is_one_of(leads, named_lead()):
        return replace(entry, by=named_lead())
    raise LeadNeeded(leads)


def _is_one_of(leads: Sequence[str], name: str) -> bool:
    return name.strip().casefold() in {lead.casefold() for lead in leads}

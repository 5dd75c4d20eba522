"""Who may lift a hold by taking back what brought it: whoever said it, soon after, else a lead."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.inspections.inspection import Look
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.incidents import StationHeld, TankHeld
from app.services.authorship import OWN_MINUTES, is_own
from app.services.incidents.holds import lead_problems

SETTLED = frozenset({"a lead releases a hold", "holds go with their answers"})
"""Rules that an inspection asks in its own way, as below, before its acts let holds go."""


def lifts(entries: Sequence[Entry], said: Entry) -> bool:
    """Whether what `said` brings about lets go more holds than it sets."""
    others = [one for one in entries if one is not said]
    gone = sum(isinstance(one, Withdrawal) for one in others)
    return gone > sum(isinstance(one, TankHeld | StationHeld) for one in others)


def holding_entry(look: Look) -> str:
    """The entry for which a part is out of service: a lead's word, else the answers."""
    return look.overrule_entry or look.given_entry or look.entry


def undo_problems(
    session: Session, room_id: int, look: Look, word: Withdrawal, lead: str, reason: str
) -> list[FieldError]:
    """Why somebody may not lift a hold by taking back what was said about a part."""
    if is_own(session, room_id, holding_entry(look), word.by, word.at):
        return []
    errors = lead_problems(session, room_id, lead)
    if not reason.strip():
        errors.append(FieldError("reason", "Say why. This releases what is held."))
    return errors


def change_problems(
    session: Session, room_id: int, look: Look, by: str, now: datetime
) -> list[FieldError]:
    """Why somebody may not lift a hold by answering otherwise."""
    if is_own(session, room_id, holding_entry(look), by, now):
        return []
    message = (
        f"The answers of {look.by or 'somebody'} hold this. They can change them within "
        f"{OWN_MINUTES} minutes. After that, or for anybody else, a lead takes them back or "
        "decides otherwise, with a reason."
    )
    return [FieldError("answers", message)]

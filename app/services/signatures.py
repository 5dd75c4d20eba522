"""Whose word an entry is, where people sign in: the person of the session, nobody else.

Asked at the door, so that it holds for pages, programs and acts alike. Somebody else who is named
as agreeing, a lead or a second person, has confirmed this very request with their own PIN.
"""

from collections.abc import Sequence
from dataclasses import replace

from sqlmodel import Session

from app.domain.errors import FieldError, FieldErrors, NotAllowed
from app.domain.people.actors import Actor
from app.domain.people.permissions import LEAD, action_of, refusal_of
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.services.authorship import entry_row
from app.services.drum_streams import is_said_anew
from app.store.acting import acting

AGREEING = ("lead", "second")
"""Fields of an entry that name somebody who agrees to it."""
RULE = "everybody signs for themself"


def signed(
    session: Session, room_id: int, entries: Sequence[Entry], by: str | None
) -> tuple[Sequence[Entry], str | None]:
    """The entries with the name of who is signed in, and who does this; as given where nobody is.

    Raises:
        NotAllowed: their role may not enter this kind of entry, correct it or take it back.
        FieldErrors: an entry bears another name, or names somebody who has not confirmed it.
    """
    actor = acting()
    if actor is None:
        return entries, by
    for entry in entries:
        is_anew = is_said_anew(session, room_id, entry)
        action = LEAD if is_anew else action_of(_kind_of(session, room_id, entry))
        if not actor.may(action):
            raise NotAllowed(refusal_of(actor.role, action))
    for place, entry in enumerate(entries):
        if problems := _name_problems(actor, entry):
            raise FieldErrors(problems, place if len(entries) > 1 else None)
    named = [entry if entry.by else replace(entry, by=actor.name) for entry in entries]
    return named, None if by is None else actor.name


def _kind_of(session: Session, room_id: int, entry: Entry) -> str:
    """The kind that is entered; of a withdrawal that which it takes back."""
    if not isinstance(entry, Withdrawal):
        return entry.kind
    row = entry_row(session, room_id, entry.withdraws)
    return row.kind if row is not None else entry.kind


def _name_problems(actor: Actor, entry: Entry) -> list[FieldError]:
    found = []
    if entry.by and entry.by != actor.name:
        message = f"You are signed in as {actor.name}. You cannot enter this as {entry.by}."
        found.append(FieldError("by", message, RULE))
    for field in AGREEING:
        name = (getattr(entry, field, None) or "").strip()
        if name and name != actor.name and name not in actor.vouched:
            message = f"{name[:80]} confirms this with their own PIN, here on a page."
            found.append(FieldError(field, message, RULE))
    return found

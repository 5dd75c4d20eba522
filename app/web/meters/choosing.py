"""Which instrument was read: asked on a form where the room has several that fit."""

from collections.abc import Iterable, Mapping

from app.domain.errors import FieldError, FieldErrors
from app.domain.meters.book import InstrumentState
from app.domain.roomlog.kinds import Entry
from app.services.meters.book import instruments, is_unnamed
from app.web.deps import Visit

NONE_OF_THEM = "-"  # no key of an instrument


def options(found: Iterable[InstrumentState], last: str) -> list[tuple[str, str]]:
    """The instruments in words, the one that was read last first."""
    ordered = sorted(found, key=lambda one: one.key != last)
    return [(one.key, one.name) for one in ordered]


def without_none(typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed, with no instrument where it is none of those on file."""
    is_none = typed.get("instrument") == NONE_OF_THEM
    return {**typed, **({"instrument": ""} if is_none else {})}


def ask_which(visit: Visit, entry: Entry, typed: Mapping[str, str]) -> None:
    """Ask for the instrument, where several fit and nothing was chosen.

    Raises:
        FieldErrors: beside the choice.
    """
    is_said = typed.get("instrument") == NONE_OF_THEM or visit.is_repeated(typed)
    if not is_said and is_unnamed(instruments(visit.session, visit.room_id), entry):
        raise FieldErrors([FieldError("instrument", "Choose the instrument you read.")])

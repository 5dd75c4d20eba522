"""Which instrument was read: asked on a form where the room has several that fit."""

from collections.abc import Iterable, Mapping

from app.domain.errors import FieldError, FieldErrors
from app.domain.meters.book import InstrumentState
from app.domain.meters.sorts import NAMED_AS
from app.domain.roomlog.kinds import Entry
from app.services.meters.book import (
    instruments,
    last_used,
    offered,
    thermometers,
    unnamed,
)
from app.web.deps import Visit

NONE_OF_THEM = "-"  # no key of an instrument


def options(found: Iterable[InstrumentState], last: str) -> list[tuple[str, str]]:
    """The instruments in words, the one that was read last first."""
    ordered = sorted(found, key=lambda one: one.key != last)
    return [(one.key, one.name) for one in ordered]


def without_none(typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed, with no instrument where it is none of those on file."""
    none = (one for one in NAMED_AS if typed.get(one) == NONE_OF_THEM)
    return {**typed, **dict.fromkeys(none, "")}


def of_reading(visit: Visit, method: str, tank: str) -> dict[str, list[tuple[str, str]]]:
    """What a reading at a tank may be taken with, by the field that names it."""
    session, room_id = visit.session, visit.room_id
    found = {
        "instrument": [
            one for one in offered(session, room_id, method) if one.of_tank in ("", tank)
        ],
        "thermometer": thermometers(session, room_id, method),
    }
    return {
        name: options(here, last_used(session, room_id, tank=tank, named_as=name))
        for name, here in found.items()
    }


def ask_which(visit: Visit, entry: Entry, typed: Mapping[str, str]) -> None:
    """Ask for each instrument, where several fit and nothing was chosen.

    Raises:
        FieldErrors: beside the choice.
    """
    if visit.is_repeated(typed):
        return
    found = unnamed(instruments(visit.session, visit.room_id), entry)
    asked = [one for one in found if typed.get(one) != NONE_OF_THEM]
    if asked:
        raise FieldErrors([FieldError(one, f"Choose the {one} you read.") for one in asked])

"""Answers kept while nothing they depend on has changed: for pages that ask often."""

from collections.abc import Callable, Hashable
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from sqlmodel import Session

Answer = TypeVar("Answer")

SUPPOSED = "supposed"
"""Mark in `Session.info` while the room is looked at as it would be, not as it is."""

_kept: WeakKeyDictionary[Any, dict[tuple[int, str], tuple[Hashable, Any]]] = WeakKeyDictionary()


def kept(
    session: Session, room_id: int, what: str, depends_on: Hashable, make: Callable[[], Answer]
) -> Answer:
    """The answer to `what` in a room, worked out anew where what it depends on has changed.

    Only the last answer is kept. What it depends on must be read in the same transaction or before
    it, as the room's version is, which grows with every entry: an answer may then be newer than
    what it is kept under, never older. Nothing is kept of a room only supposed.
    """
    if session.info.get(SUPPOSED):
        return make()
    answers = _kept.setdefault(session.get_bind(), {})
    found = answers.get((room_id, what))
    if found is not None and found[0] == depends_on:
        answer: Answer = found[1]
        return answer
    made = make()
    answers[room_id, what] = depends_on, made
    return made


def forget(engine: Any, room_id: int) -> None:
    """Let go of all that is kept of a room."""
    answers = _kept.get(engine, {})
    for found in [one for one in list(answers) if one[0] == room_id]:
        answers.pop(found, None)

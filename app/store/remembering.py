"""What a transaction has read, remembered until it writes something or ends.

An entry is held against many rules, and the same tank, holds and open swaps are asked for by one
after the other; so are they by the parts of a page. Nobody changes them meanwhile: a write has its
room locked, and a read of SQLite sees one state. A read of a server that sees what others commit
remembers nothing. Whatever a transaction itself writes makes it forget, and where a row was changed
and is not written yet, it is not asked.
"""

from collections import deque
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from sqlalchemy import event
from sqlalchemy.engine import Connection, Engine
from sqlmodel import Session

from app.store.tables import TankRow, ThingRow

REMEMBERED, HELD = "remembered", "held"
HELD_ROWS, MOST_REMEMBERED = 100, 500
Answer = TypeVar("Answer")
_READS = ("SELECT", "PRAGMA")


class RememberingSession(Session):
    """A session whose transactions see one state: rows that others change stay as they were."""


class WritingSession(RememberingSession):
    """A session of one write transaction, which keeps the tanks and things that it read last.

    The mapper lets go of a row as soon as nobody uses it, and reads it again a moment later.
    """


@event.listens_for(WritingSession, "loaded_as_persistent")
def _hold(session: Session, row: object) -> None:
    if isinstance(row, TankRow | ThingRow):
        session.info.setdefault(HELD, deque(maxlen=HELD_ROWS)).append(row)


@event.listens_for(WritingSession, "after_soft_rollback")
def _read_anew(session: Session, _: object) -> None:
    """What was read while something was only tried is not what stands."""
    for row in session.info.pop(HELD, ()):
        if row in session:
            session.expire(row)


def forget_at_writes(engine: Engine) -> None:
    """Have the transactions of an engine forget what they remember at each of their writes."""

    @event.listens_for(engine, "before_cursor_execute")
    def executed(connection: Connection, _: Any, statement: str, *__: Any) -> None:
        if not statement.startswith(_READS):
            connection.info.pop(REMEMBERED, None)

    for moment in ("begin", "commit", "rollback"):
        event.listen(engine, moment, _forget)


def remember(session: Session, what: Hashable, make: Callable[[], Answer]) -> Answer:
    """The answer to `what`, asked once while this transaction writes nothing.

    Whoever asks changes nothing of it.
    """
    known: dict[Hashable, Any] = {}
    is_one_state = isinstance(session, RememberingSession)
    if is_one_state and not (session.new or session.dirty or session.deleted):
        known = session.connection().info.setdefault(REMEMBERED, known)
    if what in known:
        answer: Answer = known[what]
        return answer
    made = make()
    if len(known) < MOST_REMEMBERED:
        known[what] = made  # forgotten already where making it wrote something
    return made


def _forget(connection: Connection) -> None:
    if not connection.invalidated:  # one that broke has nothing left, and cannot be asked
        connection.info.pop(REMEMBERED, None)

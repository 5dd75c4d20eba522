"""The one way to write: a transaction, a retry that counts once, a notice after the commit."""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import datetime
from typing import Any

from sqlalchemy.exc import OperationalError
from sqlmodel import Session

from app.domain.errors import Busy, Conflict
from app.store.across import tell
from app.store.engine import Store
from app.store.instants import to_us
from app.store.sessions import writing
from app.store.tables import SubmissionRow

Answer = dict[str, Any]
TURNS = 20  # each as long as somebody who waits at a page is kept waiting


class SubmissionReused(Conflict):
    """The key of a submission was used before, for other content."""


@contextmanager
def write(store: Store, room: str | None = None) -> Iterator[Session]:
    """A write transaction: committed when the block ends well, otherwise nothing is stored.

    Listeners, on other servers too, hear of `room` once the commit stands. The request's reads give
    their connection back before it begins, so that no request waits for a second one.

    Raises:
        Busy: its turn did not come in time.
    """
    with writing(store) as session:
        try:
            yield session
            if room is not None:
                tell(session, store, room)
            session.commit()
        except BaseException:
            store.states.clear()  # a state that was moved on in memory may be ahead of the log
            raise
    if room is not None:
        store.announce(room)


@contextmanager
def write_in_turn(store: Store, room: str | None = None) -> Iterator[Session]:
    """A write transaction of work that can wait: others go first, for minutes if need be.

    Raises:
        Busy, OperationalError: its turn did not come.
    """
    with ExitStack() as held:
        session = _entered(held, store, room)
        yield session


def _entered(held: ExitStack, store: Store, room: str | None) -> Session:
    for turn in range(TURNS):
        try:
            with ExitStack() as here:
                session = here.enter_context(write(store, room))
                session.connection()  # the database's own lock, which other programs may have
                held.push(here.pop_all())
                return session
        except (Busy, OperationalError) as error:
            if turn + 1 == TURNS or not (isinstance(error, Busy) or "locked" in str(error.orig)):
                raise
    raise AssertionError


def once(
    session: Session,
    key: str | None,
    content: Mapping[str, Any],
    now: datetime,
    do: Callable[[], Answer],
) -> Answer:
    """Carry out a submission, or hand back its answer when it was carried out before.

    Raises:
        SubmissionReused: the key was used for other content.
    """
    if not key:
        return do()
    print_ = fingerprint(content)
    if (seen := session.get(SubmissionRow, key)) is not None:
        if seen.fingerprint != print_:
            raise SubmissionReused("This was already sent with other values. Reload the page.")
        return {**json.loads(seen.answer), "is_replayed": True}
    answer = do()
    session.add(
        SubmissionRow(key=key, fingerprint=print_, answer=json.dumps(answer), at_us=to_us(now))
    )
    return answer


def fingerprint(content: Mapping[str, Any]) -> str:
    """A digest of a submission's content, the same whatever the order of its fields."""
    text = json.dumps(content, sort_keys=True, default=str)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()

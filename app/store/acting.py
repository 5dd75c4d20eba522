"""Who acts in the request that is answered, where the site has its people sign in.

Set once, where a request comes in; read by the door of the room log, by the rules that ask for a
lead and by pages. Nobody acts where sign-in is off, in commands and in work in the background:
names are then taken on trust, as they are typed.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from app.domain.people.actors import Actor

_actor: ContextVar[Actor | None] = ContextVar("who acts", default=None)
_waited: ContextVar[bool] = ContextVar("it waited on a tablet", default=False)
_lead: ContextVar[str] = ContextVar("which lead does it", default="")


def acting() -> Actor | None:
    """Who is signed in; None where nobody is asked to."""
    return _actor.get()


@contextmanager
def acted_by(actor: Actor | None) -> Iterator[None]:
    """Within this, `actor` acts."""
    before = _actor.set(actor)
    try:
        yield
    finally:
        _actor.reset(before)


def vouch(name: str) -> None:
    """Somebody else confirmed this request with their own PIN or password."""
    if (actor := _actor.get()) is not None:
        _actor.set(actor.with_vouched(name))


def name_lead(name: str) -> None:
    """Whom a form names as the lead who does what it says; nobody where it is empty."""
    _lead.set(name)


def named_lead() -> str:
    """The lead whom this request names, where nobody signs in."""
    return _lead.get() if acting() is None else ""


def note_waited(has_waited: bool) -> None:
    """Whether what this request brings waited on a tablet that could not send it."""
    _waited.set(has_waited)


def has_waited() -> bool:
    """It was done before the room could answer: it tells what was, by the time of the touch."""
    return _waited.get()

"""Finding a thing of the room by a few letters of what people call it."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

MOST_WORDS = 6
_WORD = re.compile(r"[^\W_]+")
EXACT, BEGINS, IN_NAME, IN_REST, WITHIN = range(5)


@dataclass(frozen=True)
class Findable:
    """A thing that can be found.

    Attributes:
        name: what people call it; `sort`: what it is, in a word or two.
        about: what sets it apart from others of its sort, also searched.
        also: what else it is found by, such as its number, and is not shown.
        leads_to: what its page shows; it is not found by that.
        path: where its page lies within the room.
        is_past: it is over, closed or out of use: those still in use come first.
    """

    name: str
    sort: str
    path: str
    about: str = ""
    also: tuple[str, ...] = ()
    is_past: bool = False
    leads_to: str = ""


def plain(text: str) -> str:
    """Text without case and accents, as fingers in a hurry type it."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(one for one in parts if not unicodedata.combining(one))


def found(things: Iterable[Findable], asked: str, most: int = 20) -> tuple[Findable, ...]:
    """The things that every word asked for belongs to, the likeliest first.

    A word belongs to a thing if a word of it begins so; of three letters or more also if it
    stands within one. Names count before the rest, what is in use before what is over; equals stay
    in the order in which they are given. Words after the sixth are not looked at.
    """
    words = _WORD.findall(plain(asked))[:MOST_WORDS]
    if not words:
        return ()
    ranked = []
    for place, thing in enumerate(things):
        rank = _rank(thing, words)
        if rank is not None:
            ranked.append((rank, thing.is_past, place, thing))
    ranked.sort(key=lambda one: one[:3])
    return tuple(one[-1] for one in ranked[:most])


def _rank(thing: Findable, asked: list[str]) -> int | None:
    name = _WORD.findall(plain(thing.name))
    if name == asked:
        return EXACT
    rest = _WORD.findall(plain(" ".join((thing.sort, thing.about, *thing.also))))
    ranks = [_rank_of_word(one, name, rest) for one in asked]
    if any(rank is None for rank in ranks):
        return None
    worst = max(rank for rank in ranks if rank is not None)
    begins = len(name) >= len(asked) and all(
        own.startswith(one) for own, one in zip(name, asked, strict=False)
    )
    return BEGINS if begins else worst


def _rank_of_word(asked: str, name: list[str], rest: list[str]) -> int | None:
    if any(own.startswith(asked) for own in name):
        return IN_NAME
    if any(own.startswith(asked) for own in rest):
        return IN_REST
    is_long = len(asked) > 2
    return WITHIN if is_long and any(asked in own for own in (*name, *rest)) else None

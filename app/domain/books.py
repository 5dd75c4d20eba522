"""All things that a room keeps books of. A new one is one line here."""

from app.domain.things import Thing, registry

ALL: tuple[Thing, ...] = ()

THINGS = registry(ALL)

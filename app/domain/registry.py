"""What a package holds, found by looking at its modules, so that a new one is one file.

Python's own import system lists the modules; nothing else is read.
"""

from importlib import import_module
from pkgutil import iter_modules
from types import ModuleType
from typing import Protocol, TypeVar


class Registered(Protocol):
    """What is found: its key, and its place among the others."""

    @property
    def key(self) -> str:
        """Its word in room logs."""
        ...

    @property
    def place(self) -> int:
        """Where it stands, the lowest first."""
        ...


T = TypeVar("T", bound=Registered)


def found_in(package: ModuleType, sort: type[T]) -> dict[str, T]:
    """Everything of a sort that the modules of a package define, by key and in its place.

    Raises:
        ValueError: two have one key.
    """
    found: dict[int, T] = {}
    for module in iter_modules(package.__path__, f"{package.__name__}."):
        for thing in vars(import_module(module.name)).values():
            if isinstance(thing, sort):
                found[id(thing)] = thing
    ordered = sorted(found.values(), key=lambda one: (one.place, one.key))
    by_key = {one.key: one for one in ordered}
    if len(by_key) < len(ordered):
        raise ValueError(f"Two of the {sort.__name__} have one key: {[o.key for o in ordered]}.")
    return by_key

"""The solvents a bath may hold. A new one is one module in `known`."""

from collections.abc import Mapping

from app.domain.errors import DomainError
from app.domain.registry import found_in
from app.domain.solvents import known
from app.domain.solvents.model import Solvent, Source

__all__ = ["SOLVENTS", "Solvent", "Source", "solvent"]

SOLVENTS: Mapping[str, Solvent] = found_in(known, Solvent)
_ALIASES = {alias: item.key for item in SOLVENTS.values() for alias in item.aliases}


def solvent(key: str) -> Solvent:
    """The solvent of a key or alias.

    Raises:
        DomainError: there is none of that name; the message lists those there are.
    """
    found = SOLVENTS.get(_ALIASES.get(key, key))
    if found is None:
        known = ", ".join((*SOLVENTS, *_ALIASES))
        raise DomainError(f"There is no solvent “{key[:40]}”. Known solvents: {known}.")
    return found

"""The solvents a bath may hold. A new one is one module in `known`."""

from collections.abc import Mapping

from app.domain.errors import DomainError
from app.domain.registry import found_in
from app.domain.solvents import known
from app.domain.solvents.model import Solvent, Source
from app.domain.solvents.own import WithOwn, own_solvent

__all__ = ["SOLVENTS", "Solvent", "Source", "solvent"]


class _Solvents(WithOwn[Solvent]):
    """The solvents of the table, and each own one by the key that carries its data sheet."""

    def of_own(self, key: str) -> Solvent | None:
        return own_solvent(key)


SOLVENTS: Mapping[str, Solvent] = _Solvents(found_in(known, Solvent))
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

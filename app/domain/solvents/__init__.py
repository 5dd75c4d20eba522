"""The solvents a bath may hold."""

from collections.abc import Mapping

from app.domain.errors import DomainError
from app.domain.solvents import table
from app.domain.solvents.model import Solvent, Source

__all__ = ["SOLVENTS", "Solvent", "Source", "solvent"]

SOLVENTS: Mapping[str, Solvent] = {
    item.key: item
    for item in (
        table.ISOPROPANOL,
        table.ETHANOL,
        table.TRIPROPYLENE_GLYCOL_METHYL_ETHER,
        table.DIPROPYLENE_GLYCOL_METHYL_ETHER,
        table.PROPYLENE_CARBONATE,
        table.ACETONE,
        table.WATER_BASED,
    )
}
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

"""Whether what is about to be poured belongs into a bath."""

from app.domain.errors import DomainError
from app.domain.solvents import Solvent, solvent
from app.domain.solvents.own import same_own

SPREAD_PERCENT = 3.0  # purity below the bath's own by which it is asked about; common practice


def why_not(bath: str, poured: str) -> str:
    """Why a solvent may not go into a bath of another, in words; nothing where it may.

    `bath` and `poured` are keys or aliases of the solvent table.

    >>> why_not("isopropanol", "ipa")
    ''
    >>> "Stop" in why_not("isopropanol", "tpm")
    True
    """
    try:
        holds, comes = solvent(bath), solvent(poured)
    except DomainError:
        return "Stop. Nobody knows what this is. Do not pour anything until it is identified."
    if holds.key == comes.key or same_own(holds.key, comes.key):
        return ""
    return f"Stop: the bath holds {holds.name}, this is {comes.name}.{_harm(holds, comes)}"


def _harm(holds: Solvent, comes: Solvent) -> str:
    if comes.is_flammable and not holds.is_flammable:
        return " Even a little makes the bath and its waste flammable."
    if holds.density.is_water or comes.density.is_water:
        return " Water and solvent spoil each other, and the waste needs a separate drum."
    return " The mixture washes and reads differently, and its waste needs a separate drum."


def weaker(bath_purity_percent: float, lot_purity_percent: float | None) -> str:
    """What to ask about a lot that is clearly weaker than what the bath was filled with."""
    if lot_purity_percent is None or lot_purity_percent > bath_purity_percent - SPREAD_PERCENT:
        return ""
    return (
        f"This lot is {lot_purity_percent:.3g} % pure by mass, but the bath was filled with "
        f"{bath_purity_percent:.3g} %. Its water will read like resin."
    )

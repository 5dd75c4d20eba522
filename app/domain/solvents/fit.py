"""Whether what is about to be poured belongs into a bath."""

from app.domain.errors import DomainError
from app.domain.solvents import SOLVENTS, Solvent, solvent
from app.domain.solvents.density import REFERENCE_C
from app.domain.solvents.own import same_own

SPREAD_PERCENT = 3.0  # purity below the bath's own by which it is asked about; common practice

SAME_PERCENT = 2.0  # as labels of one grade differ; common practice, no source


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
    if holds.is_watery or comes.is_watery:
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


def other_purity(
    bath: str, bath_percent: float, lot_percent: float, resin_density_g_ml: float
) -> str:
    """What it does to fill a bath with solvent of another purity, in words; nothing where both are
    of one grade.

    `bath` is the solvent's key, purities are in mass percent, the resin's density in g/mL.

    >>> "reads like 11 % resin" in other_purity("isopropanol", 100.0, 90.0, 1.10)
    True
    """
    liquid = SOLVENTS.get(bath)
    if liquid is None or liquid.is_own or liquid.density.is_water:
        return ""
    if abs(bath_percent - lot_percent) <= SAME_PERCENT:
        return ""
    told = (
        f"This is {lot_percent:.3g} % pure by mass, and the bath was filled with "
        f"{bath_percent:.3g} % before. "
    )
    share = 100 * as_resin(liquid, bath_percent, lot_percent, resin_density_g_ml)
    if lot_percent < bath_percent:
        return (
            f"{told}Its water reads like {share:.0f} % resin by density. Parts come out less clean "
            "and dry more slowly."
        )
    return f"{told}It is lighter, which hides {-share:.0f} % resin from a density reading."


def as_resin(
    liquid: Solvent, bath_percent: float, lot_percent: float, resin_density_g_ml: float
) -> float:
    """The mass fraction of resin that a density at 20 C would show in fresh solvent of one purity,
    read as if it had another; negative where it is lighter.

    Volumes of solvent and resin add: 1/rho = x/rho_resin + (1 - x)/rho_solvent.
    """
    known, here = (
        1 / liquid.density.density_g_ml(REFERENCE_C, percent)
        for percent in (bath_percent, lot_percent)
    )
    return (known - here) / (known - 1 / resin_density_g_ml)

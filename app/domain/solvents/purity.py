"""Purity on a label: by volume or by mass, and one as the other.

Labels of alcohols give volume percent: the volume of pure alcohol at 20 C in a hundred volumes of
the mixture at 20 C. Alcohol and water contract when they mix, so no fixed factor turns one into the
other; the density table of the mixture does.
"""

from typing import Literal

from app.domain.errors import FieldError
from app.domain.solvents.density import REFERENCE_C, root
from app.domain.solvents.model import Solvent
from app.domain.solvents.own import sheet_of

PurityBasis = Literal["volume_percent", "mass_percent"]
PURITY_BASES: tuple[PurityBasis, ...] = ("volume_percent", "mass_percent")
ROUNDING = 1e-6  # of a percent: 100 % by volume is 100 % by mass
BASIS_WORDS = {"volume_percent": "% by volume", "mass_percent": "% by mass"}


def usual_basis(liquid: Solvent) -> PurityBasis:
    """What its labels give: volume where its mixture with water is tabulated, as of alcohols."""
    return "volume_percent" if liquid.has_water_table else "mass_percent"


def volume_percent(liquid: Solvent, mass_percent: float) -> float:
    """Percent by volume at 20 C of a purity in mass percent, the rest water.

    phi = w rho(w) / rho(1): a litre of the mixture holds w rho(w) kg of the pure solvent.

    >>> from app.domain.solvents import solvent
    >>> round(volume_percent(solvent("ethanol"), 92.41), 1)
    95.0
    """
    model = liquid.density
    mixed = model.density_g_ml(REFERENCE_C, mass_percent)
    return mass_percent * mixed / model.pure_g_ml(REFERENCE_C)


def mass_percent(liquid: Solvent, by_volume: float) -> float:
    """Percent by mass of a purity in percent by volume at 20 C; the inverse of `volume_percent`.

    Raises:
        DomainError: it lies outside 0 to 100 %.

    >>> from app.domain.solvents import solvent
    >>> round(mass_percent(solvent("isopropanol"), 91.0), 1)
    87.6
    """
    if liquid.density.is_water:
        return by_volume
    found = root(
        lambda percent: volume_percent(liquid, percent) - by_volume,
        0.0, 100.0 + ROUNDING, "A purity must be between 0 and 100 %.",
    )  # fmt: skip
    return min(found, 100.0)


def in_mass_percent(
    liquid: Solvent, by_mass: float | None, by_volume: float | None
) -> float | None:
    """A purity in mass percent, in whichever basis it was entered; None where in neither,
    and for an own solvent, which is as it is delivered."""
    if liquid.is_own:
        return None
    if by_mass is not None or by_volume is None:
        return by_mass
    return mass_percent(liquid, by_volume)


def said_twice(name: str, by_mass: float | None, by_volume: float | None) -> list[FieldError]:
    """What is wrong with a purity that was given twice; `name` is the field of the second."""
    if by_mass is None or by_volume is None:
        return []
    return [FieldError(name, "Give the purity by mass or by volume, not both.")]


def of_own(name: str, key: str | None, purity: float | None) -> list[FieldError]:
    """What is wrong with a purity of an own solvent: its sheet tells of it as it is delivered."""
    if purity is None or sheet_of(key or "") is None:
        return []
    return [FieldError(name, "Its data sheet describes it as delivered, so leave this empty.")]


def converted_words(liquid: Solvent, figure: float, basis: PurityBasis) -> str:
    """What a purity is in the other basis, for the one who types it.

    >>> from app.domain.solvents import solvent
    >>> converted_words(solvent("isopropanol"), 91.0, "volume_percent")
    '91 % by volume is 87.6 % by mass.'
    """
    other: PurityBasis = "mass_percent" if basis == "volume_percent" else "volume_percent"
    turn = mass_percent if basis == "volume_percent" else volume_percent
    return f"{figure:g} {BASIS_WORDS[basis]} is {turn(liquid, figure):.1f} {BASIS_WORDS[other]}."

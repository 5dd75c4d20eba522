"""A flammable solvent that parts carry into a slow bath, film by film, and what it makes of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.domain.solvents import SOLVENTS
from app.domain.solvents.flash import mixed_flash_c
from app.domain.solvents.model import FLAMMABLE_BELOW_C

SOON = timedelta(hours=2)  # from one bath into the next; common practice, no source
TOLD_BELOW_C = 93.0  # liquids that flash below it are stored as such; 29 CFR 1910.106(a)(19)


@dataclass(frozen=True)
class Film:
    """Liquid of the bath before on the parts of a wash.

    Attributes:
        volume_ml: of the film.
        share: of it that is the flammable solvent, by volume.
    """

    at: datetime
    volume_ml: float
    share: float


@dataclass(frozen=True)
class Carried:
    """What came over into a slow bath since it was filled.

    Attributes:
        solvent: the flammable one.
        percent: of the bath by mass; none of it is taken to evaporate, so it is rather less.
        flash_c: by Raoult's law, computed and not tested; None where that cannot be said.
        sources: keys of the tanks it came from; none where it stayed behind in the tank itself.
    """

    solvent: str
    percent: float
    flash_c: float | None
    sources: tuple[str, ...] = ()

    @property
    def is_told(self) -> bool:
        """It makes another liquid of it for whoever stores it."""
        return self.flash_c is None or self.flash_c <= TOLD_BELOW_C

    @property
    def is_flammable(self) -> bool:
        """The bath is to be treated as flammable: its waste, its surroundings."""
        return self.flash_c is None or self.flash_c < FLAMMABLE_BELOW_C


def share_after(films: Iterable[Film], volume_l: float, before: float = 0.0) -> float:
    """The share of the flammable solvent in a bath by volume, after all films.

    With D the film, s its share and V the bath's volume, wash by wash: c' = c (1 - D/V) + s D/V,
    the balance of a stirred bath that gains and loses a film. `before` is what it held at first.

    >>> from datetime import datetime
    >>> films = [Film(datetime(2026, 3, 2), 10.0, 1.0)] * 40
    >>> round(share_after(films, 20.0), 4)
    0.0198
    """
    share = before
    for film in films:
        part = min(film.volume_ml / (1000 * volume_l), 1.0)
        share += part * (film.share - share)
    return share


def carried_over(
    slow: str, quick: str, share: float, sources: Iterable[str] = ()
) -> Carried | None:
    """What a share of a quick solvent by volume makes of a slow bath; None for no share."""
    base, other = SOLVENTS.get(slow), SOLVENTS.get(quick)
    if base is None or other is None or share <= 0:
        return None
    quick_kg = share * other.density_g_ml(20.0, other.usual_purity_percent)
    slow_kg = (1 - share) * base.density_g_ml(20.0, base.usual_purity_percent)
    percent = 100 * quick_kg / (quick_kg + slow_kg)
    flash_c = mixed_flash_c(slow, quick, percent)
    return Carried(quick, percent, flash_c, tuple(dict.fromkeys(sources)))

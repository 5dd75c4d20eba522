"""What the spent bath of a solvent is as waste.

Statuses are what generators commonly find under 40 CFR 261; the site's own determination and the
contractor's profile decide. Sources: 40 CFR 261.21(a)(1) (ignitable liquid: flash point below
60 C), 261.31 (listed solvents); the rest is common practice without a published source.
"""

from dataclasses import dataclass

SKIN = "May cause an allergic skin reaction (uncured acrylate resin)"
WATER = "Harmful to aquatic life"
NOT_TO_DRAIN = "Holds uncured resin: never down the drain"
FLAMMABLE = "Ignitable: highly flammable liquid and vapour"
FLASH_UNKNOWN = "Flash point not known: treat as flammable until a test says otherwise"
UNTESTED = "flash point not known: taken as D001 until a test or the data sheet says otherwise"
HIGH_FLASH = "not D001 while its flash point is 60 °C or more; the state and the contractor decide"
NO_D001 = "commonly not D001; never to the drain without a permit"
IGNITABLE = "commonly D001 (40 CFR 261.21(a)(1): liquid with a flash point below 60 °C)"


@dataclass(frozen=True)
class SpentBath:
    """The waste stream that a drained bath is.

    Attributes:
        hazards: what a label says of it.
        apart: why it may not go into the drum of another stream.
        may_be_uncounted: a site may find that it does not count towards its category.
        place: among the streams on forms, the lowest first.
    """

    key: str
    name: str
    contents: str
    hazards: tuple[str, ...]
    apart: str
    status: str
    may_be_uncounted: bool = False
    place: int = 75

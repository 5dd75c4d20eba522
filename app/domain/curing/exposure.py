"""How soon light of a station reaches the exposure limits of an unprotected eye or skin.

The limits are guides for people who assess a workplace, no line below which nothing happens: the
door stays shut and its interlock is never defeated, whatever they say.
"""

from dataclasses import dataclass

UVA_FROM_NM, UVA_TO_NM = 315.0, 400.0
# ICNIRP guidelines, Health Physics 87 (2004) 171: 10 kJ/m2 of UV-A on the unprotected eye and
# 30 J/m2 effective (180 to 400 nm) on eye and skin, each within 8 hours.
UVA_LIMIT_MJ_CM2 = 1000.0
EFFECTIVE_LIMIT_MJ_CM2 = 3.0
SHIFT_S = 8 * 3600.0


@dataclass(frozen=True)
class ExposureLimit:
    """When light at the part reaches a limit.

    Attributes:
        seconds: until the limit; None where it is not reached in a shift, or no figure applies.
        text: what the limit is.
        source: where it comes from.
    """

    seconds: float | None
    text: str
    source: str


def eye_limit(wavelength_nm: float, mw_cm2: float) -> ExposureLimit:
    """The limit that an unprotected eye meets first, at the irradiance of the parts' place.

    Raises:
        ValueError: no irradiance.
    """
    if mw_cm2 <= 0:
        raise ValueError("An irradiance above zero.")
    if wavelength_nm > UVA_TO_NM:
        return ExposureLimit(
            None,
            "Light above 400 nm lies outside the UV-A limit: it is assessed as blue light, which "
            "harms the retina. Use eyewear rated for this wavelength.",
            "IEC 62471 (risk groups), from memory",
        )
    if wavelength_nm < UVA_FROM_NM:
        return ExposureLimit(
            EFFECTIVE_LIMIT_MJ_CM2 / mw_cm2,
            "Eye and skin: 30 J/m² effective within 8 hours; the time is for the most harmful "
            "wavelength (270 nm), others take longer.",
            "ICNIRP, Health Physics 87 (2004) 171",
        )
    seconds = UVA_LIMIT_MJ_CM2 / mw_cm2
    return ExposureLimit(
        seconds if seconds < SHIFT_S else None,
        "Unprotected eye, UV-A: 10 kJ/m² within 8 hours.",
        "ICNIRP, Health Physics 87 (2004) 171",
    )

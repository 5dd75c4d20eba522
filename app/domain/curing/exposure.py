"""How soon light of a station reaches the exposure limits of an unprotected eye or skin.

The limits are guides for people who assess a workplace, no line below which nothing happens: the
door stays shut and its interlock is never defeated, whatever they say.
"""

import math
from dataclasses import dataclass

UVA_FROM_NM, UVA_TO_NM = 315.0, 400.0
# ICNIRP guidelines, Health Physics 87 (2004) 171: 10 kJ/m2 of UV-A on the unprotected eye and
# 30 J/m2 effective (180 to 400 nm) on eye and skin, each within 8 hours.
UVA_LIMIT_MJ_CM2 = 1000.0
EFFECTIVE_LIMIT_MJ_CM2 = 3.0
SHIFT_S = 8 * 3600.0
# Full widths at half height. LEDs near 400 nm: 10 to 20 nm by their makers' data sheets, second
# hand; the wider counts. Lines of a mercury lamp are narrow, a fluorescent tube is wide: a share
# of theirs below 400 nm is not worked out from a peak, it comes from the data sheet.
LED_WIDTH_NM = 20.0
SIGMAS = 2 * math.sqrt(2 * math.log(2))  # full width at half height of a bell curve
LEAST_SHARE = 0.001
BLUE = (
    "Light above 400 nm is also assessed as blue light, which harms the retina: use eyewear rated "
    "for this wavelength, and never look in."
)
UV_SOURCE = "ICNIRP, Health Physics 87 (2004) 171"
BLUE_SOURCE = (
    "ICNIRP, Health Physics 105 (2013) 74 (visible and infrared) and 118 (2020) 549 (LEDs); "
    "from memory"
)


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


def share_below_400(wavelength_nm: float, width_nm: float) -> float:
    """The share of a source's output below 400 nm, its spectrum taken for a bell curve.

    Args:
        width_nm: full width at half height.

    >>> round(share_below_400(400, 12), 2), round(share_below_400(405, 12), 2)
    (0.5, 0.16)
    """
    sigma_nm = width_nm / SIGMAS
    return 0.5 * (1 + math.erf((UVA_TO_NM - wavelength_nm) / (sigma_nm * math.sqrt(2))))


def eye_limit(
    wavelength_nm: float,
    mw_cm2: float,
    *,
    shape: str = "led",
    width_nm: float | None = None,
    below_400_percent: float | None = None,
) -> ExposureLimit:
    """The limit that an unprotected eye meets first, at the irradiance of the parts' place.

    Args:
        shape: `led` has a peak whose width is known; of others only a data sheet tells the share.
        width_nm: of its peak, at half height; below_400_percent: by its data sheet.

    Raises:
        ValueError: no irradiance.
    """
    if mw_cm2 <= 0:
        raise ValueError("An irradiance above zero.")
    if wavelength_nm > UVA_TO_NM:
        share, basis = _uv_share(wavelength_nm, shape, width_nm, below_400_percent)
        return _near_uv(mw_cm2, share, basis)
    if wavelength_nm < UVA_FROM_NM:
        return ExposureLimit(
            EFFECTIVE_LIMIT_MJ_CM2 / mw_cm2,
            "Eye and skin: 30 J/m² effective within 8 hours; the time is for the most harmful "
            "wavelength (270 nm); others take longer.",
            UV_SOURCE,
        )
    seconds = UVA_LIMIT_MJ_CM2 / mw_cm2
    return ExposureLimit(
        seconds if seconds < SHIFT_S else None,
        "Unprotected eye, UV-A: 10 kJ/m² within 8 hours.",
        UV_SOURCE,
    )


def _uv_share(
    wavelength_nm: float, shape: str, width_nm: float | None, below_400_percent: float | None
) -> tuple[float | None, str]:
    """The share below 400 nm and where it comes from; None where nobody can tell it."""
    if below_400_percent is not None:
        return below_400_percent / 100, "by its data sheet"
    if width_nm is not None:
        return share_below_400(wavelength_nm, width_nm), f"by its width of {width_nm:g} nm"
    if shape == "led":
        share = share_below_400(wavelength_nm, LED_WIDTH_NM)
        return share, f"assuming an LED {LED_WIDTH_NM:g} nm wide; enter the data sheet's share"
    return None, ""


def _near_uv(mw_cm2: float, share: float | None, basis: str) -> ExposureLimit:
    """A source that peaks above 400 nm: what of it lies below counts as UV-A."""
    source = f"{UV_SOURCE}; {BLUE_SOURCE}"
    if share is None:
        text = "How much of it is below 400 nm is not known. Enter it from the data sheet. "
        return ExposureLimit(None, text + BLUE, source)
    if share < LEAST_SHARE:
        return ExposureLimit(None, BLUE, BLUE_SOURCE)
    seconds = UVA_LIMIT_MJ_CM2 / (mw_cm2 * share)
    text = (
        f"Unprotected eye, UV-A: 10 kJ/m² within 8 hours, of the {100 * share:.0f} % of its light "
        f"below 400 nm ({basis}). "
    )
    return ExposureLimit(seconds if seconds < SHIFT_S else None, text + BLUE, source)

"""What to take care of as a bath is filled up or poured, by what is in it.

The safety data sheet and the site's own rules come first. Common practice without a published
source; flammable is what has a flash point below 60 C (40 CFR 261.21(a)(1)).
"""

from app.domain.solvents.model import Solvent

FLAMMABLE = (
    "Flammable solvent: ignition sources off, containers bonded while pouring, gloves and glasses "
    "on."
)
LOWERED = (
    "A flammable solvent went into this bath: treat it as flammable. Ignition sources off, "
    "containers bonded while pouring, gloves and glasses on."
)
UNKNOWN = (
    "How this catches fire is not known here. Follow its safety data sheet, keep ignition sources "
    "off and bond containers while pouring. Gloves and glasses on."
)
NO_FLASH = "Its data sheet gives it no flash point. Gloves and glasses on. Wipe up spills at once."
WATER = "It carries resin. Gloves and glasses on. Wipe up spills at once."


def pouring(solvent: Solvent | None, is_lowered: bool = False) -> str:
    """The caution of a bath.

    Args:
        is_lowered: a flammable solvent went into it, whatever it was before.
    """
    if solvent is not None and solvent.is_flammable and not solvent.is_flash_unknown:
        return FLAMMABLE
    if solvent is not None and is_lowered:
        return LOWERED
    if solvent is None or solvent.is_flash_unknown:
        return UNKNOWN
    if solvent.flash_point_c is None:
        return WATER if solvent.is_watery else NO_FLASH
    return (
        f"Burns once it is warm (flash point {solvent.flash_point_c:.0f} °C): no flame, no heater "
        "near it, no alcohol into it. Gloves and glasses on."
    )

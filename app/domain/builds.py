"""Tanks and drums as they are built: what may spark, and what heat or ultrasound does to a bath.

Local codes and the safety data sheet come first. Sources, from memory: a liquid that is heated to
within 30 F (16.7 C) of its flash point is handled as one that flashes lower, 29 CFR
1910.106(a)(19); class IB: flash point below 73 F (22.8 C), boiling point 100 F (37.8 C) or more,
NFPA 30; plastic holds its charge and cannot be bonded: grounded dip pipe, slow filling from the
bottom, small volumes, NFPA 77. The 5 L are the site's own caution, common practice, no source.
"""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.builds import BUILD, TankBuild
from app.domain.solvents.model import Solvent
from app.domain.things import Thing

MARGIN_C = 16.7
CLASS_IB_FLASH_C, CLASS_IB_BOILS_C = 22.8, 37.8
SMALL_L = 5.0
METAL, PLASTIC = "metal", "plastic"
CLAMPS = (
    "Bond before you open the bung: clamp the lead to bare metal of tank and drum, then connect "
    "the earth."
)
NO_BOND = (
    "Plastic cannot be bonded, so use an earthed metal dip pipe that reaches the bottom. Fill "
    "slowly from the bottom, never let it splash, and move small volumes (NFPA 77)."
)


@dataclass(frozen=True)
class TankBuildState:
    """A tank as it was last said to be built.

    Attributes:
        lead: who lets it be used over what catches fire; said of the solvent in it at `said_at`.
    """

    key: str
    material: str = ""
    is_ultrasonic: bool = False
    heated_to_c: float | None = None
    lead: str = ""
    reason: str = ""
    said_at: datetime | None = None


def _after(state: TankBuildState, entry: Entry) -> TankBuildState:
    if not isinstance(entry, TankBuild):
        return state
    return replace(
        state, material=entry.material or "", is_ultrasonic=bool(entry.is_ultrasonic),
        heated_to_c=entry.heated_to_c, lead=entry.lead or "", reason=entry.reason or "",
        said_at=entry.at,
    )  # fmt: skip


BUILD_BOOK = Thing(BUILD, TankBuildState, TankBuildState, _after, version=2)


def hot_words(
    solvent: Solvent | None,
    build: TankBuildState | TankBuild,
    is_lowered: bool = False,
    carried_c: float | None = None,
) -> str:
    """Why heat or ultrasound may set a bath on fire; empty where it does not.

    Args:
        is_lowered: a flammable solvent went into it: its flash point is not that of its solvent.
        carried_c: the flash point that what parts carried into it leaves, where that is known.
    """
    if solvent is None:
        return ""
    own_c = solvent.flash_point_c if not is_lowered else None
    flash_c = own_c if carried_c is None else carried_c
    is_flammable = is_lowered or solvent.is_flammable
    called = "unknown" if flash_c is None else f"{flash_c:.0f} °C"
    if carried_c is not None:
        called = f"about {called}, computed"
    if build.is_ultrasonic and is_flammable:
        return f"ultrasonic, and the flash point of the bath is {called}"
    heat_c = build.heated_to_c
    if heat_c is None:
        return ""
    if is_flammable or (flash_c is not None and heat_c >= flash_c - MARGIN_C):
        return f"heated to {heat_c:g} °C, and the flash point of the bath is {called}"
    return ""


def lights_at_once(
    solvent: Solvent | None, is_lowered: bool = False, carried_c: float | None = None
) -> str:
    """What a liquid is called whose vapour catches fire at room temperature, or may do; else empty.

    Args:
        is_lowered: a flammable solvent went into it: its flash point is not that of its solvent.
        carried_c: the flash point that what came into it leaves, where that is known.
    """
    if carried_c is not None:
        return "a class IB liquid" if carried_c < CLASS_IB_FLASH_C else ""
    if is_lowered or (solvent is not None and solvent.is_flash_unknown):
        return "a liquid whose flash point is not known"
    if solvent is None or solvent.flash_point_c is None:
        return ""
    if solvent.flash_point_c >= CLASS_IB_FLASH_C:
        return ""
    is_ia = solvent.boiling_point_c < CLASS_IB_BOILS_C  # not where nobody has said it
    return f"a class {'IA' if is_ia else 'IB'} liquid"


def bonding(materials: Collection[str], may_burn: bool = True) -> tuple[str, ...]:
    """How charge is led away between things of these materials; empty words are unknown.

    Args:
        may_burn: neither the bath nor what the drum holds is without any flash point.
    """
    if not may_burn:
        return ()
    if PLASTIC in materials:
        return (NO_BOND,)
    if materials and all(one == METAL for one in materials):
        return (CLAMPS,)
    return CLAMPS, NO_BOND


def plastic_words(
    solvent: Solvent | None,
    materials: Collection[str],
    volume_l: float,
    is_lowered: bool = False,
    carried_c: float | None = None,
) -> str:
    """Why so much of a liquid goes through plastic only with a lead's word; empty where it may."""
    called = lights_at_once(solvent, is_lowered, carried_c)
    if PLASTIC not in materials or volume_l <= SMALL_L or not called:
        return ""
    return (
        f"More than {SMALL_L:g} L of {called} through plastic. Plastic cannot be bonded, and a "
        "spark lights the vapour."
    )

"""Waste streams: what may stand in one drum, and why two of them may not.

Statuses are what generators commonly find under 40 CFR 261; the site's own determination and the
contractor's profile decide. Sources: 40 CFR 261.21(a)(1) (ignitable liquid: flash point below
60 C), 261.31 (listed solvents), 261.4(b)(18) (solvent-contaminated wipes); the rest is common
practice without a published source.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.solvents import SOLVENTS

RESIN_DENSITY_G_ML = 1.10  # common practice, no source
BATH_RESIN_PERCENT = 13.5  # mass; 10 % by volume in 2-propanol, where rooms commonly swap
WET_SOLIDS_G_ML = 1.1  # common practice, no source
RAGS_G_ML = 0.3  # common practice, no source


@dataclass(frozen=True)
class Stream:
    """A waste stream.

    Attributes:
        solvents: keys of the wash solvents whose spent bath this stream is.
        takes_from: keys of the baths from which it may come besides: what settles in any of them.
        hazards: what a label says of it.
        apart: why it may not go into the drum of another stream.
        own_g_ml: its density where no solvent of the table gives it.
        may_be_uncounted: a site may find that it does not count towards its category.
        is_liquid: it pours; a density outside a liquid's range is a wrong figure.
    """

    key: str
    name: str
    contents: str
    hazards: tuple[str, ...]
    apart: str
    status: str
    solvents: tuple[str, ...] = ()
    own_g_ml: float | None = None
    may_be_uncounted: bool = False
    is_liquid: bool = True

    @property
    def is_flammable(self) -> bool:
        """Its label says that it catches fire."""
        return any("flammable" in hazard.lower() for hazard in self.hazards)

    def density_g_ml(self, resin_percent: float | None) -> float:
        """Density at 20 C with so much resin in it, mass percent; ideal mixing.

        1/rho = w/rho_resin + (1-w)/rho_solvent. Without a share, that of a bath at its swap is
        taken: heavier than less, so that a month's total errs high.
        """
        if self.own_g_ml is not None or not self.solvents:
            return self.own_g_ml or 1.0
        share = (BATH_RESIN_PERCENT if resin_percent is None else resin_percent) / 100
        solvent = SOLVENTS[self.solvents[0]]
        solvent_g_ml = solvent.density_g_ml(20.0, solvent.usual_purity_percent)
        return 1 / (share / RESIN_DENSITY_G_ML + (1 - share) / solvent_g_ml)


SKIN = "May cause an allergic skin reaction (uncured acrylate resin)"
WATER = "Harmful to aquatic life"
FLAMMABLE = "Ignitable: highly flammable liquid and vapour"
HIGH_FLASH = "not D001 while its flash point is 60 C or more; the state and the contractor decide"
IGNITABLE = "commonly D001 (40 CFR 261.21(a)(1): liquid with a flash point below 60 C)"
_ALL = (
    Stream(
        "isopropanol_resin", "Spent isopropanol with resin",
        "Isopropanol, dissolved acrylate resin",
        (FLAMMABLE, "Irritates the eyes", SKIN),
        "it is a flammable liquid, and makes whatever it is added to flammable too",
        IGNITABLE, ("isopropanol",),
    ),
    Stream(
        "ethanol_resin", "Spent ethanol with resin", "Ethanol, dissolved acrylate resin",
        (FLAMMABLE, "Irritates the eyes", SKIN),
        "it is a flammable liquid with a profile of its own at the contractor",
        IGNITABLE, ("ethanol",),
    ),
    Stream(
        "acetone_resin", "Spent acetone with resin", "Acetone, dissolved acrylate resin",
        (FLAMMABLE, "Irritates the eyes", SKIN),
        "acetone is a listed solvent, and any drum it is added to takes over its waste code",
        "commonly D001 and F003 (40 CFR 261.31)", ("acetone",),
    ),
    Stream(
        "glycol_ether_resin", "Spent glycol ether with resin",
        "Glycol ether (TPM or DPM), dissolved acrylate resin",
        (SKIN, WATER, "Combustible"),
        "a few per cent of a flammable solvent bring its flash point down, so that the whole drum "
        "may become ignitable waste",
        HIGH_FLASH,
        ("tripropylene_glycol_methyl_ether", "dipropylene_glycol_methyl_ether"),
        may_be_uncounted=True,
    ),
    Stream(
        "glycol_ether_with_alcohol", "Glycol ether with alcohol carried in",
        "Glycol ether, alcohol, dissolved acrylate resin",
        ("Ignitable: treat as flammable until a flash test says otherwise", SKIN),
        "its flash point is not known before a test, so it stays in a drum of its own",
        "may be D001: needs a flash test (inference, untested)",
        ("tripropylene_glycol_methyl_ether", "dipropylene_glycol_methyl_ether", "isopropanol",
         "ethanol"),
    ),
    Stream(
        "propylene_carbonate_resin", "Spent propylene carbonate with resin",
        "Propylene carbonate, dissolved acrylate resin", (SKIN, "Irritates the eyes"),
        "a few per cent of a flammable solvent bring its flash point down",
        HIGH_FLASH,
        ("propylene_carbonate",), may_be_uncounted=True,
    ),
    Stream(
        "water_wash", "Spent water-based wash with resin", "Water, cleaner, acrylate resin",
        (SKIN, WATER),
        "water spoils a solvent stream for recovery and solvent makes this one ignitable",
        "commonly not D001; never to the drain without a permit",
        ("water_based",), may_be_uncounted=True,
    ),
    Stream(
        "solids_and_sludge", "Solids and sludge, solvent-wet",
        "Settled resin, filler and supports, wet with solvent",
        (FLAMMABLE, SKIN, WATER),
        "settled resin may go on reacting and heat up, and solids block the contractor's pump",
        "treated as D001 while wet with a flammable solvent",
        own_g_ml=WET_SOLIDS_G_ML, is_liquid=False,
    ),
    Stream(
        "still_bottoms", "Still bottoms", "Concentrated resin from solvent recovery",
        (FLAMMABLE, SKIN, WATER),
        "concentrated resin may polymerise, heat up and burst a closed drum",
        "treated as D001 while wet with a flammable solvent",
        own_g_ml=1.05, is_liquid=False,
    ),
    Stream(
        "wipes", "Solvent-contaminated wipes", "Wipes and towels with solvent, no free liquid",
        (FLAMMABLE, SKIN),
        "wipes are excluded from the rules for liquids only without free liquid in them",
        "excluded under 40 CFR 261.4(b)(18) where the state has adopted it: closed container, "
        "no free liquid, “Excluded Solvent-Contaminated Wipes”",
        own_g_ml=RAGS_G_ML, may_be_uncounted=True, is_liquid=False,
    ),
    Stream(
        "uncured_resin", "Uncured resin", "Liquid acrylate resin", (SKIN, WATER, "Irritates skin"),
        "uncured resin may polymerise, heat up and burst a closed drum",
        "the data sheet and the contractor's profile decide",
        own_g_ml=RESIN_DENSITY_G_ML,
    ),
    Stream(
        "unknown", "Unknown or mixed", "Unknown: to be tested",
        ("Unknown: treat as flammable, harmful and reactive until tested",),
        "nobody knows what it would do together with something else",
        "nothing is added and nothing is shipped before it has been tested",
        own_g_ml=1.0,
    ),
)  # fmt: skip
STREAMS: Mapping[str, Stream] = {stream.key: stream for stream in _ALL}


def stream_of_bath(solvent: str) -> str:
    """The stream that a bath of that solvent becomes when it is drained."""
    return next((key for key, each in STREAMS.items() if solvent in each.solvents), "unknown")


def why_apart(poured: str, held: str) -> str:
    """Why one stream may not go into the drum of another; nothing where it may.

    >>> why_apart("acetone_resin", "acetone_resin")
    ''
    """
    if poured == held:
        return ""
    new, old = STREAMS[poured], STREAMS[held]
    return (
        f"This drum holds “{old.name}”, and what is poured is “{new.name}”. One stream a drum: "
        f"{new.apart}."
    )


def fits_bath(stream: str, solvent: str) -> bool:
    """Whether a bath of that solvent is waste of that stream: a liquid of its own solvent."""
    return STREAMS[stream].is_liquid and solvent in STREAMS[stream].solvents

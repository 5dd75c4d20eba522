"""Waste streams: what may stand in one drum, and why two of them may not.

Statuses are what generators commonly find under 40 CFR 261; the site's own determination and the
contractor's profile decide. Sources: 40 CFR 261.21(a)(1) (ignitable liquid: flash point below
60 C), 261.31 (listed solvents), 261.4(b)(18) (solvent-contaminated wipes); the rest is common
practice without a published source.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import WithOwn, own_solvent, same_own
from app.domain.solvents.waste import FLAMMABLE, NOT_TO_DRAIN, SKIN, WATER

RESIN_DENSITY_G_ML = 1.10  # common practice, no source
BATH_RESIN_PERCENT = 13.5  # mass; 10 % by volume in 2-propanol, where rooms commonly swap
WET_SOLIDS_G_ML = 1.1  # common practice, no source
RAGS_G_ML = 0.3  # common practice, no source


ACRYLATE_CARE = (
    "Stop at the fill limit, so that air stays above the liquid. Keep heat, sun and light away. "
    "What stops resin from reacting works only with oxygen, so a brim-full or warm drum may react "
    "and burst."
)
ACRYLATE_SOURCE = (
    "Becker and Vogel, Chemical Engineering & Technology 29 (2006) 1227 (inhibitor and oxygen in "
    "acrylic acid); from memory"
)


@dataclass(frozen=True)
class Stream:
    """A waste stream.

    Attributes:
        solvents: keys of the wash solvents whose spent bath this stream is, or may go into it.
        takes_from: keys of the baths from which it may come besides: what settles in any of them.
        hazards: what a label says of it.
        apart: why it may not go into the drum of another stream.
        own_g_ml: its density where no solvent of the table gives it.
        may_be_uncounted: a site may find that it does not count towards its category.
        place: on forms, the lowest first.
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
    place: int = 1000

    @property
    def holds_acrylate(self) -> bool:
        """Resin in it may go on reacting."""
        return "acrylate" in self.contents.lower()

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


_OWN = (
    Stream(
        "glycol_ether_with_alcohol", "Glycol ether with alcohol carried in",
        "Glycol ether, alcohol, dissolved acrylate resin",
        ("Ignitable: treat as flammable until a flash test says otherwise", SKIN),
        "its flash point is not known until tested, so it stays in a separate drum",
        "may be D001: needs a flash test (inference, untested)",
        place=50,
    ),
    Stream(
        "carbonate_with_alcohol", "Propylene carbonate with flammable solvent carried in",
        "Propylene carbonate, flammable solvent, dissolved acrylate resin",
        ("Ignitable: treat as flammable until a flash test says otherwise", SKIN),
        "its flash point is not known until tested, so it stays in a separate drum",
        "may be D001: needs a flash test (inference, untested)",
        place=65,
    ),
    Stream(
        "own_with_alcohol", "Solvent of your own with flammable solvent carried in",
        "Slow solvent by its data sheet, flammable solvent, dissolved acrylate resin",
        ("Ignitable: treat as flammable until a flash test says otherwise", SKIN),
        "its flash point is not known until tested, so it stays in a separate drum",
        "may be D001: needs a flash test (inference, untested)",
        own_g_ml=1.0, place=76,
    ),
    Stream(
        "water_with_alcohol", "Water-based wash with alcohol carried in",
        "Water, cleaner, alcohol, acrylate resin",
        ("Ignitable: treat as flammable until a flash test says otherwise", SKIN, WATER,
         NOT_TO_DRAIN),
        "its flash point is not known until tested, so it stays in a separate drum",
        "needs a flash test; not D001 with less than 24 % alcohol by volume and half of it water "
        "(40 CFR 261.21(a)(1)), which other rules do not say",
        place=80,
    ),
    Stream(
        "solids_and_sludge", "Solids and sludge, solvent-wet",
        "Settled resin, filler and supports, wet with solvent",
        (FLAMMABLE, SKIN, WATER),
        "settled resin may go on reacting and heat up, and solids block the contractor's pump",
        "treated as D001 while wet with a flammable solvent",
        own_g_ml=WET_SOLIDS_G_ML, is_liquid=False, place=100,
    ),
    Stream(
        "still_bottoms", "Still bottoms", "Concentrated resin from solvent recovery",
        (FLAMMABLE, SKIN, WATER),
        "concentrated resin may polymerise, heat up and burst a closed drum",
        "treated as D001 while wet with a flammable solvent",
        own_g_ml=1.05, is_liquid=False, place=110,
    ),
    Stream(
        "wipes", "Solvent-contaminated wipes", "Wipes and towels with solvent, no free liquid",
        (FLAMMABLE, SKIN),
        "wipes are only excluded from the rules if they hold no free liquid",
        "excluded under 40 CFR 261.4(b)(18) where the state has adopted it: closed container, "
        "no free liquid, “Excluded Solvent-Contaminated Wipes”",
        own_g_ml=RAGS_G_ML, may_be_uncounted=True, is_liquid=False, place=120,
    ),
    Stream(
        "uncured_resin", "Uncured resin", "Liquid acrylate resin", (SKIN, WATER, "Irritates skin"),
        "uncured resin may polymerise, heat up and burst a closed drum",
        "the data sheet and the contractor's profile decide",
        own_g_ml=RESIN_DENSITY_G_ML, place=130,
    ),
    Stream(
        "unknown", "Unknown or mixed", "Unknown: to be tested",
        ("Unknown: treat as flammable, harmful and reactive until tested",),
        "nobody knows what it would do mixed with something else",
        "nothing is added and nothing is shipped until it has been tested",
        own_g_ml=1.0, place=140,
    ),
)  # fmt: skip


def _all() -> list[Stream]:
    """The streams of spent baths, each with all solvents it is of, and those of anything else."""
    baths = {item.waste.key: item.waste for item in SOLVENTS.values()}
    made = [Stream(**vars(bath)) for bath in baths.values()]
    return [
        replace(stream, solvents=_solvents_of(stream.key))
        for stream in sorted((*made, *_OWN), key=lambda one: one.place)
    ]


def _solvents_of(stream: str) -> tuple[str, ...]:
    """The solvents whose bath may go into a stream; the first, which hardly burns, is its bulk."""
    found = [s for s in SOLVENTS.values() if stream in (s.waste.key, *s.goes_into)]
    return tuple(s.key for s in sorted(found, key=lambda s: s.is_flammable))


class _Streams(WithOwn[Stream]):
    """All streams, and that of the spent bath of each own solvent by the solvent's key."""

    def of_own(self, key: str) -> Stream | None:
        found = own_solvent(key)
        return None if found is None else Stream(**vars(found.waste), solvents=(key,))


STREAMS: Mapping[str, Stream] = _Streams({stream.key: stream for stream in _all()})


UNKNOWN = "unknown"
"""The stream of what nobody knows."""
MIXED = "glycol_ether_with_alcohol"
"""The stream of a slow bath that a flammable solvent came into."""
WATER_MIXED = "water_with_alcohol"
"""The stream of a water-based bath that a flammable solvent came into."""
CARBONATE_MIXED = "carbonate_with_alcohol"
"""The stream of a bath of propylene carbonate that a flammable solvent came into."""
OWN_MIXED = "own_with_alcohol"
"""The stream of a slow bath of the site's own solvent that a flammable one came into."""
ALL_MIXED = (MIXED, WATER_MIXED, CARBONATE_MIXED, OWN_MIXED)
"""Where a mixture belongs."""


def mixed_stream(solvent: str) -> str:
    """The stream of a bath of that solvent once a flammable one came into it; empty for none."""
    return next((key for key in ALL_MIXED if fits_bath(key, solvent)), "")


def stream_of_bath(solvent: str, *, is_mixed: bool = False) -> str:
    """The stream that a bath of that solvent becomes when it is drained; `is_mixed` where a
    flammable solvent came into it."""
    if is_mixed and (mixed := mixed_stream(solvent)):
        return mixed
    return SOLVENTS[solvent].waste.key if solvent in SOLVENTS else "unknown"


def is_ignitable(stream: str, below_c: float | None) -> bool:
    """Whether the solvent of a stream flashes below a bound; one that nobody knows may do."""
    if below_c is None:
        return False
    solvents = [SOLVENTS[key] for key in STREAMS[stream].solvents]
    return any(
        one.is_flash_unknown or (one.flash_point_c is not None and one.flash_point_c < below_c)
        for one in solvents
    )


def why_apart(poured: str, held: str) -> str:
    """Why one stream may not go into the drum of another; nothing where it may.

    >>> why_apart("acetone_resin", "acetone_resin")
    ''
    """
    if poured == held or same_own(poured, held):
        return ""
    new, old = STREAMS[poured], STREAMS[held]
    return (
        f"This drum holds “{old.name}”, but this pour is “{new.name}”. One stream per drum, "
        f"because {new.apart}."
    )


def fits_bath(stream: str, solvent: str) -> bool:
    """Whether a bath of that solvent is waste of that stream: a liquid of its own solvent."""
    if same_own(stream, solvent):
        return True
    if stream == OWN_MIXED:
        own = own_solvent(solvent)
        return own is not None and not own.is_flammable
    return STREAMS[stream].is_liquid and solvent in STREAMS[stream].solvents

"""Flammable liquids in one fire area against the limits that the site has entered."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from app.domain.solvents import SOLVENTS, Solvent
from app.domain.solvents.vapour import Paper
from app.domain.supplies.state import ItemState
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import STREAMS

GHS_TO_C = 93.0  # flash point: UN GHS chapter 2.6
US_GALLON_L = 3.785411784
NEARLY_FULL = 0.95  # of the limit (common practice, no source)
TANKS, SHELF, DRUMS = "tanks", "shelf", "drums"
GUESSED = "its flash point was not measured; taken as category 2"
LOWERED = "a flammable solvent came into it: by its flash point, computed and not tested"
WORST = "the most flammable liquid that may be in it decides"


@dataclass(frozen=True)
class Category:
    """A category of flammable liquid; 29 CFR 1910.106(a)(19), by flash and boiling point."""

    number: int
    words: str


CATEGORIES: Mapping[int, Category] = {
    1: Category(1, "flash below 23 °C, boils at 35 °C or lower"),
    2: Category(2, "flash below 23 °C, boils above 35 °C"),
    3: Category(3, "flash from 23 to 60 °C"),
    4: Category(4, "flash above 60 to 93 °C"),
}


@dataclass(frozen=True)
class Reference:
    """A figure of a rule that sites often meet; shown, never applied of itself."""

    name: str
    litres: float
    applies_to: tuple[int, ...]
    paper: Paper

    @property
    def source(self) -> str:
        """Where it stands and how that was read, in words."""
        return str(self.paper)


OUTSIDE = Paper(
    "29 CFR 1910.106(e)(2)(ii)(b), quoted by OSHA in its letter of 2 December 2003", "read"
)
CABINET = Paper(
    "29 CFR 1910.106(d)(3)(i), quoted by OSHA in its memorandum of 31 August 1995", "read"
)
"""Both quotations name the classes of the time: IA is category 1; IB, IC and II are 2 and 3."""
REFERENCES = (
    Reference("One fire area outside a cabinet or storage room, category 1", 25 * US_GALLON_L,
              (1,), OUTSIDE),
    Reference("One fire area outside a cabinet or storage room, categories 2, 3 and 4, in "
              "containers", 120 * US_GALLON_L, (2, 3, 4),
              OUTSIDE),
    Reference("One storage cabinet, categories 1, 2 and 3", 60 * US_GALLON_L, (1, 2, 3),
              CABINET),
    Reference("One storage cabinet, category 4", 120 * US_GALLON_L, (4,), CABINET),
)  # fmt: skip


def category_of(
    flash_point_c: float | None, boiling_point_c: float, to_c: float = GHS_TO_C
) -> int | None:
    """The category of a liquid, None where it is not a flammable liquid.

    Limits at 73.4, 95, 140 and 199.4 F. Source: 29 CFR 1910.106(a)(19), text read; the first three
    are those of CLP too, which counts nothing that flashes above 60 °C. `to_c` is the bound of the
    site's rules.

    >>> category_of(12.0, 82.2), category_of(74.0, 190.0), category_of(120.0, 242.4)
    (2, 4, None)
    """
    if flash_point_c is None or flash_point_c > to_c:
        return None
    if flash_point_c < 23.0:
        return 1 if boiling_point_c <= 35.0 else 2
    return 3 if flash_point_c <= 60.0 else 4


def category_of_solvent(solvent: Solvent, to_c: float = GHS_TO_C) -> int | None:
    """The category of a wash solvent."""
    if solvent.is_flash_unknown:
        return 2
    return category_of(solvent.flash_point_c, solvent.boiling_point_c, to_c)


@dataclass(frozen=True)
class Stored:
    """Liquid somewhere in the fire area.

    Attributes:
        where: tanks, shelf or drums.
        category: None where it is no flammable liquid.
        remark: why a category was taken that nobody has measured.
        key: of the tank, item or drum.
    """

    where: str
    name: str
    litres: float
    category: int | None
    remark: str = ""
    key: str = ""


@dataclass(frozen=True)
class BathThere:
    """A bath as it stands: of a swap under way what its steps left or filled.

    Attributes:
        flash_c: its flash point where a flammable solvent came over and lowered it.
    """

    key: str
    name: str
    litres: float
    solvent: str
    flash_c: float | None = None

    def category(self, to_c: float) -> int | None:
        """The category of its liquid: of the solvent, or by a flash point that came down."""
        known = SOLVENTS.get(self.solvent)
        if self.flash_c is None or known is None:
            return category_of_key(self.solvent, to_c)
        return category_of(self.flash_c, known.boiling_point_c, to_c)


@dataclass(frozen=True)
class Inventory:
    """All that stands in the fire area, against the site's limit.

    Attributes:
        limit_l: as the site has entered it; None where it has not.
    """

    stored: tuple[Stored, ...]
    limit_l: float | None = None

    def litres(self, category: int | None = None, where: str = "") -> float:
        """Litres of flammable liquid, of one category or place."""
        return sum(
            each.litres
            for each in self.stored
            if each.category is not None
            and category in (None, each.category)
            and where in ("", each.where)
        )

    @property
    def total_l(self) -> float:
        """All flammable liquids, waste among them: it burns as well."""
        return self.litres()

    @property
    def free_l(self) -> float | None:
        """What more may come in; negative where there is too much already."""
        return None if self.limit_l is None else self.limit_l - self.total_l

    @property
    def is_over(self) -> bool:
        """More stands there than the site allows."""
        return self.free_l is not None and self.free_l < 0

    @property
    def is_nearly_full(self) -> bool:
        """At most a twentieth of the limit is free."""
        return (
            self.limit_l is not None and self.limit_l * NEARLY_FULL <= self.total_l <= self.limit_l
        )


def fire_area(
    baths: Iterable[BathThere],
    items: Iterable[ItemState],
    drums: Iterable[DrumState],
    limit_l: float | None,
    to_c: float = GHS_TO_C,
) -> Inventory:
    """All that stands in the fire area: baths, solvent by lot, waste of every drum that is here.

    Whoever names this total takes it from here: storage, plan, orders, what if, receipts. `to_c` is
    the highest flash point that counts by the site's rules.
    """
    found = [
        Stored(
            TANKS, one.name, one.litres, one.category(to_c),
            "" if one.flash_c is None else LOWERED, one.key,
        )
        for one in baths
    ]  # fmt: skip
    for item in items:
        if item.category == "solvent":
            number = category_of_key(item.solvent, to_c)
            found += [
                Stored(SHELF, f"{item.name}, lot {lot.lot}", lot.quantity, number, key=item.key)
                for lot in item.lots
            ]
    for drum in drums:
        if not drum.is_shipped:
            number, remark = category_of_stream(drum.stream, to_c)
            name = drum.name or f"{drum.key} (not set up)"
            found.append(Stored(DRUMS, name, drum.volume_l, number, remark, drum.key))
    return inventory(found, limit_l)


def category_of_key(solvent: str | None, to_c: float = GHS_TO_C) -> int | None:
    """The category of a solvent by its key; one that the table does not have is taken as 2."""
    known = SOLVENTS.get(solvent or "")
    return 2 if known is None else category_of_solvent(known, to_c)


def category_of_stream(key: str, to_c: float = GHS_TO_C) -> tuple[int | None, str]:
    """The category of a waste stream, and why it was taken where nobody has measured it."""
    stream = STREAMS.get(key)
    if stream is None:
        return 2, GUESSED
    if stream.solvents:
        numbers = [category_of_key(solvent, to_c) for solvent in stream.solvents]
        flammable = [number for number in numbers if number is not None]
        if not flammable and stream.is_flammable:
            return 2, GUESSED
        remark = WORST if len(stream.solvents) > 1 else ""
        if any(SOLVENTS[solvent].is_flash_unknown for solvent in stream.solvents):
            remark = GUESSED
        return min(flammable, default=None), remark
    return (2, GUESSED) if stream.is_flammable or key == "unknown" else (None, "")


def inventory(stored: Iterable[Stored], limit_l: float | None) -> Inventory:
    """The liquids that are there, the largest first within each place."""
    there = [each for each in stored if each.litres > 0]
    order = {TANKS: 0, SHELF: 1, DRUMS: 2}
    there.sort(key=lambda each: (order.get(each.where, 3), -each.litres, each.name))
    return Inventory(tuple(there), limit_l)


def fits_in(stored: Inventory, more_l: float) -> str:
    """Why so much more may not come into the fire area; nothing where it may, or no limit is set.

    Asked before a delivery is booked, and before a swap puts full containers beside a full drum.
    """
    if stored.limit_l is None or stored.total_l + more_l <= stored.limit_l:
        return ""
    return (
        f"With {more_l:.0f} L more, {stored.total_l + more_l:.0f} L of flammable liquid would "
        f"stand in the fire area; the site allows {stored.limit_l:.0f} L."
    )

"""What makes two lots the same, however somebody typed or scanned them."""

import hashlib
import unicodedata

PART_LOT, RESIN_LOT, SOLVENT_LOT = "part_lot", "resin_lot", "solvent_lot"
"""What a lot is of, as entries are found by it."""
LONGEST = 64  # characters that an index takes
_DIGEST = 24


def lot_key(lot: str) -> str:
    """By what the entries of a lot are found: case, width and spaces do not matter.

    Two lots that differ in them only are one, so that a recall misses none. One that is too long
    for an index ends with a digest of the whole.

    >>> lot_key("  B-114  a "), lot_key("b-114 A")
    ('b-114 a', 'b-114 a')
    >>> len(lot_key("B" * 200)), lot_key("B" * 200) == lot_key("B" * 199)
    (64, False)
    """
    folded = " ".join(unicodedata.normalize("NFKC", lot).split()).casefold()
    if len(folded) <= LONGEST:
        return folded
    digest = hashlib.sha256(folded.encode()).hexdigest()[:_DIGEST]
    return f"{folded[: LONGEST - _DIGEST - 1]}~{digest}"


def of_lot(what: str, lot: str | None) -> list[tuple[str, str]]:
    """The lot that an entry is found by; none where it names none.

    >>> of_lot(PART_LOT, "B-114"), of_lot(PART_LOT, None)
    ([('part_lot', 'b-114')], [])
    """
    key = lot_key(lot) if lot else ""
    return [(what, key)] if key else []

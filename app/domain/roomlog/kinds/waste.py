"""Waste drums: what is poured into them, where they stand, when they are fetched."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_WASTE: tuple[type[LedgerEntry], ...] = ()

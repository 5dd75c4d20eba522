"""Curing stations: lamps, radiometer readings, cures."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_CURING: tuple[type[LedgerEntry], ...] = ()

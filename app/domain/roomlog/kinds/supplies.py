"""The shelf: items, lots received and used, orders."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_SUPPLIES: tuple[type[LedgerEntry], ...] = ()

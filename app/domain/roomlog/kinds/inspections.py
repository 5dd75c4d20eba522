"""What was seen on the parts of a tank or station, and what followed."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_INSPECTIONS: tuple[type[LedgerEntry], ...] = ()

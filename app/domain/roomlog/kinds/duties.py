"""What has to be done at intervals, and that it was done."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_DUTIES: tuple[type[LedgerEntry], ...] = ()

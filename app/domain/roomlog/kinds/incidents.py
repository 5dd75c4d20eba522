"""What went wrong, and what is kept out of use because of it."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_INCIDENTS: tuple[type[LedgerEntry], ...] = ()

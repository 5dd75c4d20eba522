"""What the site has decided for the room: limits, lead times, people."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_SITE: tuple[type[LedgerEntry], ...] = ()

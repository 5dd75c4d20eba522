"""The days on which swaps are to be done: pinned, moved, put off."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_PLANNING: tuple[type[LedgerEntry], ...] = ()

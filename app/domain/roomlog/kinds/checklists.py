"""The swap as it is done: the template of its steps, each tick, its close."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_CHECKLISTS: tuple[type[LedgerEntry], ...] = ()

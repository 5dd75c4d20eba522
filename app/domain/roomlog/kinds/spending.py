"""Prices, budgets and rates behind what a week costs."""

from app.domain.roomlog.kinds.base import LedgerEntry

KINDS_OF_SPENDING: tuple[type[LedgerEntry], ...] = ()

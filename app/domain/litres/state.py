"""The state of the book of litres, and the desk at which an entry is posted."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from app.domain.checklists.run import SwapState
from app.domain.litres.accounts import (
    EVAPORATED,
    HEEL,
    TANK,
    UNEXPLAINED,
    account,
)
from app.domain.site import SiteState
from app.domain.supplies.state import ItemState

UL = 1_000_000  # microlitres in a litre: sums of whole numbers lose nothing


def ul(litres: float) -> int:
    """Litres in whole microlitres."""
    return round(litres * UL)


@dataclass(frozen=True)
class Posting:
    """Litres that go from one account to another.

    Attributes:
        source, target: names of accounts.
        amount_ul: microlitres, above zero.
        why: the act in words.
    """

    source: str
    target: str
    amount_ul: int
    why: str

    @property
    def litres(self) -> float:
        """Its litres."""
        return self.amount_ul / UL


@dataclass
class LitresState:
    """What stands on each account, and what is needed to post the next act.

    Attributes:
        balances_ul: by account, in microlitres; they add up to zero. Those of nothing are left out.
        capacity_l: of tanks, to the upper mark.
        retired_ul: what stood in a tank as it was taken out of use.
        items: of the shelf, as far as their lots go.
        swaps: those under way, and those that have just ended.
        losses: of the last swaps that ended, by tank, what their close left open: the account it
            went to and microlitres.
    """

    balances_ul: dict[str, int] = field(default_factory=dict)
    capacity_l: dict[str, float] = field(default_factory=dict)
    retired_ul: dict[str, int] = field(default_factory=dict)
    items: dict[str, ItemState] = field(default_factory=dict)
    swaps: dict[str, SwapState] = field(default_factory=dict)
    losses: dict[str, dict[str, tuple[str, int]]] = field(default_factory=dict)
    site: SiteState = field(default_factory=SiteState)

    def litres(self, name: str) -> float:
        """What stands on an account, litres."""
        return self.balances_ul.get(name, 0) / UL

    def level_l(self, tank: str) -> float:
        """What stands in a tank by the acts: its bath, or its heel, litres."""
        return self.litres(account(TANK, tank)) + self.litres(account(HEEL, tank))

    def of_kind(self, kind: str) -> dict[str, float]:
        """The accounts of a kind by their keys, litres."""
        stem = f"{kind}:"
        return {
            name[len(stem) :]: amount / UL
            for name, amount in self.balances_ul.items()
            if name.startswith(stem)
        }


@dataclass
class Desk:
    """An entry being posted: every change of a balance is a posting with two sides."""

    state: LitresState
    postings: list[Posting] = field(default_factory=list)

    def move(self, source: str, target: str, litres: float, why: str) -> None:
        """Post litres from one account to another; below zero the other way round."""
        self.move_ul(source, target, ul(litres), why)

    def move_ul(self, source: str, target: str, amount_ul: int, why: str) -> None:
        """The same in microlitres."""
        if amount_ul < 0:
            source, target, amount_ul = target, source, -amount_ul
        if amount_ul == 0 or source == target:
            return
        self._add(source, -amount_ul)
        self._add(target, amount_ul)
        self.postings.append(Posting(source, target, amount_ul, why))

    def _add(self, name: str, amount_ul: int) -> None:
        balances = self.state.balances_ul
        total = balances.get(name, 0) + amount_ul
        if total:
            balances[name] = total
        else:
            balances.pop(name, None)

    def level_ul(self, tank: str) -> int:
        """What stands in a tank, microlitres."""
        balances = self.state.balances_ul
        return balances.get(account(TANK, tank), 0) + balances.get(account(HEEL, tank), 0)

    def set_level(
        self, tank: str, litres: float, counter: str, why: str, *, is_heel: bool = False
    ) -> None:
        """Let so much stand in a tank, as its bath or as its heel; the rest goes to or comes from
        the counter account."""
        bath, heel = account(TANK, tank), account(HEEL, tank)
        own, other = (heel, bath) if is_heel else (bath, heel)
        self.move_ul(other, own, self.state.balances_ul.get(other, 0), why)
        there_ul = self.state.balances_ul.get(own, 0)
        self.move_ul(own, counter, there_ul - ul(max(0.0, litres)), why)

    def seen(self, tank: str, litres: float, why: str) -> None:
        """A level was seen: what is missing has evaporated or went out with parts; more than the
        acts left in is not explained by any."""
        is_less = ul(litres) <= self.level_ul(tank)
        counter = account(EVAPORATED, tank) if is_less else account(UNEXPLAINED, f"level|{tank}")
        self.set_level(tank, litres, counter, why)

    def take(self, source: str, target: str, litres: float, beyond: str, why: str) -> None:
        """Post litres from an account that holds no less than nothing; what it does not have comes
        from `beyond`."""
        there_ul, wanted_ul = max(0, self.state.balances_ul.get(source, 0)), ul(litres)
        self.move_ul(source, target, min(there_ul, wanted_ul), why)
        self.move_ul(beyond, target, max(0, wanted_ul - there_ul), why)

    def lots(
        self, item: str, before: dict[str, float], after: dict[str, float], counter: str, why: str
    ) -> int:
        """Post what became of the lots of an item; what they got in all, microlitres."""
        total = 0
        for lot in _either(before, after):
            change = ul(after.get(lot, 0.0)) - ul(before.get(lot, 0.0))
            self.move_ul(counter, account("lot", f"{item}|{lot}"), change, why)
            total += change
        return total


def _either(before: Iterable[str], after: Iterable[str]) -> list[str]:
    return list(dict.fromkeys((*before, *after)))

"""The balance of a swap as its page shows it: each tank's litres, and sums that add up as shown."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.domain.checklists.closing import Reconciliation
from app.domain.checklists.litres import Balance
from app.domain.checklists.run import SwapState
from app.store.tables import RoomRow
from app.units import label, to_display
from app.web.filters import units_of

PLACES = Decimal("0.01")


@dataclass(frozen=True)
class Line:
    """A line of an account. `sign`: + and - lead to what =, the sum of its account, says."""

    sign: str
    label: str
    text: str


@dataclass(frozen=True)
class Account:
    """An account that closes: what is added, taken, and the sum of both as shown."""

    title: str
    lines: tuple[Line, ...]


Parts = Sequence[tuple[str, str, float]]


def accounts_of(
    state: SwapState, balance: Balance, names: dict[str, str], room: RoomRow,
    found: Reconciliation | None = None,
) -> list[Account]:  # fmt: skip
    """Where each litre of a swap went, account by account.

    Args:
        names: of tanks, by key.
        found: of a swap that is not closed yet: what is seen and what is assumed.
    """
    shown = _Shown(room)
    tank, clean = names.get(state.tank, state.tank), state.from_tank
    seen = "" if found is None or found.heel_is_seen else " (assumed)"
    accounts = [
        shown.account(
            f"Bath of {tank}",
            [
                ("", "Estimated before", balance.estimated_l),
                ("-", "Drained into the drum", balance.drained_l),
                ("-", f"Left in the tank{seen}", balance.heel_l),
            ],
            LOSS,
        )
    ]
    left_l, into, made = balance.heel_l, state.tank, balance.filled_l
    if clean is not None:
        left_l, into = _clean_heel_l(state, balance), clean
        clean_name, moved_l = names.get(clean, clean), balance.moved_l or 0.0
        not_seen = "" if found is None or found.clean_heel_is_seen else " (assumed)"
        accounts += [
            shown.account(
                f"Bath of {clean_name}",
                [
                    ("", "Estimated before", state.from_estimated_l or 0.0),
                    ("-", f"Moved into {tank}", moved_l),
                    ("-", f"Left in the tank{not_seen}", left_l),
                ],
                LOSS,
            ),
            shown.account(
                f"New bath of {tank}",
                [("", "Left in the tank", balance.heel_l), ("+", f"From {clean_name}", moved_l)],
                SUM,
            ),
        ]
    new: list[tuple[str, str, float]] = [
        ("", "Left in the tank", left_l), ("+", "Fresh solvent", made),
    ]  # fmt: skip
    if found is not None and (gone_l := left_l + made - found.after_l) > LEAST_L:
        new.append(("-", "Gone since it was filled", gone_l))
    drum = [("", "Bath", balance.drained_l), ("+", "Rinse", balance.rinsed_l)]
    return [
        *accounts,
        shown.account(f"New bath of {names.get(into, into)}", new, SUM),
        shown.account("Into the drum", drum, ("In the drum", "In the drum")),
    ]


LEAST_L = 0.005
LOSS = ("Loss: evaporated, dragged out or spilled", "More than estimated")
SUM = ("In the tank now", "In the tank now")


def _clean_heel_l(state: SwapState, balance: Balance) -> float:
    """What the clean bath's tank kept: what its loss and all else leave over."""
    dirty_l = balance.estimated_l - balance.drained_l - balance.heel_l
    rest_l = (state.from_estimated_l or 0.0) - (balance.moved_l or 0.0)
    return dirty_l + rest_l - balance.loss_l


@dataclass(frozen=True)
class _Shown:
    """Volumes of a room as they are shown, each rounded once; sums are those of what is shown."""

    room: RoomRow

    def account(self, title: str, parts: Parts, sums: tuple[str, str]) -> Account:
        lines, total = [], Decimal(0)
        for sign, what, litres in parts:
            value = self._rounded(litres)
            total += -value if sign == "-" else value
            lines.append(Line(sign, what, self._text(value)))
        words = sums[1] if total < 0 else sums[0]
        return Account(title, (*lines, Line("=", words, self._text(abs(total)))))

    def _rounded(self, litres: float) -> Decimal:
        value = to_display(litres, "volume", units_of(self.room))
        return Decimal(repr(value)).quantize(PLACES)

    def _text(self, value: Decimal) -> str:
        return f"{value} {label('volume', units_of(self.room))}"

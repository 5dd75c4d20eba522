"""The accounts of the book of litres: where a litre can be, and where it can come from or go."""

from collections.abc import Mapping
from dataclasses import dataclass

TANK, HEEL, LOT, DRUM = "tank", "heel", "lot", "drum"
FRESH, DRAWN, RINSE = "fresh", "drawn", "rinse"
WIPES, SPILLED, EVAPORATED, UNEXPLAINED = "wipes", "spilled", "evaporated", "unexplained"
OUTSIDE = "outside"


@dataclass(frozen=True)
class AccountKind:
    """A kind of account.

    Attributes:
        words: its name on pages.
        about: what it holds.
        stands: its litres stand in the room, and pages name them.
    """

    words: str
    about: str
    stands: bool = False


KINDS: Mapping[str, AccountKind] = {
    TANK: AccountKind("Bath", "what a tank holds by entries", stands=True),
    HEEL: AccountKind("Heel", "old bath left in a drained tank", stands=True),
    LOT: AccountKind("Shelf lot", "fresh solvent on the shelf", stands=True),
    DRUM: AccountKind("Drum", "waste still here", stands=True),
    FRESH: AccountKind("Off the shelf", "taken from a lot but not yet filled or used"),
    DRAWN: AccountKind("Drawn off", "out of a bath but not yet in a drum"),
    RINSE: AccountKind("Rinse", "through an empty tank but not yet in a drum"),
    WIPES: AccountKind("Wipes and bottles", "used by hand, ends up in wipes"),
    SPILLED: AccountKind("Spilled", "lost in incidents, less what was soaked up"),
    EVAPORATED: AccountKind("Evaporated or dragged out", "missing when the level was next read"),
    UNEXPLAINED: AccountKind("Unexplained", "not explained by any entry"),
    OUTSIDE: AccountKind("Outside", "delivered, set up, collected, thrown away"),
}

DELIVERED, SET_UP, FETCHED = f"{OUTSIDE}:delivered", f"{OUTSIDE}:set_up", f"{OUTSIDE}:fetched"
SCRAPPED, RETIRED = f"{OUTSIDE}:scrapped", f"{OUTSIDE}:retired"
UNBOOKED, ELSEWHERE = f"{OUTSIDE}:unbooked", f"{OUTSIDE}:elsewhere"
OUTSIDE_WORDS: Mapping[str, str] = {
    "delivered": "delivered", "set_up": "there at set-up", "fetched": "collected",
    "scrapped": "thrown away unused", "retired": "taken out of use",
    "unbooked": "filled from no lot on the shelf", "elsewhere": "poured from no tank in the room",
}  # fmt: skip
UNEXPLAINED_WORDS: Mapping[str, str] = {
    "level": "more seen than entries left in",
    "swap": "left open by swaps of",
    "drawn": "drained but in no drum, from",
    "fresh": "off the shelf but not filled into",
    "owed": "more used than the shelf had of",
    "counted": "counted differently from the books, of",
    "moved": "more moved than it held, from drum",
}
"""What is unexplained, by the first word of its key; the rest of the key says of what."""
UNEXPLAINED_BELOW: Mapping[str, str] = {"drawn": "in drums but not drained from a bath, from"}
"""The same where it is less than nothing, as far as that is another thing."""


def account(kind: str, key: str = "") -> str:
    """The name of an account.

    >>> account(TANK, "t1")
    'tank:t1'
    """
    return f"{kind}:{key}"


def kind_of(name: str) -> str:
    """The kind of an account."""
    return name.partition(":")[0]


def key_of(name: str) -> str:
    """What an account is of: a tank, a drum, an item and its lot."""
    return name.partition(":")[2]

"""Rates, other costs and what-if cases: what may be said, checked where it is said.

And what the room pays now: for solvent, disposal and labour.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import fmean

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.money import digits_of
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.spending import PRICES, WHAT_IF, PriceList
from app.domain.roomlog.kinds.waste import DRUM
from app.domain.spend.price_book import NAMES, CaseState, PricesState
from app.domain.spend.weeks import IsoWeek
from app.domain.spend.whatif.backtest import FEW_SWAPS
from app.domain.spend.whatif.cases import PricesNow
from app.services.entries import counting_of_kind
from app.services.spend.weekly_costs import Spend
from app.store.site import site
from app.store.spend.reads import bought_since, disposed, swap_minutes_since
from app.store.tables import RoomRow
from app.store.things import thing, things

AMOUNTS = {
    kind: names
    for kind, each in KINDS.items()
    if (names := [name for name, spec in each.specs().items() if spec.type == "money"])
}
"""The fields of money of each kind of entry that has some."""

YEAR = timedelta(days=365)
USUAL_DRUM_L = 180.0


def prices_of(session: Session, room_id: int) -> PricesState:
    """The room's rates."""
    return thing(session, room_id, PRICES, PRICES) or PricesState()


@dataclass(frozen=True)
class Change:
    """An entry of rates: since when, by whom, and each rate that it changed, before and after."""

    at: datetime
    entry: str
    by: str
    rates: tuple[tuple[str, float | None, float | None], ...]


def changes_of(session: Session, room_id: int) -> list[Change]:
    """How the rates came to be what they are, the newest first."""
    found: list[Change] = []
    known: dict[str, float | None] = dict.fromkeys(NAMES)
    currency = prices_of(session, room_id).currency
    for entry in counting_of_kind(session, room_id, PriceList.kind):
        assert isinstance(entry, PriceList)
        if entry.currency and entry.currency != currency:
            continue  # the books refused it
        given = {
            name: value or None for name in NAMES if (value := getattr(entry, name)) is not None
        }
        changed = tuple(
            (name, known[name], value) for name, value in given.items() if value != known[name]
        )
        known |= given
        if changed:
            found.append(Change(entry.at, entry.id or "", entry.by, changed))
    return found[::-1]


def cases_of(session: Session, room_id: int) -> dict[str, CaseState]:
    """The kept what-if cases by key, the latest last."""
    return things(session, room_id, WHAT_IF, only_open=True)


def currency_problems(
    session: Session, room: RoomRow, entry: PriceList, _: datetime
) -> list[FieldError]:
    """Why the room's currency does not become that of a price list: no amount is converted."""
    assert room.id is not None
    before = room.currency
    after = prices_of(session, room.id).currency or entry.currency or ""
    if entry.currency and after != entry.currency:
        return [FieldError("currency", _counts_in(after))]
    if after == before or not has_amounts(session, room.id, {entry.corrects}):
        return []
    if before:
        return [FieldError("currency", _counts_in(before))]
    if digits_of(after) == digits_of(before):
        return []
    digits = {0: "no decimals", 3: "three decimals", 4: "four decimals"}[digits_of(after)]
    message = (
        f"{after} has {digits}, but this room has amounts entered without a currency, with two. "
        "They would be misread. Take them back first, or set up another room."
    )
    return [FieldError("currency", message)]


def _counts_in(currency: str) -> str:
    return (
        f"This room uses {currency}, and amounts are not converted. For another currency, set up "
        "another room."
    )


def has_amounts(session: Session, room_id: int, but: Collection[str] = ()) -> bool:
    """Whether an entry that counts, but for some, says an amount."""
    found = counting_of_kind(session, room_id, *AMOUNTS)
    return any(
        getattr(entry, name) is not None
        for entry in found if entry.id not in but for name in AMOUNTS[entry.kind]
    )  # fmt: skip


def prices_now(
    session: Session, room_id: int, spend: Spend, solvents: Iterable[str], now: datetime
) -> PricesNow:
    """The prices in force for these solvents; what is not known is named."""
    rates, place = spend.prices.at(now), site(session, room_id)
    per_l = _solvent_prices(session, room_id, now)
    fallback = rates.solvent_cents_per_l
    missing = set(solvents) - set(per_l)
    if fallback is not None:
        per_l |= dict.fromkeys(missing, float(fallback))
    per_kg = float(rates.disposal_cents_per_kg or 0)
    if rates.disposal_cents_per_kg is None and rates.disposal_cents_per_drum is None:
        per_kg = _disposal_per_kg(session, room_id)
    unknown = [
        word
        for word, is_missing in (
            ("price of solvent", fallback is None and bool(missing)),
            ("price of disposal", not per_kg and not rates.disposal_cents_per_drum),
            ("rate of labour", rates.labour_cents_per_hour is None),
        )
        if is_missing
    ]
    return PricesNow(
        solvent_cents_per_l=per_l, container_l=_container_l(spend),
        disposal_cents_per_drum=float(rates.disposal_cents_per_drum or 0),
        disposal_cents_per_kg=per_kg, drum_l=_drum_l(session, room_id),
        labour_cents_per_hour=float(rates.labour_cents_per_hour or 0),
        swap_minutes=_swap_minutes(session, room_id, now, place.swap_minutes),
        rinse_percent=place.rinse_percent,
        squirt_l=place.squirt_bottle_l, unknown=tuple(unknown), currency=spend.prices.currency,
    )  # fmt: skip


def _swap_minutes(session: Session, room_id: int, now: datetime, usual: float) -> float:
    """The mean of what the last year's swaps were charged; with few, what one usually takes."""
    charged = swap_minutes_since(session, room_id, now - YEAR)
    return fmean(charged) if len(charged) >= FEW_SWAPS else usual


def _solvent_prices(session: Session, room_id: int, now: datetime) -> dict[str, float]:
    """Cents of a litre of each solvent: what was paid in the last year, by litres."""
    since = now - YEAR
    week = IsoWeek.of(since.date()).plus(-1)  # a day to either side, whatever the time zone
    sums = bought_since(session, room_id, week.count, since)
    return {solvent: cents / litres for solvent, cents, litres in sums if litres}


def _container_l(spend: Spend) -> float:
    """The size of container that solvents are mostly bought in."""
    sizes = [
        item.state.container_sizes[0]
        for item in spend.shelf.values()
        if item.state and item.state.category == "solvent" and item.state.container_sizes
    ]
    return max(set(sizes), key=sizes.count) if sizes else 0.0


def _drum_l(session: Session, room_id: int) -> float:
    """How far a drum is filled: the mean of those in use, else of all there ever were."""
    for only_open in (True, False):
        drums = things(session, room_id, DRUM, only_open=only_open).values()
        if limits := [drum.fill_limit_l for drum in drums if drum.capacity_l]:
            return fmean(limits)
    return USUAL_DRUM_L


def _disposal_per_kg(session: Session, room_id: int) -> float:
    """What past pickups cost for a kilogram poured into their drums; 0 without any."""
    cents, kg = disposed(session, room_id)
    return cents / kg if kg else 0.0

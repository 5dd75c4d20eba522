"""The room's own reject rate by saturation: what should set its limits."""

from dataclasses import dataclass
from datetime import timedelta

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.baths.reject_limit import Advice, Trial
from app.domain.baths.rejects import BAND_PERCENT, FEWEST_REJECTS, FEWEST_WASHES, reject_rate
from app.services.spend.price_book import prices_of
from app.services.spend.reject_limit import LimitAdvice, limit_advice
from app.store.queries import TankView, reject_counts
from app.web.deps import Visit, VisitDep
from app.web.filters import percent
from app.web.money import Money, money_of
from app.web.render import wants_fragment

router = APIRouter(prefix="/rooms/{room}/rejects")
PRICE_FIRST = "Enter the cost of a reject to see which limit costs least"
HIGHER = (
    "A fuller bath leaves more uncured resin on every part. Keep gloves on until parts are "
    "cured, and change one bath first."
)
SPANS = {"91": "13 weeks", "182": "26 weeks", "364": "52 weeks"}


@dataclass(frozen=True)
class LimitWords:
    """What is said of the limit, what it rests on, and whether the price of a reject is missing."""

    verdict: str
    lines: tuple[str, ...]
    asks_price: bool = False


@router.get("")
def rejects_page(visit: VisitDep, days: str = "182") -> Response:
    """Reject rate by band, with its interval and what can be said of it."""
    span = days if days in SPANS else "182"
    since = visit.now - timedelta(days=int(span))
    rate = reject_rate(*reject_counts(visit.session, visit.room_id, since, BAND_PERCENT))
    context = {
        "rate": rate,
        "highest": max((band.high_rate for band in rate.bands if band.washes), default=1.0),
        "days": span,
        "spans": SPANS,
        "fewest_washes": FEWEST_WASHES,
        "fewest_rejects": FEWEST_REJECTS,
    }
    if visit.request.query_params.get("part") == "limit":
        context |= {"limit": limit_words(visit)}
        is_part = wants_fragment(visit.request)
        if is_part:
            return visit.fragment("tanks/rejects.html", "limit", context)
    return visit.page("tanks/rejects.html", context)


def limit_words(visit: Visit) -> LimitWords:
    """What rejects and money say of the limit."""
    found = limit_advice(visit.session, visit.room, visit.now)
    advice = found.advice
    if advice is None:
        return LimitWords(PRICE_FIRST if found.missing == "price" else found.missing, (),
                          found.missing == "price")  # fmt: skip
    money = money_of(prices_of(visit.session, visit.room_id))
    lines = [_basis(advice, found)]
    if advice.verdict == "change" and advice.best_percent > advice.limit_percent:
        lines.append(HIGHER)
    if advice.trial is not None and found.on_trial is not None:
        lines.append(_trial(advice.trial, advice.limit_percent, found.on_trial))
    return LimitWords(said_of(advice, money), tuple(lines))


def said_of(advice: Advice, money: Money) -> str:
    """The verdict in a sentence."""
    now, best = percent(advice.limit_percent), percent(advice.best_percent)
    if advice.verdict == "change":
        low, high = (money(round(cents / 12)) for cents in (advice.low_cents, advice.high_cents))
        saves = money(round(advice.saves_cents / 12))
        return f"Swap at {best} instead of {now}: saves {saves} a month, likely {low} to {high}"
    if advice.verdict == "keep":
        return f"Keep the limit of {now}. No other is likely to save money"
    if advice.more_rejects is None:
        return "Too early to tell: too few rejects logged"
    count = advice.more_rejects
    return f"Too early to tell: wait for about another {count} reject{'' if count == 1 else 's'}"


def _basis(advice: Advice, found: LimitAdvice) -> str:
    names = ", ".join(view.name for view in found.tanks)
    return (
        f"From {advice.rejects:.0f} rejects in {advice.washes:.0f} washes of the last year in "
        f"{names}, the price of a reject and the yearly cost from “What if”. Chance that rejects "
        f"rise with resin in the bath at all: {100 * advice.rise_chance:.0f} %."
    )


def _trial(trial: Trial, limit_percent: float, tank: TankView) -> str:
    return (
        f"To find out whether a higher limit pays, let {tank.name} run on to "
        f"{percent(trial.until_percent)} until about {trial.washes} washes fall between "
        f"{percent(limit_percent)} and that. Log each reject. Washing stops at "
        f"{percent(tank.stop_percent)} as always."
    )

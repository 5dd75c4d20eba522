"""The week in words: what it cost, against what, and why."""

from collections.abc import Mapping, Sequence

from app.domain.spend import weekly_costs as verdicts
from app.domain.spend.cost_lines import CATEGORY_WORDS
from app.domain.spend.weekly_costs import Driver
from app.services.spend.weekly_costs import Week
from app.web.money import Money

PROBLEM_WORDS = {
    "spill": "spilled", "leak": "leaked", "wrong_solvent": "spoiled by another solvent",
}  # fmt: skip
MOST_DRIVERS = 3


def headline(read: Week, money: Money) -> str:
    """One sentence with the number, against the budget and the usual week."""
    if read.share <= 0 and not read.lines:
        return f"Week {read.week} has not begun."
    if not read.lines:
        so_far = "" if read.is_over else " so far"
        return f"Nothing was charged to week {read.week}{so_far}."
    amount = money(read.cents)
    costs = f"cost {amount}," if read.is_over else f"has cost {amount} so far:"
    text = f"Week {read.week} {costs}"
    parts = [part for part in (_budget(read, money), _usual(read, money)) if part]
    return f"{text} {' and '.join(parts)}." if parts else f"{text[:-1]}."


def _budget(read: Week, money: Money) -> str:
    found = read.verdict
    if found is None:
        return ""
    amount = money(found.cents)
    return {
        verdicts.OVER: f"{amount} over the budget",
        verdicts.UNDER: f"{amount} under the budget" if found.cents else "exactly the budget",
        verdicts.AHEAD: f"{amount} more than the budget to date ({money(found.to_date_cents)})",
        verdicts.SO_FAR: f"{amount} of the budget is left",
    }[found.kind]


def _usual(read: Week, money: Money) -> str:
    why = read.why
    if why is None:
        return ""
    by_now = "" if read.is_over else " by now"
    if not why.change_cents:
        return f"as usual{by_now}"
    side = "more" if why.change_cents > 0 else "less"
    return f"{money(abs(why.change_cents))} {side} than usual{by_now}"


def because(read: Week, money: Money, tanks: Mapping[str, str]) -> str:
    """The main drivers of the difference, all with its sign; most of the costs without one."""
    why = read.why
    if not read.lines:
        return ""
    if why is None:
        name = max(read.by_category, key=lambda key: read.by_category[key])
        return f"Most of it: {cause_words(name)}, {money(read.by_category[name])}."
    said = [driver_words(one, money, tanks) for one in why.main()]
    text = f"Mainly {' and '.join(said)}. " if said else ""
    names = ", ".join(tanks.get(tank, tank) for tank in why.swapped) or "none"
    by_now = "" if read.is_over else " by then"
    return f"{text}Swapped: {names} (usually {why.usual_swaps:.1f} a week{by_now})."


def cause_words(category: str) -> str:
    """A cause within a sentence."""
    return "other costs" if category == "other" else CATEGORY_WORDS[category].lower()


def driver_words(one: Driver, money: Money, tanks: Mapping[str, str]) -> str:
    """A driver with its sign, its amount, and where most of it comes from."""
    side = "more" if one.change_cents > 0 else "less"
    text = f"{money(abs(one.change_cents))} {side} {cause_words(one.category)}"
    names = " and ".join(tanks.get(tank, tank) for tank, _ in one.tanks)
    return f"{text} ({names})" if names else text


def driver_rows(read: Week) -> list[tuple[str, str, Sequence[tuple[str, int]], int]]:
    """From the usual week to this one: category, words, tanks and change; changes add up."""
    if read.why is None:
        return []
    shown, rest = read.why.drivers[:MOST_DRIVERS], read.why.drivers[MOST_DRIVERS:]
    if len(rest) == 1:
        shown, rest = read.why.drivers, ()
    rows: list[tuple[str, str, Sequence[tuple[str, int]], int]] = []
    for one in shown:
        side = "More" if one.change_cents > 0 else "Less"
        words = f"{side} {cause_words(one.category)}"
        rows.append((one.category, words, one.tanks, one.change_cents))
    if rest:
        rows.append(("", "Everything else", (), sum(one.change_cents for one in rest)))
    return rows


def ending_words(cents: float, budget_cents: int | None, money: Money) -> str:
    """How a week that is running should end, against its budget; without the stop at the end."""
    text = f"should end at about {money.about(cents)}"
    if not budget_cents:
        return text
    over_cents = cents - budget_cents
    if 2 * over_cents >= money.per_unit:
        return f"{text}, about {money.about(over_cents)} over the budget"
    return f"{text}, within the budget of {money.about(budget_cents)}"


def quality_words(read: Week) -> list[tuple[str, str]]:
    """What stands beside the cost: name and figure."""
    found, bad = read.quality, read.quality.rejects
    rows = [("Washes past the limit", f"{found.late} of {found.washes}")]
    times = f" in {bad.entries} entries" if bad.entries > 1 else ""
    rows.append(("Parts rejected", f"{bad.parts}{times}"))
    if bad.entries:
        rows += [
            ("of these tacky", str(bad.tacky)), ("washed again", str(bad.washed_again)),
            ("scrapped", str(bad.scrapped)),
        ]  # fmt: skip
    return rows

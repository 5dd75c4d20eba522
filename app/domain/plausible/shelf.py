"""What figures of the shelf are held against."""

from collections.abc import Callable, Mapping

from app.domain.plausible.rules import Before, Case, Of, Others, Rule, Told, Usual, Was

MORE, LESS, NEAR_COUNT = 1.5, 1 / 3, 3.0  # of the books; more is used unlogged than comes unlogged
KEEPS_DAYS, NEAR, MONTHS_DAYS = (
    (180, 270, 365, 455, 545, 730, 910, 1095, 1460, 1825, 2190, 2555, 2920), 0.02, 130.0,
)  # fmt: skip
"""Shelf lives that labels give, how near is near, and below which any is usual."""
DEAR, CHEAP = 2.4, 1 / 2.4  # times the price paid last; common practice, no source


def _price(case: Case) -> str:
    """The price of one unit beside what was paid before."""
    known, quantity = case.fact("unit_price_cents"), getattr(case.entry, "quantity", 0)
    if not known or not quantity or not case.value:
        return ""
    if CHEAP <= case.value / quantity / known <= DEAR:
        return ""
    each, usual = case.said(case.value / quantity), case.said(known)
    return f"{case.label}: that is {each} for one; it was {usual} before."


def _containers(case: Case) -> str:
    """How much each container would hold."""
    sizes = [case.known.facts[name] for name in ("size_least", "size_most")
             if name in case.known.facts]  # fmt: skip
    if not sizes or not case.value:
        return ""
    each = case.entry.quantity / case.value
    if min(sizes) / 1.5 <= each <= max(sizes) * 1.5:
        return ""
    return f"{case.label}: {case.value} containers would hold {each:.3g} each. Is that right?"


def is_far_count(counted: float, books: float) -> bool:
    """Whether a count is far from the books: half as much more, or a third of them."""
    return counted > MORE * books + NEAR_COUNT or counted < LESS * books - NEAR_COUNT


def _counted(case: Case) -> str:
    books = case.fact("on_hand")
    if books is None or not is_far_count(case.value, books):
        return ""
    return f"The books have {case.said(max(0.0, books))}; this counts {case.said()}."


def _sizes(case: Case) -> str:
    most, least = max(case.value), min(case.value)
    if most > 1000 or least < 0.05:
        return f"{case.label}: {most if most > 1000 else least:g} is not a usual container."
    was = [case.known.facts[name] for name in ("size_least", "size_most")
           if name in case.known.facts]  # fmt: skip
    if was and not (min(was) / 4 <= least and most <= max(was) * 4):
        return f"{case.label}: until now {min(was):g} to {max(was):g}; this says {most:g}."
    beside = case.known.others.get("container_sizes", ())
    if beside and case.entry.kind == "item" and (most > max(beside) * 3 or least < min(beside) / 3):
        return f"{case.label}: others here come in {min(beside):g} to {max(beside):g}."
    return ""


def _containers_of(low: float, high: float) -> Callable[[Case], str]:
    """Between so many of its smallest containers and so many of its largest."""

    def look(case: Case) -> str:
        least, most = case.fact("size_least"), case.fact("size_most")
        if least is None or most is None or low * least <= case.value <= high * most:
            return ""
        return f"{case.label}: {case.said()}, and a container holds {case.said(most)}."

    return look


def _share_of_value(case: Case) -> str:
    """Settings of how much is kept: beside what lies there and what one delivery brings."""
    on_hand, usual = case.fact("on_hand") or 0.0, case.fact("delivery")
    most = 12 * max(on_hand, usual or 0.0, case.fact("size_most") or 0.0)
    if most <= 0 or case.value <= max(most, 5.0):
        return ""
    return f"{case.label}: {case.said()} is far more than has ever been here."


def _keeps(case: Case) -> str:
    """Makers give months, or half years and years."""
    if case.value < MONTHS_DAYS or any(abs(case.value - one) <= NEAR * one for one in KEEPS_DAYS):
        return ""
    return f"{case.label}: {case.said()} is not a number of quarters or years. Is that right?"


_SETTINGS: Mapping[str, tuple[Rule, ...]] = {
    "purity_volume_percent": (Usual(50, 100),),
    "container_sizes": (Told(_sizes),),
    "list_price_cents": (Was(1.9), Of("unit_price_cents", CHEAP, DEAR,
        "Price per unit: {value}. The last one cost {fact}."), Of("kin_price_cents", 1 / 6, 6,
        "Price per unit: {value}. Others of its category cost about {fact}."),
        Usual(5, 60_000)),
    "order_cost_cents": (Was(2.3), Others(2.5), Usual(200, 40_000)),
    "holding_percent": (Usual(3, 40), Was(3)),
    "lead_days": (Usual(0.9, 60), Was(5), Others(5)),
    "lead_sd_days": (Was(5), Of("lead_days", 0.05, 0.65,
        "Delivery varies by {value}, and takes {fact}."), Usual(0, 30)),
    "service_percent": (Usual(75, 99.9),),
    "order_minimum": (Was(4), Told(_containers_of(0.9, 4)), Told(_share_of_value)),
    "max_on_shelf": (Was(2.5), Told(_containers_of(0.9, 40)), Told(_share_of_value),
        Of("on_hand", 0.5, 1e9,
        "Most that may be kept: {value}, and {fact} are there now.")),
    "shelf_life_days": (Usual(60, 3000), Was(2.5), Told(_keeps)),
    "opened_life_days": (Usual(25, 1500), Was(4), Of("shelf_life_days", 0, 1,
        "Shelf life once opened: {value}, longer than the {fact} unopened.")),
    "used_per_swap": (Was(4), Usual(0.5, 60)),
    "reorder_at": (Was(4), Of("max_on_shelf", 0, 0.65,
        "Order when {value} are left, and {fact} at most are kept."),
        Told(_containers_of(0.25, 8)), Told(_share_of_value), Of("used_per_swap", 1, 1e9,
        "Order when {value} are left, and one swap uses {fact}."), Of("delivery", 0.08, 1e9,
        "Order when {value} are left, and a delivery brings {fact}.")),
    "purity_percent": (Of("usual_purity_percent", 0.65, 1.2,
        "Purity: {value}. This solvent is usually of {fact}."), Usual(50, 100)),
}  # fmt: skip
TABLE: Mapping[tuple[str, str], tuple[Rule, ...]] = {
    **{(kind, name): rules for kind in ("item", "item_changed") for name, rules in
       _SETTINGS.items()},
    ("stock_received", "quantity"): (Of("outstanding", 0.12, 1e9,
        "Received: {value}, and {fact} were on order."), Before(factor=5),
        Of("size_least", 0.9, 1e9, "Received: {value}, less than a container of {fact}.")),
    ("stock_received", "containers"): (Told(_containers), Usual(1, 500)),
    ("stock_received", "price_cents"): (Told(_price), Usual(50, 3_000_000)),
    ("stock_used", "quantity"): (Of("capacity_l", 0, 1.5,
        "Taken: {value}, and the tank holds {fact}."), Before(factor=5)),
    ("stock_counted", "quantity"): (Told(_counted),),
    ("stock_counted", "expected"): (Of("on_hand", 0.999, 1.001,
        "In the books: {value}, and the books have {fact}.", near=1.0),),
    ("stock_scrapped", "quantity"): (Of("on_hand", 0, 1.0,
        "Thrown away: {value}, and {fact} are there."), Before(factor=10)),
    ("order_placed", "quantity"): (Before(factor=5), Of("size_least", 0.9, 1e9,
        "Ordered: {value}, less than a container of {fact}."), Told(_share_of_value)),
    ("order_placed", "price_cents"): (Told(_price), Usual(50, 3_000_000)),
}  # fmt: skip
"""By kind and field what is looked at, in this order: the first sentence is asked."""

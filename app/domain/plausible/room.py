"""What figures of the site, duties, swaps, soak tests, incidents and costs are held against."""

from collections.abc import Mapping

from app.domain.plausible.rules import Before, Case, Of, Rule, Told, Unasked, Usual, Was

COMPUTED = Unasked("worked out by the program, not typed")
SUPPOSED = Unasked("a what-if figure; nothing in the room depends on it")
DIFFERS = 0.25  # an instrument this far off its sample is no instrument; common practice
FILM_SHARE = 0.005  # of a tank's volume; common practice, no source
NATURAL, NATURAL_NEAR = (10, 14, 21, 28, 30, 60, 90, 120, 182, 365, 730, 1095, 1825), 0.08
"""Intervals in days that people set, and how near to one of them is near."""


def _shown(case: Case) -> str:
    """What an instrument shows beside its known sample."""
    expected, shown = case.entry.expected, case.entry.shown
    if expected is None or shown is None or case.entry.outcome != "in_order":
        return ""
    if abs(shown - expected) <= DIFFERS * max(abs(expected), 1e-9):
        return ""
    return f"The known sample is {expected:g} and the instrument shows {shown:g}: is that in order?"


def _gain(case: Case) -> str:
    before = case.fact("mass_before_g")
    if not before or 0.7 <= case.value / before <= 1.8:
        return ""
    return f"{case.label}: {case.said()}, and it was {case.said(before)} before."


def _a_film(case: Case) -> str:
    """A tank that is partly full and holds no more than wets its walls."""
    capacity_l = case.fact("capacity_l")
    is_partly = case.entry.found == "partly"
    if not is_partly or capacity_l is None or case.value >= FILM_SHARE * capacity_l:
        return ""
    return f"{case.label}: {case.said()} is hardly more than a film. Is the tank empty?"


def _cost(case: Case) -> str:
    budget = case.fact("weekly_budget_cents")
    if not budget or case.value <= 2 * budget:
        return ""
    return f"{case.label}: {case.said()} is more than two weeks' budget of {case.said(budget)}."


def _every(case: Case) -> str:
    usual = case.fact("every_days_usual")
    if case.value > 7 and not any(abs(case.value - one) <= NATURAL_NEAR * one for one in NATURAL):
        return f"{case.label}: {case.said()} is not an interval of weeks or months. Is that right?"
    if not usual or 1 / 7 <= case.value / usual <= 4:  # daily for weekly is usual
        return ""
    return f"{case.label}: {case.said()}; every {usual:g} days is usual."


_SITE: Mapping[str, tuple[Rule, ...]] = {
    "swaps_per_day": (Usual(1, 8),),
    "swap_minutes": (Usual(20, 300), Was(3)),
    "solvent_lead_days": (Usual(1, 45), Was(5)),
    "pickup_lead_days": (Usual(1, 90), Was(2.5)),
    "drum_margin_days": (Usual(0, 20), Was(5)),
    "rinse_percent": (Usual(1, 30), Was(4)),
    "squirt_bottle_l": (Usual(0, 5), Was(5)),
    "heel_percent": (Usual(0, 10), Was(2.4)),
    "loss_tolerance_percent": (Usual(1, 25), Was(4)),
    "waste_month_limit_kg": (Usual(50, 5_000), Was(5)),
    "waste_on_site_limit_kg": (Usual(200, 20_000), Was(5), Of("waste_month_limit_kg", 0.8, 13,
        "Waste allowed on site: {value}, and {fact} in a month.")),
    "flammable_limit_l": (Usual(60, 3_000), Was(4), Of("tanks_l", 0.8, 8,
        "Flammable liquids allowed: {value}, and the tanks alone hold {fact}.")),
    "cabinet_limit_l": (Usual(30, 500, "29 CFR 1910.106(d)(3): 60 US gal of category 1 to 3; "
        "from memory"), Was(3)),
    "room_volume_m3": (Usual(15, 1_200), Was(2.5)),
    "air_changes_per_hour": (Usual(1, 30, "29 CFR 1910.106(d)(4)(iv): six changes an hour in a "
        "store; from memory"), Was(4)),
    "room_temperature_c": (Usual(8, 38),),
}  # fmt: skip
_PRICES: Mapping[str, tuple[Rule, ...]] = {
    "reject_cents": (
        Was(3),
        Usual(20, 500_000),
        Of(
            "labour_cents_per_hour",
            0.02,
            6,
            "Cost of a reject: {value}, and an hour of work costs {fact}.",
        ),
    ),
    "weekly_budget_cents": (Was(1.5), Usual(2_000, 2_000_000)),
    "labour_cents_per_hour": (Was(1.5), Usual(800, 15_000)),
    "inspection_minutes": (Was(2.5), Usual(5, 120)),
    "solvent_cents_per_l": (
        Was(3),
        Of(
            "shelf_cents_per_l",
            1 / 3,
            3,
            "Solvent per litre: {value}; on the shelf it cost about {fact}.",
        ),
        Usual(80, 5_000),
    ),
    "disposal_cents_per_drum": (
        Was(3),
        Of(
            "drum_by_kg_cents",
            1 / 4,
            4,
            "Disposal per drum: {value}; by the kilogram a full one costs about {fact}.",
        ),
        Usual(3_000, 150_000),
    ),
    "disposal_cents_per_kg": (Was(3), Usual(40, 1_500)),
}
_CAPACITY = Of("capacity_l", 0, 1.15, "{value}, and the tank holds {fact} to its upper mark.")
TABLE: Mapping[tuple[str, str], tuple[Rule, ...]] = {
    **{("site_rules", name): rules for name, rules in _SITE.items()},
    **{("price_list", name): rules for name, rules in _PRICES.items()},
    ("other_cost", "cost_cents"): (Told(_cost), Usual(100, 5_000_000)),
    ("what_if_case", "changes"): (SUPPOSED,),
    **{
        (kind, name): (Unasked("refused beyond what an instrument of its sort is ever off by"),)
        for kind in ("instrument", "instrument_calibrated")
        for name in ("offset", "uncertainty")
    },
    ("qualified", "supervised_times"): (
        Unasked("a record of the training; nothing is worked out from it"),
    ),
    **{
        (kind, "parts"): (Unasked("what the label says; washes and cures count their own"),)
        for kind in ("part_lot", "part_lot_rejected")
    },
    ("duty", "every_days"): (Was(4), Told(_every), Usual(1, 800)),
    ("duty", "grace_days"): (Was(6), Of("every_days", 0, 1,
        "Overdue after {value}: longer than the {fact} between two times."), Of(
        "every_days_usual", 0, 1, "Overdue after {value}: longer than the {fact} between two "
        "times."), Usual(0, 60)),
    ("duty_done", "expected"): (Told(_shown), Before(factor=1.5)),
    ("duty_done", "shown"): (Told(_shown),),
    ("duty_done", "speed_m_s"): (Usual(0.2, 2.5), Before(factor=1.5)),
    ("month_close", "added_l"): (Unasked("asked as close_unlike_log, by the log"),),
    ("month_close", "removed_l"): (Of("removed_l_log", 0.5, 1.5,
        "The log has {fact} removed since the last close; this says {value}.", near=2.0),),
    ("month_close", "solids_l"): (Of("capacity_l", 0, 0.1,
        "Solvent in solids: {value} of a bath of {fact}."),),
    ("soak_started", "mass_before_g"): (Usual(0.05, 200),),
    ("soak_ended", "mass_after_g"): (Told(_gain),),
    ("incident", "volume_l"): (_CAPACITY, Of("drum_held_l", 0, 1.1,
        "{value}, and the drum held about {fact}."), Usual(0.02, 300)),
    ("incident", "wasted_l"): (Of("volume_l", 0.15, 1,
        "{value} went into the drum, of {fact}."), Usual(0, 300)),
    ("tank_contents", "left_l"): (_CAPACITY, Told(_a_film)),
    ("step_done", "answers"): (Unasked("asked at its step: against bath, marks, drum and lot"),),
    ("checklist", "version"): (COMPUTED,),
    **{("swap_opened", name): (COMPUTED,) for name in (
        "version", "estimated_l", "capacity_l", "min_l", "from_estimated_l", "from_capacity_l",
        "from_min_l")},
    **{("swap_closed", name): (COMPUTED,) for name in (
        "estimated_l", "drained_l", "rinsed_l", "heel_l", "moved_l", "filled_l", "loss_l")},
    ("swap_moved", "chance_percent"): (COMPUTED,),
    ("swap_postponed", "chance_percent"): (COMPUTED,),
    ("reject", "parts"): (Before(near=24, factor=8), Usual(1, 24, is_first=True)),
}  # fmt: skip
"""By kind and field what is looked at, in this order: the first sentence is asked."""

"""What figures of drums, pours and pickups are held against."""

import math
from collections.abc import Mapping

from app.domain.plausible.rules import (
    PRACTICE,
    Before,
    Case,
    Of,
    Others,
    Rule,
    Told,
    Unasked,
    Usual,
    Was,
)

KG_PER_L = (
    0.7,
    1.3,
)  # of spent baths: solvents 0.78 to 0.97, resin 1.05 to 1.3; loose solids aside
LEAST_RESIN = 0.25  # of what the estimate has in the bath
USUAL_RINSE_PERCENT = 5.0  # of a tank's volume; more than a rinse is a bath
TARE_KG_L = (0.03, 0.2)  # empty weight by capacity, jerrican to steel drum; common practice
HEIGHT_SHARE = (0.8, 2.6)  # height to diameter of a drum; common practice
STREAMS_LOOSE = ("wipes", "solids_and_sludge", "still_bottoms")


def _tare(case: Case) -> str:
    capacity_l = case.fact("capacity_l") or case.fact("was.capacity_l")
    if not capacity_l or TARE_KG_L[0] <= case.value / capacity_l <= TARE_KG_L[1]:
        return ""
    return f"{case.label}: {case.said()} for a drum of {case.known.say(capacity_l, 'L')}?"


def _height(case: Case) -> str:
    """By the diameter that capacity and height make: V = pi/4 d2 h."""
    capacity_l = case.fact("capacity_l") or case.fact("was.capacity_l")
    if not capacity_l:
        return ""
    across_cm = math.sqrt(4000 * capacity_l / (math.pi * case.value))
    if HEIGHT_SHARE[0] <= case.value / across_cm <= HEIGHT_SHARE[1]:
        return ""
    size = case.known.say(capacity_l, "L")
    return f"{case.label}: {case.said()} makes a drum of {size} {across_cm:.0f} cm wide."


def _weight_of_held(case: Case) -> str:
    volume_l = case.fact("volume_l")
    if not volume_l:
        return ""
    return _density(case, case.value, volume_l)


def _density(case: Case, kg: float, volume_l: float) -> str:
    stream = getattr(case.entry, "stream", None)
    if stream in STREAMS_LOOSE or case.known.facts.get("is_loose"):
        return ""
    if KG_PER_L[0] <= kg / volume_l <= KG_PER_L[1]:
        return ""
    volume = case.known.say(volume_l, "L")
    return f"{kg:.4g} kg for {volume} is {kg / volume_l:.2g} kg/L; such waste has 0.8 to 1.1."


def _scale(case: Case) -> str:
    before, after = case.entry.mass_before_kg, case.entry.mass_after_kg
    if before is None or after is None:
        return ""
    if words := _density(case, after - before, case.entry.volume_l):
        return words
    held, tare = case.fact("drum_kg"), case.fact("drum_tare_kg")
    if held is None or tare is None or abs(before - held - tare) <= 5 + 0.3 * (held + tare):
        return ""
    return f"Drum on the scale before: {before:g} kg; by the log, about {held + tare:.0f} kg."


def _dip(case: Case) -> str:
    before, after = case.entry.dip_before_cm, case.entry.dip_after_cm
    height, capacity_l = case.fact("drum_height_cm"), case.fact("drum_capacity_l")
    if before is None or after is None or not height or not capacity_l:
        return ""
    if after > height:
        return f"{case.label}: the drum is {height:g} cm high inside; this says {after:g} cm."
    by_dip_l = capacity_l * (after - before) / height
    if abs(by_dip_l - case.entry.volume_l) <= 3 + 0.4 * case.entry.volume_l:
        return ""
    by_dip = case.known.say(round(by_dip_l, 1), "L")
    return f"{case.label}: by the dip, {by_dip} was poured."


def _poured(case: Case) -> str:
    most_l = case.fact("capacity_l")
    if most_l is None or case.value <= 1.15 * most_l:
        return ""
    most = case.known.say(most_l, "L")
    return f"Poured: {case.said()}, and the tank holds {most} to its upper mark."


def _edits(case: Case) -> str:
    for key, edit in case.value.items():
        usual, value = case.known.facts.get(f"rule.{key}"), edit.get("value")
        if usual and value and not 1 / 4 <= value / usual <= 4:
            return f"{key.replace('_', ' ')}: the set says {usual:g}; this says {value:g}."
    return ""


_RESIN = (Usual(0, 30), Of("stop_percent", 0, 1.6,
    "Resin in it: {value}, and the bath is not washed in above {fact}."))  # fmt: skip


def _too_little_resin(case: Case) -> str:
    """Of a pour larger than a rinse: beside what the estimate has in the bath it comes from."""
    here, capacity_l = case.fact("mean_percent"), case.fact("capacity_l")
    if here is None or capacity_l is None:
        return ""
    rinse_l = (case.fact("rinse_percent") or USUAL_RINSE_PERCENT) / 100 * capacity_l
    if case.entry.volume_l <= rinse_l or case.value >= LEAST_RESIN * here:
        return ""
    bath = case.known.say(round(here, 1), "%")
    return f"{case.label}: {case.said()}, and the bath has about {bath}."


_FILL = (Usual(70, 98, PRACTICE),)
TABLE: Mapping[tuple[str, str], tuple[Rule, ...]] = {
    ("drum", "capacity_l"): (Usual(4, 1100), Others(5)),
    ("drum", "fill_limit_percent"): _FILL,
    ("drum", "tare_kg"): (Told(_tare),),
    ("drum", "inner_height_cm"): (Told(_height),),
    ("drum", "volume_l"): (Of("capacity_l", 0, 1, "Does it already hold {value} of {fact}?"),),
    ("drum", "waste_kg"): (Told(_weight_of_held),),
    ("drum_changed", "capacity_l"): (Was(1.5), Usual(4, 1100)),
    ("drum_changed", "fill_limit_percent"): _FILL,
    ("drum_changed", "tare_kg"): (Told(_tare), Was(1.8)),
    ("drum_changed", "inner_height_cm"): (Told(_height), Was(1.5)),
    ("pour", "volume_l"): (Told(_poured), Told(_scale), Told(_dip)),
    ("pour", "resin_percent"): (*_RESIN, Told(_too_little_resin)),
    ("pour", "mass_before_kg"): (Told(_scale),),
    ("pour", "mass_after_kg"): (Told(_scale),),
    ("pour", "dip_before_cm"): (Told(_dip),),
    ("pour", "dip_after_cm"): (Told(_dip),),
    ("drum_transfer", "volume_l"): (Of("source_l", 0.11, 1.02,
        "Moved: {value}, and the drum held about {fact}.", near=0.5),),
    ("drum_transfer", "waste_kg"): (Told(_weight_of_held),),
    ("pickup_shipped", "cost_cents"): (Before(factor=4), Of("per_drum_cents", 0.4, 2.5,
        "Cost: {value}. By the rates it would be about {fact}."), Usual(2_000, 2_000_000)),
    ("pickup_shipped", "shipped_kg"): (Of("drums_kg", 0.6, 1.6,
        "Weighed by the contractor: {value}; by the log, about {fact}.", near=15),),
    ("scale_weight", "shown_kg"): (
        Unasked("moves nothing; whoever takes it sees the litres, and is asked about those"),
    ),
    ("waste_rules", "edits"): (Told(_edits),),
}  # fmt: skip
"""By kind and field what is looked at, in this order: the first sentence is asked."""

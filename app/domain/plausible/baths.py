"""What figures of the baths are held against."""

import math
from collections.abc import Mapping

from app.domain.plausible.rules import Before, Case, Of, Others, Rule, Told, Unasked, Usual, Was
from app.domain.plural import counted
from app.domain.solvents.density import REFERENCE_C
from app.domain.solvents.own import ATMOSPHERE_PA, GAS_J_MOL_K, pressure_pa
from app.domain.solvents.vapour import ZERO_C_K

WATER_MASS = 0.65  # of the usual purity: weaker is another product; common practice, no source
MUCH_SOLID_G_L = 20.0  # of the volume to the mark, ten times what settles between two swaps
PART_G, PART_CM2 = 2.0, 3.0  # of the smallest part, and its surface; common practice, no source
LARGEST_G_CM2 = 5.0  # mass to surface of a solid block as large as a hand
MUCH_OUT = 1.4  # of what the estimate has: a level that nobody has seen for weeks is that far off
LOADS = 5.0  # one rack after full ones, or a full one after racks; common practice, no source
ENTROPY_J_MOL_K = (82.0, 145.0)
"""Of vaporisation at the boiling point, by the vapour pressure at 20 C: heptane 95, acetone 95,
toluene 96, water 115, ethanol 119, 2-propanol 124, glycol ethers 113; worked out from tables."""
AT_FLASH_PERCENT = (0.4, 9.0)
"""Of air, saturated at the flash point: near the lower flammable limit, 0.7 % of heavy
hydrocarbons to 6 % of methanol; IEC 60079-20-1, from memory."""
AT_FLASH_G_M3 = (25.0, 170.0)
"""The same by mass, where the molar mass is known: 47 (limonene) to 126 g/m3 (dibasic esters) over
twenty washes by their data sheets, from memory. A flash point in F read as C comes to 200 and more.
"""
FLASH_OF_BOILING = (0.69, 0.855)
"""Flash point over boiling point, both in K: 0.715 (limonene) to 0.841 (methanol), likewise."""
UNFILLED, FILLED = (1.0, 1.3), (1.15, 2.6)  # g/mL of resins; data sheets, common practice


def _free(case: Case) -> str:
    free_l = case.fact("free_l")
    if free_l is None or case.value <= 1.25 * max(free_l, 0.0) + 1:
        return ""
    free = case.said(round(max(free_l, 0.0), 1))
    return f"About {free} is free below the upper mark; this adds {case.said()}."


def _taken(case: Case) -> str:
    held_l, lower_l = case.fact("held_l"), case.fact("lower_l")
    if held_l is None:
        return ""
    if case.value > 1.15 * held_l:
        held = case.said(round(held_l, 1))
        return f"The bath held about {held}; this takes out {case.said()}."
    if lower_l is not None and held_l - case.value < lower_l:
        left = case.said(round(max(0.0, held_l - case.value), 1))
        return f"This leaves about {left}, which is below the lower mark."
    return ""


def _drained(case: Case) -> str:
    """Of a swap that is entered at once: what came out and what stayed, beside what was there."""
    held_l = case.fact("held_l")
    if held_l is None:
        return ""
    gone_l = (case.entry.drained_l or 0.0) + (case.entry.heel_l or 0.0)
    if gone_l > MUCH_OUT * held_l:
        held = case.said(round(held_l, 1))
        return f"The bath held about {held}; this takes out {case.said(gone_l)}."
    if case.field == "drained_l" and gone_l < 0.5 * held_l:
        held = case.said(round(held_l, 1))
        return f"The bath held about {held}; this drains {case.said()} and leaves the rest."
    return ""


def _sheet_pressure(case: Case) -> str:
    """Boiling point and vapour pressure of one sheet: no liquid has such a pair."""
    boils_c, hpa = case.entry.boiling_point_c, case.entry.vapour_pressure_hpa
    if boils_c is None or hpa is None:
        return ""
    at_k, boils_k = REFERENCE_C + ZERO_C_K, boils_c + ZERO_C_K
    if boils_k - at_k < 1:
        return ""
    drop = math.log(ATMOSPHERE_PA / (100 * hpa))
    entropy = GAS_J_MOL_K * drop / (boils_k / at_k - 1)
    if ENTROPY_J_MOL_K[0] <= entropy <= ENTROPY_J_MOL_K[1]:
        return ""
    boils = case.known.say(boils_c, "C")
    return f"{hpa:g} hPa at 20 °C does not fit a liquid that boils at {boils}."


def _sheet_flash(case: Case) -> str:
    """The vapour over the liquid at its flash point, beside what catches fire of any liquid."""
    entry, at_k = case.entry, case.value + ZERO_C_K
    if entry.boiling_point_c is None:
        return ""
    boils_k = entry.boiling_point_c + ZERO_C_K
    low_k, high_k = (share * boils_k for share in FLASH_OF_BOILING)
    if not low_k <= at_k <= high_k:
        boils, low, high = (
            case.known.say(float(f"{kelvin - ZERO_C_K:.0f}"), "C")
            for kelvin in (boils_k, low_k, high_k)
        )
        return (
            f"{case.label}: {case.said()}. A liquid that boils at {boils} usually flashes between "
            f"{low} and {high}. Does the sheet give it in °F?"
        )
    if entry.vapour_pressure_hpa is None:
        return ""
    pressure = pressure_pa(entry.sheet, case.value)
    percent, mass = 100 * pressure / ATMOSPHERE_PA, entry.molar_mass_g_mol
    g_m3 = None if mass is None else pressure * mass / (GAS_J_MOL_K * at_k)
    if AT_FLASH_PERCENT[0] <= percent <= AT_FLASH_PERCENT[1] and (
        g_m3 is None or AT_FLASH_G_M3[0] <= g_m3 <= AT_FLASH_G_M3[1]
    ):
        return ""
    return (
        f"{case.label}: {case.said()}. By its vapour pressure, air over it there has {percent:.2g} "
        "% of it, which is not where a liquid starts to catch fire."
    )


def _resin_density(case: Case) -> str:
    is_filled = bool(case.entry.filled) or bool(case.entry.filler_percent)
    low, high = FILLED if is_filled else UNFILLED
    if low <= case.value <= high:
        return ""
    kind = "with filler" if is_filled else "without filler"
    return f"{case.label}: resins {kind} have {low:g} to {high:g} g/mL; this says {case.value:g}."


def _parts_and_surface(case: Case) -> str:
    parts, area = case.entry.parts, case.entry.area_cm2
    if not parts or not area or PART_CM2 / 3 <= area / parts <= 20_000:
        return ""
    return f"{case.said()} for {counted(parts, 'part')} is hardly possible."


def _points(case: Case) -> str:
    """Points that no smooth line goes through: one of them was read or typed wrong."""
    points = sorted(case.value)
    if case.field == "working_curve":
        points = [(math.log(x), y) for x, y in points if x > 0]
    odd = _off_line(points)
    if odd is None:
        return ""
    x, y = sorted(case.value)[odd]
    return f"{case.label}: the pair {x:g}; {y:g} is far off the line of the others."


def _off_line(points: list[tuple[float, float]]) -> int | None:
    """The place of the pair that lies farthest off a line, where that is far; else None."""
    ys = [y for _, y in points]
    if len(points) < 3:
        return _of_two(points)
    span = max(ys) - min(ys)
    worst, off = None, 0.0
    for place, (x, y) in enumerate(points):
        rest = points[:place] + points[place + 1 :]
        line = _line(rest)
        rest_span = max(one for _, one in rest) - min(one for _, one in rest)
        far = abs(y - (line[0] + line[1] * x)) / max(rest_span, 1e-9)
        if far > off:
            worst, off = place, far
    return worst if span > 0 and off > 0.6 else None


def _of_two(points: list[tuple[float, float]]) -> int | None:
    (x1, y1), (x2, y2) = points
    return 1 if x2 <= x1 or y2 <= y1 else None


def _line(points: list[tuple[float, float]]) -> tuple[float, float]:
    n = len(points)
    mx, my = sum(x for x, _ in points) / n, sum(y for _, y in points) / n
    sxx = sum((x - mx) ** 2 for x, _ in points) or 1e-12
    slope = sum((x - mx) * (y - my) for x, y in points) / sxx
    return my - slope * mx, slope


def _calibration(case: Case) -> str:
    low, high = (0.0, 70.0) if case.entry.scale == "brix_percent" else (1.3, 1.6)
    for shown, percent in case.value:
        if not low <= shown <= high or percent > 40:
            return f"{case.label}: {shown:g}; {percent:g} is not a pair that any bath gives."
    return _points(case)


_LIMITS: Mapping[str, tuple[Rule, ...]] = {
    "limit_percent": (Usual(1.2, 20), Was(3)),
    "limit_volume_percent": (Usual(1.2, 20), Was(3)),
    "limit_g_l": (Usual(12, 200), Was(3)),
    "stop_percent": (Usual(1.5, 25), Was(3), Of("limit_percent", 1, 2,
        "Stop washing at {value}: that is far above the limit of {fact}.")),
    "stop_volume_percent": (Usual(1.5, 25), Was(3), Of("limit_volume_percent", 1, 2,
        "Stop washing at {value}: that is far above the limit of {fact}.")),
    "stop_g_l": (Usual(15, 250), Was(3), Of("limit_g_l", 1, 2,
        "Stop washing at {value}: that is far above the limit of {fact}.")),
    "life_days": (Usual(14, 400), Was(1.7)),
    "life_washes": (Usual(20, 4000), Was(4)),
}  # fmt: skip
_LOWER = Of(
    "capacity_l", 0.4, 1.0, (
        "Volume to the lower mark: {value} of {fact}. The lower mark is usually in the lower half."
    ),
)  # fmt: skip
_SIZES: Mapping[str, tuple[Rule, ...]] = {
    "parts": (Before(near=24, factor=8), Usual(1, 48, is_first=True)),
    "area_cm2": (Before(spread=LOADS), Told(_parts_and_surface), Usual(1, 60_000)),
    "mass_g": (Before(spread=LOADS), Usual(0.5, 30_000)),
}
TABLE: Mapping[tuple[str, str], tuple[Rule, ...]] = {
    **{(kind, name): rules for kind in ("tank", "tank_change") for name, rules in _LIMITS.items()},
    ("tank", "capacity_l"): (Usual(2, 250), Others(1.9)),
    ("tank", "min_l"): (_LOWER,),
    ("tank", "fresh_purity_percent"): (Of("usual_purity_percent", WATER_MASS, 1.2,
        "Purity: {value}. This solvent is usually of {fact}."),),
    ("tank", "fresh_purity_volume_percent"): (Usual(60, 100),),
    ("swap", "fresh_purity_volume_percent"): (
        Unasked("asked as purity_unlike, by the bath before it"),
    ),
    ("tank_build", "heated_to_c"): (Usual(20, 65),),
    ("own_solvent", "density_g_ml"): (Usual(0.62, 1.6),),
    ("own_solvent", "density_at_c"): (Usual(5, 40),),
    ("own_solvent", "flash_point_c"): (Usual(-45, 200), Told(_sheet_flash)),
    ("own_solvent", "boiling_point_c"): (Usual(30, 320), Told(_sheet_pressure)),
    ("own_solvent", "vapour_pressure_hpa"): (Usual(0.001, 700), Told(_sheet_pressure)),
    ("own_solvent", "limit_ppm"): (Usual(0.5, 2500),),
    ("solvent_limit", "limit_ppm"): (Usual(0.5, 5000),),
    ("own_solvent", "molar_mass_g_mol"): (Usual(30, 400),),
    ("tank", "saturation_percent"): (Usual(0, 20), Of("limit_percent", 0, 2,
        "Resin already in the bath: {value}, and it is to be swapped at {fact}.")),
    ("tank_change", "capacity_l"): (Usual(2, 250), Was(1.4)),
    ("tank_change", "min_l"): (Was(1.8), Of("was.capacity_l", 0.4, 1.0,
        "Volume to the lower mark: {value}, and the tank holds {fact} to its upper mark.")),
    ("resin", "density_g_ml"): (Told(_resin_density),),
    ("resin", "filler_percent"): (Usual(10, 80),),
    **{(kind, name): rules for kind in ("wash", "planned_wash") for name, rules in _SIZES.items()},
    ("wash", "minutes"): (Before(factor=5), Usual(0.5, 120)),
    ("top_up", "volume_l"): (Told(_free), Before(factor=10)),
    ("removal", "volume_l"): (Told(_taken),),
    ("removal", "left_l"): (Of("left_after_l", 0.85, 1.15,
        "By the log, about {fact} stays; this says {value}.", near=1.0),),
    ("solids_removed", "mass_g"): (Before(), Of("capacity_l", 0, MUCH_SOLID_G_L,
        "{value} of solids is a lot for a bath of {fact}.", unit="L")),
    ("swap", "drained_l"): (Told(_drained),),
    ("swap", "filled_l"): (Of("capacity_l", 0.6, 1.15,
        "Filled: {value}, and the tank holds {fact} to its upper mark."),),
    ("swap", "heel_l"): (Told(_drained), Of("capacity_l", 0, 0.05,
        "Left in the tank: {value} of {fact}. It is rarely that much.")),
    ("swap", "fresh_purity_percent"): (Unasked("asked as purity_unlike, by the bath before it"),),
    ("calibration", "points"): (Told(_calibration),),
    ("reading", "values"): (Unasked("asked as reading_unlike, by estimate and instrument"),),
}  # fmt: skip
"""By kind and field what is looked at, in this order: the first sentence is asked."""

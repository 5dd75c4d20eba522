"""What figures of curing stations, lamps, recipes and cures are held against."""

from collections.abc import Mapping

from app.domain.plausible.baths import _points
from app.domain.plausible.rules import Before, Case, Of, Others, Rule, Told, Unasked, Usual, Was
from app.domain.roomlog.kinds.curing import POSITIONS

SHARE = (0.4, 1.7)  # of the mean over the places: farther off is no even chamber; common practice
DOSE = (0.4, 2.5)  # delivered beside asked for
DOSES = (300.0, 60_000.0)  # mJ/cm2 of post-cures; common practice, no source
LED_NM = (5.0, 35.0)  # full width at half maximum; common practice, no source
WET = 0.3  # of the time to dry; less is asked about wherever it is typed
LAMP_H = 12_000.0  # that a lamp has run when a station is set up; common practice


def _place(case: Case) -> str:
    """One place beside the lit others of this reading, and beside the same of the last one."""
    at = case.entry.at_positions
    rest = [value for name, value in at.items() if value > 0 and f"{name}_mw_cm2" != case.field]
    if rest and case.value > 0:
        mean = sum(rest) / len(rest)
        if mean > 0 and not SHARE[0] <= case.value / mean <= SHARE[1]:
            return (
                f"{case.label}: {case.said()}, and the other places {case.said(mean)} on average."
            )
    last = case.fact(f"last.{case.field}")
    if last and case.value > 0 and not 0.55 <= case.value / last <= 1.4:
        return f"{case.label}: {case.said(last)} at the last reading; this says {case.said()}."
    return ""


def _band(case: Case) -> str:
    nm = case.fact("wavelength_nm")
    if not nm or abs(case.value - nm) <= 60:
        return ""
    return f"{case.label}: {case.said()}, and the lamp shines at {nm:g} nm."


def _meter(case: Case) -> str:
    """Hours of the lamp beside what its meter and the cures since then make."""
    hours, passed = case.fact("lamp_h"), case.fact("passed_h")
    if hours is None or passed is None or case.value - hours <= 0.75 * passed + 2:
        return ""
    return f"{case.label}: by the log, about {hours:.0f} h; this says {case.said()}."


def _reference(case: Case) -> str:
    minutes, mw = case.entry.reference_minutes, case.entry.reference_mw_cm2
    if not minutes or not mw:
        return ""
    dose = 60 * minutes * mw
    beside = case.known.others.get("dose_mj_cm2", ())
    low, high = (min(beside) / 3, max(beside) * 3) if beside else DOSES
    if low <= dose <= high:
        return ""
    return f"{minutes:g} min at {mw:g} mW/cm² make {dose:,.0f} mJ/cm², unlike the other recipes."


def _dose(case: Case) -> str:
    asked = case.fact("asked_mj_cm2") or case.entry.dose_asked_mj_cm2
    given = case.fact("least_mj_cm2")
    if given and asked and not DOSE[0] <= given / asked <= DOSE[1]:
        return (
            f"In {case.said()} the weakest place gets {given:,.0f} mJ/cm²; the recipe asks for "
            f"{asked:,.0f}."
        )
    return ""


def _wet(case: Case) -> str:
    """Parts that went under the light long before they had dried."""
    asked = case.fact("dry_minutes") or case.fact("dry_asked_minutes")
    if not asked or case.value >= WET * asked:
        return ""
    return f"{case.label}: {case.said()}, and they should dry {case.said(asked)}."


def _width(case: Case) -> str:
    """Light emitting diodes are narrow; other lamps are not."""
    is_led = case.entry.source == "led" if case.entry.source else case.fact("is_led")
    low, high = LED_NM if is_led else (2.0, 80.0)
    if low <= case.value <= high or case.fact("was.width_nm") == case.value:
        return ""
    kind = "light emitting diodes have" if is_led else "lamps have"
    return f"{case.label}: {kind} {low:g} to {high:g} nm; this says {case.said()}."


_NM = (Usual(340, 470), Was(1.15))
_SOURCES = (Usual(1, 100), Was(2.5), Others(2.5))
_CHAMBER = (Usual(15, 85), Was(2.2))
_NEW = (Usual(1, 150), Was(1.6), Others(3))
_LONGEST = (Usual(5, 180), Was(4), Others(4))
TABLE: Mapping[tuple[str, str], tuple[Rule, ...]] = {
    **{(kind, name): rules for kind in ("station", "station_changed") for name, rules in {
        "wavelength_nm": _NM, "light_sources": _SOURCES, "chamber_temperature_c": _CHAMBER,
        "new_mw_cm2": _NEW, "relamp_percent": (Usual(50, 90),), "longest_minutes": _LONGEST,
    }.items()},
    ("station_changed", "light_sources"): (Usual(1, 400), Was(2.5)),
    ("station", "width_nm"): (Told(_width),),
    ("station_changed", "width_nm"): (Told(_width), Was(4)),
    ("station", "below_400_percent"): (Unasked("any share is possible; the data sheet says it"),),
    ("station_changed", "below_400_percent"): (
        Unasked("any share is possible; the data sheet says it"),
    ),
    ("station", "hours_h"): (Usual(0, LAMP_H),),
    ("relamped", "hours_h"): (Usual(0, 100),),
    ("relamped", "new_mw_cm2"): (Of("former_new_mw_cm2", 0.5, 2,
        "Mean output when new: {value}; the lamp before it gave {fact}."), Usual(1, 150)),
    ("lamp_hours", "hours_h"): (Told(_meter),),
    ("irradiance", "hours_h"): (Told(_meter),),
    **{("irradiance", f"{place}_mw_cm2"): (Told(_place), Usual(0, 300)) for place in POSITIONS},
    ("irradiance", "band_nm"): (Told(_band),),
    ("cure_recipe", "dose_mj_cm2"): (Usual(*DOSES), Was(2.5), Others(2.6)),
    ("cure_recipe", "reference_minutes"): (Told(_reference), Usual(0.5, 120)),
    ("cure_recipe", "reference_mw_cm2"): (Told(_reference), Usual(1, 150)),
    ("cure_recipe", "wavelength_nm"): _NM,
    ("cure_recipe", "temperature_c"): _CHAMBER,
    ("cure_recipe", "least_mw_cm2"): (Was(3), Of("best_mw_cm2", 0.15, 1,
        "Not below {value}: the strongest station here gives {fact}.")),
    ("cure_recipe", "longest_minutes"): (Usual(5, 180), Was(4)),
    ("cure_recipe", "dry_minutes"): (Usual(8, 240), Was(4)),
    ("cure_recipe", "working_curve"): (Told(_points),),
    ("cure", "minutes"): (Told(_dose), Before(factor=4), Usual(0.5, 180)),
    ("cure", "parts"): (Before(near=24, factor=8), Usual(1, 48, is_first=True)),
    ("part_lot", "parts"): (Before(near=24, factor=8), Usual(1, 48, is_first=True)),
    ("part_lot_rejected", "parts"): (Before(near=24, factor=8), Usual(1, 48, is_first=True)),
    ("cure", "dose_mj_cm2"): (Of("given_mj_cm2", 0.5, 2,
        "Dose delivered: {value}; time and output make {fact}."), Usual(50, 200_000)),
    ("cure", "weakest_dose_mj_cm2"): (Of("least_mj_cm2", 0.5, 2,
        "Dose at the weakest place: {value}; time and output make {fact}."), Usual(50, 200_000)),
    ("cure", "dose_asked_mj_cm2"): (Of("asked_mj_cm2", 0.5, 2,
        "Dose asked for: {value}; the recipe says {fact}."), Usual(50, 200_000)),
    ("cure", "dried_minutes"): (Told(_wet), Before(near=60, factor=8), Usual(0, 1_500)),
    ("cure", "dry_asked_minutes"): (Of("dry_minutes", 0.5, 2,
        "Drying asked for: {value}; it is {fact}."), Before(near=5), Usual(0, 360)),
}  # fmt: skip
"""By kind and field what is looked at, in this order: the first sentence is asked."""

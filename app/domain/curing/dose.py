"""Dose at the part, and how long to cure today on a station.

Dose is irradiance times time (mW/cm2 * s = mJ/cm2), so a lamp at half its output takes twice as
long for the same dose. Reciprocity fails at very low irradiance: a recipe may set the least.
"""

import math
from dataclasses import dataclass

from app.domain.curing.lamp import Lamp
from app.domain.curing.plain import places, plain
from app.domain.curing.recipes import RecipeState, dose_oddity
from app.domain.curing.stations import StationState

WAVELENGTH_TOLERANCE_NM = 15.0  # common practice, no source: the width of an LED's peak
TEMPERATURE_TOLERANCE_C = 5.0  # common practice, no source
SHORTEST_S = (
    5.0  # common practice, no source: no timer or door is as quick, nor any chamber so strong
)
METER = 0.10
"""What a hand-held UV radiometer may be off by, of its reading: 5 to 10 % by their makers' data
sheets, second hand; the larger counts."""
EVEN = 0.7  # weakest over strongest place; common practice, no source
NOT_MEASURED = (
    "Its output has never been measured. Read the radiometer at its marked positions first."
)
NOT_SURE = (
    "Its only reading is set aside as unlikely. Read the radiometer again, or have a lead settle "
    "it on the station's page."
)


def dose_mj_cm2(irradiance_mw_cm2: float, seconds: float) -> float:
    """Dose after so many seconds: 20 mW/cm2 for 300 s is 6000 mJ/cm2.

    Raises:
        ValueError: an irradiance or time below zero.
    """
    if irradiance_mw_cm2 < 0 or seconds < 0:
        raise ValueError("Irradiance and time must not be below zero.")
    return irradiance_mw_cm2 * seconds


def seconds_for(dose_mj_cm2: float, irradiance_mw_cm2: float) -> float:
    """Time for a dose.

    Raises:
        ValueError: no irradiance: no time is long enough.
    """
    if irradiance_mw_cm2 <= 0:
        raise ValueError("A station without light delivers no dose.")
    return dose_mj_cm2 / irradiance_mw_cm2


@dataclass(frozen=True)
class CureToday:
    """How to cure a resin on a station today.

    Attributes:
        refusals: why this station cannot; the time then is what it would take, or None.
        remarks: what to watch.
        seconds: time in the light; low and high by the interval of the output (90 %) and what the
            meter may be off by.
        factor: this time over the time on the new lamp.
        weakest_share: what the weakest marked position gets of the dose.
    """

    refusals: tuple[str, ...]
    remarks: tuple[str, ...]
    seconds: float | None = None
    low_seconds: float | None = None
    high_seconds: float | None = None
    new_seconds: float | None = None
    factor: float | None = None
    mw_cm2: float | None = None
    dose_mj_cm2: float = 0.0
    weakest_share: float = 1.0

    @property
    def can(self) -> bool:
        """The station may be used for this recipe."""
        return not self.refusals


def cure_today(station: StationState, lamp: Lamp, recipe: RecipeState) -> CureToday:
    """The time today, or why the station is refused."""
    if lamp.mw_cm2 is None:
        message = NOT_SURE if lamp.aside else NOT_MEASURED
        held = (held_words(station),) if station.hold.is_held else ()
        return CureToday((*held, message), (), dose_mj_cm2=recipe.dose_mj_cm2)
    seconds = seconds_for(recipe.dose_mj_cm2, lamp.mw_cm2)
    new = lamp.new_mw_cm2
    low, high = with_meter(lamp.mw_cm2, lamp.low_mw_cm2, lamp.high_mw_cm2)
    return CureToday(
        refusals=tuple(_refusals(station, lamp.mw_cm2, recipe, seconds)),
        remarks=tuple(_remarks(station, lamp, recipe)),
        seconds=seconds,
        low_seconds=seconds_for(recipe.dose_mj_cm2, high),
        high_seconds=seconds_for(recipe.dose_mj_cm2, low),
        new_seconds=seconds_for(recipe.dose_mj_cm2, new) if new else None,
        factor=new / lamp.mw_cm2 if new else None,
        mw_cm2=lamp.mw_cm2,
        dose_mj_cm2=recipe.dose_mj_cm2,
        weakest_share=lamp.least_share,
    )


def with_meter(
    mw_cm2: float, low_mw_cm2: float | None, high_mw_cm2: float | None
) -> tuple[float, float]:
    """The interval of an output with what the meter may be off by, which no fit sees.

    Independent relative parts add in quadrature (JCGM 100:2008, 5.1.2), here of the logarithm. An
    output that rests on one reading has the meter's part alone.

    >>> [round(value, 2) for value in with_meter(20.0, None, None)]
    [18.18, 22.0]
    """
    meter = math.log1p(METER)

    def reach(end: float | None) -> float:
        return math.hypot(math.log(end / mw_cm2), meter) if end else meter

    return mw_cm2 * math.exp(-reach(low_mw_cm2)), mw_cm2 * math.exp(reach(high_mw_cm2))


def longest_minutes(station: StationState, recipe: RecipeState) -> float:
    """The longest exposure that station and recipe allow."""
    return min(station.longest_minutes, recipe.longest_minutes or station.longest_minutes)


def held_words(station: StationState) -> str:
    """Why nothing is cured in a held station, and what to do."""
    return (
        f"It is held: {station.hold.reason.rstrip('.')}. Use another station. A lead releases it "
        "on its page once the cause is settled."
    )


def _refusals(
    station: StationState, mw_cm2: float, recipe: RecipeState, seconds: float
) -> list[str]:
    found = []
    if station.is_retired:
        found.append("It is out of use.")
    if station.hold.is_held:
        found.append(held_words(station))
    if recipe.wavelength_nm and not _is_near(recipe.wavelength_nm, station.wavelength_nm):
        found.append(
            f"It shines at {station.wavelength_nm:.0f} nm, the resin needs "
            f"{recipe.wavelength_nm:.0f} nm."
        )
    if recipe.least_mw_cm2 and mw_cm2 < recipe.least_mw_cm2:
        found.append(
            f"It gives {plain(mw_cm2)} mW/cm² today, the recipe asks for "
            f"{plain(recipe.least_mw_cm2)} or more. Below that, a longer time does not make up "
            "for it."
        )
    if seconds < SHORTEST_S:
        found.append(
            f"The dose of {plain(recipe.dose_mj_cm2)} mJ/cm² would take less than "
            f"{SHORTEST_S:.0f} seconds here. No cure is that short. Check the recipe: 1 J/cm² is "
            "1000 mJ/cm²."
        )
    longest = longest_minutes(station, recipe)
    if seconds > 60 * longest:
        found.append(
            f"Today the dose would take {plain(seconds / 60)} min, but the longest exposure is "
            f"{longest:g} min. Relamp it or use another station."
        )
    asked, has = recipe.temperature_c, station.chamber_temperature_c
    if asked is not None and has is not None and has < asked - TEMPERATURE_TOLERANCE_C:
        found.append("Its chamber is cooler than the recipe asks for.")
    return found


def _is_near(one_nm: float, other_nm: float) -> bool:
    return abs(one_nm - other_nm) <= WAVELENGTH_TOLERANCE_NM


def is_in_band(station: StationState, band_nm: float | None) -> bool:
    """A radiometer of that band reads this station's light; unknown bands are let pass."""
    return band_nm is None or _is_near(band_nm, station.wavelength_nm)


def _remarks(station: StationState, lamp: Lamp, recipe: RecipeState) -> list[str]:
    return [*_of_single(station), *_of_lamp(lamp), *_of_recipe(station, recipe)]


def _of_single(station: StationState) -> list[str]:
    """Said while a single reading is all that is known of a lamp: it may be in another unit."""
    is_stated = station.new_mw_cm2 is not None or station.former_new_mw_cm2 is not None
    if is_stated or len(station.readings) != 1 or station.is_cut:
        return []
    return [
        "The time relies on a single unconfirmed reading. Take a second one, with another meter "
        "or by another person, before you cure parts."
    ]


def _of_lamp(lamp: Lamp) -> list[str]:
    found = []
    if lamp.is_reading_old and lamp.reading_age is not None:
        found.append(
            f"The last radiometer reading is {lamp.reading_age.days} days old. Measure again."
        )
    if any(one.is_high for one in lamp.aside):
        found.append(
            "The last reading is far above what this lamp can give, so it is set aside. The time "
            "uses the readings before it."
        )
    if lamp.has_dropped:
        found.append(
            "The last reading is well below this lamp's trend. To be safe, the time uses it. "
            "Check the reflector, the window and the radiometer, then measure again."
        )
    elif lamp.origin == "last_reading":
        found.append("The time relies on the last reading alone. No decline has been measured yet.")
    if lamp.relamping is not None and lamp.relamping.is_due:
        found.append("The lamp has reached the level at which this room relamps.")
    if lamp.dark:
        found.append(f"No light at {places(lamp.dark)}. Put no part there.")
    elif lamp.uniformity is not None and lamp.uniformity < EVEN:
        found.append(
            f"The weakest position gets {100 * lamp.least_share:.0f} % of the mean. Keep parts "
            "away from it, or turn them."
        )
    return found


def _of_recipe(station: StationState, recipe: RecipeState) -> list[str]:
    found = []
    if (doubt := dose_oddity(recipe.dose_mj_cm2)) is not None:
        found.append(f"{doubt} Compare the recipe with the resin's data sheet.")
    if recipe.turn_half_way:
        found.append("Turn the part half way.")
    has, asked = station.chamber_temperature_c, recipe.temperature_c
    if asked is not None and has is None:
        found.append("The recipe asks for a temperature, but this chamber's is not known.")
    if has is not None and asked is not None and has > asked + TEMPERATURE_TOLERANCE_C:
        found.append("The chamber is hotter than the recipe asks for.")
    return found

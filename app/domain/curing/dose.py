"""Dose at the part, and how long to cure today on a station.

Dose is irradiance times time (mW/cm2 * s = mJ/cm2), so a lamp at half its output takes twice as
long for the same dose. Reciprocity fails at very low irradiance: a recipe may set the least.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from app.domain.curing.lamp import Lamp
from app.domain.curing.placement import Placement, Spot, placement
from app.domain.curing.plain import places, plain
from app.domain.curing.recipes import RecipeState, dose_oddity
from app.domain.curing.stations import StationState

WAVELENGTH_TOLERANCE_NM = 15.0  # common practice, no source: the width of an LED's peak
TEMPERATURE_TOLERANCE_C = 5.0  # common practice, no source
SHORTEST_S = (
    5.0  # common practice, no source: no timer or door is as quick, nor any chamber so strong
)
EVEN = 0.7  # weakest over strongest place; common practice, no source
NOT_MEASURED = (
    "Its output has never been measured. Read the radiometer at its marked positions first."
)
TURNING = (
    "It has a turntable, and only parts at its centre stay in their place. Choose the centre alone "
    "or the whole chamber."
)
AXIS = "centre"  # of a turntable; common practice, no source
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
        seconds: time in the light, so that the weakest place gets the dose 19 times of 20: that of
            the lower end of its 90 % interval, with what the meter may be off by.
        likely_seconds: time in which the weakest place gets the dose by the best estimate.
        factor: this time over the time on the new lamp.
        mw_cm2: mean output over the places today.
        placement: what each place gets.
    """

    refusals: tuple[str, ...]
    remarks: tuple[str, ...]
    seconds: float | None = None
    likely_seconds: float | None = None
    new_seconds: float | None = None
    factor: float | None = None
    mw_cm2: float | None = None
    dose_mj_cm2: float = 0.0
    placement: Placement = field(default_factory=Placement)

    @property
    def can(self) -> bool:
        """The station may be used for this recipe."""
        return not self.refusals

    @property
    def weakest(self) -> Spot | None:
        """The place that the time goes by."""
        return self.placement.weakest


def cure_today(
    station: StationState, lamp: Lamp, recipe: RecipeState, used: Sequence[str] | None = None
) -> CureToday:
    """The time today, by the weakest place in use, or why the station is refused.

    Args:
        used: the places that parts lie in; None or none of them: anywhere in the chamber.
    """
    map_today = placement(lamp, used)
    if map_today.spots and (found := _of_used(station, map_today)):
        return CureToday(tuple(found), (), dose_mj_cm2=recipe.dose_mj_cm2, placement=map_today)
    weakest = map_today.weakest
    if lamp.mw_cm2 is None or weakest is None:
        message = NOT_SURE if lamp.aside else NOT_MEASURED
        held = (held_words(station),) if station.hold.is_held else ()
        return CureToday((*held, message), (), dose_mj_cm2=recipe.dose_mj_cm2)
    seconds = seconds_for(recipe.dose_mj_cm2, weakest.low_mw_cm2)
    factor = lamp.new_mw_cm2 / lamp.mw_cm2 if lamp.new_mw_cm2 else None
    return CureToday(
        refusals=tuple(_refusals(station, weakest, recipe, lamp.mw_cm2)),
        remarks=tuple(_remarks(station, lamp, recipe)),
        seconds=seconds,
        likely_seconds=seconds_for(recipe.dose_mj_cm2, weakest.mw_cm2),
        new_seconds=seconds / factor if factor else None,
        factor=factor,
        mw_cm2=lamp.mw_cm2,
        dose_mj_cm2=recipe.dose_mj_cm2,
        placement=map_today,
    )


def _of_used(station: StationState, map_today: Placement) -> list[str]:
    """Why no cure can be timed for the places that parts are said to lie in."""
    found = [held_words(station)] if station.hold.is_held else []
    if station.has_turntable and set(map_today.used) - {AXIS}:
        return [*found, TURNING]
    if map_today.unknown:
        where = places(map_today.unknown)
        return [
            *found,
            f"Nobody has measured the light at {where}. Read the radiometer there, or choose other "
            "places.",
        ]
    if map_today.used_dark:
        return [*found, f"No light at {places(map_today.used_dark)}. Put no part there."]
    return []


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
    station: StationState, weakest: Spot, recipe: RecipeState, mean_mw_cm2: float
) -> list[str]:
    seconds = seconds_for(recipe.dose_mj_cm2, weakest.low_mw_cm2)
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
    if recipe.least_mw_cm2 and weakest.mw_cm2 < recipe.least_mw_cm2:
        found.append(
            f"It gives {plain(weakest.mw_cm2)} mW/cm² today at its weakest place, "
            f"{places([weakest.place])}. The recipe asks for {plain(recipe.least_mw_cm2)} or more. "
            "Below that, a longer time does not make up for it."
        )
    if seconds_for(recipe.dose_mj_cm2, mean_mw_cm2) < SHORTEST_S:
        found.append(
            f"The dose of {plain(recipe.dose_mj_cm2)} mJ/cm² would take less than "
            f"{SHORTEST_S:.0f} seconds here. No cure is that short. Check the recipe: 1 J/cm² is "
            "1,000 mJ/cm²."
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
    return [*_of_single(station), *_of_lamp(lamp), *_of_places(lamp), *_of_recipe(station, recipe)]


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
    return found


def _of_places(lamp: Lamp) -> list[str]:
    found = []
    if lamp.dark:
        found.append(f"No light at {places(lamp.dark)}. Put no part there.")
    elif lamp.uniformity is not None and lamp.uniformity < EVEN:
        found.append(
            f"The light is uneven. The weakest place gets {100 * lamp.least_share:.0f} % of the "
            "mean. The time is long enough for it, so other places get more. Turn the parts "
            "halfway."
        )
    return found


def _of_recipe(station: StationState, recipe: RecipeState) -> list[str]:
    found = []
    if (doubt := dose_oddity(recipe.dose_mj_cm2)) is not None:
        found.append(f"{doubt} Compare the recipe with the resin's data sheet.")
    if recipe.turn_half_way:
        found.append("Turn the part halfway.")
    has, asked = station.chamber_temperature_c, recipe.temperature_c
    if asked is not None and has is None:
        found.append("The recipe asks for a temperature, but this chamber's is not known.")
    if has is not None and asked is not None and has > asked + TEMPERATURE_TOLERANCE_C:
        found.append("The chamber is hotter than the recipe asks for.")
    return found

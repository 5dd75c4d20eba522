"""What is odd about an entry of curing, and asked about before a page stores it.

The question is a courtesy. That nothing odd rules a cure unasked is seen to in the domain: a
reading that a lamp can hardly give is set aside there (`domain/curing/trust`), and a dose that no
timer can set is refused (`domain/curing/dose`), whichever way they came in.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.domain.curing.dose import SHORTEST_S, seconds_for
from app.domain.curing.lamp import lamp
from app.domain.curing.plain import places, plain
from app.domain.curing.recipes import (
    RecipeState,
    dose_oddity,
    far_from_others,
    far_from_present,
    recipe_after,
)
from app.domain.curing.stations import OutputReading, StationState
from app.domain.curing.trust import (
    FAR,
    HIGH,
    USUAL_MW_CM2,
    Aside,
    Expected,
    course_of,
    with_reading,
)
from app.domain.roomlog.kinds.curing import (
    Cure,
    CureRecipe,
    Irradiance,
    Relamped,
    Station,
    StationChanged,
)
from app.services.curing.stations import find_station, recipes, stations, with_figures

DOSE_TOLERANCE = 0.1  # common practice, no source
SHORT_TOLERANCE = 0.02  # the steps of a timer; the time proposed has its reserve in it already
SHORT_S, LONG_S = 30.0, 2 * 3600.0  # of a cure; common practice, no source
J_IN_MJ = 1000.0


@dataclass(frozen=True)
class ReadingDoubt:
    """A reading that would be set aside, or is unlike the other stations' of the room.

    Attributes:
        aside: against what, and whether a second reading can settle it.
        is_set_aside: it would be; otherwise it counts, and is the first of its station.
        units: units in which the same figures would be plausible, each with its mean in mW/cm2.
    """

    aside: Aside
    units: Mapping[str, float]
    is_set_aside: bool = True


@dataclass(frozen=True)
class RecipeDoubt:
    """A recipe that is odd.

    Attributes:
        texts: why.
        dose_mj_cm2: what it would be in J/cm2, where that is plausible.
    """

    texts: tuple[str, ...]
    dose_mj_cm2: float | None = None


def cure_doubts(session: Session, room_id: int, cure: Cure) -> tuple[str, ...]:
    """What is odd about a cure: a dose that is not the recipe's."""
    full = with_figures(session, room_id, cure)
    found = []
    station = find_station(session, room_id, cure.station)
    if cure.minutes > station.longest_minutes:
        found.append(f"The longest exposure here is {station.longest_minutes:g} min.")
    given, asked = full.weakest_dose_mj_cm2, full.dose_asked_mj_cm2
    if given is not None and asked and not _is_dose(given, asked):
        found.append(
            f"In this time the weakest place, {places([full.weakest_place or ''])}, gets at least "
            f"{plain(given)} mJ/cm², but the recipe asks for {plain(asked)}."
        )
    return tuple(found)


def _is_dose(given: float, asked: float) -> bool:
    """The weakest place gets what is asked for, but for the steps of a timer."""
    return 1 - SHORT_TOLERANCE <= given / asked <= 1 + DOSE_TOLERANCE


def reading_doubt(
    station: StationState,
    entry: Irradiance,
    scales: Mapping[str, float],
    others: Sequence[float] = (),
) -> ReadingDoubt | None:
    """Whether a reading would be set aside; None where it counts, or is of a lamp before this one.

    Args:
        scales: by what its figures are multiplied were they in another unit, by unit.
        others: outputs of the room's other stations, in mW/cm2: all that a station's very first
            reading can be compared with.
    """
    since = station.lamp_since_at
    if since is not None and entry.at < since:
        return None
    hours_h = station.hours_h if entry.hours_h is None else entry.hours_h

    def scaled(factor: float) -> OutputReading:
        spots = {place: factor * value for place, value in entry.at_positions.items()}
        return OutputReading(entry.at, hours_h, spots, entry.by, "", entry.radiometer or "")

    is_first = not station.readings and station.former_new_mw_cm2 is None
    beside = others if is_first and station.new_mw_cm2 is None else ()

    def doubt(reading: OutputReading) -> Aside | None:
        return with_reading(station, reading) or _unlike(reading, beside)

    aside = doubt(scaled(1.0))
    if aside is None:
        return None
    fitting = {
        unit: reading.mean_mw_cm2
        for unit, factor in scales.items()
        if doubt(reading := scaled(factor)) is None
    }
    return ReadingDoubt(aside, fitting, with_reading(station, scaled(1.0)) is not None)


def _unlike(reading: OutputReading, others: Sequence[float]) -> Aside | None:
    """How a reading differs from the nearest of other stations, where by more than units may."""
    if not others:
        return None
    mean = reading.mean_mw_cm2
    near = min(others, key=lambda output: abs(math.log(output / mean)))
    expected = Expected(near, near / FAR, near * FAR)
    is_like = expected.low_mw_cm2 <= mean <= expected.high_mw_cm2
    return None if is_like else Aside(reading, expected)


def new_output_doubts(
    state: StationState | None, entry: Station | StationChanged | Relamped
) -> tuple[str, ...]:
    """What is odd about an output when new: unlike any chamber's, or what was measured here."""
    new = entry.new_mw_cm2
    if new is None:
        return ()
    low, high = USUAL_MW_CM2
    found = []
    if not low <= new <= high:
        found.append(
            f"An output of {plain(new)} mW/cm² when new is unusual ({low:g} to {high:g} mW/cm² at "
            "the parts, common practice). 10 W/m² is 1 mW/cm²."
        )
    if state is None:
        return tuple(found)
    course = course_of(state)
    if isinstance(entry, Relamped):
        before = course.new_mw_cm2
        if before is not None and not 0.5 <= new / before <= 2:
            found.append(f"The lamp before it gave {plain(before)} mW/cm² when new.")
    elif course.counting:
        best = max(one.mean_mw_cm2 for one in course.counting)
        if best > HIGH * new:
            found.append(f"{plain(best)} mW/cm² was measured here, more than you say it ever had.")
        elif best < 0.5 * new:
            found.append(f"The most that was measured with this lamp is {plain(best)} mW/cm².")
    return tuple(found)


def recipe_doubt(
    session: Session, room_id: int, entry: CureRecipe, names: Mapping[str, str], now: datetime
) -> RecipeDoubt | None:
    """What is odd about a recipe's dose: by itself, beside the others, and by the time it takes."""
    recipe: RecipeState = recipe_after(RecipeState(entry.resin), entry)
    known = recipes(session, room_id)
    others = {
        names.get(key, key): one.dose_mj_cm2
        for key, one in known.items()
        if key != entry.resin and one.dose_mj_cm2 > 0
    }
    outputs = {
        station.name: output
        for station in stations(session, room_id, only_open=True)
        if (output := lamp(station, now).mw_cm2) is not None
    }
    present = known.get(entry.resin)
    texts = _odd(recipe.dose_mj_cm2, others, outputs)
    if present is not None and (jump := far_from_present(recipe.dose_mj_cm2, present.dose_mj_cm2)):
        texts = (jump, *texts)
    if not texts:
        return None
    meant = J_IN_MJ * recipe.dose_mj_cm2
    is_likely = entry.dose_mj_cm2 is not None and not _odd(meant, others, outputs)
    return RecipeDoubt(texts, meant if is_likely else None)


def _odd(
    dose_mj_cm2: float, others: Mapping[str, float], outputs: Mapping[str, float]
) -> tuple[str, ...]:
    found = [dose_oddity(dose_mj_cm2), far_from_others(dose_mj_cm2, others)]
    times = {name: seconds_for(dose_mj_cm2, output) for name, output in outputs.items()}
    if times:
        found += [_too_short(times), _too_long(times)]
    return tuple(text for text in found if text is not None)


def _too_short(times: Mapping[str, float]) -> str | None:
    name = max(times, key=lambda key: times[key])
    if times[name] >= SHORT_S:
        return None
    refused = ", and nothing cures that fast" if times[name] < SHORTEST_S else ""
    return f"It would be done within {times[name]:.2g} s on {name}, the slowest here{refused}."


def _too_long(times: Mapping[str, float]) -> str | None:
    name = min(times, key=lambda key: times[key])
    if times[name] <= LONG_S:
        return None
    return f"It would take {times[name] / 3600:.1f} h on {name}, the quickest here."

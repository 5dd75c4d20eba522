"""What the filter knows of each instrument: its slow error, its scatter, how often it slips.

Nothing is estimated here a second time: the bias is the filter's own, and scatter and slips are
counted from what the filter foretold of each reading and how far it believed it.
"""

import math
from dataclasses import dataclass
from datetime import datetime

from app.domain.baths.estimator.contradictions import (
    BEFORE,
    CHANNEL,
    DAY,
    PERCENT,
    REMEMBERED_DAYS,
)
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.mixture import glance
from app.domain.baths.estimator.results import Passport
from app.domain.baths.estimator.roomstate import RoomState, moment_of
from app.domain.baths.estimator.shared import HYDROMETER
from app.domain.baths.estimator.sightings import shared_column
from app.domain.instruments import INSTRUMENTS
from app.domain.solvents import solvent

Z90 = 1.6448536269514722  # 95 % quantile of the normal distribution
FEWEST_SEEN = 8.0  # readings before their scatter is told; common practice, no source
SLIP_ABOVE = 0.5
OUTLYING_SD = 4.0
MOST_FORESEEN = 0.75  # of what was missed, squared
ROOM_BIAS = "hydrometer"  # the slow error that the baths of a room share
OFF_PERCENT = 0.5  # beyond it an instrument is called off
OFF_ABOVE, OFF_UNTIL = 0.9, 0.5
FEWEST_TANKS = 2
MOVED_PERCENT = 0.5  # what was dismissed is said again where the bias has moved so far


@dataclass(frozen=True, slots=True)
class Missed:
    """How far a reading lay from what was foretold, mass percent.

    Attributes:
        foreseen: variance of what was foretold; `noise` that of the reading beside it.
    """

    percent: float
    foreseen: float
    noise: float


@dataclass(slots=True)
class Kept:
    """What is kept of one instrument.

    Attributes:
        readings: that were taken.
        slips: their chances of a slip, added up.
        squares, foreseen: of the readings that were as foretold but for noise, what each missed
            by, squared, and the variance of it that the estimate itself brought; `weight` how many
            these are, each by the chance that it is no slip.
        first_on, last_on: days since 1970.
        off_on: since when the bias is sure to lie on its side of nothing; None while it does not.
        dismissed_percent: the bias at which a person left it as it is.
        is_called_off: it was called off, and its bias has been likely beyond what is usual since.
    """

    readings: int = 0
    slips: float = 0.0
    squares: float = 0.0
    foreseen: float = 0.0
    weight: float = 0.0
    first_on: float | None = None
    last_on: float | None = None
    off_on: float | None = None
    dismissed_percent: float | None = None
    is_called_off: bool = False

    def take(self, day: float, missed: Missed, slip: float) -> None:
        """A reading: on which day, how far it lay from what was foretold, its chance of a slip."""
        self.readings += 1
        self.slips += slip
        self.first_on = day if self.first_on is None else self.first_on
        self.last_on = day
        sd = math.sqrt(missed.foreseen + missed.noise)
        if slip > SLIP_ABOVE or abs(missed.percent) > OUTLYING_SD * sd:
            return  # something happened: it says nothing of the noise
        self.squares += (1 - slip) * missed.percent**2
        self.foreseen += (1 - slip) * missed.foreseen
        self.weight += 1 - slip

    def watch(self, day: float, mean: float, sd: float) -> None:
        """Since when the bias is sure."""
        if abs(mean) > Z90 * sd:
            self.off_on = day if self.off_on is None else self.off_on
        elif abs(mean) < sd:
            self.off_on = None

    def scatter_percent(self) -> float | None:
        """Standard deviation of a reading, from what the filter missed by.

        The mean square of the innovations less their variance without the reading's own noise
        (R. K. Mehra, IEEE Trans. Automatic Control 15, 175 (1970); from memory). None of too few,
        and where the estimate itself was too wide to see the reading's noise.
        """
        if self.weight < FEWEST_SEEN or self.foreseen > MOST_FORESEEN * self.squares:
            return None
        return math.sqrt((self.squares - self.foreseen) / self.weight)

    def most_percent(self) -> float | None:
        """What the readings missed the foretold figure by, root mean square: their scatter and the
        estimate's together, so the scatter is no more. None of too few."""
        return math.sqrt(self.squares / self.weight) if self.weight >= FEWEST_SEEN else None


def key_of(channel: str, tank: str) -> str:
    """One instrument of the room, or of its tank where it is built in."""
    return f"{channel} {tank}" if INSTRUMENTS[channel].reads_itself else channel


def note(
    room: RoomState, facts: TankFacts, reading: tuple[str, str, float], missed: Missed,
    slip: float,
) -> None:  # fmt: skip
    """Keep a reading (channel, tank, day) by what it missed the foretold figure by, and by its
    chance of a slip."""
    channel, tank, day = reading
    kept = room.passports.setdefault(key_of(channel, tank), Kept())
    kept.take(day, missed, slip)
    bias = bias_of(room, channel, tank, facts)
    if bias is not None:
        kept.watch(day, *bias)
    if channel == ROOM_BIAS:
        kept.is_called_off = bool(_tanks_off(room, kept, day))


def bias_of(
    room: RoomState, channel: str, tank: str, facts: TankFacts
) -> tuple[float, float] | None:
    """Mean and sd of an instrument's bias, mass percent; None where none is followed."""
    shared, column = room.shared, shared_column(room, channel, facts)
    if column is not None:
        return float(shared.mean[column]), math.sqrt(shared.covariance[column, column])
    if INSTRUMENTS[channel].bias is None:
        return None
    bath = room.baths[tank]
    return glance(bath, bath.joint(room.shared), room.liquid(facts).volume_weights).sensor_bias


def off_chance(room: RoomState) -> float:
    """How likely the bias that the room's baths share lies beyond what is usual, on its side."""
    mean, variance = room.shared.mean[HYDROMETER], room.shared.covariance[HYDROMETER, HYDROMETER]
    beyond = (OFF_PERCENT - abs(float(mean))) / math.sqrt(2 * float(variance))
    return 0.5 * math.erfc(beyond)


def tanks_off(room: RoomState, day: float) -> tuple[str, ...]:
    """The tanks whose late readings that bias explains; none unless it explains several at once.

    What was called off stays so while that is likelier than not: a fill that was not read yet, or
    one reading, says nothing against it.
    """
    kept = room.passports.get(ROOM_BIAS)
    if kept is None:
        return ()
    mean = float(room.shared.mean[HYDROMETER])
    if kept.dismissed_percent is not None and abs(mean - kept.dismissed_percent) < MOVED_PERCENT:
        return ()
    return _tanks_off(room, kept, day)


def _tanks_off(room: RoomState, kept: Kept, day: float) -> tuple[str, ...]:
    mean, least = float(room.shared.mean[HYDROMETER]), OFF_ABOVE
    if kept.is_called_off:
        least = OFF_UNTIL
    if off_chance(room) <= least:
        return ()
    found = tuple(
        tank
        for tank, facts in room.tanks.items()
        if _is_explained(facts, mean, day, kept.is_called_off)
    )
    return found if len(found) >= FEWEST_TANKS else ()


def _is_explained(facts: TankFacts, mean: float, day: float, is_called_off: bool) -> bool:
    off = [
        one[PERCENT] - one[BEFORE]
        for one in facts.recent
        if one[CHANNEL] == ROOM_BIAS and day - one[DAY] <= REMEMBERED_DAYS
    ]
    if not off:
        return is_called_off and facts.last_reading_at is not None and not facts.is_retired
    explained = float(sum(off)) / len(off) / mean
    return explained > (0.0 if is_called_off else 0.5)


def passports(room: RoomState) -> tuple[Passport, ...]:
    """Of every instrument that was read, in the order of the forms."""
    found = []
    for key, kept in room.passports.items():
        channel, _, tank = key.partition(" ")
        if channel not in INSTRUMENTS or (tank and tank not in room.tanks):
            continue
        found.append(_passport(room, channel, tank, kept))
    return tuple(sorted(found, key=lambda one: (INSTRUMENTS[one.channel].place, one.tank or "")))


def _passport(room: RoomState, channel: str, tank: str, kept: Kept) -> Passport:
    settings, instrument = room.settings, INSTRUMENTS[channel]
    usual = settings.slip_chance * (settings.sensor_slip_share if instrument.reads_itself else 1)
    memory = settings.slip_memory
    place = tank or next(iter(room.tanks))
    return Passport(
        channel=channel,
        tank=tank or None,
        bias=bias_of(room, channel, place, room.tanks[place]),
        in_tanks=_in_tanks(room) if instrument.bias == ROOM_BIAS else (),
        off_since=_moment(kept.off_on),
        scatter_percent=getattr(settings, f"{channel}_sd_percent", instrument.filter_sd_percent),
        calibrated_scatter_percent=_calibrated(room, channel),
        scatter_seen_percent=kept.scatter_percent(),
        scatter_at_most_percent=kept.most_percent(),
        readings=kept.readings,
        slips=kept.slips,
        slip_chance=(memory * usual + kept.slips) / (memory + kept.readings),
        first_at=_moment(kept.first_on),
        last_at=_moment(kept.last_on),
    )


def _calibrated(room: RoomState, channel: str) -> float | None:
    """The scatter in solvents that the room has calibrated it for."""
    is_used = any(solvent(facts.solvent).key in room.points for facts in room.tanks.values())
    return (
        room.settings.calibrated_sd_percent
        if INSTRUMENTS[channel].is_calibrated and is_used
        else None
    )


def _in_tanks(room: RoomState) -> tuple[tuple[str, float, float], ...]:
    """The bias as each bath shows it: the room's and what the bath adds; tank, mean, sd."""
    found = []
    for tank, facts in room.tanks.items():
        if facts.is_retired:
            continue
        bath = room.baths[tank]
        seen = glance(bath, bath.joint(room.shared), room.liquid(facts).volume_weights)
        found.append((tank, *seen.hydrometer_bias))
    return tuple(found)


def _moment(day: float | None) -> datetime | None:
    return None if day is None else moment_of(day)

"""Days with usual work and no wash in the log: a pause, or washes that nobody logged?"""

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from app.domain.baths.estimator.bath import RESIN, Bath, Joint
from app.domain.baths.estimator.contradictions import is_contradicted, other_shift_percent
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.roomstate import DAY_S, RoomState
from app.domain.baths.estimator.shared import Array
from app.domain.baths.habits import Habits

LONGEST_SILENCE_DAYS = 60
YOUNG_DAYS = 3.0
ONE_DAY = timedelta(days=1)
FIRST_OF_1970 = date(1970, 1, 1).toordinal()
DOUBT_PERCENT = 0.5
SILENCE_COUNTS = 0.02  # from this chance on the silence tells how much is missing


@dataclass(frozen=True, slots=True)
class Silence:
    """Days with usual work and no wash in the log.

    Attributes:
        chance: that washes since the last reading were not logged.
        chance_again: the same, where such washes came to light in this silence already.
        since: day since 1970 of its beginning.
        load_g: resin that the washes would have brought in.
    """

    chance: float
    chance_again: float
    since: float
    load_g: float

    def chances(self, jumped_on: Array) -> Array:
        """Under each hypothesis, by the day on which unlogged washes last came to light."""
        return np.where(jumped_on >= self.since, self.chance_again, self.chance)


def silence_of(room: RoomState, tank: str, at: datetime, is_read: bool = True) -> Silence:
    """The longest silence of a tank's log that reaches past the last reading and the last fill.

    Before a reading `is_read` is False: nobody has looked since the last entry, so days after it
    say nothing.
    """
    facts, habits, settings = room.tanks[tank], room.habits[tank], room.settings
    until = at
    if not is_read and facts.last_entry_at is not None:
        until = min(at, facts.last_entry_at + ONE_DAY)
    first, washes, hidden = _longest(habits, facts, until)
    is_attended = _is_attended(habits, facts, at)
    most = settings.attended_silence_chance if is_attended else settings.silence_chance
    likely = 1 / (1 + math.exp(settings.silence_washes - washes)) if hidden > 0 else 0.0
    load_g = hidden * facts.wash_g
    if likely * most <= SILENCE_COUNTS:
        load_g = settings.jump_days * _load_g_per_day(room, facts, at)
    again = likely * settings.silence_again_chance
    return Silence(likely * most, again, first - FIRST_OF_1970, load_g)


def _is_attended(habits: Habits, facts: TankFacts, at: datetime) -> bool:
    """A day after the last wash has ended on which something else was logged: people are there.

    Today's other entries say nothing yet: a bath is topped up and read before work is resumed.
    """
    entries = (facts.last_entry_at, facts.entry_of_day_before_at)
    if facts.last_wash_at is None:
        return False
    days = [habits.day_of(entry_at) for entry_at in entries if entry_at is not None]
    # A fill ends what was before it: a swap on the way into a pause is no sign of work.
    since = habits.day_of(max(facts.last_wash_at, facts.fill_started_at))
    return any(since < day < habits.day_of(at) for day in days)


def supposing(
    room: RoomState, tank: str, bath: Bath, joint: Joint, at: datetime
) -> tuple[Bath, Joint]:
    """The bath with the supposition beside each hypothesis that washes are not being logged, as
    the next reading will weigh it; the bath as it is where the log gives no cause for it.

    A silence in which nothing at all is logged passes for a pause until a reading.
    """
    if not room.settings.is_mixture:
        return bath, joint
    if _is_attended(room.habits[tank], room.tanks[tank], at):
        silence = silence_of(room, tank, at, is_read=False)
        chance = silence.chances(bath.jumped_on)
        if chance.max() > SILENCE_COUNTS:
            jump = jump_percent(room, silence.load_g, bath)
            bath, joint = _beside(bath, joint, chance, jump, jump)
    return bath, joint


def doubting(room: RoomState, facts: TankFacts, bath: Bath, joint: Joint) -> tuple[Bath, Joint]:
    """Where readings do not belong to one bath, those that were set aside may be the right ones."""
    if not is_contradicted(facts, bath.day):
        return bath, joint
    shift = other_shift_percent(facts, bath.day)
    chance = np.full(len(joint.weight), room.settings.contradicted_chance)
    return _beside(bath, joint, chance, shift, DOUBT_PERCENT)


def _beside(
    bath: Bath, joint: Joint, chance: Array, shift_percent: float, sd_percent: float
) -> tuple[Bath, Joint]:
    """Each hypothesis, and beside it one that holds so much more resin."""
    liquid_g = bath.means(joint)[:, :2].sum(1)
    count = len(joint.weight)
    both = bath.copy()
    both.offset, both.slope, both.spread = (
        np.concatenate([part, part]) for part in (bath.offset, bath.slope, bath.spread)
    )
    both.jumped_on = np.concatenate([bath.jumped_on, bath.jumped_on])
    both.offset[count:, RESIN] += shift_percent / 100 * liquid_g
    both.spread[count:, RESIN, RESIN] += (sd_percent / 100 * liquid_g) ** 2
    return both, Joint(
        np.concatenate([joint.mean, joint.mean]),
        np.concatenate([joint.covariance, joint.covariance]),
        np.concatenate([(1 - chance) * joint.weight, chance * joint.weight]),
    )


def _longest(habits: Habits, facts: TankFacts, at: datetime) -> tuple[int, float, float]:
    """First day of the longest silence (a proleptic ordinal), how many washes it would usually
    hold, and how many of these since the last reading.

    What is usual on a day is the mean of that weekday in the eight weeks before. A silence in
    which a reading falls is reckoned from its beginning.
    """
    today = habits.day_of(at)
    read_on = max(
        habits.day_of(max(facts.last_reading_at or facts.fill_started_at, facts.fill_started_at)),
        today - LONGEST_SILENCE_DAYS,
    )
    day = read_on + 1
    earliest = max(today - LONGEST_SILENCE_DAYS, habits.day_of(facts.fill_started_at))
    while day - 1 > earliest and not habits.washes_on.get(day - 1):
        day -= 1
    first, run, hidden = day, 0.0, 0.0
    longest = (day, 0.0, 0.0)
    for day in range(first, today):
        if habits.washes_on.get(day):
            first, run, hidden = day + 1, 0.0, 0.0
            continue
        usual = _usual_washes(habits, day)
        run += usual
        hidden += usual if day > read_on else 0.0
        longest = max(longest, (first, run, hidden), key=lambda silence: silence[1])
    return longest


def _usual_washes(habits: Habits, day: int) -> float:
    first_day = day if habits.first_day is None else habits.first_day
    weeks = [day - 7 * back for back in range(1, 9) if day - 7 * back >= first_day]
    return sum(habits.washes_on.get(past, 0) for past in weeks) / len(weeks) if weeks else 0.0


def jump_percent(room: RoomState, load_g: float, bath: Bath) -> float:
    """Resin that nobody logged, as a share of the bath's liquid, held within what is sensible."""
    joint = bath.joint(room.shared)
    liquid_g = float((joint.weight @ bath.means(joint))[:2].sum())
    percent = 100 * load_g / max(liquid_g, 1.0)
    return min(max(percent, room.settings.least_jump_percent), room.settings.most_jump_percent)


def _load_g_per_day(room: RoomState, facts: TankFacts, at: datetime) -> float:
    """Resin that logged washes brought in lately, a day; less of it the longer none was logged."""
    if facts.load_since is None:
        return 0.0
    memory_days = room.settings.load_memory_days
    silent_days = max((at - facts.load_since).total_seconds() / DAY_S, 0.0)
    load_g = facts.load_g_per_day * math.exp(-silent_days / memory_days)
    if facts.fill == 0:  # a young log has not seen its usual load yet
        age_days = max((at - facts.fill_started_at).total_seconds() / DAY_S, YOUNG_DAYS)
        load_g /= -math.expm1(-age_days / memory_days)
    return load_g

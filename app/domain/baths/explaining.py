"""What may lie behind a bath's readings, in one sentence, and the entry that would put it right."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from typing import Any

from app.domain.baths.estimator import Explanation, Sight
from app.domain.calendar_words import MONTHS, WEEKDAYS
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.kinds import Reading, Swap, TankChange, TopUp, Wash

SURE = 0.95
MOST_PERCENT = 99
AGREE_WITHIN_PERCENT = 1.0
NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
CLAIMS = {
    "slip": "it is {sure} wrong",
    "wrong_tank": "it is {sure} wrong here, and most likely from {other}",
    "washes_missing": "washes were {sure} not logged",
    "swap_missing": "a swap was {sure} not logged",
    "top_up_missing": "a top-up was {sure} not logged",
    "wrong_entry": "its size is {sure} wrong",
    "fill_not_fresh": "the fill was {sure} not fresh",
    "instrument_off": "the instrument is {sure} off",
    "pair_untold": "they are {sure} rinses, and count as such",
}
SHORT = {
    "slip": "The last reading is {sure} wrong",
    "wrong_tank": "The last reading is {sure} wrong here, and most likely from {other}",
    "washes_missing": "Washes were {sure} not logged",
    "swap_missing": "A swap was {sure} not logged",
    "top_up_missing": "A top-up was {sure} not logged",
    "wrong_entry": "The size of a wash is {sure} wrong",
    "fill_not_fresh": "The fill was {sure} not fresh",
    "instrument_off": "It is {sure} off. The figures allow for it; check it",
    "pair_untold": "Parts from {other} are {sure} rinsed here",
}
NOT_ONE_BATH = "These readings are not all from one bath"
ACTS = {
    "slip": "Take a second reading",
    "wrong_tank": "Move it to {other}",
    "washes_missing": "Log the washes",
    "swap_missing": "Log the swap",
    "top_up_missing": "Log the top-up",
    "wrong_entry": "Correct the wash",
    "fill_not_fresh": "Take a second reading",
    "not_one_bath": "Take a residue test",
    "instrument_off": "Check it with a residue test",
    "pair_untold": "Make it the clean bath of {other}",
}
WITHOUT_RESIDUE = {
    "not_one_bath": "Take another reading",
    "instrument_off": "Take another reading",
}


@dataclass(frozen=True)
class Remedy:
    """The entry that would put it right, as far as it is known; a person checks and stores it.

    Attributes:
        text: what to do, in words.
        kind: of the entry.
        fields: values that are known, SI units in their names.
        at: when it happened, where that is known.
        corrects: id of the entry that it would replace.
    """

    text: str
    kind: str
    fields: Mapping[str, Any] = field(default_factory=dict)
    at: datetime | None = None
    corrects: str | None = None


@dataclass(frozen=True)
class Said:
    """An explanation as it is said.

    Attributes:
        sentence: with evidence and chance; `short` without the evidence.
        entry: id of the entry that it is about.
    """

    name: str
    chance: float | None
    sentence: str
    short: str
    act: Remedy
    entry: str | None
    since: datetime | None
    readings: tuple[Sight, ...]


@dataclass(frozen=True)
class Beside:
    """What is known beside an explanation.

    Attributes:
        tank: its key; `names` those of the room's tanks by key.
        zone: whose days the sentence names.
        loads: time and resin in grams of each wash in the stretch in which something was missed.
        liquid_g: what the bath holds.
        heel_share: of a bath that stays in a swap.
        stored: fields of the entry that the explanation is about, by name; `stored_at` its time.
        dries: the solvent evaporates in the open, so that a residue test can be taken.
    """

    tank: str
    names: Mapping[str, str]
    zone: tzinfo
    loads: Sequence[tuple[datetime, float]] = ()
    liquid_g: float = 0.0
    heel_share: float = 0.0
    stored: Mapping[str, Any] = field(default_factory=dict)
    stored_at: datetime | None = None
    dries: bool = True


def said(told: Explanation, beside: Beside) -> Said:
    """The explanation in words, with what would put it right."""
    other = beside.names.get(told.other_tank or "", told.other_tank or "")
    sure = "almost surely" if (told.chance or 0.0) >= SURE else "probably"
    if told.name == "not_one_bath":
        short, sentence = f"{NOT_ONE_BATH}.", _contradiction(told, beside.zone)
    else:
        chance = f"({chance_words(told.chance or 0.0)})"
        short = f"{SHORT[told.name].format(sure=sure, other=other)} {chance}."
        claim = CLAIMS[told.name].format(sure=sure, other=other)
        sentence = f"{_evidence(told, beside)}: {claim} {chance}."
    if told.name == "instrument_off":
        sentence += " The figures allow for it."
    what = ACTS if beside.dries else {**ACTS, **WITHOUT_RESIDUE}
    act = _act(told, beside, what[told.name].format(other=other))
    return Said(told.name, told.chance, sentence, short, act, told.entry, told.since, told.readings)


def chance_words(chance: float) -> str:
    """A chance in whole percent, never quite certain.

    >>> chance_words(0.8712)
    '87 %'
    >>> chance_words(0.9999)
    '99 %'
    """
    return f"{min(round(100 * chance), MOST_PERCENT)} %"


def probable_swap_at(
    start: datetime, end: datetime, loads: Sequence[tuple[datetime, float]], since_g: float
) -> datetime:
    """When a bath was probably changed between two readings, to the minute.

    Counted back from the second reading: the washes that brought in what the fresh bath held then,
    `since_g` grams, came after the swap. Midway between the last wash before it and the first
    after it.
    """
    after, before = end, start
    left_g = since_g
    for at, grams in sorted(loads, reverse=True):
        if left_g < grams / 2:
            before = max(at, start)
            break
        left_g -= grams
        after = at
    middle = (before + (after - before) / 2).replace(second=0, microsecond=0)
    return middle if start < middle < end else start + (end - start) / 2


def _evidence(told: Explanation, beside: Beside) -> str:
    """What speaks for it."""
    if told.name == "wrong_entry":
        when = f"The wash of {_moment(told.since, beside.zone)}" if told.since else "A wash"
        return f"{when} is about {told.factor or 10.0:.0f} times as large as others here"
    if told.name == "instrument_off":
        return _bias(told, beside)
    if told.name == "pair_untold":
        other = beside.names.get(told.other_tank or "", told.other_tank or "")
        return f"The loads logged here were washed in {other} shortly before"
    if not told.readings:
        return "The reading of the fresh solvent shows more than fresh solvent does"
    first = told.readings[0]
    if len(told.readings) == 1:
        name = INSTRUMENTS[first.channel].name.lower()
        return (
            f"The {name} of {_day(first.at, beside.zone)} shows {first.percent:.1f} %, but the "
            f"log says {first.before_percent:.1f} %"
        )
    figures = [one.percent for one in told.readings]
    span = f"read {min(figures):.1f} to {max(figures):.1f} %"
    if max(figures) - min(figures) <= AGREE_WITHIN_PERCENT:
        span = f"agree on {sum(figures) / len(figures):.1f} %"
    return (
        f"{_counted(told.readings)} since {_day(first.at, beside.zone)} {span}, but the log said "
        f"{first.before_percent:.1f} %"
    )


def _bias(told: Explanation, beside: Beside) -> str:
    mean, sd = told.bias or (0.0, 0.0)
    names = [beside.names.get(tank, tank) for tank in told.tanks]
    listed = f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)
    side = "high" if mean > 0 else "low"
    return f"The hydrometer reads {abs(mean):.1f} ± {1.645 * sd:.1f} % too {side} in {listed}"


def _contradiction(told: Explanation, zone: tzinfo) -> str:
    figures = [f"{one.percent:.1f}" for one in told.readings]
    shown = f"{', '.join(figures[:-1])} and {figures[-1]} %" if len(figures) > 1 else ""
    since = f" since {_day(told.readings[0].at, zone)}" if told.readings else ""
    return (
        f"{NOT_ONE_BATH}: {shown}{since}. Check which tank each one came from, then take one more "
        "from this tank."
    )


def _counted(readings: Sequence[Sight]) -> str:
    """How many readings of what kind."""
    number = NUMBERS[len(readings)] if len(readings) < len(NUMBERS) else str(len(readings))
    kinds = {one.channel for one in readings}
    if len(kinds) > 1:
        return f"{number.capitalize()} readings"
    name = INSTRUMENTS[kinds.pop()].name.lower()
    return (
        f"{number.capitalize()} {name}s"
        if name.endswith("test")
        else (f"{number.capitalize()} {name} readings")
    )


def _act(told: Explanation, beside: Beside, text: str) -> Remedy:
    residue = "residue" if beside.dries else told.readings[-1].channel if told.readings else ""
    again = told.readings[-1].channel if told.readings else residue
    here = {"tank": beside.tank}
    acts = {
        "swap_missing": lambda: Remedy(text, Swap.kind, here, _swap_at(told, beside)),
        "top_up_missing": lambda: Remedy(
            text, TopUp.kind,
            {**here, "volume_l": round(max(told.to_mark_l, 0.1), 1), "to_mark": True},
            _midway(told),
        ),
        "washes_missing": lambda: Remedy(text, Wash.kind, here, _midway(told)),
        "wrong_entry": lambda: Remedy(
            text, Wash.kind, _meant(told, beside), beside.stored_at, told.entry
        ),
        "wrong_tank": lambda: Remedy(
            text, Reading.kind, {**beside.stored, "tank": told.other_tank}, beside.stored_at,
            told.entry,
        ),
        "slip": lambda: Remedy(text, Reading.kind, {**here, "method": again}),
        "fill_not_fresh": lambda: Remedy(text, Reading.kind, {**here, "method": again}),
        "not_one_bath": lambda: Remedy(text, Reading.kind, {**here, "method": residue}),
        "instrument_off": lambda: Remedy(text, Reading.kind, {**here, "method": residue}),
        "pair_untold": lambda: Remedy(
            text, TankChange.kind, {"tank": told.other_tank, "pair": beside.tank}
        ),
    }  # fmt: skip
    return acts[told.name]()


def _meant(told: Explanation, beside: Beside) -> dict[str, Any]:
    """The wash's fields, its size as it was probably meant."""
    factor = told.factor or 1.0
    name = next((one for one in ("area_cm2", "mass_g", "parts") if beside.stored.get(one)), None)
    if name is None:
        return dict(beside.stored)
    size = beside.stored[name] / factor
    return {**beside.stored, name: max(round(size), 1) if name == "parts" else size}


def _swap_at(told: Explanation, beside: Beside) -> datetime | None:
    if not told.readings or told.read_before_at is None:
        return told.since
    first = told.readings[0]
    share = first.percent - beside.heel_share * first.before_percent
    since_g = max(share, 0.0) / 100 * beside.liquid_g
    loads = [load for load in beside.loads if told.read_before_at < load[0] < first.at]
    return probable_swap_at(told.read_before_at, first.at, loads, since_g)


def _midway(told: Explanation) -> datetime | None:
    """The middle of the time in which it happened."""
    if not told.readings or told.read_before_at is None:
        return told.since
    start, end = told.read_before_at, told.readings[0].at
    middle = start + max((end - start) / 2, timedelta())
    return middle.replace(second=0, microsecond=0) if middle.second else middle


def _day(at: datetime, zone: tzinfo) -> str:
    local = at.astimezone(zone)
    return f"{WEEKDAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]}"


def _moment(at: datetime, zone: tzinfo) -> str:
    return f"{_day(at, zone)} {at.astimezone(zone):%H:%M}"

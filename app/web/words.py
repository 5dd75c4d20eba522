"""Saying in words what a tank's figures mean: its state, its day, its place in the queue."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Literal

from app.domain.baths.evidence import missing_words
from app.domain.baths.explaining import Said
from app.domain.calendar_words import MONTHS, WEEKDAYS
from app.domain.holds import HoldState
from app.domain.solvents import solvent
from app.domain.swaps import QueuedSwap
from app.services.baths.explaining import EXPLAINING
from app.services.incidents.doubts import WRONG_SOLVENT
from app.store.queries import TankView

State = Literal["ok", "soon", "over", "stop", "check", "measure", "swapping", "held", "unknown"]

TOO_EARLY = "too early to say"
NAMED = 4  # tanks in one sentence
FAR = timedelta(days=120)  # beyond it a date needs its year
TAGS: dict[State, str] = {
    "ok": "",
    "soon": "Swap soon",
    "over": "Swap now",
    "stop": "Stop washing",
    "check": "Check",
    "measure": "Measure",
    "swapping": "Swapping",
    "held": "Held",
    "unknown": "",
}
DOUBTS = {
    "reading_disagrees": "A reading disagrees with the log. Take a second one.",
    "washes_missing": "Washes seem to be missing from the log. Ask the shift, or measure.",
    "swap_missing": "The bath reads like fresh solvent. Log the swap, or take a second reading.",
    "top_up_missing": "The bath reads lower than the log says. Log the top-up.",
    "wrong_entry": "A wash in the log is far larger than the others. Correct it.",
    "wrong_tank": "The last reading fits another tank. Move it there, or take a second one.",
    "fill_not_fresh": "The new fill reads dirty. Take a second reading before you wash.",
    "not_one_bath": (
        "These readings are not all from one bath. Check which tank each one came from."
    ),
    "unread_for_a_year": "Nobody has read this bath for a year. Take a reading.",
    "sensor_drifting": "The sensor is drifting. Check it with a residue test or a hydrometer.",
    "wrong_solvent": (
        "A wrong solvent was poured in. Swap the bath. No density reading shows what it holds."
    ),
    "water_suspected": "Water is suspected in the bath. Take a residue test.",
}
# What to do about a doubt, in a word or two.
ACTS = {
    "washes_missing": "Ask the shift",
    "swap_missing": "Log the swap",
    "top_up_missing": "Log the top-up",
    "wrong_entry": "Correct a wash",
    "sensor_drifting": "Check the sensor",
    "wrong_solvent": "Swap the bath",
    "not_one_bath": "Check the readings",
}
# The page of a tank where a doubt is settled, where a second reading is not what settles it.
PLACES = {"wrong_solvent": "swap", "swap_missing": "swap", "top_up_missing": "log/top-up"}
SETTLED_AT_TANK = EXPLAINING - {"instrument_off", "pair_untold"} | {"slip"}
MAY_BE_PAST = "Take a reading. By the log alone, the bath may be past its limit."
FLAGS = {
    **DOUBTS,
    "apparent": (
        "Apparent: density alone cannot tell resin from water. A residue test or a refractive "
        "index can."
    ),
    "instrument_off": "The hydrometer is probably off. The figures allow for it.",
    "pair_untold": "Parts seem to be rinsed here after another bath. They count as rinses.",
    "flash_lowered": (
        "Alcohol has been carried into this bath. Treat it as flammable, and have its flash "
        "point tested."
    ),
    "past_limit": "Past the first limit. Plan the swap.",
    "past_stop": "Past the second limit. Stop washing.",
    "past_life_days": "Older than its life in days.",
    "past_life_washes": "More washes than its life allows.",
}


@dataclass(frozen=True)
class DaysLeft:
    """What stands large under a vessel: a figure, its unit, the day, its early and late day."""

    figure: str
    unit: str
    when: str
    range: str = ""


@dataclass(frozen=True)
class Need:
    """Something that waits for a person, and the page of the tank where it is done."""

    tank: TankView
    text: str
    path: str


def state_of(tank: TankView, is_held: bool = False) -> State:
    """The one state that a tank's vessel shows; held before all else."""
    if is_held:
        return "held"
    urgent: dict[str, State] = {
        "swapping": "swapping", "stop_washing": "stop", "swap_now": "over",
    }  # fmt: skip
    if tank.swap.urgency in urgent:
        return urgent[tank.swap.urgency]
    if tank.is_nearly_empty or any(flag in DOUBTS for flag in tank.flags):
        return "check"
    if tank.needs_reading or may_be_past(tank):
        return "measure"
    if tank.swap.urgency == "soon":
        return "soon"
    return "unknown" if tank.swap.urgency == "unknown" else "ok"


def may_be_past(tank: TankView) -> bool:
    """By the log alone it is past its limit, and too little is known to say so."""
    return bool(tank.lacks) and "past_limit" in tank.flags


def is_spoiled(tank: TankView) -> bool:
    """A wrong solvent went into its bath: neither figure nor day is known."""
    return WRONG_SOLVENT in tank.flags


def days_left(
    tank: TankView, now: datetime, zone: tzinfo, hold: HoldState | None = None
) -> DaysLeft:
    """The days until the bath is due, in words where there is no such figure."""
    swap = tank.swap
    if swap.urgency == "swapping" and tank.swap_started_at is not None:
        return DaysLeft("Swap", "", f"since {moment(tank.swap_started_at, now, zone)}")
    if (unknown := _no_days(tank, hold)) is not None:
        return unknown
    if swap.urgency in ("stop_washing", "swap_now"):
        since = f"since {moment(swap.due_at, now, zone)}" if swap.due_at else ""
        return DaysLeft("Now", "", since)
    if tank.is_too_early:
        return DaysLeft("\N{EN DASH}", "", TOO_EARLY)
    if swap.due_at is None:
        early = f"not before {day(swap.early_at, zone, now)}" if swap.early_at else ""
        return DaysLeft("> 1", "year", early or "beyond a year")
    days = (swap.due_at - now).total_seconds() / 86400
    figure = f"{days:.1f}" if days < 9.95 else f"{days:.0f}"
    unit = "day" if figure == "1.0" else "days"
    return DaysLeft(figure, unit, day(swap.due_at, zone, now), early_and_late(swap, zone, now))


def when(tank: TankView, zone: tzinfo, now: datetime | None = None) -> str:
    """The day a tank's swap is due, with its range; says so where it is too early to name one."""
    if tank.is_too_early:
        return TOO_EARLY
    return span(tank.swap, zone, now)


def too_early(tanks: Sequence[TankView]) -> str:
    """What to log before a day is named for each of these tanks; empty where all have one."""
    early = [tank for tank in tanks if tank.is_too_early]
    lacks = {lack for tank in early for lack in tank.lacks}
    names = ", ".join(f"{tank.place} {tank.name}" for tank in early[:NAMED])
    names += f" and {len(early) - NAMED} more" if len(early) > NAMED else ""
    if not early or len(early) == len(tanks):
        return f"{missing_words(lacks)}." if early else ""
    return f"{names}: {TOO_EARLY}. {missing_words(lacks)}."


def _no_days(tank: TankView, hold: HoldState | None) -> DaysLeft | None:
    """Why no days can be told: what is in it is not known, or next to nothing is; else None."""
    if hold is not None and hold.asks_contents:
        return DaysLeft("?", "", "say what is in it")
    if is_spoiled(tank):
        return DaysLeft("?", "", "swap the bath")
    return DaysLeft("Empty", "", "nearly: swap or fill it") if tank.is_nearly_empty else None


def span(swap: QueuedSwap, zone: tzinfo, now: datetime | None = None) -> str:
    """The day a swap is due, with its early and late day where the forecast sets it."""
    if swap.due_at is None:
        return "beyond a year"
    reach, due = early_and_late(swap, zone, now), day(swap.due_at, zone, now)
    return f"{due} ({reach})" if reach else due


def early_and_late(swap: QueuedSwap, zone: tzinfo, now: datetime | None = None) -> str:
    """The early and the late day of a forecast; nothing where something else sets the day."""
    if swap.early_at is None:
        return ""
    early = day(swap.early_at, zone, now)
    return f"{early} to {day(swap.late_at, zone, now)}" if swap.late_at else f"{early} or later"


def reason(tank: TankView, now: datetime, zone: tzinfo) -> str:
    """Why a tank stands where it stands in the queue."""
    if tank.swap.urgency == "swapping" and tank.swap_started_at is not None:
        return f"Swap started {moment(tank.swap_started_at, now, zone)}, not completed"
    if tank.is_nearly_empty:
        return "Nearly empty. It gets a swap day once it is filled"
    if is_spoiled(tank):
        return "A wrong solvent was poured in. Do not rely on any day; swap the bath"
    return _reason_of_bath(tank)


def _reason_of_bath(tank: TankView) -> str:
    swap, limit = tank.swap, limit_text(tank.limit_entered, tank.limit_basis)
    if swap.urgency == "stop_washing":
        return f"Past {limit_text(tank.stop_entered, tank.stop_basis)}, where washing stops"
    past = swap.urgency == "swap_now"
    if swap.ruler in ("life_days", "life_washes"):
        life = (
            f"{tank.life_days:g} day{'' if tank.life_days == 1 else 's'}"
            if swap.ruler == "life_days"
            else f"{tank.life_washes} washes"
        )
        return f"{'Past' if past else 'Reaches'} its life of {life} since the fill"
    if past:
        return f"Past {limit}, its first limit"
    if tank.lacks:
        return missing_words(tank.lacks)
    if swap.due_at is None:
        return f"{limit} is more than a year away"
    return f"Reaches {limit} at the current rate"


def limit_text(value: float, basis: str) -> str:
    """A limit in the basis it was entered in."""
    units = {"mass_percent": "% by mass", "volume_percent": "% by volume", "g_per_l": "g/L"}
    return f"{value:g} {units[basis]}"


def flag_text(flag: str, tank: TankView) -> str:
    """What a flag says; of a solvent that does not dry no residue can be taken."""
    if flag == "apparent" and solvent(tank.solvent).dries_slowly:
        return "Apparent: density alone cannot tell resin from water. A refractive index can."
    return FLAGS[flag]


def doubts(tank: TankView, said: Said | None = None) -> list[str]:
    """The doubts about a tank's estimate that are said: of its readings at most one explanation.

    Nothing else where a wrong solvent went in: no reading can show what it holds until the swap.
    """
    if is_spoiled(tank):
        return [WRONG_SOLVENT]
    explained = [flag for flag in tank.flags if flag in EXPLAINING and flag in DOUBTS]
    kept = set() if said is not None and said.name in SETTLED_AT_TANK else set(explained[:1])
    return [
        flag for flag in tank.flags if flag in DOUBTS and (flag not in EXPLAINING or flag in kept)
    ]


def needs(tank: TankView, hold: HoldState | None = None, said: Said | None = None) -> list[Need]:
    """What waits for a person at a tank, the most pressing first; `said` of its readings."""
    found = []
    if hold is not None and hold.is_held:
        is_asked = hold.asks_contents and not hold.is_for_a_lead
        text = "Say what is in it. Its swap stopped." if is_asked else f"Held: {hold.reason}"
        found.append(Need(tank, text, "contents" if is_asked else "hold"))
    if tank.swap.urgency == "swapping":
        found.append(Need(tank, "Complete the swap.", "swap"))
    elif tank.swap.urgency == "stop_washing":
        found.append(Need(tank, "Stop washing here and swap the bath.", "swap"))
    elif tank.swap.urgency == "swap_now":
        found.append(Need(tank, "Swap the bath.", "swap"))
    if tank.is_nearly_empty and tank.swap.urgency != "swapping" and not found:
        found.append(Need(tank, "Nearly empty. Swap the bath or fill it up.", "swap"))
    if said is not None and said.name in SETTLED_AT_TANK:
        found.append(Need(tank, said.short, "explanation"))
    found += [
        Need(tank, DOUBTS[flag], PLACES.get(flag, "log/reading")) for flag in doubts(tank, said)
    ]
    if may_be_past(tank):
        found.append(Need(tank, MAY_BE_PAST, "log/reading"))
    elif tank.needs_reading:
        found.append(
            Need(tank, "Take a reading. The estimate is too wide to plan by.", "log/reading")
        )
    return found


def act_of(
    tank: TankView, state: State, said: Said | None = None, hold: HoldState | None = None
) -> str:
    """What a tank needs first, as an act in a few words; empty where it needs nothing."""
    urgent: dict[str, str] = {
        "swapping": "Finish the swap", "stop": "Stop washing", "over": "Swap now", "held": "Held",
    }  # fmt: skip
    if hold is not None and hold.asks_contents and not hold.is_for_a_lead:
        return "Say what is in it"
    if state in urgent:
        return urgent[state]
    if tank.is_nearly_empty:
        return "Swap or fill it"
    if said is not None and said.name in SETTLED_AT_TANK:
        return said.act.text
    if state == "check":
        return next((ACTS[flag] for flag in doubts(tank, said) if flag in ACTS), "Measure it")
    return {"measure": "Measure it", "soon": "Swap soon"}.get(state, "")


def first_need(
    tank: TankView, state: State, now: datetime, zone: tzinfo,
    hold: HoldState | None = None, said: Said | None = None,
) -> tuple[str, str]:  # fmt: skip
    """The act that a tank needs first, and its one reason; both empty where it is calm."""
    act, left = act_of(tank, state, said, hold), days_left(tank, now, zone, hold)
    if state == "soon" and tank.swap.due_at is not None:
        days = (tank.swap.due_at.astimezone(zone).date() - now.astimezone(zone).date()).days
        act = {0: "Swap today", 1: "Swap tomorrow"}.get(days, f"Swap by {left.when}")
        return act, f"{reason(tank, now, zone)}."
    if state in ("over", "stop"):
        since = f" {left.when}" if left.when.startswith("since") else ""
        return act, f"{reason(tank, now, zone).partition(',')[0]}{since}."
    if state == "swapping":
        return act, f"{reason(tank, now, zone)}."
    if state == "held" and hold is not None:
        return act, f"{hold.reason.rstrip('.')}. Do not wash here."
    found = needs(tank, None, said) if act else []
    return act, found[0].text if found else ""


def spoken(tank: TankView, instead: str, of_limit: int) -> str:
    """A vessel's picture in words."""
    if instead:
        words_of = {
            "not known": "saturation not known", "empty": "nearly empty",
            "held, swap": "out of use, being swapped, held",
        }  # fmt: skip
        return words_of.get(instead, "out of use, being swapped")
    apparent = "apparent " if tank.is_apparent else ""
    return (
        f"{of_limit} % of its limit, {tank.mean_percent:.1f} % {apparent}resin by mass, "
        f"likely {tank.p05_percent:.1f} to {tank.p95_percent:.1f} %"
    )


def headline_of(needy: int, tanks: int, too_early: int = 0, problems: int = 0) -> str:
    """How many of a room's tanks need somebody, for who stands far away.

    Of `too_early` baths nothing can be said yet; where that is all of them, none is called calm.
    Neither is a room with open `problems`; they stand by themselves beside it.
    """
    if problems and not needy:
        return problem_count(problems)
    if not tanks:
        return "No tank yet"
    return f"{needy} of {tanks} need you" if needy else _at_rest(tanks, too_early)


def problem_count(problems: int) -> str:
    """How many problems no lead has closed."""
    return "1 open problem" if problems == 1 else f"{problems} open problems"


def _at_rest(tanks: int, too_early: int) -> str:
    return "Too early to say" if too_early >= tanks > 0 else "All calm"


def headline(needy: Sequence[State], tanks: int = 0, too_early: int = 0, problems: int = 0) -> str:
    """How many problems are open and how many tanks need somebody.

    Of `too_early` baths of all nothing can be said yet.
    """
    if not needy:
        return problem_count(problems) if problems else _at_rest(tanks, too_early)
    tanks_said = "1 tank needs you" if len(needy) == 1 else f"{len(needy)} tanks need you"
    return f"{problem_count(problems)}, {tanks_said}" if problems else tanks_said


def verdict(states: list[State], too_early: int = 0, problems: int = 0) -> str:
    """The room in one sentence; of `too_early` baths nothing can be said yet."""
    of_baths = _of_baths(states, too_early)
    if not problems:
        return of_baths
    return f"{problem_count(problems)}, {of_baths[:1].lower()}{of_baths[1:]}"


def _of_baths(states: list[State], too_early: int) -> str:
    counts = {
        "held": states.count("held"),
        "over": states.count("over") + states.count("stop"),
        "soon": states.count("soon"),
        "check": states.count("check") + states.count("measure"),
        "swapping": states.count("swapping"),
        "early": too_early,
    }
    parts = {
        "held": "{} held", "over": "{} over the limit", "soon": "{} due within 2 days",
        "check": "{} to check", "swapping": "{} being swapped",
        "early": f"{{}} {TOO_EARLY}",
    }  # fmt: skip
    said = [parts[key].format(count) for key, count in counts.items() if count]
    if not states:
        return "No tank yet"
    if too_early == len(states) and len(said) == 1:
        return "Too early to say how long the baths last"
    return ", ".join(said) if said else "All baths below their limit"


def day(at: datetime | None, zone: tzinfo, now: datetime | None = None) -> str:
    """A day such as “Sun 29 Nov” in the room's time zone; far from `now` as “3 Sep 2027”."""
    if at is None:
        return ""
    local = at.astimezone(zone)
    if now is not None and abs(at - now) > FAR:
        return f"{local.day} {MONTHS[local.month - 1]} {local.year}"
    return f"{WEEKDAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]}"


def moment(at: datetime, now: datetime, zone: tzinfo) -> str:
    """A time of today as “06:41”, of these days as “Tue 06:41”, another as “Tue 24 Nov 06:41”."""
    local = at.astimezone(zone)
    days = abs((local.date() - now.astimezone(zone).date()).days)
    if days == 0:
        return f"{local:%H:%M}"
    if days < 6:
        return f"{WEEKDAYS[local.weekday()]} {local:%H:%M}"
    return f"{day(at, zone)} {local:%H:%M}"


def ago(at: datetime | None, now: datetime) -> str:
    """How long ago in round words."""
    if at is None:
        return "never"
    minutes = (now - at).total_seconds() / 60
    if minutes < 2:
        return "just now"
    if minutes < 120:
        return f"{minutes:.0f} min ago"
    if minutes < 48 * 60:
        return f"{minutes / 60:.0f} h ago"
    return f"{minutes / 1440:.0f} days ago"

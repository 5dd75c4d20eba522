"""Saying in words what a curing station's figures mean."""

from collections.abc import Mapping
from datetime import datetime, tzinfo

from app.domain.curing.dose import EVEN, CureToday
from app.domain.curing.lamp import Lamp, Relamping, State
from app.domain.curing.output import FEWEST, Basis, Fit
from app.domain.curing.plain import places, plain
from app.domain.curing.trust import Aside
from app.domain.plural import thousands
from app.domain.roomlog.fields import FieldSpec
from app.store.tables import RoomRow
from app.web.forms import unit_label
from app.web.words import FAR

TAGS: dict[State, str] = {
    "ok": "",
    "soon": "Relamp soon",
    "over": "Relamp now",
    "measure": "Measure",
    "held": "Held",
}
SOURCES = {
    "led": "LED", "fluorescent_tube": "Fluorescent tubes", "metal_halide": "Metal halide lamp",
    "mercury": "Mercury lamp", "xenon": "Xenon lamp", "other": "Other",
}  # fmt: skip
LAYOUTS = {
    "centre": "Centre", "centre_and_corners": "Centre and corners", "grid_of_nine": "Nine places",
}  # fmt: skip
BASES: dict[Basis, str] = {
    "few": (
        "There are fewer than five readings, so the line is a first guess. Take more before you "
        "trust it."
    ),
    "below_standard": (
        "This is less than the standard asks for (six readings from 1000 h on, over 6000 h). "
        "Treat the projection as a guide, not a rating."
    ),
    "standard": "There are enough readings over enough hours for the standard.",
}


def units_of_fields(specs: Mapping[str, FieldSpec], room: RoomRow) -> dict[str, str]:
    """The unit in which each field is typed."""
    return {name: unit_label(spec, room) for name, spec in specs.items()}


def duration(seconds: float) -> str:
    """A time in the light as a person sets a timer; never nothing for something.

    >>> [duration(s) for s in (0.04, 4.21, 45, 334.2, 600, 4310)]
    ['under 0.1 s', '4.2 s', '45 s', '5 min 34 s', '10 min', '1 h 12 min']
    """
    if 0 < seconds < 9.95:
        return f"{seconds:.1f} s" if seconds >= 0.1 else "under 0.1 s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        minutes, rest = divmod(whole, 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, rest = divmod(round(seconds / 60), 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def weakest_of(today: CureToday) -> str:
    """By which place a time goes, and with what reserve."""
    weakest = today.weakest
    if weakest is None or today.likely_seconds is None or today.seconds is None:
        return ""
    where = f"This time is for the weakest place, {places([weakest.place])}."
    alone = ""
    if today.placement.is_one_place:
        where = f"This time is for the one place measured, {places([weakest.place])}."
        alone = " Nobody knows what the other places get. Read the radiometer at the corners too."
    if today.placement.used:
        where = f"This time is for the weakest place that you use, {places([weakest.place])}."
        weaker = [one for one in today.placement.spots if one.mw_cm2 < weakest.mw_cm2]
        alone = (
            f" It is too short for parts at {places([one.place for one in weaker])}."
            if weaker
            else ""
        )
    reserve = today.seconds - today.likely_seconds
    return (
        f"{where} There, {plain(today.dose_mj_cm2)} mJ/cm² at {plain(weakest.mw_cm2)} mW/cm² takes "
        f"{duration(today.likely_seconds)}. The extra {duration(reserve)} allows for error "
        f"in the meter and in how fast the lamp fades.{alone}"
    )


def hours(value: float) -> str:
    """Hours of a lamp.

    >>> hours(26757.2)
    '26,757 h'
    """
    return f"{thousands(value)} h"


def day(at: datetime | None, now: datetime, zone: tzinfo) -> str:
    """A day to come, with its year where it is far."""
    if at is None:
        return ""
    local = at.astimezone(zone)
    text = f"{local.day} {local:%b}"
    return f"{text} {local.year}" if at - now > FAR else text


def doubt_of(aside: Aside) -> str:
    """Why a reading is set aside."""
    mean, expected = aside.reading.mean_mw_cm2, aside.expected
    read = f"The mean is {plain(mean)} mW/cm²"
    if expected.mw_cm2 is None:
        low, high = expected.low_mw_cm2, expected.high_mw_cm2
        return (
            f"{read}. At the parts in a chamber it is usually {low:g} to {high:g} mW/cm² (common "
            "practice), and there is no other reading of this lamp to compare it with."
        )
    text = f"{read}, {plain(mean / expected.mw_cm2)} times the {plain(expected.mw_cm2)} expected."
    if aside.is_high:
        return f"{text} A lamp does not get stronger with time."
    return f"{text} Dirt, a dark row or a wrong unit may be the reason."


def aside_words(aside: Aside, lamp: Lamp) -> str:
    """What a reading set aside means for cures until this is settled."""
    if lamp.mw_cm2 is None:
        return "No time is shown until this is settled."
    if aside.is_high:
        return f"Cure times use {plain(lamp.mw_cm2)} mW/cm², as measured before."
    return f"To be safe, cure times use {plain(lamp.mw_cm2)} mW/cm² until this is settled."


def settle_words(aside: Aside) -> str:
    """How a reading set aside is settled."""
    if not aside.can_repeat:
        return (
            "If it was typed wrong, correct it. Reading again does not settle so large a "
            "difference. If there is a new lamp, log a relamp. If it was another meter or head, "
            "a lead says so."
        )
    return (
        "A second reading settles it: another person, another meter, or another day. If it was "
        "typed wrong, correct it. A lead may say why it counts."
    )


def time_of(lamp: Lamp) -> str:
    """How much longer a cure takes than on the new lamp; nothing where that is not known."""
    if lamp.time_factor is None:
        return ""
    return f"Cure {longer(lamp.time_factor)}"


def longer(factor: float) -> str:
    """A time against that on the new lamp, `factor` times as long.

    >>> longer(1.06), longer(1.001)
    ('6 % longer than on the new lamp', 'as long as on the new lamp')
    >>> longer(0.98)
    '2 % shorter than on the new lamp'
    """
    percent = round(100 * (factor - 1))
    if percent == 0:
        return "as long as on the new lamp"
    return f"{abs(percent)} % {'longer' if percent > 0 else 'shorter'} than on the new lamp"


def outlook(lamp: Lamp, now: datetime, zone: tzinfo) -> str:
    """When the lamp should be replaced, or why that cannot be said."""
    relamping, line = lamp.relamping, lamp.fit
    if lamp.mw_cm2 is None and lamp.aside:
        return "Its only reading is set aside, so no time is shown."
    if lamp.mw_cm2 is None or relamping is None:
        return "Measure its output. This lamp has never been measured."
    if relamping.is_due:
        return "At or below the level at which this room relamps."
    if lamp.has_dropped and not lamp.aside:
        return "The last reading is well below this lamp's trend. Find out why first."
    return _course(line, relamping, now, zone)


def _course(line: Fit | None, relamping: Relamping, now: datetime, zone: tzinfo) -> str:
    if line is None:
        return f"Take {FEWEST} readings to see how fast it fades."
    if not line.declines:
        return f"No measurable decline over {hours(line.tested_h)}. Nothing is projected."
    if relamping.reported_h is None:
        when = day(relamping.cap_at, now, zone)
        cap = f"{hours(line.cap_h)}{f', about {when}' if when else ''}"
        if relamping.early_h is not None:
            return f"Relamp likely after {cap}, too far ahead to say when."
        return f"No relamp before {cap}."
    when = day(relamping.due_at, now, zone)
    text = f"Relamp at about {hours(relamping.reported_h)}"
    return f"{text}, on {when}." if when else f"{text}. The day depends on how much it is used."


def relamp_range(lamp: Lamp, now: datetime, zone: tzinfo) -> str:
    """The early and the late day of the relamp; nothing where neither is known."""
    relamping = lamp.relamping
    if relamping is None or relamping.is_due or relamping.early_at is None:
        return ""
    late = day(relamping.late_at, now, zone) or "beyond what can be projected"
    return f"Early {day(relamping.early_at, now, zone)}, late {late}."


def reach_of(line: Fit) -> str:
    """Why a projection ends where it does."""
    if line.multiple > 2:
        return f"{line.multiple:g} times the hours watched, as far as the standard permits"
    return (
        "twice the hours watched; the standard permits no projection from fewer than ten light "
        "sources, so this is our own caution"
    )


def to_do(lamp: Lamp, state: State) -> list[str]:
    """What a person should do at the station, the most pressing first."""
    found = []
    if lamp.mw_cm2 is None and not lamp.aside:
        found.append("Read the radiometer at the marked positions. Without it, no time is shown.")
    if state == "over":
        found.append("Replace the lamp, log a relamp, then read the radiometer again.")
    if lamp.has_dropped:
        found.append("Clean the reflector and the window, check for dark LEDs, measure again.")
    if lamp.is_reading_old and lamp.reading_age is not None:
        found.append(f"The last reading is {lamp.reading_age.days} days old. Measure again.")
    if lamp.dark:
        found.append(f"No light at {places(lamp.dark)}. Put no part there and find the dark row.")
    elif lamp.uniformity is not None and lamp.uniformity < EVEN:
        found.append(
            "The light is uneven. Keep parts off the weak place, clean the reflector, turn "
            "the parts."
        )
    if state == "soon":
        found.append("Order the next lamp now, so it arrives before the output is too low.")
    if lamp.mw_cm2 is not None and lamp.hours_per_day is None:
        found.append("Read the hour meter now and then. It shows when the lamp is due.")
    return found

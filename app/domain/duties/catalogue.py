"""The duties that every room starts with. The site may set other intervals, add and stop some.

Intervals without a document are common practice, no source. `from memory`: nobody has read the
figure in the document yet. Local rules may ask for more.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from app.domain.duties.book import DutyState
from app.domain.people.qualifications import TOLD_DAYS
from app.domain.waste.rule_model import REVIEW_AFTER_DAYS

Subject = Literal[
    "room", "tank", "drum", "station", "person", "instrument", "qualification", "rules"
]
CALIBRATION = "calibration"
SAMPLE_CHECK = "instrument"
RULES_REVIEW = "rules_review"
CUSTOM = "common practice, no source"


@dataclass(frozen=True)
class Duty:
    """Something that is due again and again.

    Attributes:
        subject: done once for the room, or for each of its tanks, drums, curing stations, people or
            instruments.
        every_days: days from one time to the next; 0 with `is_monthly`.
        is_monthly: due on the first day of each calendar month.
        grace_days: days past the due day after which it is called overdue.
        source: where the interval comes from.
        proof: what in the log does it by itself; empty where somebody says that it is done.
        path: page of the room where it is done, empty where it is done on the list;
            `{of}` stands for the key of its tank or drum.
        has_sample: two figures may be entered, that of a known sample and the one shown.
        has_speed: the speed of air may be entered.
        is_ahead: it has a day on which it ends; `every_days` is how long before that it is due.
        starts_after: the first time is an interval after its subject came into use, not at once.
        formerly: the duty of the whole room that did this as well, in older logs.
        is_stopped, stop_reason: the site does not do it.
        is_own, is_set: the duty, or its interval, is the site's.
    """

    key: str
    name: str
    subject: Subject
    every_days: int
    how: str
    source: str = CUSTOM
    grace_days: int = 0
    is_monthly: bool = False
    proof: str = ""
    path: str = ""
    has_sample: bool = False
    has_speed: bool = False
    is_ahead: bool = False
    starts_after: bool = False
    formerly: str = ""
    is_stopped: bool = False
    stop_reason: str = ""
    is_own: bool = False
    is_set: bool = False


_ALL = (
    Duty(
        "reading", "Reading of the bath", "tank", 7,
        "Stir, take the sample, note its temperature. Logging a reading ticks this off.",
        grace_days=2, proof="reading", path="tanks/{of}/log/reading",
    ),
    Duty(
        "drum_check", "Look at the drum", "drum", 7,
        "Closed, labelled, dated; no leak, rust or bulge; aisle clear. Enter it on the "
            "drum's page.",
        source="40 CFR 262.16(b)(2)(iv), at least weekly in the central area; summary read",
        proof="drum_checked", path="waste/check", starts_after=True,
    ),
    Duty(
        "hood_look", "Hood and extraction, simple check", "room", 7,
        "Fan runs, a strip of paper is drawn in, filter clean, nothing in the way.",
        grace_days=2,
    ),
    Duty(
        "hood_measured", "Hood and extraction, air speed measured", "room", 91,
        "With a meter, at the marked places; compare with the figure at its acceptance.",
        source="29 CFR 1910.124 and .125, dip tanks: at least quarterly; from memory",
        grace_days=14, has_speed=True,
    ),
    Duty(
        "interlock", "Interlock of the cure chamber", "station", 7,
        "Open the chamber while it runs. The light must go out. Never defeat an interlock.",
        grace_days=2,
    ),
    Duty(
        "cover", "Interlock of the wash cover", "tank", 7,
        "Lift the cover while the pump runs. The pump must stop. Never defeat an interlock.",
        grace_days=2, formerly="interlock",
    ),
    Duty(
        SAMPLE_CHECK, "Instruments against a known sample", "room", 7,
        "Measure a sample of known value, such as fresh solvent, at a known temperature. Enter "
        "both figures.",
        grace_days=2, has_sample=True,
    ),
    Duty(
        CALIBRATION, "Calibration", "instrument", 365,
        "Send it out, or compare it with a certified one, and enter its certificate. The day it "
        "names comes first. This interval counts where it names none.",
        proof="calibrated", path="instruments/{of}/log/calibration",
    ),
    Duty(
        "month_close", "Close the month to the fill line", "tank", 0,
        "Bring the bath to its line. Added less removed is what evaporated or left on parts.",
        source="after 40 CFR 63.464 and .465 (halogenated solvents; a model for others)",
        grace_days=3, is_monthly=True, proof="month_close", path="tanks/{of}/month-close",
    ),
    Duty(
        "inspection", "Pump, impeller and seals inspected", "tank", 91,
        "At the swap, while the tank is empty. Logging an inspection ticks this off.",
        grace_days=30, proof="inspection", path="tanks/{of}/inspection", starts_after=True,
    ),
    Duty(
        "eyewash", "Eyewash run", "room", 7,
        "Run it until the water is clear. Caps on, path clear.",
        source="ANSI/ISEA Z358.1, weekly; from memory", grace_days=1,
    ),
    Duty(
        "spill_kit", "Spill kit and extinguisher", "room", 31,
        "Kit full, absorbent dry, extinguisher in place, seal and gauge in order.",
        grace_days=7,
    ),
    Duty(
        "training", "Training", "person", 365,
        "Solvent, resin, gloves, waste, what to do in an emergency. The person signs.",
        source=f"{CUSTOM}; local rules set the interval", grace_days=30,
    ),
    Duty(
        RULES_REVIEW, "Look the rules up again", "rules", REVIEW_AFTER_DAYS,
        "Look up the section of each value under Waste rules, and the exposure limits under "
        "Flammable liquids. Enter what changed with your source. A tick confirms the rest.",
        grace_days=30, starts_after=True,
    ),
    Duty(
        "qualification", "Qualification ends", "qualification", TOLD_DAYS,
        "A lead renews it, or lets it end. After its last day, the program asks before the act.",
        grace_days=TOLD_DAYS, proof="qualified", path="qualified", is_ahead=True,
    ),
)  # fmt: skip

CATALOGUE: Mapping[str, Duty] = {duty.key: duty for duty in _ALL}


def in_force(states: Iterable[DutyState]) -> dict[str, Duty]:
    """The duties of a site: the built-in ones as it has set them, then its own."""
    known = {state.key: state for state in states}
    found = {key: _as_set(duty, known.get(key)) for key, duty in CATALOGUE.items()}
    for key, state in known.items():
        if key not in CATALOGUE and state.set_at is not None and state.every_days is not None:
            found[key] = _own(state)
    return found


def _as_set(duty: Duty, state: DutyState | None) -> Duty:
    if state is None or state.set_at is None:
        return duty
    is_changed = state.every_days is not None
    return replace(
        duty, name=state.name or duty.name, how=state.how or duty.how,
        every_days=state.every_days or duty.every_days,
        source="set by the site" if is_changed else duty.source,
        grace_days=duty.grace_days if state.grace_days is None else state.grace_days,
        is_monthly=duty.is_monthly and not is_changed, is_stopped=state.is_stopped,
        stop_reason=state.reason, is_set=is_changed,
    )  # fmt: skip


def _own(state: DutyState) -> Duty:
    return Duty(
        key=state.key, name=state.name or state.key, subject=_subject(state.subject),
        every_days=state.every_days or 1, how=state.how, source="set by the site",
        grace_days=state.grace_days or 0, is_stopped=state.is_stopped, stop_reason=state.reason,
        is_own=True,
    )  # fmt: skip


def _subject(word: str) -> Subject:
    subjects: Mapping[str, Subject] = {
        "tank": "tank", "drum": "drum", "station": "station", "person": "person",
    }  # fmt: skip
    return subjects.get(word, "room")

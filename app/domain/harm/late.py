"""What is told late, beside a fault: done before the fault began, or while it stood.

What truly happened is never lost, and a time typed into a form is no way round a hold. So whoever
enters it late is asked, by name, and the log shows what was answered.
"""

from collections.abc import Mapping

DONE_BEFORE, DONE_UNDER = "done_before_fault", "done_under_fault"
QUESTIONS_LATE = (DONE_BEFORE, DONE_UNDER)

DONE = ("wash", "top_up", "pour", "transfer", "cure", "measure")
"""Acts that are over once they are entered: what waited on a tablet was done, hold or no hold."""

BEGAN: Mapping[str, str] = {
    "person_not_for_it": "A lead settled {since} that somebody else does this",
    "interlock_fault": "The interlock was found not in order {since}",
    "station_held": "This station was put on hold {since}",
    "instrument_aside": "This instrument was set aside {since}",
    "cover_fault": "The cover interlock was found not in order {since}",
    "tank_held": "This tank was put on hold {since}",
    "contents_unknown": "A swap of this tank stopped {since}, and nobody has said what is in it",
    "part_unsafe": "A part of this tank was taken out of service {since}",
    "inspection_unsigned": "An inspection of this tank began {since}",
    "bath_spoiled": "A wrong solvent was found in this bath {since}",
    "hood_fault": "The hood was found not in order {since}",
    "eyewash_fault": "The eyewash was found not in order {since}",
    "spill_kit_fault": "The spill kit or extinguisher was found not in order {since}",
    "drum_warm": "This drum was found warm, hissing or bulging {since}",
    "drum_unsound": "This drum was found leaking, rusty or bulging {since}",
    "drum_quarantined": "This drum was put in quarantine {since}",
    "drum_closed": "This drum was closed for shipping {since}",
    "lot_quarantined": "This lot was put in quarantine {since}",
    "lot_withdrawn": "This lot was withdrawn {since}",
}
"""Faults that begin at an instant, and how that is said. What runs out on a day is none of them."""

WAYS_LATE: Mapping[str, str] = {
    "bath_spoiled": (
        "If the wrong solvent may have gone in before this, treat what took the bath as unknown: "
        "put its drum in quarantine and have it tested."
    ),
}
"""What is done instead where the fault may have begun earlier than anybody noticed."""

THIS: Mapping[str, str] = {
    "wash": "this wash",
    "top_up": "this top-up",
    "swap_start": "the start of this swap",
    "swap_entered": "this swap",
    "pour": "this pour",
    "transfer": "this transfer",
    "close_drum": "this closing",
    "ship": "this shipment",
    "cure": "this cure",
    "relamp": "this change of the lamp",
    "receive": "this delivery",
    "order": "this order",
    "measure": "this reading",
    "sign": "this signature",
    "drain": "this draining",
    "fill": "this fill",
    **dict.fromkeys(("swap_drum", "rinse", "inspect", "move", "restart"), "this step"),
}
"""An act, as a question names it."""


def before_words(fault: str, act: str, since: str, done: str, detail: str) -> str:
    """The question if an act was done before its fault began; times in words.

    >>> before_words("tank_held", "wash", "at 14:05", "at 13:30", "It drips")
    'This tank was put on hold at 14:05 (it drips). Did this wash happen before that, at 13:30?'
    """
    began = BEGAN[fault].format(since=since)
    return f"{began}{_inside(detail)}. Did {THIS[act]} happen before that, {done}?"


def under_words(fault: str, act: str, since: str, done: str, detail: str) -> str:
    """The question if an act was done while a fault stood that has ended since.

    >>> under_words("tank_held", "wash", "at 14:05", "at 14:30", "It drips")
    'This tank was put on hold at 14:05 (it drips). Did this wash happen anyway, at 14:30?'
    """
    began = BEGAN[fault].format(since=since)
    return f"{began}{_inside(detail)}. Did {THIS[act]} happen anyway, {done}?"


def _inside(detail: str) -> str:
    """A detail in brackets, beginning small where it is a sentence."""
    text = detail.strip().rstrip(".")
    is_word = len(text) > 1 and text[0].isupper() and text[1].islower()
    return f" ({text[0].lower() + text[1:] if is_word else text})" if text else ""

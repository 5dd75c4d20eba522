"""What makes a checklist dangerous to follow: a step that is missing, or stands in a bad order.

A list is refused with a danger by every door that keeps one or begins a swap with it. A log that
is brought in may hold one: it tells what was.

Sources: lockout before hands go in, 29 CFR 1910.147(d); bonding before a flammable liquid flows,
29 CFR 1910.106(e)(6)(ii); both from memory. The rest is common practice, without a source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.roles import ROLES
from app.domain.checklists.template import Step


@dataclass(frozen=True)
class Danger:
    """Why a list would lead somebody into harm.

    Attributes:
        role: the role that is missing; empty where a step is there and stands badly.
        step: key of the step that stands badly; where one is missing, of the step that it
            belongs before, as far as there is one.
    """

    message: str
    role: str = ""
    step: str = ""


_SPLASH = "eyes or hands get splashed"
_REACHES = "a pump or heater starts and catches the hand reaching in"
_SPARK = "flowing liquid builds up a charge, and a spark lights the vapour"
_UNREFITTED = "a filled tank is too heavy to move, and leaks where a part is missing"
_RUNS = "it runs from here on, and nobody may reach in or leave anything open"

NEEDED: Mapping[str, str] = {
    "ppe": _SPLASH,
    "isolate": _REACHES,
    "drum": "the bath has nowhere to go",
    "bond": _SPARK,
    "drain": "nobody knows where the old bath went",
    "inspection": "a failed part can only be seen while the tank is empty",
    "refit": _UNREFITTED,
    "fill": "a pump that runs dry loses its seal",
    "leak_check": "a leaking bath runs out while nobody is looking",
    "restart": "somebody switches it on while hands are in it",
}
"""What every list has as a required step, and what happens without it."""

ORDER: Mapping[tuple[str, str], str] = {
    **{("ppe", later): _SPLASH for later in ("drain", "inspection", "hands", "rinse", "refit",
                                             "move", "fill")},
    **{("isolate", later): _REACHES for later in ("drain", "inspection", "hands", "rinse", "refit",
                                                  "move", "fill")},
    ("drum", "bond"): "the bonding lead must be clipped to the drum in use",
    ("drum", "drain"): "the bath has nowhere to go",
    **{("bond", later): _SPARK for later in ("drain", "rinse", "move", "fill")},
    ("drain", "inspection"): "nothing can be seen in a full tank",
    ("drain", "hands"): "hands only go into an empty tank",
    ("drain", "rinse"): "the rinse mixes with the old bath",
    ("drain", "refit"): "parts only come out of an empty tank",
    ("drain", "move"): "two baths overflow the tank",
    ("inspection", "move"): "a failed part can only be seen while the tank is empty",
    ("inspection", "fill"): "a failed part can only be seen while the tank is empty",
    ("hands", "move"): "hands only go into an empty tank",
    ("hands", "fill"): "hands only go into an empty tank",
    ("rinse", "move"): "what is rinsed off stays in the fresh bath",
    ("rinse", "fill"): "what is rinsed off stays in the fresh bath",
    ("refit", "move"): _UNREFITTED,
    ("refit", "fill"): _UNREFITTED,
    ("move", "fill"): "the clean bath must be out of its tank first",
    **{("ppe", later): _SPLASH for later in ("rinse_clean", "clean", "refit_clean")},
    ("isolate", "clean"): _REACHES,
    **{("isolate_clean", later): _REACHES for later in ("move", "rinse_clean", "clean",
                                                        "refit_clean", "fill")},
    ("drum", "rinse_clean"): "the rinse has nowhere to go",
    ("bond", "rinse_clean"): _SPARK,
    ("move", "rinse_clean"): "the rinse mixes with the bath",
    ("move", "clean"): "hands only go into an empty tank",
    ("move", "refit_clean"): "parts only come out of an empty tank",
    ("rinse_clean", "fill"): "what is rinsed off stays in the fresh bath",
    ("clean", "refit_clean"): "a failed part can only be seen while the tank is empty",
    ("clean", "fill"): _UNREFITTED,
    ("refit_clean", "fill"): _UNREFITTED,
    ("move", "leak_check"): "an empty tank shows no leak",
    ("fill", "leak_check"): "an empty tank shows no leak",
    ("fill", "reading"): "there is nothing to measure",
    ("leak_check", "restart"): "a pump empties a leaking bath onto the floor",
    **{(early, "restart"): _RUNS for early in ROLES if early not in ("", "leak_check", "restart")},
}  # fmt: skip
"""Which role stands before which, and what happens otherwise."""

CONFIRMED = (
    "ppe",
    "isolate",
    "isolate_clean",
    "bond",
    "refit",
    "clean",
    "refit_clean",
    "leak_check",
    "restart",
)
"""Roles whose steps ask for nothing else: each has a point to confirm, so that no touch in passing
ticks them."""


def dangers(steps: Sequence[Step]) -> tuple[Danger, ...]:
    """All that makes a list dangerous; empty where nothing does."""
    return (*_missing(steps), *_misplaced(steps), *_unasked(steps))


def changed_roles(steps: Sequence[Step], before: Sequence[Step]) -> tuple[Danger, ...]:
    """Steps that keep their key and lose what the program does with them."""
    was = {step.key: step.role for step in before if step.role}
    return tuple(
        Danger(
            f"“{step.title}” is the step that {ROLES[was[step.key]].does}. You cannot take that "
            "away from it. Remove the whole step and add your own.",
            step=step.key,
        )
        for step in steps
        if was.get(step.key, step.role) != step.role
    )


def renewed(steps: Sequence[Step]) -> tuple[Step, ...]:
    """A stored list, with the roles that steps of its keys have got since."""
    usual = {step.key: step.role for step in DEFAULT.steps}
    taken, found = {step.role for step in steps}, []
    for step in steps:
        role = step.role or usual.get(step.key, "")
        is_free = role not in taken or ROLES[role].may_repeat
        found.append(replace(step, role=role) if is_free and not step.role else step)
    return tuple(found)


def put_back(steps: Sequence[Step], role: str) -> tuple[Step, ...]:
    """The list with the usual step of a role that is missing, where it belongs."""
    new = next(step for step in DEFAULT.steps if step.role == role)
    others = tuple(step for step in steps if step.key != new.key)
    place = _place_of(others, role)
    return (*others[:place], new, *others[place:])


def _missing(steps: Sequence[Step]) -> list[Danger]:
    found = []
    for role, why in NEEDED.items():
        mine = [step for step in steps if step.role == role]
        if not mine:
            place = _place_of(steps, role)
            beside = steps[place].key if place < len(steps) else ""
            text = f"The list lacks the step that {ROLES[role].does}. Without it, {why}."
            found.append(Danger(text, role, beside))
        elif not any(step.is_required for step in mine):
            text = f"“{mine[0].title}” must be required. Without it, {why}."
            found.append(Danger(text, step=mine[0].key))
    return found


def _misplaced(steps: Sequence[Step]) -> list[Danger]:
    places: dict[str, list[int]] = {}
    for place, step in enumerate(steps):
        places.setdefault(step.role, []).append(place)
    found = []
    for (first, second), why in ORDER.items():
        ones, others = places.get(first, ()), places.get(second, ())
        if ones and others and max(ones) > min(others):
            early, late = steps[max(ones)], steps[min(others)]
            text = f"“{early.title}” must come before “{late.title}”. Otherwise {why}."
            found.append(Danger(text, step=early.key))
    return found


def _unasked(steps: Sequence[Step]) -> list[Danger]:
    return [
        Danger(f"“{step.title}” has nothing to confirm. Give it at least one point, so that "
               "nobody ticks it in passing.", step=step.key)
        for step in steps
        if step.role in CONFIRMED and not step.confirms
    ]  # fmt: skip


def _place_of(steps: Sequence[Step], role: str) -> int:
    """Where a step of a role belongs: before the first that has to come after it."""
    later = {second for first, second in ORDER if first == role}
    found = (place for place, step in enumerate(steps) if step.role in later)
    after = [place for place, step in enumerate(steps) if (step.role, role) in ORDER]
    return next(found, max(after, default=len(steps) - 1) + 1)

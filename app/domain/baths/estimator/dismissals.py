"""What a person has dismissed of the explanations, and when new readings bring it back."""

from app.domain.baths.estimator.contradictions import DAY, are_apart
from app.domain.baths.estimator.explanations import (
    OF_ONE_READING,
    Weighed,
    speaking_for,
    subject_of,
)
from app.domain.baths.estimator.pairs import deny
from app.domain.baths.estimator.passports import ROOM_BIAS
from app.domain.baths.estimator.roomstate import RoomState, day_of
from app.domain.baths.estimator.shared import HYDROMETER
from app.domain.roomlog.kinds import ExplanationDismissed

FLAG_OF = {"slip": "reading_disagrees"}  # the others are called as their flags
NAME_OF = {flag: name for name, flag in FLAG_OF.items()}


def dismiss(room: RoomState, entry: ExplanationDismissed) -> None:
    """Take a person's word that an explanation is left as it is."""
    facts, bath = room.tanks[entry.tank], room.baths[entry.tank]
    name, day = entry.explanation, day_of(entry.at)
    if name == "instrument_off":
        if kept := room.passports.get(ROOM_BIAS):
            kept.dismissed_percent = float(room.shared.mean[HYDROMETER])
        return
    if name == "pair_untold":
        deny(room, entry.tank)
        return
    seen = Weighed(facts, bath, bath.joint(room.shared), day)
    subject = entry.entry or subject_of(name, facts)
    facts.dismissed[name] = [day, len(speaking_for(name, seen)), subject]
    if name in ("wrong_tank", "not_one_bath"):  # nor is anything else said of the last reading
        for other in OF_ONE_READING:
            facts.dismissed[other] = [day, 1, entry.entry or subject_of(other, facts)]


def is_dismissed(flag: str, seen: Weighed) -> bool:
    """Whether what a flag says was dismissed, and nothing new speaks for it.

    Of one entry: as long as it is that entry. Readings bring the others back, once as many have
    come as spoke for it when it was dismissed; contradictions once the new ones alone contradict.
    """
    name = NAME_OF.get(flag, flag)
    dismissed = seen.facts.dismissed.get(name)
    if dismissed is None:
        return False
    day, count, subject = dismissed
    if name in OF_ONE_READING or name == "wrong_entry":
        return bool(subject_of(name, seen.facts) == subject)
    if name == "not_one_bath":
        return not are_apart(seen.facts, seen.day, since=day)
    fresh = [one for one in speaking_for(name, seen) if one[DAY] > day]
    return len(fresh) < max(int(count), 1)

"""What entries name, in people's words: the name of a tank, an item, a step, for its key."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session

from app.domain.incidents.guides import GUIDES, WITH_WHAT
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.duties import DUTY
from app.domain.roomlog.kinds.incidents import INCIDENT
from app.domain.roomlog.kinds.waste import DRUM
from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import sheet_of
from app.domain.waste.rules import RULE_SETS
from app.domain.waste.streams import STREAMS
from app.services.duties.due import duties
from app.store.naming import names_of_resins, names_of_tanks, states_of

FIXED: Mapping[str, Mapping[str, str]] = {
    "solvent": {**WITH_WHAT, **{key: one.name for key, one in SOLVENTS.items()}},
    "stream": {key: one.name for key, one in STREAMS.items()},
    "rule_set": {key: one.name for key, one in RULE_SETS.items()},
    "waste_category": {
        each.key: each.name for one in RULE_SETS.values() for each in one.categories
    },
}
"""Names that are the same in every room."""
IN_A_THING: Mapping[str, str] = {"step": SWAP, "follow_up": INCIDENT}
"""What has no book but stands in that of another thing, which the entry names as well."""


@dataclass(frozen=True)
class Names:
    """The names of what some entries name.

    Attributes:
        names: by kind of thing and key.
        states: of the things that have a book.
    """

    names: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    states: Mapping[tuple[str, str], Any] = field(default_factory=dict)

    def of(self, kind: str, key: str, entry: Entry) -> str:
        """What a key that stands in the entry is called; the key itself where nobody knows."""
        if kind in FIXED and (sheet := sheet_of(key)):
            return STREAMS[key].name if kind == "stream" else sheet.name
        if kind in IN_A_THING:
            return self._within(kind, key, entry)
        if kind == "subject":  # of a duty: a tank, a drum, a person
            return self._plain("tank", key) or self._plain(DRUM, key) or key
        if kind == "fields":
            specs = entry.specs()
            said = [part.strip() for part in key.split(",")]
            return ", ".join(specs[one].label.lower() if one in specs else one for one in said)
        return self._plain(kind, key) or key

    def unit(self, kind: str, key: str) -> str:
        """The unit in which a thing is counted; empty where that is not known."""
        return getattr(self.states.get((kind, key)), "unit", "")

    def _plain(self, kind: str, key: str) -> str:
        if found := self.names.get(kind, {}).get(key):
            return found
        state = self.states.get((kind, key))
        if kind == SWAP:
            return self._plain("tank", getattr(state, "tank", "")) or "a tank"
        return getattr(state, "name", "") or ""

    def _within(self, kind: str, key: str, entry: Entry) -> str:
        thing = IN_A_THING[kind]
        state = self.states.get((thing, getattr(entry, thing)))
        if thing == SWAP:
            step = state.step(key) if state is not None else None
            return step.title if step is not None else key
        guide = GUIDES.get(getattr(state, "problem", ""))
        found = (one.text for one in guide.follow_ups if one.key == key) if guide else iter(())
        return next(found, key).rstrip(".")


def names_of(session: Session, room_id: int, entries: Iterable[Entry]) -> Names:
    """The names of all that these entries name."""
    pairs = {pair for entry in entries for pair in named_by(entry)}
    kinds = {kind for kind, _ in pairs}
    states = states_of(session, room_id, pairs)
    swaps = [state for (kind, _), state in states.items() if kind == SWAP]
    names: dict[str, Mapping[str, str]] = dict(FIXED)
    if swaps or kinds & {"tank", "subject"}:
        names["tank"] = names_of_tanks(session, room_id)
    if "resin" in kinds:
        names["resin"] = names_of_resins(session, room_id)
    if DUTY in kinds:
        found, _ = duties(session, room_id)
        names[DUTY] = {key: duty.name for key, duty in found.items()}
    return Names(names, states)


def named_by(entry: Entry) -> Iterator[tuple[str, str]]:
    """Kind and key of each thing whose name the entry's sentence may need."""
    for name, spec in entry.specs().items():
        kind, value = spec.named(name), getattr(entry, name)
        if not kind or value is None:
            continue
        for key in value if isinstance(value, list | tuple) else (value,):
            yield (kind, str(key))
            if kind == "subject":
                yield (DRUM, str(key))

"""The solvents that a site has entered from their data sheets."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.solvents import OWN_SOLVENTS, OwnSolvent
from app.domain.solvents import SOLVENTS, Solvent
from app.domain.solvents.own import key_of, sheet_of
from app.domain.things import Thing


@dataclass(frozen=True)
class OwnSolvents:
    """Keys of the solvents in use, each by the last sheet that was entered, oldest name first."""

    keys: tuple[str, ...] = ()

    @property
    def solvents(self) -> Mapping[str, Solvent]:
        """The solvents by their keys."""
        return {key: SOLVENTS[key] for key in self.keys if key in SOLVENTS}


def _after(state: OwnSolvents, entry: Entry) -> OwnSolvents:
    if not isinstance(entry, OwnSolvent):
        return state
    name, new = entry.name.strip(), () if entry.is_gone else (key_of(entry.sheet),)
    keys: list[str] = []
    is_placed = False
    for key in state.keys:
        sheet = sheet_of(key)
        if sheet is not None and sheet.name == name:
            keys += new
            is_placed = True
        else:
            keys.append(key)
    return OwnSolvents(tuple(keys) if is_placed else (*state.keys, *new))


OWN_SOLVENTS_BOOK = Thing(OWN_SOLVENTS, OwnSolvents, lambda _: OwnSolvents(), _after)

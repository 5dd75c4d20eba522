"""Exposure limits that the site has set in the place of those that the program carries."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from app.domain.air import VAPOURS
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.solvents import SOLVENT_LIMITS, SolventLimit
from app.domain.solvents import SOLVENTS
from app.domain.solvents.vapour import Limit, Paper, Vapour
from app.domain.things import Thing

NAMES: Mapping[str, str] = {
    "eight_hours": "8 hours", "fifteen_minutes": "15 minutes", "danger_to_life": "danger to life",
}  # fmt: skip
"""What a limit holds for, as the list of limits calls it, by the word of the log."""
DANGER = NAMES["danger_to_life"]


@dataclass(frozen=True)
class SiteLimit:
    """A limit of the site's own, ppm by volume.

    Attributes:
        source: where it stands; reason: why it counts here; lead: who set it; as_of: on which day.
    """

    ppm: float
    source: str
    reason: str
    lead: str
    as_of: date


@dataclass(frozen=True)
class SolventLimits:
    """The site's own limits, by solvent and what they hold for, as `isopropanol/8 hours`."""

    own: Mapping[str, SiteLimit] = field(default_factory=dict)

    def of(self, solvent: str, name: str) -> SiteLimit | None:
        """The site's limit; None where the carried ones count."""
        return self.own.get(f"{solvent}/{name}")

    def vapour(self, solvent: str, rule_set: str) -> Vapour | None:
        """The vapour of a solvent with the site's limits in the place of those carried for its
        rules; those of other countries stay, for comparison. None where none is known."""
        found = VAPOURS.get(solvent)
        if found is None:
            return None
        limits = list(found.limits)
        for name in NAMES.values():
            own = self.of(solvent, name)
            if own is None:
                continue
            is_danger = name == DANGER
            limits = [one for one in limits if one.name != name or not counts(one, rule_set)]
            paper = Paper(own.source, "set by the site")
            where = () if is_danger else (rule_set,)
            limits.append(Limit(name, own.ppm, paper, is_danger, where, own.as_of))
        return replace(found, limits=tuple(limits))


def counts(limit: Limit, rule_set: str) -> bool:
    """A limit holds under a set of rules: it is of that country, or of none."""
    return limit.where == () or rule_set in limit.where


def carried(solvent: str, name: str, rule_set: str) -> tuple[Limit, ...]:
    """The limits that the program carries for a set of rules, the lowest first."""
    found = VAPOURS.get(solvent)
    limits = () if found is None else found.limits
    here = (one for one in limits if one.name == name and counts(one, rule_set))
    return tuple(sorted(here, key=lambda one: one.ppm))


def raised_words(entry: SolventLimit, rule_set: str) -> str:
    """Why a limit of the site's own is asked about: it lies above what the rules carry; else empty.

    The lowest of them decides: what is recommended may be lower than what is law. A limit where
    the rules carry none only makes them stricter.
    """
    name = NAMES[entry.holds_for]
    here = carried(entry.solvent, name, rule_set)
    if entry.limit_ppm is None or not here or entry.limit_ppm <= here[0].ppm:
        return ""
    low, high = here[0], here[-1]
    above = f"{low.ppm:g} ppm ({low.paper.name})"
    if high is not low and entry.limit_ppm > high.ppm:
        above += f" and {high.ppm:g} ppm ({high.paper.name})"
    return (
        f"{entry.limit_ppm:g} ppm is above {above}. People would breathe more before anything is "
        "said. Does your authority allow it?"
    )


def limit_problems(entry: SolventLimit) -> dict[str, str]:
    """What does not fit, by field: no solvent whose vapour is followed, or one of a data sheet."""
    if entry.solvent in tuple(VAPOURS):  # it finds own solvents, and does not list them
        return {}
    known = SOLVENTS.get(entry.solvent)
    if known is not None and known.is_own:
        return {
            "solvent": "Its limit is on its data sheet. Enter the new sheet under Own solvents."
        }
    return {"solvent": f"No limit is kept of “{entry.solvent}”: {', '.join(VAPOURS)}."}


def _after(state: SolventLimits, entry: Entry) -> SolventLimits:
    if not isinstance(entry, SolventLimit):
        return state
    key = f"{entry.solvent}/{NAMES[entry.holds_for]}"
    own = {name: limit for name, limit in state.own.items() if name != key}
    if entry.limit_ppm is not None:
        own[key] = SiteLimit(
            entry.limit_ppm, entry.source or "", entry.reason, entry.lead, entry.at.date()
        )
    return SolventLimits(own)


SOLVENT_LIMITS_BOOK = Thing(SOLVENT_LIMITS, SolventLimits, lambda _: SolventLimits(), _after)

"""What stands beside the cost: parts that came out bad, and solvent that was lost to problems."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from app.domain.roomlog.kinds import Entry, Reject, Removal
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.spend.costs import Fill
from app.domain.spend.lines import SOLVENT, CostLine

TACKY = "tacky"


@dataclass(frozen=True)
class Rejects:
    """Rejected parts of a week; an entry without a number counts as one part.

    Attributes:
        entries: how many times parts were rejected.
        parts, tacky, washed_again, scrapped: parts in all, and by finding and outcome.
    """

    entries: int = 0
    parts: int = 0
    tacky: int = 0
    washed_again: int = 0
    scrapped: int = 0


@dataclass(frozen=True)
class Loss:
    """Solvent of a bath that a problem cost, at what it was charged with when it was filled.

    Attributes:
        cents: None where no price of it is known. It is in the costs of the fill already.
    """

    entry: str
    tank: str
    problem: str
    litres: float
    cents: int | None


@dataclass(frozen=True)
class Quality:
    """What a week's saving may have cost.

    Attributes:
        late: washes past the limit that their tank had then, of `washes`.
    """

    washes: int = 0
    late: int = 0
    rejects: Rejects = field(default_factory=Rejects)
    losses: tuple[Loss, ...] = ()


def rejects_of(entries: Iterable[Entry]) -> Rejects:
    """Rejected parts, counted."""
    found = [entry for entry in entries if isinstance(entry, Reject)]

    def parts(some: Iterable[Reject]) -> int:
        return sum(entry.parts or 1 for entry in some)

    return Rejects(
        len(found), parts(found), parts(one for one in found if one.finding == TACKY),
        parts(one for one in found if one.outcome == "washed_again"),
        parts(one for one in found if one.outcome == "scrapped"),
    )  # fmt: skip


def losses_of(
    problems: Iterable[Entry], baths: Sequence[Entry], fills: Sequence[Fill],
    lines: Mapping[str, Sequence[CostLine]],
) -> tuple[Loss, ...]:  # fmt: skip
    """What problems took out of baths, or spoiled in them; `lines` are each tank's costs.

    A spill counts what was taken out of the bath at its moment; where the log took nothing out, the
    litres that the report itself names. A wrong solvent spoils the bath:
    all that its last fill held. The shelf's losses are costs of their own (spoiled).
    """
    found = []
    for entry in problems:
        if not isinstance(entry, Incident) or not entry.tank:
            continue
        litres = _lost_l(entry, baths, fills)
        if litres:
            cents = _worth(entry, litres, lines.get(entry.tank, ()))
            found.append(Loss(entry.id, entry.tank, entry.problem, litres, cents))
    return tuple(found)


def _lost_l(entry: Incident, baths: Sequence[Entry], fills: Sequence[Fill]) -> float:
    if entry.problem == "wrong_solvent":
        held = [one for one in fills if one.tank == entry.tank and one.at < entry.at]
        swaps = [place for place, one in enumerate(held) if one.is_swap]
        return held[swaps[-1]].volume_l if swaps else 0.0
    taken_l = sum(
        one.volume_l
        for one in baths
        if isinstance(one, Removal)
        and one.tank == entry.tank
        and (one.at == entry.at or getattr(one, "incident", None) == entry.incident)
    )
    is_lost = entry.problem in ("spill", "leak")
    return taken_l or (entry.volume_l or 0.0 if is_lost else 0.0)


def _worth(entry: Incident, litres: float, lines: Sequence[CostLine]) -> int | None:
    """At what a litre of the last solvent that went into the bath cost."""
    priced = [
        line
        for line in lines
        if line.category == SOLVENT and line.unit == "L" and line.quantity and line.cents
        and line.at < entry.at
    ]  # fmt: skip
    if not priced:
        return None
    last = max(priced, key=lambda line: line.at)
    return round(last.cents / last.quantity * litres)

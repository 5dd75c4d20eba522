"""Resin or water? What two readings of different kinds, taken close together, tell."""

from datetime import datetime, timedelta

from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.water import WaterSplit, from_density_and_index, from_density_and_residue
from app.domain.errors import DomainError
from app.domain.instruments import BathLiquid, Measured
from app.domain.roomlog.kinds import Reading

PAIRED_WITHIN = timedelta(hours=24)


def watch_water(
    entry: Reading, measured: Measured, facts: TankFacts, liquid: BathLiquid
) -> tuple[str, ...]:
    """Take a reading into account; sentences where it and another tell resin from water."""
    told = measured.told
    of, figures = (told.of, told.figures) if told else ("", ())
    if of == "density":
        facts.density_reading = (entry.at, figures[0], figures[1])
        facts.is_apparent = measured.is_apparent and not facts.has_told_resin
    elif of == "resin":
        facts.residue_reading = (entry.at, figures[0])
    elif of == "index":
        facts.index_reading = (entry.at, figures[0])
    if of in ("resin", "index"):
        facts.has_told_resin, facts.is_apparent = True, False
    split = _split(of, entry.at, facts, liquid)
    if split is None:
        return ()
    facts.is_water_suspected = split.is_water_suspected
    return (split.statement,)


def forget_pairs(facts: TankFacts) -> None:
    """The liquid has changed: readings before and after it are not of the same."""
    facts.density_reading = facts.residue_reading = facts.index_reading = None


def _split(of: str, at: datetime, facts: TankFacts, liquid: BathLiquid) -> WaterSplit | None:
    """Resin and water from the newest reading and a recent one of another kind."""
    density = facts.density_reading
    if density is None or at - density[0] > PAIRED_WITHIN:
        return None
    residue, index = facts.residue_reading, facts.index_reading
    try:
        if of != "index" and residue and at - residue[0] <= PAIRED_WITHIN:
            return from_density_and_residue(density[1], density[2], residue[1], liquid)
        if of != "resin" and index and at - index[0] <= PAIRED_WITHIN:
            return from_density_and_index(density[1], density[2], index[1], liquid)
    except DomainError:
        return None
    return None

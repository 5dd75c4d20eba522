"""Limits of a tank in mass percent, in whichever basis they were entered."""

from app.domain.baths.conventions import to_mass_percent
from app.domain.baths.estimator.facts import Limit, TankFacts
from app.domain.baths.estimator.transitions import Liquid
from app.domain.solvents import solvent

USUAL_LIMIT_PERCENT = 10.0  # common practice, no source
STOP_ABOVE_LIMIT = 1.2
HIGHEST_LIMIT_PERCENT = 95.0


def limits_percent(facts: TankFacts, liquid: Liquid) -> tuple[float, float]:
    """Both limits of a tank in mass percent; what was not entered is what is usual."""
    limit = facts.limit
    if limit.value is None:
        usual = solvent(facts.solvent).usual_limit_volume_percent
        limit = Limit("volume_percent", usual) if usual else Limit(value=USUAL_LIMIT_PERCENT)
    first = _in_mass_percent(limit, liquid)
    if facts.stop.value is None:
        return first, min(STOP_ABOVE_LIMIT * first, HIGHEST_LIMIT_PERCENT)
    return first, max(_in_mass_percent(facts.stop, liquid), first)


def _in_mass_percent(limit: Limit, liquid: Liquid) -> float:
    assert limit.value is not None
    densities = (liquid.resin_density_g_ml, liquid.solvent_density_g_ml)
    return float(to_mass_percent(limit.value, limit.basis, *densities))

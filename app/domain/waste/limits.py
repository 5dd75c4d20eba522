"""How full a drum may be: its own limit, or what is left for expansion where that is less."""

import math
from dataclasses import replace

from app.domain.waste.drums import DrumState
from app.domain.waste.measures import highest_fill_percent
from app.domain.waste.rulebook import RuleBook


def computed_percent(drum: DrumState, rules: RuleBook, filled_at_c: float) -> float | None:
    """How full it may be by the rule about expansion, in percent, cut to a tenth.

    None where the rules or the stream give none. Source: the rule set (49 CFR 173.24a(d): not
    liquid-full at 55 C).
    """
    full_at_c, percent = rules.value("full_at_c"), rules.value("full_percent")
    if full_at_c is None or percent is None:
        return None
    most = highest_fill_percent(drum.stream, filled_at_c, full_at_c, percent)
    return None if most is None else math.floor(most * 10 + 1e-9) / 10


def bound(drum: DrumState, rules: RuleBook, filled_at_c: float) -> DrumState:
    """The drum with the limit that binds: the smaller of its own and the computed one."""
    most = computed_percent(drum, rules, filled_at_c)
    if most is None or drum.fill_limit_percent <= most:
        return drum
    return replace(drum, fill_limit_percent=most)

"""The filter's explanations against an independent particle filter on the same facts.

Gordon, Salmond and Smith, IEE Proc. F 140 (1993) 107: every particle draws its own explanation of
each reading by the chances that the settings state, and is weighed by how well it foretold it.
"""

import math

import numpy as np
import pytest

from tests.domain.baths.estimator.logs import SURE, Log, after

PARTICLES = 400_000
FILL_G = 42_000 * 0.7883
READINGS = ((2.0, 7.6), (4.0, 0.4), (4.1, 0.5), (6.0, 0.45))


def particles() -> tuple[float, float, float]:
    """Mean and sd of the saturation after the readings, and the chance of a swap."""
    rng, s = np.random.default_rng(8), SURE
    resin = FILL_G * rng.normal(0.08, s.given_saturation_sd_percent / 100, PARTICLES)
    solvent = FILL_G * rng.normal(0.92, s.to_mark_noise, PARTICLES)
    read_on, swapped = np.zeros(PARTICLES), np.zeros(PARTICLES, bool)
    ln_weight, slips, aside = np.zeros(PARTICLES), 0.0, 0
    for number, (day, shown) in enumerate(READINGS):
        days = np.maximum(day - read_on, s.least_jump_days)
        slip_chance = (s.slip_memory * s.slip_chance + slips) / (s.slip_memory + number)
        jump_chance = np.minimum(s.jump_chance_per_day * days, s.most_jump_chance)
        jump_percent = s.least_jump_percent
        if number == 0:
            jump_chance, jump_percent = jump_chance + s.dirty_fill_chance, s.dirty_fill_percent
        swap_chance = np.minimum(s.swap_chance_per_day * days, s.most_swap_chance)
        # Drawn evenly over the explanations and weighed by their chances, so that rare ones are
        # not left to a handful of particles.
        which = rng.integers(5, size=PARTICLES)
        is_less = shown < 100 * resin / (resin + solvent)
        share = np.where(is_less, s.unexplained_less_share, s.unexplained_more_share)
        chance = np.choose(which, [
            1 - slip_chance - jump_chance - swap_chance, np.full(PARTICLES, slip_chance),
            jump_chance, swap_chance, share * slip_chance * (1 + aside) ** 2,
        ])  # fmt: skip
        jump_g = jump_percent / 100 * (resin + solvent)
        is_jump, is_swap, is_slip, is_any = which == 2, which == 3, which == 1, which == 4
        resin = resin + np.where(is_jump, rng.normal(jump_g, jump_g), 0.0)
        heel = rng.normal(s.heel, s.heel_sd, PARTICLES)
        resin = np.where(is_swap, heel * resin, resin)
        solvent = np.where(is_swap, FILL_G, solvent)
        # Right, and nothing explains it: the bath holds what the reading shows.
        held = np.maximum(rng.normal(shown, s.residue_sd_percent, PARTICLES), 0.0)
        solvent = np.where(is_any & is_less, FILL_G, solvent)
        resin = np.where(is_any, held / (100 - held) * solvent, resin)
        swapped |= is_swap | (is_any & is_less)
        off = (shown - 100 * resin / (resin + solvent)) / s.residue_sd_percent
        right = np.exp(-off * off / 2) / (s.residue_sd_percent * math.sqrt(2 * math.pi))
        likely = np.where(is_slip | is_any, 1 / s.slip_percent_span, right)
        ln_weight += np.log(np.maximum(chance * likely, 1e-300))
        read_on = np.where(is_slip, read_on, day)
        weight = np.exp(ln_weight - ln_weight.max())
        weight /= weight.sum()
        slips += float(weight @ is_slip)
        aside = aside + 1 if weight @ is_slip > 0.5 else 0
        kept = rng.choice(PARTICLES, PARTICLES, p=weight)
        resin, solvent, read_on, swapped = (x[kept] for x in (resin, solvent, read_on, swapped))
        ln_weight[:] = 0.0
    percent = 100 * resin / (resin + solvent)
    return float(percent.mean()), float(percent.std()), float(swapped.mean())


def test_the_mixture_agrees_with_a_particle_filter() -> None:
    log = Log(SURE, saturation_percent=8.0, limit_percent=30.0, fresh_purity_percent=99.0)
    for day, percent in READINGS:
        log.residue(day, percent)
    belief = log.room.belief("alder", after(READINGS[-1][0]))
    mean, sd, swap = particles()
    told = {one.name: one.chance for one in belief.explanations}
    assert belief.mean_percent == pytest.approx(mean, abs=0.05)
    assert belief.sd_percent == pytest.approx(sd, rel=0.2)
    assert told["swap_missing"] == pytest.approx(swap, abs=0.03)

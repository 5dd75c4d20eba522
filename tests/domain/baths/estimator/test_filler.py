"""A hydrometer in a bath of filled resin: what it sees depends on how much filler floats."""

import pytest

from app.domain.baths.estimator import ResinFacts, RoomFilter
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log

SOLVENT_G_ML = 0.78830  # isopropanol of 99 mass % at 20 C; Lebo, J. Am. Chem. Soc. 43, 1005 (1921)
GLASS_G_ML = 2.5  # common glass, from memory
LABEL_G_ML = 1.58
SETTLED_G_ML = 0.5 / (1 / LABEL_G_ML - 0.5 / GLASS_G_ML)  # half of the mass is glass


def density_g_ml(percent: float, resin_g_ml: float) -> float:
    """Of a bath by ideal mixing: the volumes add."""
    share = percent / 100
    return 1 / (share / resin_g_ml + (1 - share) / SOLVENT_G_ML)


def kiln_log(filler_percent: float | None = 50.0) -> Log:
    log = Log()
    log.add(
        kinds.Resin, 0, resin="kiln", name="Kiln", density_g_ml=LABEL_G_ML, filled=True,
        filler_percent=filler_percent,
    )  # fmt: skip
    return log


def read_for_weeks(log: Log, weeks: int, resin_g_ml: float) -> float:
    """Washes, a residue and a hydrometer every week; the bath truly holds 1.5 % more each week."""
    for week in range(weeks):
        log.washes(7 * week, 7 * week + 6.5, per_day=3, resin="kiln")
        percent = 1.5 * (week + 1)
        log.residue(7 * week + 6.6, percent)
        log.hydrometer(7 * week + 6.8, density_g_ml(percent, resin_g_ml))
    return 1.5 * weeks


@pytest.mark.parametrize("shown_g_ml", [SETTLED_G_ML, 1.35, LABEL_G_ML])
def test_the_room_learns_how_far_filler_shows_in_a_density(shown_g_ml: float) -> None:
    log = kiln_log()
    percent = read_for_weeks(log, 6, shown_g_ml)
    effect = log.hydrometer(42, density_g_ml(percent, shown_g_ml))
    assert effect.measured is not None
    assert effect.measured.mass_percent == pytest.approx(percent, abs=0.6)
    assert effect.belief.mean_percent == pytest.approx(percent, abs=0.3)
    assert not effect.is_set_aside


@pytest.mark.parametrize("shown_g_ml", [SETTLED_G_ML, LABEL_G_ML])
def test_before_anything_else_speaks_the_density_says_less(shown_g_ml: float) -> None:
    log = kiln_log()
    log.washes(0, 14, per_day=6, resin="kiln")
    low, high = (
        kiln_percent(density_g_ml(6.0, shown_g_ml), g_ml) for g_ml in (LABEL_G_ML, SETTLED_G_ML)
    )
    effect = log.hydrometer(14, density_g_ml(6.0, shown_g_ml))
    assert effect.measured is not None
    assert low + 0.5 < effect.measured.mass_percent < high - 0.5
    assert effect.belief.p05_percent < 6.0 < effect.belief.p95_percent


def kiln_percent(density: float, resin_g_ml: float) -> float:
    """The resin in a bath of that density, by ideal mixing."""
    return 100 * (1 / SOLVENT_G_ML - 1 / density) / (1 / SOLVENT_G_ML - 1 / resin_g_ml)


def test_where_the_label_gives_no_filler_the_density_still_tells_that_there_is_some() -> None:
    told, untold = ResinFacts(LABEL_G_ML, True, 50.0), ResinFacts(LABEL_G_ML, True)
    assert untold.dissolved_density_g_ml == pytest.approx(told.dissolved_density_g_ml, abs=0.05)
    mean, sd = untold.ln_dissolved_share
    assert mean + sd == pytest.approx(0.0)  # none of it settles
    assert mean - sd == pytest.approx(told.ln_dissolved_share[0], abs=0.1)


def test_a_resin_without_filler_is_as_dense_as_its_label_says() -> None:
    for resin in (ResinFacts(1.12), ResinFacts(1.30), ResinFacts(1.08, True)):
        assert resin.dissolved_density_g_ml == resin.density_g_ml
        assert (resin.filler_lift_ml_g, resin.ln_dissolved_share) == (0.0, (0.0, 0.0))


def test_another_label_before_the_first_wash_is_believed_whole() -> None:
    plain = kiln_log()
    changed = kiln_log(filler_percent=None)
    changed.add(
        kinds.Resin, 0, resin="kiln", name="Kiln", density_g_ml=LABEL_G_ML, filled=True,
        filler_percent=50.0,
    )  # fmt: skip
    assert changed.room.carry_in() == plain.room.carry_in()


def test_what_was_learned_of_filler_survives_storing() -> None:
    log = kiln_log()
    read_for_weeks(log, 3, LABEL_G_ML)
    restored = RoomFilter.from_bytes(log.room.to_bytes())
    assert restored.liquid("alder") == log.room.liquid("alder")
    assert restored.to_bytes() == log.room.to_bytes()

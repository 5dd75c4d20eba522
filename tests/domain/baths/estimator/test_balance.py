"""What goes in and out of a bath, against formulas and by properties that hold for every log."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.domain.baths.estimator import RoomFilter, Settings
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import SURE, Log, after
from tests.oracles import Ask

ROUNDING_PERCENT = 1e-12
DAILY = st.lists(
    st.one_of(
        st.tuples(st.just("wash"), st.floats(1, 60_000)),
        st.tuples(st.just("residue"), st.floats(0, 60)),
        st.tuples(st.just("sensor"), st.floats(-3, 40)),
        st.tuples(st.just("top_up"), st.floats(0.01, 15)),
        st.tuples(st.just("to_mark"), st.floats(0.01, 5)),
        st.tuples(st.just("removal"), st.floats(0.01, 60)),
        st.tuples(st.just("swap"), st.floats(1, 60)),
        st.tuples(st.just("wait"), st.floats(0, 400)),
    ),
    max_size=25,
)


def live(log: Log, days: float, what: str, amount: float) -> object:
    """One entry of a drawn log."""
    if what in ("wash", "residue", "sensor"):
        return getattr(log, what)(days, amount)
    if what in ("top_up", "to_mark"):
        is_full = True if what == "to_mark" else None
        return log.at_tank(kinds.TopUp, days, volume_l=amount, to_mark=is_full)
    if what == "removal":
        return log.at_tank(kinds.Removal, days, volume_l=amount)
    if what == "swap":
        return log.at_tank(kinds.Swap, days, drained_l=amount, filled_l=amount)
    return None


def held_g(log: Log) -> float:
    """Resin that the bath holds by its log."""
    room = log.room._room
    bath = room.baths["alder"]
    return bath.resin_g(bath.joint(room.shared))


@settings(max_examples=60, deadline=None)
@given(DAILY)
@example(
    [("wash", 1.0), ("removal", 32.0), ("wash", 1.0)]
)  # it is hardly washed in next to nothing
def test_the_resin_balance_closes_and_the_estimate_stays_physical(entries) -> None:
    """Of what the bath holds by what is logged: where the log is silent on days with usual work,
    the belief counts washes that nobody logged beside it."""
    log, days, resin_g = Log(), 0.0, 0.0
    for what, amount in entries:
        days += amount if what == "wait" else 0.5
        effect = live(log, days, what, amount)
        if effect is None:
            continue
        resin_g += effect.resin_in_g - effect.resin_out_g + effect.correction_g
        belief = effect.belief
        assert held_g(log) == pytest.approx(resin_g, rel=1e-6, abs=1e-6)
        assert belief.resin_g >= held_g(log) - 1e-6
        assert held_g(log) >= -1e-6
        assert 0 <= belief.p05_percent <= belief.p95_percent <= 95
        assert 0 <= belief.mean_percent <= 95
        assert np.isfinite(belief.sd_percent)
        assert effect.resin_in_g >= 0
        assert effect.evaporated_g >= 0
        resin_g = held_g(log)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(10, 5000), min_size=1, max_size=20),
    st.data(),
)
def test_a_dirtier_wash_never_gives_a_cleaner_bath(areas, data) -> None:
    which = data.draw(st.integers(0, len(areas) - 1))
    more = data.draw(st.floats(1, 3))
    plain, dirtier = Log(), Log()
    for i, area_cm2 in enumerate(areas):
        plain.wash(0.1 * (i + 1), area_cm2)
        dirtier.wash(0.1 * (i + 1), area_cm2 * (more if i == which else 1))
    end = 0.1 * len(areas)
    assert dirtier.percent(end) >= plain.percent(end) - ROUNDING_PERCENT


@pytest.mark.parametrize("loads", [1, 10, 100, 400])
def test_dragging_out_follows_the_static_batch_formula(loads, ask: Ask) -> None:
    """Each load brings D of resin and drags D of the mixed bath out: the share of resin by volume
    after j loads is P(Binomial(j, D/V) >= 1), scipy.stats."""
    film_ml_cm2, area_cm2, capacity_l = 0.010, 2000.0, 10.0
    log = Log(
        Settings(
            **{**vars(SURE), "carry_in_g_cm2": 1.12 * film_ml_cm2, "drag_out_ml_cm2": film_ml_cm2}
        ),
        capacity_l=capacity_l,
    )
    for i in range(loads):
        log.wash(1e-4 * i, area_cm2)
    belief = log.room.belief("alder", after(1))
    share = film_ml_cm2 * area_cm2 / (1000 * capacity_l)
    by_volume = belief.resin_g / 1.12 / 1000 / belief.volume_l
    assert belief.volume_l == pytest.approx(capacity_l, rel=1e-6)
    assert by_volume == pytest.approx(ask("scipy.stats.binom.sf", 0, loads, share), rel=1e-6)


def test_the_limit_of_many_small_loads_is_the_gamma_distribution(ask: Ask) -> None:
    film_ml_cm2 = 0.010
    log = Log(
        Settings(
            **{**vars(SURE), "carry_in_g_cm2": 1.12 * film_ml_cm2, "drag_out_ml_cm2": film_ml_cm2}
        ),
        capacity_l=10.0,
    )
    for i in range(1000):
        log.wash(1e-4 * i, 100.0)
    belief = log.room.belief("alder", after(1))
    by_volume = belief.resin_g / 1.12 / 1000 / belief.volume_l
    assert by_volume == pytest.approx(ask("scipy.stats.gamma.cdf", 1000 * 1e-3 / 10, 1), rel=1e-4)


def test_a_swap_by_volumes_leaves_what_was_not_drained() -> None:
    log = Log(SURE)
    log.washes(0, 10)
    before = log.room.belief("alder", after(10))
    drained_l = before.volume_l - 10
    log.at_tank(kinds.Swap, 10, drained_l=drained_l, filled_l=30.0)
    belief = log.room.belief("alder", after(10))
    assert belief.resin_g == pytest.approx(before.resin_g * 10 / before.volume_l, rel=1e-9)
    assert belief.volume_l == pytest.approx(40.0, rel=1e-9)
    assert (belief.fill, belief.washes_since_fill) == (1, 0)


def test_a_swap_without_volumes_leaves_the_usual_heel_and_fills_to_the_mark() -> None:
    log = Log(SURE)
    log.washes(0, 10)
    before = log.room.belief("alder", after(10))
    effect = log.at_tank(kinds.Swap, 10)
    assert effect.belief.resin_g == pytest.approx(0.02 * before.resin_g)
    assert effect.resin_out_g == pytest.approx(0.98 * before.resin_g)
    assert effect.belief.volume_l == pytest.approx(42.0)


def test_removing_takes_the_same_share_of_resin_and_solvent() -> None:
    log = Log(SURE)
    log.washes(0, 10)
    before = log.room.belief("alder", after(10))
    effect = log.at_tank(kinds.Removal, 10, volume_l=before.volume_l / 4)
    assert effect.belief.resin_g == pytest.approx(0.75 * before.resin_g)
    assert effect.belief.mean_percent == pytest.approx(before.mean_percent)


def test_settled_solids_taken_out_leave_the_dissolved_resin() -> None:
    log = Log()
    log.washes(0, 5)
    before = log.room.belief("alder", after(5))
    effect = log.at_tank(kinds.SolidsRemoved, 5, mass_g=500.0)
    assert effect.belief.resin_g == pytest.approx(before.resin_g)


def test_evaporation_concentrates_and_a_top_up_dilutes() -> None:
    log = Log()
    log.washes(0, 10)
    fresh, later = log.percent(10), log.percent(30)
    assert later > fresh
    effect = log.at_tank(kinds.TopUp, 30, volume_l=4.0, to_mark=True)
    assert effect.belief.mean_percent < later
    assert effect.evaporated_g > 0
    assert effect.belief.volume_l == pytest.approx(42.0, abs=1.0)


def test_looking_ahead_changes_nothing() -> None:
    log = Log()
    log.washes(0, 5)
    log.hydrometer(5, 0.80)
    before = log.room.to_bytes()
    log.room.belief("alder", after(60))
    log.room.draw("alder", after(30), 50, np.random.default_rng(1))
    assert log.room.to_bytes() == before


def test_samples_spread_as_the_belief_says() -> None:
    log = Log()
    log.washes(0, 10)
    log.hydrometer(10, 0.815)
    belief = log.room.belief("alder", after(12))
    draws = log.room.draw("alder", after(12), 20_000, np.random.default_rng(7))
    percent = 100 * draws.resin_g / (draws.resin_g + draws.solvent_g)
    # Another processor draws other samples of the same spread: bounds of four standard errors, with
    # what a draw that is cut at nothing moves the mean by.
    assert percent.mean() == pytest.approx(belief.mean_percent, abs=0.1)
    low, high = np.quantile(percent, [0.05, 0.95])
    assert low == pytest.approx(belief.p05_percent, abs=0.3)
    assert high == pytest.approx(belief.p95_percent, abs=0.2)
    assert draws.resins == ("slate",)
    learned = log.room.carry_in()[0]
    assert np.exp(draws.ln_carry_in_g_cm2.mean()) == pytest.approx(
        learned.median_g_cm2 * np.exp(0.32**2 / 2) / 0.9, rel=0.02
    )


def test_an_unsound_checkpoint_is_refused() -> None:
    from app.domain.errors import DomainError

    with pytest.raises(DomainError, match="version"):
        RoomFilter.from_bytes(b"something else")

"""Days without a wash in the log: a pause, or forgotten washes?"""

import numpy as np
import pytest

from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after


def width_percent(log: Log, days: float) -> float:
    belief = log.room.belief("alder", after(days))
    return belief.p95_percent - belief.p05_percent


def busy_log() -> Log:
    log = Log()
    log.washes(0, 28)
    log.residue(27.9, log.percent(27.9))
    return log


def test_a_pause_in_which_nothing_is_logged_is_taken_for_one() -> None:
    belief = busy_log().room.belief("alder", after(33))
    above, below = (
        belief.p95_percent - belief.mean_percent,
        belief.mean_percent - belief.p05_percent,
    )
    assert above == pytest.approx(below, rel=0.02)


def test_work_at_a_bath_without_washes_widens_its_band_upwards() -> None:
    quiet, attended = busy_log(), busy_log()
    attended.at_tank(kinds.Removal, 30, volume_l=0.01)
    assert attended.percent(30.1) == pytest.approx(quiet.percent(30.1), abs=0.05)
    belief, still = (log.room.belief("alder", after(33)) for log in (attended, quiet))
    assert belief.p95_percent > still.p95_percent + 1.0
    assert belief.p05_percent == pytest.approx(still.p05_percent, abs=0.3)
    drawn = attended.room.draw("alder", after(33), 2000, np.random.default_rng(5))
    percent = 100 * drawn.resin_g / (drawn.resin_g + drawn.solvent_g)
    assert percent.mean() == pytest.approx(belief.mean_percent, abs=0.15)


def test_a_wash_logged_again_leaves_the_doubt_until_a_reading_settles_it() -> None:
    log = busy_log()
    log.at_tank(kinds.Removal, 30, volume_l=0.01)
    doubted = width_percent(log, 34)
    log.residue(34, log.room.belief("alder", after(34)).p05_percent)
    assert width_percent(log, 34.1) < doubted / 2

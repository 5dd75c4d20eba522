"""The placement map of a station: what light each measured place gets today, and how surely.

A cure is timed for the weakest place, with the meter's uncertainty taken against it: the mean over
the places would leave the parts at a corner short of their dose, and nobody would see it. Parts
that lie in some places only are timed by the weakest of these.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.curing.lamp import Lamp
from app.domain.meters.correcting import in_quadrature
from app.domain.roomlog.kinds.curing import LEAST_MW_CM2

Z90 = 1.6448536269514722  # 95 % quantile of the normal distribution

METER = 0.10
"""What a hand-held UV radiometer may be off by, of its reading: 5 to 10 % by their makers' data
sheets, second hand; the larger counts. Taken for the half width of a 90 % interval."""


@dataclass(frozen=True)
class Spot:
    """A marked place today.

    Attributes:
        place: its key (`roomlog.kinds.curing.POSITIONS`).
        mw_cm2: irradiance there, by the lamp's output today and the share that was measured.
        low_mw_cm2, high_mw_cm2: its 90 % interval: the lamp's, and what the meter may be off by.
        is_carried: it was left out of the last reading; its share is that of one before.
    """

    place: str
    mw_cm2: float
    low_mw_cm2: float
    high_mw_cm2: float
    is_carried: bool = False

    @property
    def is_dark(self) -> bool:
        """It gets no light: no part lies there."""
        return self.mw_cm2 < LEAST_MW_CM2

    def least_dose_mj_cm2(self, seconds: float) -> float:
        """The dose there after so many seconds at the lower end: 19 times of 20 it is more."""
        return self.low_mw_cm2 * seconds


@dataclass(frozen=True)
class Placement:
    """All measured places of a station today; empty where its lamp was never measured.

    Attributes:
        used: the places that parts lie in; empty where they may lie anywhere.
    """

    spots: tuple[Spot, ...] = ()
    used: tuple[str, ...] = ()

    @property
    def weakest(self) -> Spot | None:
        """The weakest place in use with light: a cure is timed for it. A dark place gets no part.

        None too where a place in use was not measured: how weak it is, nobody knows.
        """
        if self.unknown:
            return None
        used = [spot for spot in self.spots if not self.used or spot.place in self.used]
        lit = [spot for spot in used if not spot.is_dark]
        return min(lit, key=lambda spot: spot.mw_cm2) if lit else None

    @property
    def unknown(self) -> tuple[str, ...]:
        """The places in use that were not measured."""
        measured = {spot.place for spot in self.spots}
        return tuple(place for place in self.used if place not in measured)

    @property
    def used_dark(self) -> tuple[str, ...]:
        """The places in use that get no light."""
        return tuple(one.place for one in self.spots if one.is_dark and one.place in self.used)

    @property
    def is_one_place(self) -> bool:
        """One place was measured only: what the others get is not known."""
        return len(self.spots) == 1


def placement(lamp: Lamp, used: Sequence[str] | None = None) -> Placement:
    """The map of a lamp today.

    Every place is a share of the mean that one meter gave, so what the meter is off by cancels in
    the share (JCGM 100:2008, 5.2.2, fully correlated inputs) and enters once, with the level. How
    the shares themselves scatter from one round to the next is not known, and not counted.

    Args:
        used: the places that parts lie in; None or none of them: anywhere.
    """
    reading, mean = lamp.rests_on, lamp.mw_cm2
    if reading is None or mean is None:
        return Placement(used=tuple(used or ()))
    low, high = with_meter(mean, lamp.low_mw_cm2, lamp.high_mw_cm2, certificate=reading.certificate)

    def spot(place: str, value: float) -> Spot:
        share = value / reading.mean_mw_cm2
        return Spot(place, share * mean, share * low, share * high, place in lamp.carried)

    places = {**reading.positions, **lamp.carried}
    spots = tuple(spot(place, value) for place, value in places.items())
    return Placement(spots, tuple(used or ()))


def with_meter(
    mw_cm2: float,
    low_mw_cm2: float | None,
    high_mw_cm2: float | None,
    meter: float = METER,
    certificate: float = 0.0,
) -> tuple[float, float]:
    """The interval of an output with what the meter may be off by, which no fit sees.

    Independent relative parts add in quadrature (JCGM 100:2008, 5.1.2), here of the logarithm. An
    output that rests on one reading has the meter's part alone.

    Args:
        meter: half width of the meter's 90 % interval, as a share of what it reads.
        certificate: standard uncertainty that its certificate states beside that, as a share too:
            of the offset that was taken off.

    >>> [round(value, 2) for value in with_meter(20.0, None, None)]
    [18.18, 22.0]
    >>> [round(value, 2) for value in with_meter(20.0, None, None, certificate=0.05)]
    [17.63, 22.68]
    """
    part = in_quadrature(math.log1p(meter), Z90 * certificate)

    def reach(end: float | None) -> float:
        return math.hypot(math.log(end / mw_cm2), part) if end else part

    return mw_cm2 * math.exp(-reach(low_mw_cm2)), mw_cm2 * math.exp(reach(high_mw_cm2))

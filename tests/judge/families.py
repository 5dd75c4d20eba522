"""Eleven families of rooms and three whose truth lies far from what the program expects."""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Family:
    """What sets a kind of room apart; everything else is drawn afresh for each seed.

    Attributes:
        tanks, resins: how many of each.
        washes_per_day: on a working day, for each tank.
        cycle_days: about how long a fill lasts, drawn between these.
        hydrometer_days, residue_days, sensor_days: between readings; 0 means never.
        slip_share: readings that are typing slips.
        carry_in_factor: true carry-in against what the program expects.
        hydrometer_bias_percent: constant bias of the hydrometer.
        sensor_walk_percent: spread of the sensor's drift after one day.
        burst_factor: load in every sixth week against the other weeks.
        new_resin_share: of the washes in the second half of the history, with the last resin.
        filler_fraction: mass share of filler in the first resin.
        filler_shown: how far filler shows in the bath's density: 0 where it has settled, 1 where
            the bath is as dense as if the label's density held for what is dissolved.
        is_filler_told: the label states the share of filler.
        unlogged_weeks: weeks of which nobody logged a wash.
        idle_days: a pause half way, without work.
        planned_share: washes that were planned a week ahead.
    """

    name: str
    tanks: int = 1
    resins: int = 1
    washes_per_day: float = 4
    cycle_days: tuple[float, float] = (22, 45)
    hydrometer_days: float = 3
    residue_days: float = 14
    sensor_days: float = 0
    slip_share: float = 0.02
    carry_in_factor: float = 1
    hydrometer_bias_percent: float = 0
    sensor_walk_percent: float = 0.11
    burst_factor: float = 1
    new_resin_share: float = 0
    filler_fraction: float = 0
    filler_shown: float = 0
    is_filler_told: bool = True
    unlogged_weeks: int = 0
    idle_days: float = 0
    planned_share: float = 0


_TWO_TANKS = Family("", tanks=2, resins=2)

FAMILIES = (
    Family("light single bath", washes_per_day=1.2, hydrometer_days=5, residue_days=21),
    Family(
        "steady farm", tanks=4, resins=3, washes_per_day=6, hydrometer_days=3.5,
        planned_share=0.5,
    ),
    replace(_TWO_TANKS, name="bursty week", burst_factor=3),
    replace(_TWO_TANKS, name="new resin half way", new_resin_share=0.7),
    replace(_TWO_TANKS, name="filled resin", filler_fraction=0.5, residue_days=8),
    replace(_TWO_TANKS, name="filler afloat", filler_fraction=0.5, residue_days=8,
            filler_shown=1),
    replace(_TWO_TANKS, name="filler half afloat, not on the label", filler_fraction=0.5,
            residue_days=8, filler_shown=0.5, is_filler_told=False),
    replace(_TWO_TANKS, name="a week unlogged", unlogged_weeks=2),
    replace(_TWO_TANKS, name="many slips", slip_share=0.10),
    replace(_TWO_TANKS, name="drifting sensor", sensor_days=1, sensor_walk_percent=0.15,
            hydrometer_days=7, residue_days=30),
    replace(_TWO_TANKS, name="long idle", idle_days=35),
)  # fmt: skip

WRONG_PRIORS = (
    replace(_TWO_TANKS, name="carry-in twice", carry_in_factor=2),
    replace(_TWO_TANKS, name="carry-in half", carry_in_factor=0.5),
    replace(_TWO_TANKS, name="hydrometer off by 1.5", hydrometer_bias_percent=1.5),
)

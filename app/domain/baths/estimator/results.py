"""What the room filter answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from app.domain.baths.estimator.shared import Array
from app.domain.baths.estimator.shown import Shown
from app.domain.instruments import Measured

UNREAD = "Nobody had read this bath for a year."
"""What an effect notes then; its figure rests on the log alone."""


@dataclass(frozen=True, slots=True)
class Sight:
    """A reading that speaks for an explanation.

    Attributes:
        percent: mass percent, as its instrument shows it.
        before_percent: what the estimate was before it.
    """

    at: datetime
    channel: str
    percent: float
    before_percent: float
    entry: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """One way to understand the last readings of a bath.

    Attributes:
        name: right, slip (of the pen), wrong_tank, washes_missing, swap_missing, top_up_missing,
            wrong_entry, fill_not_fresh, not_one_bath, instrument_off or pair_untold.
        chance: 0 to 1; None of not_one_bath, which no chance is worked out for. Those of a slip,
            of another tank and of what was not logged are each their own; together with `right`
            they need not make one.
        since: the instant from which it would hold; None where none is known.
        readings: those that speak for it, in order.
        read_before_at: the last reading before these, or the fill.
        other_tank: the tank that the reading fits, of wrong_tank.
        entry: id of the entry that it is about: of wrong_entry, slip and wrong_tank.
        factor: by which the size of that entry seems too large, of wrong_entry.
        to_mark_l: what was missing to the mark at the first of the readings.
        bias: mean and sd in mass percent, of instrument_off; `tanks` where it explains readings.
    """

    name: str
    chance: float | None
    since: datetime | None
    readings: tuple[Sight, ...] = ()
    read_before_at: datetime | None = None
    other_tank: str | None = None
    entry: str | None = None
    factor: float | None = None
    to_mark_l: float = 0.0
    bias: tuple[float, float] | None = None
    tanks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BathBelief:
    """What is believed of a bath at an instant.

    Attributes:
        mean_percent, sd_percent, p05_percent, p95_percent: saturation in mass percent.
        hydrometer_bias, sensor_bias: (mean, sd) in mass percent.
        solvent_density_g_ml, resin_density_g_ml: at 20 C; the resin is the mean of what is in it.
        limit_percent, stop_percent: the first and the second limit in mass percent.
        missing_since: the reading after which washes seem to be missing, with that flag.
        water_percent: (mean, sd) of water in the solvent beyond that of its label, or of the
            fill's fresh reading, mass percent of the solvent.
        flags: any of reading_disagrees, washes_missing, swap_missing, top_up_missing, wrong_entry,
            wrong_tank, fill_not_fresh, not_one_bath, unread_for_a_year, sensor_drifting, apparent,
            instrument_off, pair_untold, water_suspected, past_limit, past_stop, past_life_days,
            past_life_washes.
        explanations: of the last readings, the likeliest first; empty where none was taken, and in
            the effects of other entries.
        said: the one of these that is to be said, of slip and wrong_tank with the chance that the
            reading is not right here; None where none is likely enough, or a person
            has dismissed it and no new reading speaks for it.
    """

    tank: str
    at: datetime
    mean_percent: float
    sd_percent: float
    p05_percent: float
    p95_percent: float
    resin_g: float
    solvent_g: float
    volume_l: float
    volume_sd_l: float
    fill: int
    fill_started_at: datetime
    washes_since_fill: int
    last_wash_at: datetime | None
    last_reading_at: datetime | None
    last_entry_at: datetime | None
    hydrometer_bias: tuple[float, float]
    sensor_bias: tuple[float, float]
    solvent_density_g_ml: float
    resin_density_g_ml: float
    limit_percent: float
    stop_percent: float
    missing_since: datetime | None
    flags: tuple[str, ...]
    water_percent: tuple[float, float] = (0.0, 0.0)
    explanations: tuple[Explanation, ...] = ()
    said: Explanation | None = None


@dataclass(frozen=True, slots=True)
class Effect:
    """What an entry did to the belief of its bath: the answer to "why this number?".

    The mean mass of resin after it is the one before it plus `resin_in_g` less `resin_out_g` plus
    `correction_g`.

    Attributes:
        fill: number of swaps of the tank so far.
        belief: after the entry.
        mean_before_percent: just before the entry, mass percent.
        resin_in_g, resin_out_g: carried in; dragged out, taken out or drained.
        correction_g: what a reading, a level seen, or a wash where little was left changed.
        evaporated_g: solvent lost since the tank's entry before.
        measured: what a reading measured; None for other entries, or where it could not.
        slip_weight: how likely the reading is a slip of the pen, 0 to 1.
        is_set_aside: that is more likely than not.
        jump_weight: how likely washes of the last ten days were not logged, 0 to 1.
        notes: sentences for people.
    """

    tank: str
    fill: int
    belief: BathBelief
    mean_before_percent: float
    resin_in_g: float = 0.0
    resin_out_g: float = 0.0
    correction_g: float = 0.0
    evaporated_g: float = 0.0
    measured: Measured | None = None
    slip_weight: float = 0.0
    is_set_aside: bool = False
    jump_weight: float = 0.0
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Passport:
    """What was learned of an instrument.

    Attributes:
        channel: key of the instrument; `tank` where it is built in.
        bias: mean and sd in mass percent, too high above nothing; None where none is followed.
        in_tanks: tank, mean and sd of the bias as each bath shows it, where the room shares one.
        off_since: since when the bias is sure to lie on its side of nothing.
        scatter_percent: of a reading, as the estimate takes it; `calibrated_scatter_percent` in
            solvents that it was calibrated for; `scatter_seen_percent` what the readings showed,
            `scatter_at_most_percent` what it cannot exceed by them; None of too few readings, the
            former also where the estimate was too wide. Standard deviations, mass percent.
        readings: taken so far.
        slips: how many of these were slips, by their chances added up.
        slip_chance: of the next one.
    """

    channel: str
    tank: str | None
    bias: tuple[float, float] | None
    in_tanks: tuple[tuple[str, float, float], ...]
    off_since: datetime | None
    scatter_percent: float
    calibrated_scatter_percent: float | None
    scatter_seen_percent: float | None
    scatter_at_most_percent: float | None
    readings: int
    slips: float
    slip_chance: float
    first_at: datetime | None
    last_at: datetime | None


@dataclass(frozen=True, slots=True)
class CarryIn:
    """Dissolved resin that a resin's parts carry in, learned from this room's log.

    Attributes:
        median_g_cm2, low_g_cm2, high_g_cm2: middle and 90 % interval, grams per cm2 of surface.
        washes: how many were logged; with 0 the figures are only what is usual.
    """

    resin: str
    median_g_cm2: float
    low_g_cm2: float
    high_g_cm2: float
    washes: int


@dataclass(frozen=True, slots=True)
class Draws:
    """Joint samples of what a bath may be and what will happen to it, one row each.

    Attributes:
        evaporation_per_day: fraction of a fill.
        ln_carry_in_g_cm2: logarithm of the mean grams that a logged cm2 of each resin brings in,
            the washes that nobody logs included.
        shown: what each usable instrument would show.
    """

    resin_g: Array
    solvent_g: Array
    evaporation_per_day: Array
    ln_carry_in_g_cm2: Array
    resins: tuple[str, ...]
    ln_cm2_per_g: Array
    ln_cm2_per_part: Array
    shown: Mapping[str, Shown] = field(default_factory=dict)

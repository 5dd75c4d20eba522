"""The numbers that the room filter starts from; each can be set."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Settings:
    """Priors and noise of the room filter.

    `_ln_sd` is a standard deviation of a natural logarithm, `_percent` is mass percent resin in
    the bath, and `_sd` a standard deviation in the unit of the name before it.

    Attributes:
        carry_in_g_cm2: dissolved resin that a wash brings in, grams per cm2 of part surface.
        carry_in_ln_sd: how far a room may lie from it; `resin_ln_sd` a resin from its room.
        resin_walk_ln_sd: wandering of a resin's carry-in, per square root of a day.
        unlogged_share: washes that nobody logs.
        wash_ln_sd, mass_ln_sd, parts_ln_sd: scatter of a wash's carry-in, and what is added to it
            where the surface is told from the mass or from the number of parts.
        drag_out_ml_cm2: film of bath liquid that leaves with the parts, and that the parts of a
            pair's dirty bath bring into its clean one; `drag_out_ln_sd` how far a room may lie
            from it, `drag_out_noise` how far a wash from its room, as a share.
        feed_days: for so long the error in what the dirty bath's film holds stays the same.
        evaporation_per_day: share of a fill of isopropanol.
        heel, heel_sd: share of a drained bath that stays; of one that was seen `heel_seen_noise` of
            itself is unsure, of any no less than `heel_least_sd` of the bath.
        suspended, suspended_sd: how far filler shows in a bath's density, from 0 (all settled) to 1
            (the label's density): which of the two is not known beforehand.
        water_sd_percent: how far a fresh solvent's water may lie from its label, mass %; it takes
            up more, `water_walk_percent` per square root of a day. Where the fill's fresh solvent
            was measured, `baseline_water_sd_percent`.
        wet_chance, wet_sd_percent: a fill's solvent is wetter than that, when a surprising reading
            is looked at, and by how much.
        hydrometer_off_chance, hydrometer_off_sd_percent: the room's hydrometer is off by more than
            `hydrometer_room_bias_sd_percent`; `hydrometer_off_later_chance` after
            `hydrometer_known_readings` of it.
        mark_missed_chance: the level after a top-up to the mark is not at the mark; then it lies
            anywhere within `mark_missed_span`, a share of the fill.
        slip_percent_span: a slip of the pen lies anywhere in so wide a range.
        jump_*: washes that nobody logged for some days: how likely, and how large.
        swap_*: a swap that nobody logged: how likely a day since the last reading and at most, so
            many times likelier where the limit is near (`swap_near_limit`).
        top_up_*: the same of a top-up, `top_up_least_share` of the fill or more; the likelier, the
            more beyond `top_up_usual_share` would be missing (e-fold with each `top_up_share_sd`).
        dirty_fill_*: a fill that was not fresh when first read: how likely, and how dirty.
        unexplained_less_share, unexplained_more_share: for each slip of the pen so many readings
            are right that show less, or more, than anything in the log explains;
            `unexplained_sd_percent` how little is known beforehand of what the bath then holds.
        slip_memory: so many readings the slip chance is worth before a tank's own are counted.
        contradicted_*: where readings do not belong to one bath, those set aside are right with
            this chance.
        silence_*: where days with usual work have no wash in the log, how likely at most that
            washes were not logged, and how many must be missing for half of that;
            `attended_silence_chance` where a day with other entries has ended without a wash;
            `silence_again_chance` where unlogged washes came to light in this silence before.
        twin_sd: hypotheses closer than this many deviations are kept as one.
        components: how many readings of the past (hypotheses) are kept for each bath.
    """

    carry_in_g_cm2: float = math.sqrt(0.01 * 0.03)
    carry_in_ln_sd: float = 0.38
    resin_ln_sd: float = 0.30
    resin_walk_ln_sd: float = 0.004
    cm2_per_g: float = 4.0
    cm2_per_g_ln_sd: float = 0.25
    cm2_per_part: float = 150.0
    cm2_per_part_ln_sd: float = 0.30
    unlogged_share: float = 0.10
    wash_ln_sd: float = 0.32
    mass_ln_sd: float = 0.30
    parts_ln_sd: float = 0.35
    drag_out_ml_cm2: float = 0.010
    drag_out_ln_sd: float = 0.45
    drag_out_noise: float = 0.3
    feed_days: float = 7.0
    most_dragged_out: float = 0.2
    evaporation_per_day: float = 0.005
    evaporation_ln_sd: float = 0.7
    slow_solvent_share: float = 0.05
    evaporation_noise: float = 0.3
    most_evaporated: float = 0.3
    heel: float = 0.02
    heel_sd: float = 0.008
    heel_seen_noise: float = 0.1
    heel_least_sd: float = 0.001
    drained_noise: float = 0.02
    top_up_noise: float = 0.08
    to_mark_noise: float = 0.015
    mark_missed_chance: float = 0.05
    mark_missed_span: float = 0.2
    removal_noise: float = 0.08
    given_saturation_sd_percent: float = 0.5
    hydrometer_sd_percent: float = 0.80
    sensor_sd_percent: float = 0.32
    residue_sd_percent: float = 0.17
    refractometer_sd_percent: float = 0.80
    calibrated_sd_percent: float = 0.35
    refractometer_bias_sd_percent: float = 1.0
    hydrometer_room_bias_sd_percent: float = 0.45
    hydrometer_bias_sd_percent: float = 0.45
    hydrometer_fresh_bias_sd_percent: float = 0.35
    hydrometer_bias_days: float = 40.0
    suspended: float = 0.5
    suspended_sd: float = 0.5
    sensor_bias_sd_percent: float = 0.35
    sensor_walk_percent: float = 0.15
    water_sd_percent: float = 1.0
    water_walk_percent: float = 0.05
    baseline_water_sd_percent: float = 0.3
    wet_chance: float = 0.03
    wet_later_chance: float = 0.005
    solvent_known_readings: int = 3
    wet_sd_percent: float = 2.0
    hydrometer_off_chance: float = 0.08
    hydrometer_off_later_chance: float = 0.005
    hydrometer_off_sd_percent: float = 2.5
    hydrometer_known_readings: int = 3
    slip_chance: float = 0.04
    sensor_slip_share: float = 1 / 3
    slip_percent_span: float = 25.0
    jump_chance_per_day: float = 0.002
    most_jump_chance: float = 0.10
    least_jump_days: float = 0.5
    jump_days: float = 5.0
    swap_chance_per_day: float = 0.0025
    most_swap_chance: float = 0.09
    swap_near_limit: float = 3.0
    top_up_chance_per_day: float = 0.002
    most_top_up_chance: float = 0.03
    top_up_least_share: float = 0.03
    top_up_usual_share: float = 0.10
    top_up_share_sd: float = 0.02
    most_top_up_chance_low: float = 0.2
    dirty_fill_chance: float = 0.03
    dirty_fill_percent: float = 3.0
    unexplained_less_share: float = 0.02
    unexplained_more_share: float = 0.005
    unexplained_sd_percent: float = 10.0
    slip_memory: float = 20.0
    most_slip_chance: float = 0.4
    contradicted_chance: float = 0.08
    silence_chance: float = 0.15
    attended_silence_chance: float = 0.5
    silence_again_chance: float = 0.7
    silence_washes: float = 7.0
    least_jump_percent: float = 0.3
    most_jump_percent: float = 4.0
    load_memory_days: float = 21.0
    components: int = 10
    least_weight: float = 0.002
    twin_sd: float = 0.15
    is_mixture: bool = True

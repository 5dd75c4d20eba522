"""A part that no tank has: it tries what one module in `inspections/parts` brings about."""

from app.domain.inspections.part import OUT, WATCH, Condition, Part

TRIAL_VALVE = Part(
    "trial_valve",
    "Trial valve",
    conditions=(
        Condition(
            "trial_valve_drips",
            "Does a drop hang from its spout?",
            OUT,
            "A valve that drips empties the bath onto the floor.",
            "ELP",
            "1.1",
            "wear_and_tear",
            is_drawn=False,
        ),
        Condition(
            "trial_valve_stiff",
            "Does its lever want more than one hand?",
            WATCH,
            "A stiff lever is about to stick.",
            "SER",
            "1.6",
            "cured_film",
            is_drawn=False,
        ),
    ),
    sits={"tank": 100, "station": 100},
)
